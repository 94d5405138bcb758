package record

import (
	"crypto/rand"
	"fmt"
	"runtime"
	"slices"
	"sync"
	"time"

	"latewood/events"
	"latewood/events/ledger"
)

// A Proposal is a record as somebody sends it.
type Proposal struct {
	Draft events.Draft
	// Device names what it was entered on: cli, import, mqtt-STATION, or a paired device's code. It stands in the source of
	// a draft that brings none.
	Device string
	// DefaultActor stands as actor where the draft names none; it does not count for a row's id.
	DefaultActor string
	// Clock says that a proposal without any time means now: somebody adds it by hand as it happens. Sent again with the
	// same id it is the same record, whatever the clock shows by then.
	Clock bool
	// Batch is the id that the import.made of its import will bear; zero outside an import.
	Batch events.ID
	// Rows is shared by the rows of one file; nil: this is no row, and without an id it gets a new one.
	Rows *Rows
}

// Rows gives the rows of one file their ids: equal rows are told apart by their number among equals, so that a file with
// two equal rows holds two records, and the same file once more holds none. One goroutine at a time may prepare its rows.
type Rows struct{ seen map[events.ID]int }

// NewRows begins a file.
func NewRows() *Rows { return &Rows{seen: map[events.ID]int{}} }

// id must be called in the order of the file. actor is what the row brings, not what stands in for it.
func (r *Rows) id(farm string, a *events.Accepted, actor string) events.ID {
	id := events.RowID(farm, a.Kind.Name, a.Draft.Time, actor, a.Draft.Data, 0)
	n := r.seen[id]
	r.seen[id]++
	if n > 0 {
		id = events.RowID(farm, a.Kind.Name, a.Draft.Time, actor, a.Draft.Data, n)
	}
	return id
}

// A Receipt answers a proposal. Either there are Problems and nothing was recorded, or the record stands at Place.
type Receipt struct {
	ID       events.ID // zero where the door refused a proposal that brought none
	Place    uint64
	Leaf     ledger.Hash
	Known    bool // it was recorded before; Place is its first place
	Problems events.Problems
}

// item is a proposal on its way through.
type item struct {
	Proposal
	accepted events.Accepted
	given    bool            // the id came with it (or with its row), so it may be known
	problems events.Problems // of the door

	// The committer's, anew each time that it looks at the item.
	job     *job
	receipt *Receipt
	twin    *item    // the same record, earlier in the run
	done    bool     // the receipt is final
	said    []saying // of the record that it corrects or withdraws, before it
	made
}

func (it *item) refuse(field string, value any, why, instead events.Sentence) {
	it.receipt.Problems = append(it.receipt.Problems, events.Problem{Field: field, Value: value, Why: why, Instead: instead})
}

// say names a sentence of the catalogue.
//
//words:say
func say(key string, pairs ...any) events.Sentence { return events.Sentence{Key: key, Pairs: pairs} }

// Prepared are proposals that went through the door and have their ids. After an error they may be committed again: what
// was recorded all the same is then known. One goroutine at a time may do so.
type Prepared struct{ items []*item }

// Prepare does the part of Record that needs no place, on all cores, so that an import can prepare rows while those before
// them are appended.
func (r *Recorder) Prepare(proposals []Proposal) (*Prepared, error) {
	p := &Prepared{items: make([]*item, len(proposals))}
	door := r.door.Load()
	workers := min(runtime.GOMAXPROCS(0), 1+len(proposals)/64)
	var wait sync.WaitGroup
	for w := range workers {
		wait.Go(func() {
			for i := w; i < len(proposals); i += workers {
				p.items[i] = r.check(door, proposals[i])
			}
		})
	}
	wait.Wait()
	for _, it := range p.items {
		if err := r.name(it); err != nil {
			return nil, err
		}
	}
	return p, nil
}

// check is the part that needs no place: it runs in the caller's goroutines.
func (r *Recorder) check(door *events.Door, p Proposal) *item {
	it := &item{Proposal: p}
	it.accepted, it.problems = door.Check(p.Draft)
	if p.Clock && slices.ContainsFunc(it.problems, func(q events.Problem) bool { return q.Why.Key == events.NeedsTime }) {
		p.Draft.Time = r.c.Now().In(door.Zone).Truncate(time.Second).Format(time.RFC3339)
		it.accepted, it.problems = door.Check(p.Draft)
	}
	return it
}

// name gives an item its id, where it brought none.
func (r *Recorder) name(it *item) error {
	a := &it.accepted
	if len(it.problems) > 0 {
		return nil
	}
	if a.Draft.Actor == "" {
		a.Draft.Actor = it.DefaultActor
	}
	it.given = !a.ID.IsZero()
	switch {
	case it.given:
	case it.Rows != nil:
		a.ID = it.Rows.id(r.c.Farm, a, it.Draft.Actor)
		it.given = true
	default:
		var random [10]byte
		if _, err := rand.Read(random[:]); err != nil {
			return fmt.Errorf("record: random bytes: %w", err)
		}
		a.ID = events.NewID(r.c.Now().UnixMilli(), random)
	}
	return nil
}
