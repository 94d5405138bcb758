package sense

import (
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"slices"
	"strings"
	"time"

	"latewood/events"
	"latewood/events/ledger/disk"
)

// A Refusal is a message that was not taken in. It stays in the raw stream.
type Refusal struct {
	Seq     uint64    `json:"seq"` // its place in the raw stream; of several equal ones, the last
	Station string    `json:"station,omitempty"`
	Topic   string    `json:"topic"`
	At      time.Time `json:"at"`   // when it came in
	Kind    string    `json:"kind"` // clock, form, flood, record
	Why     string    `json:"why"`
	Instead string    `json:"instead,omitempty"`
	Times   int       `json:"times"` // how often the same message came
	Hash    string    `json:"hash"`  // of topic and body: equal messages are listed once
}

func newRefusal(m Message, station, kind string, why, instead events.Sentence) Refusal {
	return Refusal{
		Seq: m.Seq, Station: station, Topic: clipped(m.Topic), At: m.At, Kind: kind, Why: why.String(), Instead: instead.String(), Times: 1,
		Hash: hashOf(m),
	}
}

func hashOf(m Message) string {
	h := sha256.New()
	io.WriteString(h, m.Topic+"\n")
	h.Write(m.Body)
	return hex.EncodeToString(h.Sum(nil)[:16])
}

// mostListed is the most refusals that are listed. Beyond it the oldest of those go that have the most: of one station, or of
// all stations together of which nothing was ever recorded.
const mostListed = 1000

// list is the refused messages, on the disk as in memory.
type list struct {
	file   string
	doc    listFile
	byHash map[string]int // index in doc.Refused
}

type listFile struct {
	Refused []entry `json:"refused"`
	// Unseen counts what went from the list by itself, because the list was full or because the raw stream let go of the
	// message. A flood does both, and nothing else would tell that somebody's readings went with it.
	Unseen int `json:"unseen,omitempty"`
}

// An entry is a refusal and whether its station was known to the ledger then.
type entry struct {
	Refusal
	Known bool `json:"known,omitempty"`
}

func loadList(file string) (*list, error) {
	l := &list{file: file, byHash: map[string]int{}}
	if file == "" {
		return l, nil
	}
	b, err := os.ReadFile(file)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return l, nil
	case err != nil:
		return nil, fmt.Errorf("sense: the list of refused readings: %w", err)
	}
	if err := events.ReadJSON(b, &l.doc); err != nil {
		return nil, fmt.Errorf("sense: the list of refused readings, %s: %w", file, err)
	}
	l.index()
	return l, nil
}

func (l *list) save() error {
	if l.file == "" {
		return nil
	}
	b, err := events.WriteJSON(l.doc)
	if err == nil {
		err = disk.WriteFile(l.file, func(w io.Writer) error {
			_, err := w.Write(append(b, '\n'))
			return err
		})
	}
	if err != nil {
		return fmt.Errorf("sense: writing the list of refused readings: %w", err)
	}
	return nil
}

func (l *list) index() {
	clear(l.byHash)
	for i, e := range l.doc.Refused {
		l.byHash[e.Hash] = i
	}
}

// has reports whether a message is on the list.
func (l *list) has(m Message) bool {
	_, there := l.byHash[hashOf(m)]
	return there
}

// add lists a refusal; known says that its station has readings in the ledger.
func (l *list) add(r Refusal, known bool) {
	if i, there := l.byHash[r.Hash]; there {
		if old := l.doc.Refused[i]; r.Seq > old.Seq {
			r.Times = old.Times + 1
			l.doc.Refused[i] = entry{r, known}
		}
		return
	}
	if len(l.doc.Refused) >= mostListed {
		l.fall()
	}
	l.byHash[r.Hash] = len(l.doc.Refused)
	l.doc.Refused = append(l.doc.Refused, entry{r, known})
}

