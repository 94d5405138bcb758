package app

import (
	"cmp"
	"context"
	"errors"
	"io"
	"iter"
	"slices"
	"strings"
	"time"

	"latewood/events"
	"latewood/events/canon"
	"latewood/events/civil"
	"latewood/events/words"
	"latewood/projections"
	"latewood/services/export"
	"latewood/services/ingest"
	"latewood/services/project"
	"latewood/services/serve"
)

// ExportRequest asks for records.
type ExportRequest struct {
	Asked
	Kinds  []string `json:"kinds,omitempty"` // or names of tables; none: all
	From   string   `json:"from,omitempty"`  // of the record's time, inclusive
	To     string   `json:"to,omitempty"`    // inclusive; a date means its end
	Block  string   `json:"block,omitempty"`
	Format string   `json:"format,omitempty"` // jsonl if empty, csv, xlsx, geojson
}

// Lines is a run of stored records, handed over as progress: an export is never held whole.
type Lines struct {
	Records []events.Raw `json:"records"`
}

// Piece is a run of the bytes of a file, handed over as progress.
type Piece struct {
	Bytes []byte `json:"bytes"`
}

// Exported ends an export.
type Exported struct {
	Records int    `json:"records"`
	Size    uint64 `json:"size"`
	Root    string `json:"root"`
	Sealed  bool   `json:"sealed"`
	// Assumed is how many records were taken as known at a time that nobody claimed.
	Assumed int `json:"assumed,omitempty"`
}

func (a *App) opExport(ctx context.Context, q ExportRequest, _ serve.File, progress func(any)) (any, int, error) {
	f, err := a.farm(ctx, q.Farm)
	if err != nil {
		return nil, 1, err
	}
	x := &exporting{f: f, q: q, progress: progress}
	if err := x.understand(); err != nil {
		return nil, 2, err
	}
	switch q.Format {
	case "", "jsonl":
		err = x.lines(ctx)
	case "csv":
		if len(x.kinds) != 1 {
			return nil, 2, &serve.Fault{Exit: 2, Text: words.Say("cli.export-one-kind")}
		}
		err = x.tables(ctx, x.csv)
	case "xlsx":
		err = x.tables(ctx, x.workbook)
	case "geojson":
		err = x.geojson(ctx)
	default:
		return nil, 2, &serve.Fault{Exit: 2, Text: words.Say("out.format", "format", q.Format)}
	}
	if err != nil {
		return nil, 1, err
	}
	return x.doc, 0, nil
}

// exporting is one export under way.
type exporting struct {
	f        *farm
	q        ExportRequest
	progress func(any)
	doc      Exported

	kinds     []*events.Kind // none: all
	from, to  time.Time
	knowledge projections.Knowledge
}

// understand reads the request.
func (x *exporting) understand() error {
	for _, name := range x.q.Kinds {
		k, err := ingest.KindOf(events.Standard(), name)
		if err != nil {
			var p events.Problem
			errors.As(err, &p)
			return &serve.Fault{Exit: 2, Text: words.Say("out.kind", "kind", name, "instead", p.Instead.String())}
		}
		if !slices.Contains(x.kinds, k) {
			x.kinds = append(x.kinds, k)
		}
	}
	if x.q.From != "" {
		m, err := x.f.moment(x.q.From)
		if err != nil {
			return err
		}
		x.from = m.At
	}
	if x.q.To != "" {
		m, err := x.f.moment(x.q.To)
		if err != nil {
			return err
		}
		x.to = m.Latest(x.f.zone())
	}
	if !x.from.IsZero() && !x.to.IsZero() && x.to.Before(x.from) {
		return &serve.Fault{Exit: 2, Text: words.Say("out.from-after-to", "from", x.q.From, "to", x.q.To)}
	}
	if x.q.Block != "" && !events.IsCode(x.q.Block) {
		return &serve.Fault{Exit: 2, Text: words.Say("out.block", "block", x.q.Block)}
	}
	var err error
	x.knowledge, err = x.f.knowledge(x.q.Asked)
	return err
}

func (x *exporting) wants(kind string) bool {
	return len(x.kinds) == 0 || slices.ContainsFunc(x.kinds, func(k *events.Kind) bool { return k.Name == kind })
}

func (x *exporting) within(at time.Time) bool {
	return (x.from.IsZero() || !at.Before(x.from)) && (x.to.IsZero() || !at.After(x.to))
}

