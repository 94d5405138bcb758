package app

import (
	"bytes"
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"sync"
	"time"

	"latewood/events"
	"latewood/events/canon"
	"latewood/events/civil"
	"latewood/events/words"
	"latewood/projections"
	"latewood/services/ingest"
	"latewood/services/record"
	"latewood/services/serve"
)

// ImportRequest takes a file in.
type ImportRequest struct {
	Farm         string `json:"farm,omitempty"`
	Name         string `json:"name"`
	As           string `json:"as,omitempty"`
	Map          string `json:"map,omitempty"`   // inline, or the text of a map file
	Sheet        string `json:"sheet,omitempty"` // of a workbook, by name or pattern
	Station      string `json:"station,omitempty"`
	Zone         string `json:"zone,omitempty"`
	Check        bool   `json:"check,omitempty"`
	AllOrNothing bool   `json:"allOrNothing,omitempty"`
	ProposeMap   bool   `json:"proposeMap,omitempty"`
}

// Imported answers an import.
type Imported struct {
	Recorded
	RowsRead    int      `json:"rows"`
	RowsRefused int      `json:"rowsRefused"`
	LeftOut     []string `json:"leftOut,omitempty"` // headings that the map leaves out
	// Values of a weather archive that no record can hold or that the archive rejects: how many, and the first thousand.
	ValuesLeftOut int       `json:"valuesLeftOut,omitempty"`
	LeftValues    []Refusal `json:"leftValues,omitempty"`
	Map           string    `json:"map,omitempty"`     // the map proposed
	Preview       []string  `json:"preview,omitempty"` // the first records that it would make
}

// Rows counts the rows that refusals are about.
func (d Imported) Rows(refused []Refusal) int {
	type row struct {
		sheet string
		line  int
	}
	lines := map[row]bool{}
	for _, r := range refused {
		lines[row{r.Sheet, r.Line}] = true
	}
	return max(len(lines), d.RowsRefused)
}

// Progress is told while a long import runs.
type Progress struct {
	Rows int `json:"rows"`
}

// importRun is how many rows are prepared and appended together.
const importRun = 1000

// mostRefusals is how many refusals one answer lists; the rest is counted. A file of another kind would else be answered
// with a line for each of its cells.
const mostRefusals = 10000

func (a *App) opImport(ctx context.Context, q ImportRequest, file serve.File, progress func(any)) (any, int, error) {
	if file == nil {
		return nil, 2, &serve.Fault{Exit: 2, Text: words.Say("app.no-file")}
	}
	seek, done, err := seekable(file)
	if err != nil {
		return nil, 1, err
	}
	defer done()
	f, opened, err := a.importFarm(ctx, q, seek)
	if err != nil {
		return importFault(err)
	}
	m := &importing{f: f, naming: f.naming(true), q: q, file: seek, progress: progress, doc: Imported{Recorded: Recorded{Refused: []Refusal{}, Flagged: []Flagged{}}}}
	if err := m.run(ctx, opened); err != nil {
		return importFault(err)
	}
	f.stamp(&m.doc.Recorded)
	if m.doc.RowsRefused > 0 {
		return m.doc, 1, nil
	}
	return m.doc, 0, nil
}

// importFault answers faults of the whole file as refusals, so that scripts find them where they find all others.
func importFault(err error) (any, int, error) {
	var refused ingest.Refusals
	if !errors.As(err, &refused) {
		return nil, 1, err
	}
	doc := Imported{Recorded: Recorded{Refused: []Refusal{}, Flagged: []Flagged{}}, RowsRefused: len(refused)}
	for _, r := range refused {
		doc.Refused = append(doc.Refused, Refusal{
			File: r.File, Sheet: r.Sheet, Line: r.Line, Field: r.Problem.Field, Column: r.Column, Value: r.Problem.Value,
			Why: r.Problem.Why.String(), Instead: r.Problem.Instead.String(),
		})
	}
	return doc, 1, nil
}

