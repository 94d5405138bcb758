package sense

import (
	"context"
	"errors"
	"fmt"
	"time"

	"latewood/events"
)

// ErrGone says that the raw stream has no message at that place, or no longer.
var ErrGone = errors.New("sense: the raw stream has no such message")

// A Retaken answers Retake: so many readings are recorded, so many were known; or Why not, and nothing is.
type Retaken struct {
	Recorded int    `json:"recorded"`
	Known    int    `json:"known"`
	Why      string `json:"why,omitempty"`
	Instead  string `json:"instead,omitempty"`
}

// Retake takes in a message that was refused, now that its cause is gone: the station is sited, our own clock is right
// again. shift moves all its times, forward where it is positive, if it was the station's clock that was wrong; the reading
// then carries a note of it. What is not believed of times even so, is a reading of the future and one of the years to which
// a clock falls back that has lost its battery.
//
// The message need not be on the list. The error Is ErrGone where there is none.
func (s *Service) Retake(ctx context.Context, seq uint64, shift time.Duration) (Retaken, error) {
	s.work.Lock()
	defer s.work.Unlock()
	m, ok, err := s.c.Source.Get(ctx, seq)
	switch {
	case err != nil:
		return Retaken{}, err
	case !ok:
		return Retaken{}, fmt.Errorf("%w: %d", ErrGone, seq)
	}
	not := func(why, instead events.Sentence) (Retaken, error) {
		return Retaken{Why: why.String(), Instead: instead.String()}, nil
	}
	station, ok := stationOf(m.Topic)
	if !ok {
		return not(say("sense.topic", "topic", clipped(m.Topic)), say("sense.topic-instead"))
	}
	w := &window{messages: []Message{m}}
	readings, fault := w.read(m, station)
	if fault != nil {
		return not(fault.Why, fault.Instead)
	}
	rules := s.rules(station)
	for _, r := range readings {
		at := r.Time.Add(shift)
		switch {
		case at.Before(rules.Reset):
			return not(say("sense.reset", "time", stamp(at)), say("sense.clock-instead"))
		case at.After(s.c.Now().Add(rules.Ahead)):
			return not(say("sense.ahead", "time", stamp(at), "by", rounded(at.Sub(s.c.Now()))), say("sense.clock-instead"))
		}
		w.add(noted(proposed{station, at, r.Data, []int{0}, rules.late(s.c.Now().Sub(at))}, shift))
	}
	outcomes, err := s.hand(ctx, w.proposals)
	if err != nil {
		return Retaken{}, err
	}
	var out Retaken
	for i, o := range outcomes {
		switch {
		case len(o.Problems) > 0:
			out.Why, out.Instead = o.Problems[0].Why.String(), o.Problems[0].Instead.String()
			continue
		case o.Known:
			out.Known++
		default:
			out.Recorded++
		}
		s.recall(w.proposals[i])
	}
	if out.Why != "" {
		return out, nil
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.list.drop(hashOf(m))
	return out, s.list.save()
}

// noted says in a reading that its time was moved.
func noted(p proposed, shift time.Duration) proposed {
	if shift != 0 {
		note := say("sense.forward", "by", rounded(shift))
		if shift < 0 {
			note = say("sense.backward", "by", rounded(-shift))
		}
		p.data.Note = note.String()
	}
	return p
}

// recall remembers a reading that was taken in by hand. Its station's newest is left as it is: what is taken in by hand may
// be long past.
func (s *Service) recall(p proposed) {
	if s.minds[p.station] == nil {
		s.minds[p.station] = newMind()
	}
	s.remember(p)
}

// Dismiss takes a message off the list without taking it in. It stays in the raw stream, and Retake still finds it there.
// false: it is not on the list.
func (s *Service) Dismiss(seq uint64) (bool, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, r := range s.list.refused() {
		if r.Seq == seq {
			s.list.drop(r.Hash)
			return true, s.list.save()
		}
	}
	return false, nil
}