// lines hands over the records as they are stored.
func (x *exporting) lines(ctx context.Context) error {
	lines := make([]events.Raw, 0, exportRun)
	zone := x.f.zone()
	for r, err := range records(ctx, x.f) {
		if err != nil {
			return err
		}
		known, assumed := x.knowledge.Takes(r, zone)
		if !known || !x.wants(r.Kind) || !x.within(r.Time) || x.q.Block != "" && !chained(r, x.q.Block) {
			continue
		}
		if assumed {
			x.doc.Assumed++
		}
		x.doc.Records++
		if lines = append(lines, events.Raw(r.Body)); len(lines) == exportRun {
			x.progress(Lines{lines})
			lines = lines[:0]
		}
	}
	if len(lines) > 0 {
		x.progress(Lines{lines})
	}
	x.mark()
	return nil
}

// mark says of which ledger the records are.
func (x *exporting) mark() {
	x.doc.Size, x.doc.Root = x.f.mark()
	x.doc.Sealed = x.f.sealed(x.doc.Size)
}

// chained reports whether a record stands in a chain of a block: what was done there, and what was said about that later.
func chained(r *events.Record, block string) bool {
	for link := range strings.SplitSeq(r.Envelope.Chains, ", ") {
		name, _, _ := strings.Cut(link, " ")
		switch class, code, _ := strings.Cut(name, "/"); class {
		case "growth", "inputs", "picks":
			if code == block {
				return true
			}
		}
	}
	return false
}

// exportRun is how many records are handed over at a time.
const exportRun = 500

// records reads the whole ledger.
func records(ctx context.Context, f *farm) iter.Seq2[*events.Record, error] {
	if f.recorder.Head().Size == 0 {
		return func(func(*events.Record, error) bool) {}
	}
	return project.Records(ctx, f.log, 1, f.recorder.Head().Size)
}

// A standing is the rows that a table is made of. Those of facts are gathered while the Book stands still; readings, of which
// there are many, are read from the ledger whenever they are asked for.
type standing struct {
	x        *exporting
	rows     map[string][]export.Row // by kind, in order of time and id
	readings map[events.ID]reading   // of which something was said later
	size     uint64                  // of the Book
	zone     *time.Location
}

// A reading is what became of a record of weather.read.
type reading struct {
	withdrawn   bool
	at          time.Time
	data        canon.Value
	corrections int
}

// tables gathers what stands and hands it to write.
func (x *exporting) tables(ctx context.Context, write func(ctx context.Context, s *standing, tables []*export.Table) error) error {
	s := &standing{x: x, rows: map[string][]export.Row{}, readings: map[events.ID]reading{}}
	err := x.f.app.read(ctx, x.q.Asked, func(_ *farm, b *projections.Book, assumed int) error {
		x.doc.Assumed, s.size, s.zone = assumed, b.Size(), b.Zone()
		return s.gather(b)
	})
	if err != nil {
		return err
	}
	tables := map[string]*export.Table{}
	add := func(kind string, r export.Row) {
		t := tables[kind]
		if t == nil {
			t = export.NewTable(events.Standard().Kind(kind))
			tables[kind] = t
		}
		t.See(r)
	}
	for kind, rows := range s.rows {
		for _, r := range rows {
			add(kind, r)
		}
	}
	for _, kind := range streamed {
		if !x.wantsStreamed(kind) {
			continue
		}
		for r, err := range s.of(ctx, kind) {
			if err != nil {
				return err
			}
			add(kind, r)
		}
	}
	for _, k := range x.kinds { // a kind that was asked for by name and has no rows is an empty table
		if tables[k.Name] == nil {
			tables[k.Name] = export.NewTable(k)
		}
	}
	list := make([]*export.Table, 0, len(tables))
	for _, t := range tables {
		list = append(list, t)
		x.doc.Records += t.Rows()
	}
	export.ByKind(events.Standard(), list)
	x.mark()
	return write(ctx, s, list)
}

// streamed are the kinds that are no facts of the Book: readings, and what is said about other records.
var streamed = []string{weatherKind, correctedKind, withdrawnKind}

const (
	weatherKind   = "weather.read"
	correctedKind = "record.corrected"
	withdrawnKind = "record.withdrawn"
)

// wantsStreamed leaves out what is said about other records, unless it was asked for by name: the rows of a table have it
// already.
func (x *exporting) wantsStreamed(kind string) bool {
	return x.wants(kind) && (len(x.kinds) > 0 || kind == weatherKind)
}

// gather makes rows of the facts that stand.
func (s *standing) gather(b *projections.Book) error {
	for _, f := range b.Facts() {
		switch {
		case f.Kind == weatherKind:
			r := reading{withdrawn: !f.Stands(), at: f.Time, corrections: len(f.Corrections)}
			if r.corrections > 0 && f.Stands() {
				var err error
				if r.data, err = export.Newest(f.Kind, f.Version, f.Raw()); err != nil {
					return err
				}
			}
			s.readings[f.ID] = r
		case f.Stands() && s.x.wants(f.Kind) && s.x.within(f.Time) && s.x.inBlock(f):
			r, err := export.RowOf(f)
			if err != nil {
				return err
			}
			s.rows[f.Kind] = append(s.rows[f.Kind], r)
		}
	}
	return nil
}

