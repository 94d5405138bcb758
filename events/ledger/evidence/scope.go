package evidence

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"

	"latewood/events/canon"
)

// A Subject is what evidence is given for.
type Subject struct {
	Class  string // lot, delivery, spray or block
	Code   string // lot code, load number, id of the spray, code of the block
	Season string // of a block
}

// Classes are the classes of subjects.
func Classes() []string { return []string{"lot", "delivery", "spray", "block"} }

// String is the subject in one line that no code can break: lot/L17, block/north 2025/26.
func (s Subject) String() string {
	text := s.Class + "/" + chainName(s.Code)
	if s.Season != "" {
		text += " " + s.Season
	}
	return text
}

// Chains are the chains where the walk begins.
func (s Subject) Chains() []string {
	name := chainName(s.Code)
	if s.Class == "block" {
		return []string{"growth/" + name, "inputs/" + name, "picks/" + name}
	}
	return []string{s.Class + "/" + name}
}

// subjectOf reads the subject out of an evidence.given.
func subjectOf(r *Record) (s Subject, ok bool) {
	of := r.Data.Get("for")
	for _, class := range Classes() {
		if code := of.Get(class).Str; code != "" {
			if ok {
				return Subject{}, false // two at once
			}
			s, ok = Subject{Class: class, Code: code}, true
		}
	}
	if s.Class == "block" {
		s.Season = of.Get("season").Str
		ok = ok && s.Season != ""
	}
	return s, ok && !strings.ContainsAny(s.Season, " \n")
}

// A Source gives records: all of a ledger up to a place where evidence is made, those of the file where it is checked.
type Source interface {
	// Chain gives the records that stand in a chain, by place in the ledger.
	Chain(name string) ([]*Record, error)
	// Record gives the record with an id, nil if it is not there.
	Record(id string) (*Record, error)
	// About gives the corrections and withdrawals of the record with an id, by place in the ledger.
	About(id string) ([]*Record, error)
	// Redrawn gives the records, and corrections of records, by which a block was made of others.
	Redrawn(block string) ([]*Record, error)
}

// A Scope is what evidence for a subject must hold.
type Scope struct {
	Chains  []string  // walked whole, by name
	Records []*Record // of these chains, and the single ones, by place
	Missing []Missing // what records name and the source does not have
	Bins    []string  // bins that a lot was packed from: no record binds them to a pick
}

// Missing is a record that another one names.
type Missing struct {
	Kind string // fruit.picked or fruit.received
	ID   string
	In   *Record // that names it
}

// Walk finds what belongs to a subject. It follows every version of a record, also those that were corrected or withdrawn,
// so that no correction takes anything out of sight:
//
//   - a lot or load: its chain; each pick that went into it, with what was said about it; the chains inputs/BLOCK of the
//     blocks where these were picked; the lots that it was repacked from; the loads of fruit that was received;
//   - a spray: the chains of its plan, its beginning and itself;
//   - a block: its chains inputs/, picks/ and growth/;
//   - for every spray and treatment in these: the chain label/ID of each label that it names;
//   - for every block whose inputs are walked: the redrawings that made it of others, and the inputs of those.
func Walk(s Subject, src Source) (Scope, error) {
	w := walk{s: s, src: src, chains: map[string]bool{}, records: map[uint64]*Record{}, singles: map[string]bool{}}
	w.queue = s.Chains()
	for len(w.queue) > 0 {
		chain := w.queue[0]
		w.queue = w.queue[1:]
		if w.chains[chain] {
			continue
		}
		w.chains[chain] = true
		records, err := src.Chain(chain)
		if err != nil {
			return Scope{}, err
		}
		if block, ok := strings.CutPrefix(chain, "inputs/"); ok {
			redrawn, err := src.Redrawn(block)
			if err != nil {
				return Scope{}, err
			}
			for _, r := range redrawn {
				said, err := src.About(r.About())
				if err != nil {
					return Scope{}, err
				}
				records = slices.Concat(records, []*Record{r}, said)
			}
		}
		for _, r := range records {
			w.records[r.Place] = r
			if err := w.follow(chain, r); err != nil {
				return Scope{}, err
			}
		}
	}
	slices.Sort(w.out.Bins)
	w.out.Bins = slices.Compact(w.out.Bins)
	w.out.Chains = slices.Sorted(maps.Keys(w.chains))
	for _, place := range slices.Sorted(maps.Keys(w.records)) {
		w.out.Records = append(w.out.Records, w.records[place])
	}
	return w.out, nil
}

type walk struct {
	s       Subject
	src     Source
	queue   []string
	chains  map[string]bool
	records map[uint64]*Record
	singles map[string]bool // ids already taken
	out     Scope
}

