package app

import (
	"context"
	"errors"
	"slices"
	"strconv"
	"strings"
	"time"

	"latewood/events"
	"latewood/events/canon"
	"latewood/events/ledger"
	"latewood/events/ledger/disk"
	"latewood/events/words"
	"latewood/projections"
	"latewood/services/ingest"
	"latewood/services/internal/natsbox"
	"latewood/services/record"
	"latewood/services/serve"
)

// Recorded is the answer of everything that records.
type Recorded struct {
	Recorded int       `json:"recorded"`
	Known    int       `json:"known"`
	Refused  []Refusal `json:"refused"`
	Flagged  []Flagged `json:"flagged"`
	Last     uint64    `json:"last"`
	// Held are the lots and loads that are held by this and were not held before; absent where there are none.
	Held *HeldCodes `json:"held,omitempty"`
	// IDs are the ids of single records, in the order sent; imports leave them out.
	IDs []string `json:"ids,omitempty"`
	// Batch is the id under which an import can be undone; empty if nothing was recorded.
	Batch string `json:"batch,omitempty"`
	// Size and Root are the ledger's; Sealed says whether a signed checkpoint covers them.
	Root   string `json:"root,omitempty"`
	Sealed bool   `json:"sealed"`
}

// A Refusal is one problem of one row.
type Refusal struct {
	File    string `json:"file"`
	Sheet   string `json:"sheet,omitempty"` // of a workbook
	Line    int    `json:"line"`
	Field   string `json:"field"`
	Column  string `json:"column,omitempty"`
	Value   any    `json:"value"`
	Why     string `json:"why"`
	Instead string `json:"instead"`
}

// Flagged is a flag that came up.
type Flagged struct {
	ID   string `json:"id"`
	Flag string `json:"flag"`
	Why  string `json:"why"`
	Do   string `json:"do,omitempty"` // what to do about it
	// Lots and Deliveries are the codes of lots and loads that it holds.
	Lots       []string `json:"lots,omitempty"`
	Deliveries []string `json:"deliveries,omitempty"`

	rests []string // what it rests on
}

func refusals(file string, line int, problems events.Problems, column func(string) string) []Refusal {
	out := make([]Refusal, len(problems))
	for i, p := range problems {
		out[i] = Refusal{File: file, Line: line, Field: p.Field, Value: p.Value, Why: p.Why.String(), Instead: p.Instead.String()}
		if column != nil {
			out[i].Column = column(p.Field)
		}
	}
	return out
}

// zone is the farm's zone as the folds know it.
func (f *farm) zone() *time.Location {
	zone := time.UTC
	_ = f.projector.With(func(b *projections.Book) error { zone = b.Zone(); return nil })
	return zone
}

// moment reads a time or a date that somebody asks with.
func (f *farm) moment(text string) (events.Moment, error) {
	m, err := events.ParseMoment(text, f.zone())
	if err != nil {
		return m, &serve.Fault{Exit: 2, Text: words.Say("app.moment", "text", text), Err: err}
	}
	return m, nil
}

// flagged runs something that records and says which flags came up by it, on any record, and which lots and loads are held
// by it.
func (f *farm) flagged(ctx context.Context, run func() error) ([]Flagged, *HeldCodes, error) {
	f.importing.Lock()
	defer f.importing.Unlock()
	before := f.said()
	if err := run(); err != nil {
		return nil, nil, err
	}
	if err := f.projector.Wait(ctx, f.recorder.Head().Size); err != nil {
		return nil, nil, err
	}
	now := f.said()
	return came(now.flagged(), before.flagged()), now.since(before), nil
}

// record sends proposals that belong together (one person's entry) and answers for them.
func (f *farm) record(ctx context.Context, proposals []record.Proposal) (Recorded, int, error) {
	for i := range proposals {
		proposals[i].DefaultActor = f.owner
	}
	doc := Recorded{Refused: []Refusal{}}
	var err error
	doc.Flagged, doc.Held, err = f.flagged(ctx, func() error {
		receipts, err := f.recorder.Record(ctx, proposals)
		if err != nil {
			return f.cannotRecord(err)
		}
		for i, r := range receipts {
			switch {
			case len(r.Problems) > 0:
				doc.Refused = append(doc.Refused, refusals("-", i+1, r.Problems, nil)...)
				continue
			case r.Known:
				doc.Known++
			default:
				doc.Recorded++
			}
			doc.IDs = append(doc.IDs, r.ID.String())
		}
		return nil
	})
	if err != nil {
		return Recorded{}, 1, err
	}
	if err := f.beginSeal(ctx); err != nil {
		return doc, 1, err
	}
	f.stamp(&doc)
	if len(doc.Refused) > 0 {
		return doc, 1, nil
	}
	return doc, 0, nil
}