// seekable lets a file be read twice: what came over HTTP is put into a temporary file first.
func seekable(file serve.File) (io.ReadSeeker, func(), error) {
	if s, ok := file.(io.ReadSeeker); ok {
		return s, func() {}, nil
	}
	temp, err := os.CreateTemp("", "latewood-import-*")
	if err != nil {
		return nil, nil, err
	}
	done := func() {
		temp.Close()
		os.Remove(temp.Name())
	}
	if _, err := io.Copy(temp, file); err != nil {
		done()
		return nil, nil, err
	}
	_, err = temp.Seek(0, io.SeekStart)
	return temp, done, err
}

// importFarm finds the farm that a file goes to. A file that begins with farm.opened opens one in an empty folder.
func (a *App) importFarm(ctx context.Context, q ImportRequest, file io.ReadSeeker) (f *farm, opened bool, err error) {
	codes, err := a.Codes()
	if err != nil {
		return nil, false, err
	}
	if len(codes) > 0 && (q.Farm == "" || slices.Contains(codes, q.Farm)) {
		f, err := a.farm(ctx, q.Farm)
		return f, err == nil && f.recorder.Head().Size == 0, err
	}
	name, zone := beginsFarm(file, q)
	if _, err := file.Seek(0, io.SeekStart); err != nil {
		return nil, false, err
	}
	if name == "" {
		return nil, false, &serve.Fault{Exit: 1, Text: words.Say("app.no-farm", "dir", a.o.Dir)}
	}
	code := q.Farm
	if code == "" {
		code = events.NearestCode(name)
	}
	if !events.IsCode(code) {
		return nil, false, &serve.Fault{Exit: 2, Text: words.Say("app.farm-code", "farm", code, "near", events.NearestCode(name))}
	}
	f, err = a.openFarm(ctx, code, zone)
	return f, true, err
}

// beginsFarm reads the first row of a file: the name and zone of the farm if it opens one.
func beginsFarm(file io.Reader, q ImportRequest) (name, zone string) {
	r, err := ingest.Open(file, ingest.Options{Name: q.Name, As: q.As, Sheet: q.Sheet, Zone: time.UTC})
	if err != nil {
		return "", ""
	}
	row, err := r.Next()
	if err != nil {
		return "", ""
	}
	if kind, _, _ := events.SplitType(row.Draft.Type + ".v1"); kind != "farm.opened" && row.Draft.Type != "farm.opened.v1" {
		return "", ""
	}
	door := events.Door{Catalogue: events.Standard(), Farm: "new", Zone: time.UTC}
	if _, problems := door.Check(row.Draft); len(problems) > 0 {
		return "", ""
	}
	return row.Draft.Data.Get("name").Str, row.Draft.Data.Get("zone").Str
}

// importing is one import under way.
type importing struct {
	f        *farm
	q        ImportRequest
	file     io.ReadSeeker
	progress func(any)
	doc      Imported
	batch    events.ID
	hash     string
	opens    bool // the first row opens the farm
	// refusing guards the refusals: rows are read while rows before them are appended.
	refusing sync.Mutex
	naming   *naming
}

func (m *importing) run(ctx context.Context, opens bool) error {
	m.opens = opens
	if m.q.ProposeMap {
		return m.propose(ctx)
	}
	var random [10]byte
	if _, err := rand.Read(random[:]); err != nil {
		return fmt.Errorf("app: random bytes: %w", err)
	}
	m.batch = events.NewID(m.f.app.o.Now().UnixMilli(), random)
	if m.q.Check || m.q.AllOrNothing {
		if err := m.pass(ctx, record.NewTrial()); err != nil {
			return err
		}
		if m.q.Check || m.doc.RowsRefused > 0 {
			if m.doc.RowsRefused > 0 && !m.q.Check {
				m.doc.Recorded.Recorded, m.doc.Known = 0, 0
			}
			return nil
		}
		if _, err := m.file.Seek(0, io.SeekStart); err != nil {
			return err
		}
		m.doc = Imported{Recorded: Recorded{Refused: []Refusal{}, Flagged: []Flagged{}}}
	}
	flagged, held, err := m.f.flagged(ctx, func() error {
		if err := m.pass(ctx, nil); err != nil {
			return err
		}
		return m.finish(ctx)
	})
	m.doc.Flagged, m.doc.Held = flagged, held
	return err
}