// follow takes in what a record of a chain leads to.
func (w *walk) follow(chain string, r *Record) error {
	kind, data := r.version()
	class, name, _ := strings.Cut(chain, "/")
	origin := (class == "lot" || class == "delivery") && chainName(data.Get(class).Str) == name
	switch {
	case kind == "lot.packed" && origin:
		for _, in := range data.Get("inputs").Items {
			if bin := in.Get("bin").Str; bin != "" {
				w.out.Bins = append(w.out.Bins, bin)
			}
			if err := w.single("fruit.picked", r, in.Get("pick").Str, in.Get("versionSeen").Str); err != nil {
				return err
			}
			if err := w.single("fruit.received", r, in.Get("received").Str); err != nil {
				return err
			}
		}
	case kind == "lot.repacked" && origin:
		for _, in := range data.Get("inputs").Items {
			w.queue = append(w.queue, "lot/"+chainName(in.Get("lot").Str))
		}
	case kind == "fruit.delivered" && origin:
		for _, in := range data.Get("picks").Items {
			if err := w.single("fruit.picked", r, in.Get("pick").Str); err != nil {
				return err
			}
		}
	case strings.HasPrefix(kind, "spray.") && class == "spray":
		if kind == "spray.planned" || kind == "spray.begun" || kind == "spray.applied" {
			w.queue = append(w.queue, "spray/"+chainName(r.About()))
		}
		for _, field := range []string{"plan", "begun"} {
			for _, id := range texts(data.Get(field)) {
				w.queue = append(w.queue, "spray/"+chainName(id))
			}
		}
	case kind == "block.redrawn" && class == "inputs":
		for _, block := range texts(data.Get("from")) {
			w.queue = append(w.queue, "inputs/"+chainName(block))
		}
	}
	if class == "picks" {
		return nil // of a block: its inputs are walked anyhow
	}
	for _, item := range data.Get("mix").Items {
		w.label(item.Get("label").Str)
	}
	if kind == "lot.treated" {
		w.label(data.Get("label").Str)
	}
	return nil
}

func (w *walk) label(id string) {
	if id != "" {
		w.queue = append(w.queue, "label/"+chainName(id))
	}
}

// single takes in a record by its id, with all that was said about it, and what it leads to. The versions named beside it
// must be there too.
func (w *walk) single(kind string, in *Record, id string, versions ...string) error {
	for _, id := range append(versions, id) {
		if id == "" || w.singles[id] {
			continue
		}
		w.singles[id] = true
		r, err := w.src.Record(id)
		if err != nil {
			return err
		}
		if r == nil {
			w.out.Missing = append(w.out.Missing, Missing{Kind: kind, ID: id, In: in})
			continue
		}
		said, err := w.src.About(id)
		if err != nil {
			return err
		}
		for _, r := range append([]*Record{r}, said...) {
			w.records[r.Place] = r
			switch k, data := r.version(); k {
			case "fruit.picked":
				for _, block := range blocksOf(data) {
					w.queue = append(w.queue, "inputs/"+chainName(block))
				}
			case "fruit.received":
				w.queue = append(w.queue, "delivery/"+chainName(data.Get("delivery").Str))
			}
		}
	}
	return nil
}

// blocksOf lists the blocks of a record's `where`.
func blocksOf(data canon.Value) []string {
	where := data.Get("where")
	if where.Kind != canon.List {
		return texts(where.Get("block"))
	}
	var out []string
	for _, part := range where.Items {
		out = append(out, texts(part.Get("block"))...)
	}
	return out
}

// texts are the texts of a value: of a list each, of a text itself.
func texts(v canon.Value) []string {
	switch v.Kind {
	case canon.String:
		return []string{v.Str}
	case canon.List:
		var out []string
		for _, item := range v.Items {
			out = append(out, texts(item)...)
		}
		return out
	}
	return nil
}

// Records are a Source in memory: what a file of evidence holds.
type Records struct {
	all     []*Record
	chains  map[string][]*Record
	ids     map[string]*Record
	said    map[string][]*Record
	redrawn map[string][]*Record
}

var _ Source = (*Records)(nil)

// NewRecords makes a Source of records. An id that stands twice is an error.
func NewRecords(records []*Record) (*Records, error) {
	s := &Records{
		all: slices.Clone(records), chains: map[string][]*Record{}, ids: map[string]*Record{},
		said: map[string][]*Record{}, redrawn: map[string][]*Record{},
	}
	slices.SortFunc(s.all, func(a, b *Record) int { return cmp.Compare(a.Place, b.Place) })
	for _, r := range s.all {
		if s.ids[r.ID] != nil {
			return nil, fmt.Errorf("evidence: records %d and %d have one id, %s", s.ids[r.ID].Place, r.Place, r.ID)
		}
		s.ids[r.ID] = r
		for _, l := range r.Links {
			s.chains[l.Chain] = append(s.chains[l.Chain], r)
		}
		if of := r.About(); of != r.ID {
			s.said[of] = append(s.said[of], r)
		}
		for _, block := range r.MadeBlocks() {
			s.redrawn[block] = append(s.redrawn[block], r)
		}
	}
	return s, nil
}

// MadeBlocks lists the blocks, as they stand in names of chains, that a redrawing, or a correction of one, made.
func (r *Record) MadeBlocks() []string {
	kind, data := r.version()
	if kind != "block.redrawn" {
		return nil
	}
	var out []string
	for _, b := range data.Get("into").Items {
		out = append(out, chainName(b.Get("block").Str))
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// Chain is Source's.
func (s *Records) Chain(name string) ([]*Record, error) { return s.chains[name], nil }

// Record is Source's.
func (s *Records) Record(id string) (*Record, error) { return s.ids[id], nil }

// About is Source's.
func (s *Records) About(id string) ([]*Record, error) { return s.said[id], nil }

// Redrawn is Source's.
func (s *Records) Redrawn(block string) ([]*Record, error) { return s.redrawn[block], nil }