func (x *exporting) inBlock(f *projections.Fact) bool {
	return x.q.Block == "" || slices.Contains(projections.KeysOf(f), projections.Key{Class: projections.Block, Code: x.q.Block})
}

// of gives the rows of a kind.
func (s *standing) of(ctx context.Context, kind string) iter.Seq2[export.Row, error] {
	return func(yield func(export.Row, error) bool) {
		if !slices.Contains(streamed, kind) {
			for _, r := range s.rows[kind] {
				if !yield(r, nil) {
					return
				}
			}
			return
		}
		for r, err := range records(ctx, s.x.f) {
			switch {
			case err != nil:
				yield(export.Row{}, err)
				return
			case r.Place > s.size && s.x.knowledge.By.IsZero():
				return
			case r.Kind != kind:
				continue
			}
			row, ok, err := s.streamed(r)
			if err != nil || ok {
				if !yield(row, err) || err != nil {
					return
				}
			}
		}
	}
}

// streamed makes a row of a record that is no fact, if it is wanted.
func (s *standing) streamed(r *events.Record) (export.Row, bool, error) {
	x := s.x
	if known, _ := x.knowledge.Takes(r, s.zone); !known {
		return export.Row{}, false, nil
	}
	row := export.RowOfRecord(r)
	at, said := r.Time, s.readings[r.ID]
	if said.withdrawn {
		return row, false, nil
	}
	if said.corrections > 0 {
		row.Data, row.Corrections = said.data, said.corrections
		if !said.at.Equal(at) {
			at, row.Time = said.at, civil.FormatTime(said.at)
		}
	} else {
		var err error
		if row.Data, err = export.Newest(r.Kind, r.Version, r.Data); err != nil {
			return row, false, err
		}
	}
	return row, x.within(at) && (x.q.Block == "" || chained(r, x.q.Block)), nil
}

// csv writes the one table that was asked for.
func (x *exporting) csv(ctx context.Context, s *standing, tables []*export.Table) error {
	w := x.pieces()
	if err := tables[0].CSV(w, s.of(ctx, tables[0].Kind.Name)); err != nil {
		return err
	}
	return w.flush()
}

// workbook writes a sheet a kind.
func (x *exporting) workbook(ctx context.Context, s *standing, tables []*export.Table) error {
	w := x.pieces()
	about := export.About{
		Farm: x.f.code, Zone: s.zone.String(), Size: x.doc.Size, Root: x.doc.Root, KnownBy: cmp.Or(x.q.KnownBy, x.q.KnownByClaim),
	}
	err := export.Workbook(w, about, tables, func(kind string) iter.Seq2[export.Row, error] { return s.of(ctx, kind) })
	var long *export.TooLong
	switch {
	case errors.As(err, &long):
		return &serve.Fault{Exit: 1, Text: words.Say("out.too-long", "id", long.ID), Err: err}
	case err != nil:
		return err
	}
	return w.flush()
}

// geojson writes blocks and trees as they stand.
func (x *exporting) geojson(ctx context.Context) error {
	if len(x.kinds) > 0 || x.q.From != "" || x.q.To != "" {
		return &serve.Fault{Exit: 2, Text: words.Say("out.geojson-whole")}
	}
	w := x.pieces()
	var body []byte
	err := x.f.app.read(ctx, x.q.Asked, func(f *farm, b *projections.Book, assumed int) error {
		x.doc.Assumed = assumed
		at := f.app.o.Now()
		if !x.knowledge.By.IsZero() {
			at = x.knowledge.By
		}
		var err error
		body, x.doc.Records, err = export.Ground(b, at, x.q.Block)
		return err
	})
	if err != nil {
		return err
	}
	x.mark()
	if _, err := w.Write(body); err != nil {
		return err
	}
	return w.flush()
}

// pieces is a writer whose bytes are handed over as progress.
func (x *exporting) pieces() *pieces { return &pieces{progress: x.progress} }

type pieces struct {
	progress func(any)
	buf      []byte
}

var _ io.Writer = (*pieces)(nil)

// pieceSize is how many bytes are handed over at a time.
const pieceSize = 64 << 10

func (p *pieces) Write(b []byte) (int, error) {
	p.buf = append(p.buf, b...)
	if len(p.buf) >= pieceSize {
		return len(b), p.flush()
	}
	return len(b), nil
}

func (p *pieces) flush() error {
	if len(p.buf) > 0 {
		p.progress(Piece{p.buf})
		p.buf = nil
	}
	return nil
}