// options say how to read the file.
func (m *importing) options() (ingest.Options, error) {
	o := ingest.Options{Name: m.q.Name, As: m.q.As, Sheet: m.q.Sheet, Station: m.q.Station, Zone: m.f.zone(), Codes: m.f.blocks()}
	if m.q.Zone != "" {
		zone, err := civil.Zone(m.q.Zone)
		if err != nil {
			return o, &serve.Fault{Exit: 2, Text: words.Say("app.zone", "zone", m.q.Zone), Err: err}
		}
		o.Zone = zone
	}
	if m.q.Map != "" {
		mapped, err := ingest.ParseMap(m.q.Map)
		if err != nil {
			return o, err
		}
		o.Map = mapped
	}
	return o, nil
}

// pass reads the file once and records it, or with a trial only checks it. While one run of rows is appended the next is
// read and prepared.
func (m *importing) pass(ctx context.Context, trial *record.Trial) error {
	o, err := m.options()
	if err != nil {
		return err
	}
	sum := sha256.New()
	in := io.TeeReader(m.file, sum)
	r, err := ingest.Open(in, o)
	if err != nil {
		return err
	}
	m.doc.LeftOut = r.LeftOut()
	equal := record.NewRows()
	var under chan error // the append that is under way
	settle := func() error {
		if under == nil {
			return nil
		}
		err := <-under
		under = nil
		return err
	}
	for ended := false; !ended; {
		rows := make([]ingest.Row, 0, importRun)
		for len(rows) < importRun {
			row, err := r.Next()
			if errors.Is(err, io.EOF) {
				ended = true
				break
			}
			if err != nil {
				return errors.Join(settle(), err)
			}
			m.doc.RowsRead++
			if len(row.Problems) > 0 {
				m.refuse(row, row.Problems)
				continue
			}
			draft, problems, err := m.naming.draft(ctx, row.Draft)
			if err != nil {
				return errors.Join(settle(), err)
			}
			if len(problems) > 0 {
				m.refuse(row, problems)
				continue
			}
			row.Draft = draft
			rows = append(rows, row)
			if m.opens && m.doc.RowsRead == 1 {
				break // the farm's first record goes in alone: what follows is read in its zone
			}
		}
		proposals := make([]record.Proposal, len(rows))
		for i := range rows {
			proposals[i] = m.proposal(&rows[i], equal)
		}
		prepared, err := m.f.recorder.Prepare(proposals)
		if err != nil {
			return errors.Join(settle(), err)
		}
		if err := settle(); err != nil {
			return m.f.cannotRecord(err)
		}
		m.progress(Progress{m.doc.RowsRead})
		if err := ctx.Err(); err != nil {
			return &serve.Fault{Exit: 1, Text: words.Say("app.interrupted", "rows", m.doc.Recorded.Recorded), Err: err}
		}
		if len(rows) == 0 {
			continue
		}
		under = make(chan error, 1)
		go func() { under <- m.take(ctx, prepared, rows, trial) }()
	}
	if err := settle(); err != nil {
		return m.f.cannotRecord(err)
	}
	left, n := r.LeftValues()
	m.doc.ValuesLeftOut = n
	for _, l := range left {
		m.doc.LeftValues = append(m.doc.LeftValues, refusals(m.q.Name, l.Line, events.Problems{l.Problem}, nil)...)
	}
	if _, err := io.Copy(io.Discard, in); err != nil { // what the reader did not need to see belongs to the hash
		return err
	}
	m.hash = hex.EncodeToString(sum.Sum(nil))
	return nil
}

func (m *importing) proposal(row *ingest.Row, equal *record.Rows) record.Proposal {
	d := row.Draft
	if d.DeviceTime != "" && row.Recorded != "" {
		d.DeviceTime = m.keepOffset(d.DeviceTime, row.Recorded)
	}
	return record.Proposal{Draft: d, Device: "import", Batch: m.batch, Rows: equal, DefaultActor: m.f.owner}
}

// keepOffset moves the time of sending of an old record so that its device is as far off the clock now as it was then.
func (m *importing) keepOffset(device, recorded string) string {
	_, sent, err1 := events.DeviceClock(device)
	at, err2 := time.Parse(time.RFC3339, recorded)
	if err1 != nil || err2 != nil {
		return device
	}
	written, _, _ := bytes.Cut([]byte(device), []byte(" "))
	return string(written) + " " + civil.FormatTime(m.f.app.o.Now().Add(sent.Sub(at)))
}

