package flush

import (
	"strings"

	"latewood/events"
	"latewood/events/civil"
	"latewood/events/words"
)

// say is a sentence of the catalogue.
//
//words:say
func say(key string, pairs ...any) string { return words.Say(key, pairs...) } //words:keys flush

func notKnown(share float64, why, what string) NotKnown {
	key := why
	if what == "" && (why == whyGaps || why == whyOrder) {
		key += "-plain"
	}
	return NotKnown{Share: share, Why: why, Words: words.Say("flush.why-"+key, "what", what)}
}

func unknownBlock(code string, known []string) error {
	instead := events.Sentence{Key: "flush.no-block-yet"}
	if len(known) > 0 {
		instead = events.Sentence{Key: "flush.blocks-are", Pairs: []any{"list", strings.Join(known, ", ")}}
	}
	return events.Problem{Field: "block", Value: code, Why: events.Sentence{Key: "flush.no-block"}, Instead: instead}
}

// outsideDays is how long something outside of the model stands beside an answer: about two rounds of flushes.
const outsideDays = 240

func outside(st *State, on civil.Date, _ *Model) []Outside {
	var out []Outside
	for _, n := range st.Notes {
		if n.Day.After(on) || on.Sub(n.Day) > outsideDays {
			continue
		}
		o := Outside{Day: n.Day.String(), Until: n.Till, What: n.What, Words: words.Say("flush.outside-"+n.What, "day", n.Day.String())}
		out = append(out, o)
	}
	return out
}

// headline is the one sentence for somebody in a hurry. While the orchard has shown fewer than five steps it says when to
// look, and no more.
func headline(b *Block, f *Fit) string {
	switch {
	case b.NextBreak == nil && len(b.NotKnown) > 0:
		return b.NotKnown[0].Words
	case b.NextBreak == nil:
		return say("flush.head-none")
	case b.MaybeBroken >= 0.5:
		return say("flush.head-look-now", "percent", percentOf(b.MaybeBroken))
	case !f.Fitted() || b.CoolShare == nil:
		return say("flush.head-look", "from", b.Look.From, "to", b.Look.To)
	}
	return say("flush.head", "p10", b.NextBreak.P10, "p90", b.NextBreak.P90, "from", b.Look.From, "met", b.CoolShare.Winters.Met, "of", b.CoolShare.Winters.Of)
}

func percentOf(share float64) int { return int(round(share*100, 0)) }

// notes are what a reader should know of the answer.
func (r *told) notes(out *Block, m *Model) {
	add := func(key string, pairs ...any) { out.Notes = append(out.Notes, words.Say(key, pairs...)) } //words:keys flush
	if n := out.Basis.WeatherYears; n < m.Years {
		add("flush.few-winters", "n", n, "asked", m.Years)
	}
	if !r.fit.Fitted() {
		add("flush.not-fitted", "n", r.fit.Cycles, "asked", enough)
	}
	if r.left > 0 {
		add("flush.left-out", "n", r.left)
	}
	if r.imputed > 0 {
		add("flush.imputed", "n", r.imputed)
	}
	if r.sky.Far != "" {
		add("flush.far-station", "station", r.sky.Far, "km", int(m.Reach))
	}
	if r.past != r.air {
		add("flush.other-station", "station", r.past.Station)
	}
	if r.on.After(r.now) {
		add("flush.weather-ends", "day", r.now.String())
	}
	if !out.Basis.ThresholdKnown && r.cultivar != "" {
		add("flush.threshold-unknown", "cultivar", r.cultivar, "celsius", m.Prior.T50)
	}
	for i := range r.strands {
		if r.strands[i].guess {
			add("flush.share-guessed")
			break
		}
	}
	if len(r.strands) > 3 {
		add("flush.patchy", "n", len(r.strands))
	}
	if day, mean := r.warmPanicle(m); !day.IsZero() {
		add("flush.reversion", "day", day.String(), "mean", round(mean, 1))
	}
}

// warmPanicle finds the last 14 days, since panicles came, whose mean was so warm that panicles turn leafy.
func (r *told) warmPanicle(m *Model) (end civil.Date, mean float64) {
	for i := range r.strands {
		s := &r.strands[i]
		if s.phase != panicled || s.stage != "panicles-out" {
			continue
		}
		for d := max(r.air.Day(s.from), 0) + 14; d <= r.air.Day(r.now); d++ {
			if v := r.air.Mean.Over(d-13, d+1) / 14; v > m.Reversion {
				end, mean = r.air.Date(d), v
			}
		}
	}
	return end, mean
}