// fall drops the oldest of those who have the most.
func (l *list) fall() {
	who := func(e entry) string {
		if e.Known {
			return e.Station
		}
		return ""
	}
	counts := map[string]int{}
	most := ""
	for _, e := range l.doc.Refused {
		counts[who(e)]++
	}
	for _, e := range l.doc.Refused {
		if counts[who(e)] > counts[most] {
			most = who(e)
		}
	}
	oldest := -1
	for i, e := range l.doc.Refused {
		if who(e) == most && (oldest < 0 || e.Seq < l.doc.Refused[oldest].Seq) {
			oldest = i
		}
	}
	l.doc.Refused = slices.Delete(l.doc.Refused, oldest, oldest+1)
	l.doc.Unseen++
	l.index()
}

// drop takes messages off the list.
func (l *list) drop(hash string) {
	l.doc.Refused = slices.DeleteFunc(l.doc.Refused, func(e entry) bool { return e.Hash == hash })
	l.index()
}

// prune takes off what the raw stream no longer has: it can neither be looked at nor taken in.
func (l *list) prune(first uint64) {
	before := len(l.doc.Refused)
	l.doc.Refused = slices.DeleteFunc(l.doc.Refused, func(e entry) bool { return e.Seq < first })
	l.doc.Unseen += before - len(l.doc.Refused)
	l.index()
}

func (l *list) refused() []Refusal {
	out := make([]Refusal, 0, len(l.doc.Refused))
	for _, e := range l.doc.Refused {
		out = append(out, e.Refusal)
	}
	slices.SortFunc(out, func(a, b Refusal) int { return cmp.Compare(a.Seq, b.Seq) })
	return out
}

// Refused lists the messages that were not taken in, in the order in which they came.
func (s *Service) Refused() []Refusal {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.list.refused()
}

// Unseen is how many messages went from the list by themselves, because the list or the raw stream was full, since the list
// was last cleared.
func (s *Service) Unseen() int {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.list.doc.Unseen
}

// Listed reads the list of a Service that does not run, and how many went from it unseen. A file that is not there is an
// empty list.
func Listed(file string) (refused []Refusal, unseen int, err error) {
	l, err := loadList(file)
	if err != nil {
		return nil, 0, err
	}
	return l.refused(), l.doc.Unseen, nil
}

// Clear takes all messages off the list, of one station or of all, and returns how many. Of all, what went unseen is
// forgotten too.
func (s *Service) Clear(station string) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	before := s.list.doc
	s.list.doc.Refused = slices.DeleteFunc(slices.Clone(before.Refused), func(e entry) bool { return station == "" || e.Station == station })
	if station == "" {
		s.list.doc.Unseen = 0
	}
	err := s.list.save()
	if err != nil {
		s.list.doc = before
	}
	s.list.index()
	return len(before.Refused) - len(s.list.doc.Refused), err
}

// A LeftOut is a value that a station sends and that is not taken, in messages that are taken otherwise.
type LeftOut struct {
	Station string    `json:"station"`
	Name    string    `json:"name"` // of the value
	Why     string    `json:"why"`
	Instead string    `json:"instead,omitempty"`
	Times   int       `json:"times"`
	Last    time.Time `json:"last"` // when it last came in
}

func (w *window) leave(station string, m Message, p events.Problem) {
	name, _ := p.Value.(string)
	if i := strings.LastIndexAny(name, "/:"); i >= 0 {
		name = name[i+1:]
	}
	w.leftOut = append(w.leftOut, LeftOut{Station: station, Name: name, Why: p.Why.String(), Instead: p.Instead.String(), Times: 1, Last: m.At})
}

// mostLeftOut is the most kinds of left out values that are kept in mind.
const mostLeftOut = 200

func (s *Service) leave(l LeftOut) {
	key := l.Station + " " + l.Name + " " + l.Why
	if old := s.leftOut[key]; old != nil {
		old.Times++
		old.Last = l.Last
		return
	}
	if len(s.leftOut) < mostLeftOut {
		s.leftOut[key] = &l
	}
}

// LeftOut lists the values that stations send and that are not taken, since the start, by station and name.
func (s *Service) LeftOut() []LeftOut {
	s.mu.Lock()
	defer s.mu.Unlock()
	out := make([]LeftOut, 0, len(s.leftOut))
	for _, l := range s.leftOut {
		out = append(out, *l)
	}
	slices.SortFunc(out, func(a, b LeftOut) int {
		return strings.Compare(a.Station+" "+a.Name+" "+a.Why, b.Station+" "+b.Name+" "+b.Why)
	})
	return out
}