// take appends a run of rows, or tries it.
func (m *importing) take(ctx context.Context, p *record.Prepared, rows []ingest.Row, trial *record.Trial) error {
	var receipts []record.Receipt
	var err error
	if trial != nil {
		receipts, err = m.f.recorder.Try(ctx, trial, p)
	} else {
		receipts, err = m.f.recorder.Commit(ctx, p)
	}
	if err != nil {
		return err
	}
	if trial == nil {
		if err := m.f.beginSeal(ctx); err != nil { // a ledger is sealed from its first record on
			return err
		}
	}
	for i, r := range receipts {
		switch {
		case len(r.Problems) > 0:
			m.refuse(rows[i], r.Problems)
		case r.Known:
			m.doc.Known++
		default:
			m.doc.Recorded.Recorded++
		}
	}
	return nil
}

func (m *importing) refuse(row ingest.Row, problems events.Problems) {
	m.refusing.Lock()
	defer m.refusing.Unlock()
	m.doc.RowsRefused++
	if len(m.doc.Refused) < mostRefusals {
		told := refusals(m.q.Name, row.Line, problems, row.ColumnOf)
		for i := range told {
			told[i].Sheet = row.Sheet
		}
		m.doc.Refused = append(m.doc.Refused, told...)
	}
}

// finish appends import.made, if a row was recorded.
func (m *importing) finish(ctx context.Context) error {
	if m.doc.Refused != nil && !slices.ContainsFunc(m.doc.Refused, func(r Refusal) bool { return r.Sheet != m.doc.Refused[0].Sheet }) {
		slices.SortStableFunc(m.doc.Refused, func(a, b Refusal) int { return a.Line - b.Line })
	}
	if m.doc.Recorded.Recorded == 0 {
		return nil
	}
	data := events.ImportMade{
		File: events.ImportedFile{Name: m.q.Name, SHA256: m.hash}, Map: m.q.Map,
		Rows: m.doc.RowsRead, Recorded: m.doc.Recorded.Recorded, Refused: m.doc.RowsRefused,
	}
	receipts, err := m.f.recorder.Record(ctx, []record.Proposal{{
		Draft:  events.Draft{ID: m.batch.String(), Type: "import.made", Actor: m.f.owner, Data: events.Encode(data)},
		Device: "import", Clock: true,
	}})
	if err != nil {
		return m.f.cannotRecord(err)
	}
	if p := receipts[0].Problems; len(p) > 0 {
		return p
	}
	m.doc.Batch = m.batch.String()
	return nil
}

// previewed is how many records a proposed map is shown with.
const previewed = 5

// propose guesses a map from the headings and shows the first records that it would make.
func (m *importing) propose(ctx context.Context) error {
	o, err := m.options()
	if err != nil {
		return err
	}
	mapped, err := ingest.Propose(m.file, o)
	if err != nil {
		return err
	}
	m.doc.Map = mapped.String()
	if _, err := m.file.Seek(0, io.SeekStart); err != nil {
		return err
	}
	o.Map = mapped
	r, err := ingest.Open(m.file, o)
	if err != nil { // the map still wants a person's hand, as a unit that no heading tells: it is written all the same
		fault, _, err := importFault(err)
		if told, ok := fault.(Imported); ok {
			m.doc.Refused, m.doc.RowsRefused = told.Refused, told.RowsRefused
		}
		return err
	}
	for range previewed {
		row, err := r.Next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return err
		}
		m.doc.RowsRead++
		if len(row.Problems) > 0 {
			m.refuse(row, row.Problems)
			continue
		}
		draft, problems, err := m.naming.draft(ctx, row.Draft)
		if err != nil {
			return err
		}
		if len(problems) > 0 {
			m.refuse(row, problems)
			continue
		}
		m.doc.Preview = append(m.doc.Preview, draft.Type+" "+draft.Time+" "+string(canon.Bytes(draft.Data)))
	}
	return nil
}

// blocks lists the codes of the farm's blocks, by which numbers are told that have lost their zeros.
func (f *farm) blocks() []string {
	var out []string
	_ = f.projector.With(func(b *projections.Book) error {
		out = b.Keys(projections.Block)
		return nil
	})
	return out
}