// stamp puts the ledger's size and root on an answer, and whether they are signed already.
func (f *farm) stamp(doc *Recorded) {
	doc.Last, doc.Root = f.mark()
	doc.Sealed = f.sealed(doc.Last)
}

// cannotRecord turns the recorder's errors into sentences: what is known of the records, and what to do.
func (f *farm) cannotRecord(err error) error {
	key := "app.cannot-record"
	switch {
	case errors.Is(err, record.ErrFenced):
		key = "app.fenced"
	case errors.Is(err, record.ErrStopped):
		key = "app.stopping"
	case errors.Is(err, ledger.ErrUnknownOutcome) && f.tight():
		key = "app.unknown-full"
	case errors.Is(err, ledger.ErrUnknownOutcome):
		key = "app.unknown-outcome"
	case f.tight():
		key = "app.folder-full"
	}
	//words:data a line of the log
	f.app.o.Logger.Debug("an append failed", "service", "record", "farm", f.code, "error", err)
	return &serve.Fault{Exit: 1, Text: words.Say(key, "farm", f.code, "dir", f.app.o.Dir)} //words:keys app.
}

// tight reports whether the disk has less room than the broker leaves free for everything else.
func (f *farm) tight() bool {
	free, err := disk.Free(f.app.o.Dir)
	return err == nil && free < 2*natsbox.DefaultReserve
}

// OpenRequest opens a farm.
type OpenRequest struct {
	Farm      string  `json:"farm"`
	Name      string  `json:"name"`
	Zone      string  `json:"zone"`
	Latitude  float64 `json:"latitude"`
	Longitude float64 `json:"longitude"`
}

func (a *App) opOpen(ctx context.Context, q OpenRequest) (any, int, error) {
	if !events.IsCode(q.Farm) {
		return nil, 2, &serve.Fault{Exit: 2, Text: words.Say("app.farm-code", "farm", q.Farm, "near", events.NearestCode(q.Farm))}
	}
	codes, err := a.Codes()
	if err != nil {
		return nil, 1, err
	}
	if slices.Contains(codes, q.Farm) {
		f, err := a.farm(ctx, q.Farm)
		if err != nil {
			return nil, 1, err
		}
		if f.recorder.Head().Size > 0 {
			return nil, 1, &serve.Fault{Exit: 1, Text: words.Say("app.opened-already", "farm", q.Farm)}
		}
	}
	data := events.FarmOpened{Name: q.Name, Zone: q.Zone, Latitude: q.Latitude, Longitude: q.Longitude}
	p := record.Proposal{Draft: events.Draft{Type: "farm.opened", Data: events.Encode(data)}, Device: "cli", Clock: true}
	// The door looks at it before a ledger is made for it: a farm with a zone that is none leaves nothing behind.
	door := events.Door{Catalogue: events.Standard(), Farm: q.Farm, Zone: time.UTC}
	trial := p.Draft
	trial.Time = "2000-01-01"
	if _, problems := door.Check(trial); len(problems) > 0 {
		return Recorded{Refused: refusals("-", 1, problems, nil), Flagged: []Flagged{}}, 1, nil
	}
	f, err := a.openFarm(ctx, q.Farm, q.Zone)
	if err != nil {
		return nil, 1, err
	}
	doc, exit, err := f.record(ctx, []record.Proposal{p})
	return doc, exit, err
}

// openFarm makes a farm's ledger, empty, and reads times in the zone that its first record is about to name.
func (a *App) openFarm(ctx context.Context, code, zone string) (*farm, error) {
	f, err := a.create(ctx, code)
	if err != nil {
		return nil, err
	}
	if loc, err := time.LoadLocation(zone); err == nil {
		f.recorder.SetZone(loc)
	}
	return f, nil
}

// AddRequest adds one record by hand.
type AddRequest struct {
	Farm  string `json:"farm,omitempty"`
	Kind  string `json:"kind"`
	Time  string `json:"time,omitempty"`
	Noted string `json:"noted,omitempty"`
	ID    string `json:"id,omitempty"`
	Actor string `json:"actor,omitempty"`
	Data  string `json:"data"` // JSON as it was typed
}

