// Package causes holds what was recorded of a season against the known causes of a missing crop of lychee, one by one: what
// speaks for each, what against, and what nobody recorded that would have told.
//
// It never gives one bare verdict. Two causes can stand together, and where the records are thin the answer is that nobody
// can tell. The list of causes is common practice and the project's facts on phenology; the weights are rules of the project,
// plain on purpose, so that a grower can argue with each line.
//
// The first fork is the bloom: a count of terminals in panicle time says whether to look before it (the flush came at the
// wrong time, the trees were too young, ...) or after it (frost, no bees, drop, birds, ...). Without it both sides stay
// open and no cause is strong.
package causes

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"latewood/events"
	"latewood/events/civil"
	"latewood/events/words"
	"latewood/projections"
	"latewood/projections/flush"
)

// Weights of a cause.
const (
	Strong     = "strong"
	Some       = "some"
	Weak       = "weak"
	Against    = "against"
	CannotTell = "cannot-tell"
)

// Doc is the answer.
type Doc struct {
	Of      string   `json:"of"`
	Block   string   `json:"block"`
	Season  string   `json:"season"`
	Bloom   string   `json:"bloom"` // what is known of the bloom, in words
	Crop    string   `json:"crop"`  // and of the crop
	Causes  []Cause  `json:"causes"`
	Missing []string `json:"missing"`
	Next    []string `json:"next"` // what to look at next season
	Verdict string   `json:"verdict"`
	Caution string   `json:"caution"`
}

// A Cause with what speaks for and against it.
type Cause struct {
	Cause   string   `json:"cause"`
	Words   string   `json:"words"`
	Weight  string   `json:"weight"`
	For     []string `json:"for"`
	Against []string `json:"against"`

	score float64
}

// Names lists the causes in the order in which they act on a crop.
func Names() []string {
	return []string{
		"too-young", "seedling-or-cultivar", "not-pruned", "flushes-in-patches", "late-flush", "leaves-not-mature", "warm-at-break", "no-break-in-season",
		"heavy-crop-before", "girdled-or-regulator", "mites-or-disease", "shade-or-roots", "weather-in-bloom", "no-pollination", "fruit-drop", "birds-or-theft", "picked-unrecorded",
	}
}

// beforeBloom are causes that act before panicles show.
var beforeBloom = []string{"too-young", "seedling-or-cultivar", "not-pruned", "flushes-in-patches", "late-flush", "leaves-not-mature", "warm-at-break", "no-break-in-season", "heavy-crop-before", "girdled-or-regulator"}

// afterBloom act on what has bloomed.
var afterBloom = []string{"weather-in-bloom", "no-pollination", "fruit-drop", "birds-or-theft", "picked-unrecorded"}

// say is a sentence of the catalogue.
//
//words:say
func say(key string, pairs ...any) string { return words.Say(key, pairs...) } //words:keys causes

// finder gathers what was recorded of one season.
type finder struct {
	book    *projections.Book
	view    *projections.View
	block   string
	tree    string
	season  civil.Season
	seasons *projections.Seasons
	turnOn  civil.Date // the first day of the season's crop year
	past    flush.Past
	clock   bool
	cause   map[string]*Cause
	missing []string

	panicles  float64 // share of terminals counted; -1: nobody counted
	paniclesN int
	none      bool // somebody saw that there were no panicles
	seen      int  // looks at the flush in the half year before the bloom
	set       float64
	setKnown  bool
	hives     bool
	picks     int
	kg        float64
	crop      string
	bloomFrom civil.Date
	bloomTo   civil.Date
	scouted   bool
}

// Why answers for a block, or a tree of it, and a season. The error is an events.Problem for what is not there.
func Why(b *projections.Book, of string, season civil.Season, today civil.Date) (Doc, error) {
	block, tree, err := place(b, of)
	if err != nil {
		return Doc{}, err
	}
	f := &finder{book: b, view: b.View(projections.Key{Class: projections.Block, Code: block}), block: block, tree: tree, cause: map[string]*Cause{}, panicles: -1}
	f.seasons = f.view.Seasons()
	if season == "" {
		season = f.lastSeason(today)
	}
	f.season = season
	from, to, err := civil.SeasonSpan(season, b.Turn(today))
	if err != nil {
		return Doc{}, events.Problem{Field: "season", Value: string(season), Why: events.Sentence{Key: "causes.no-season"}, Instead: events.Sentence{Key: "causes.no-season-instead"}}
	}
	f.turnOn = from
	for _, name := range Names() {
		f.cause[name] = &Cause{Cause: name, Words: words.Say("causes.name-" + name), For: []string{}, Against: []string{}}
	}
	f.past, f.clock = flush.LookBack(b, block, tree, from.AddDays(60))
	f.gather()
	f.trees(from.AddDays(to.Sub(from) / 2))
	f.prunes()
	f.breaks()
	f.before()
	f.bloom()
	f.fork()
	return f.doc(of), nil
}