func (a *App) opAdd(ctx context.Context, q AddRequest) (any, int, error) {
	f, err := a.farm(ctx, q.Farm)
	if err != nil {
		return nil, 1, err
	}
	data, err := canon.Parse([]byte(q.Data))
	if err != nil {
		return Recorded{Refused: []Refusal{syntaxRefusal("-", 1, err)}, Flagged: []Flagged{}, Last: f.recorder.Head().Size}, 1, nil
	}
	draft, problems, err := f.naming(false).draft(ctx, events.Draft{Type: q.Kind, Time: q.Time, NotedTime: q.Noted, ID: q.ID, Actor: q.Actor, Data: data})
	if err != nil {
		return nil, 1, err
	}
	if len(problems) > 0 {
		doc := Recorded{Refused: refusals("-", 1, problems, nil), Flagged: []Flagged{}}
		f.stamp(&doc)
		return doc, 1, nil
	}
	return f.record(ctx, []record.Proposal{{Draft: draft, Device: "cli", Clock: true}})
}

// syntaxRefusal says that a line is not JSON.
func syntaxRefusal(file string, line int, err error) Refusal {
	r := Refusal{File: file, Line: line, Why: err.Error()}
	if s, ok := canon.IsSyntax(err); ok {
		r.Why = words.Say("json."+s.What, "offset", s.Offset, "text", s.Text)
		r.Value = s.Text
	}
	r.Instead = words.Say("json.instead")
	return r
}

// PlantRequest plants whole rows at once.
type PlantRequest struct {
	Farm        string `json:"farm,omitempty"`
	Block       string `json:"block"`
	Rows        string `json:"rows"`
	Positions   string `json:"positions"`
	Cultivar    string `json:"cultivar"`
	Species     string `json:"species,omitempty"`
	Planted     string `json:"planted"`
	Propagation string `json:"propagation,omitempty"`
	Except      string `json:"except,omitempty"`
}

// maxPlant is the most trees that one command plants: a slip in a range should not plant a forest.
const maxPlant = 20000

func (a *App) opPlant(ctx context.Context, q PlantRequest) (any, int, error) {
	f, err := a.farm(ctx, q.Farm)
	if err != nil {
		return nil, 1, err
	}
	rows, err := span(q.Rows)
	if err != nil {
		return nil, 2, err
	}
	positions, err := span(q.Positions)
	if err != nil {
		return nil, 2, err
	}
	except := strings.FieldsFunc(q.Except, func(r rune) bool { return r == ',' || r == ';' || r == ' ' })
	if n := len(rows) * len(positions); n > maxPlant {
		return nil, 2, &serve.Fault{Exit: 2, Text: words.Say("app.too-many-trees", "n", n, "most", maxPlant)}
	}
	equal := record.NewRows() // the same command twice plants nothing twice
	var proposals []record.Proposal
	for _, row := range rows {
		for _, pos := range positions {
			code := ingest.TreeCode(q.Block, row, pos)
			if slices.Contains(except, code) || slices.Contains(except, row+"-"+pos) {
				continue
			}
			proposals = append(proposals, record.Proposal{Draft: events.Draft{
				Type: "tree.planted",
				Data: events.Encode(events.TreePlanted{
					Tree: code, Block: q.Block, Row: row, Position: pos, Cultivar: q.Cultivar, Species: q.Species,
					Planted: q.Planted, Propagation: q.Propagation,
				}),
			}, Device: "cli", Rows: equal})
		}
	}
	if len(proposals) == 0 {
		return nil, 2, &serve.Fault{Exit: 2, Text: words.Say("app.no-trees")}
	}
	doc, exit, err := f.record(ctx, proposals)
	doc.IDs = nil
	return doc, exit, err
}

// span reads "1-20", "3" or "1-4,7,2a".
func span(s string) ([]string, error) {
	var out []string
	for _, part := range strings.FieldsFunc(s, func(r rune) bool { return r == ',' || r == ';' }) {
		part = strings.TrimSpace(part)
		from, to, isRange := strings.Cut(part, "-")
		a, err1 := strconv.Atoi(from)
		b, err2 := strconv.Atoi(to)
		switch {
		case !isRange:
			out = append(out, part)
		case err1 != nil || err2 != nil || a > b || b-a > maxPlant:
			return nil, &serve.Fault{Exit: 2, Text: words.Say("app.range", "text", part)}
		default:
			for n := a; n <= b; n++ {
				out = append(out, strconv.Itoa(n))
			}
		}
	}
	if len(out) == 0 {
		return nil, &serve.Fault{Exit: 2, Text: words.Say("app.range", "text", s)}
	}
	return out, nil
}