// place finds what somebody asks about.
func place(b *projections.Book, of string) (block, tree string, err error) {
	codes := b.Keys(projections.Block)
	if slices.Contains(codes, of) {
		return of, "", nil
	}
	for _, code := range codes {
		for _, t := range b.View(projections.Key{Class: projections.Block, Code: code}).Ground().Trees {
			if t.Tree == of && t.Until.IsZero() {
				return code, of, nil
			}
		}
	}
	instead := events.Sentence{Key: "flush.no-block-yet"}
	if len(codes) > 0 {
		instead = events.Sentence{Key: "flush.blocks-are", Pairs: []any{"list", strings.Join(codes, ", ")}}
	}
	return "", "", events.Problem{Field: "of", Value: of, Why: events.Sentence{Key: "causes.no-place"}, Instead: instead}
}

// lastSeason is the newest crop whose harvest time has gone by: that of the last closing or pick, else the crop year of half a
// year ago.
func (f *finder) lastSeason(today civil.Date) civil.Season {
	turn := f.book.Turn(today)
	year := civil.CropYear(today, turn)
	if at, ok := f.seasons.Closed(year); ok && !civil.DateOf(at, f.view.Zone).After(today) {
		return year
	}
	if from, _, err := civil.SeasonSpan(year, turn); err == nil && today.Sub(from) < 300 {
		return year.Prev()
	}
	return year
}

// mine reports whether a fact is about the tree, or about the block where no tree is asked for.
func (f *finder) mine(fact *projections.Fact) bool {
	if f.tree == "" {
		return true
	}
	parts := f.view.Parts(fact)
	for _, s := range f.view.Ground().Resolve(parts, fact.Time) {
		if s.Tree == f.tree {
			return true
		}
	}
	return len(parts) == 0
}

func (f *finder) add(cause string, score float64, text string) {
	c := f.cause[cause]
	if score >= 0 {
		c.For = append(c.For, text)
	} else {
		c.Against = append(c.Against, text)
	}
	c.score += score
}

// doc sorts the causes and ends with what to look at.
func (f *finder) doc(of string) Doc {
	d := Doc{Of: of, Block: f.block, Season: string(f.season), Missing: []string{}, Next: []string{}, Caution: say("causes.caution"), Bloom: f.bloomWords(), Crop: f.cropWords()}
	for _, name := range Names() {
		c := f.cause[name]
		c.Weight = f.weigh(c)
		d.Causes = append(d.Causes, *c)
	}
	rank := []string{Strong, Some, Weak, CannotTell, Against}
	slices.SortStableFunc(d.Causes, func(a, b Cause) int {
		return cmp.Or(cmp.Compare(slices.Index(rank, a.Weight), slices.Index(rank, b.Weight)), cmp.Compare(b.score, a.score))
	})
	d.Missing = append(d.Missing, f.missing...)
	var top []string
	for _, c := range d.Causes {
		if c.Weight == Strong || c.Weight == Some {
			top = append(top, c.Words)
		}
	}
	switch len(top) {
	case 0:
		d.Verdict = say("causes.cannot-tell")
	default:
		d.Verdict = say("causes.most", "list", strings.Join(top[:min(3, len(top))], "; "))
	}
	d.Next = f.next(d.Causes)
	return d
}

// weigh makes a word of a score. Without a count at panicle time nothing that depends on which side of the bloom it lies is
// strong.
func (f *finder) weigh(c *Cause) string {
	forked := f.panicles >= 0 || f.none
	switch {
	case c.score >= 1 && (forked || c.Cause == "too-young"):
		return Strong
	case c.score >= 0.5:
		return Some
	case c.score > 0.05:
		return Weak
	case c.score < -0.05:
		return Against
	}
	return CannotTell
}

func (f *finder) next(list []Cause) []string {
	var out []string
	add := func(key string, pairs ...any) { out = append(out, words.Say(key, pairs...)) } //words:keys causes
	if f.panicles < 0 {
		add("causes.next-count")
	}
	if f.seen == 0 {
		add("causes.next-flush")
	}
	for _, c := range list {
		if (c.Weight == Strong || c.Weight == Some) && len(out) < 5 {
			out = append(out, words.Say("causes.look-"+c.Cause))
		}
	}
	if len(out) == 0 {
		add("causes.next-all")
	}
	return out
}

func (f *finder) bloomWords() string {
	switch {
	case f.panicles >= 0:
		return say("causes.bloom-counted", "percent", int(f.panicles*100+0.5), "n", f.paniclesN)
	case f.none:
		return say("causes.bloom-none")
	}
	return say("causes.bloom-unknown")
}

func (f *finder) cropWords() string {
	switch {
	case f.picks > 0:
		return say("causes.crop-picked", "n", f.picks, "kg", fmt.Sprintf("%.0f", f.kg))
	case f.crop != "":
		return say("causes.crop-assessed", "crop", f.crop)
	}
	return say("causes.crop-unknown")
}
