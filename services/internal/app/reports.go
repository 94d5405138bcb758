package app

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"maps"
	"runtime/debug"
	"slices"
	"strings"
	"time"

	"latewood/events"
	"latewood/events/civil"
	"latewood/events/words"
	"latewood/projections"
	"latewood/projections/elements"
	"latewood/services/internal/paper"
	"latewood/services/record"
	"latewood/services/report"
	"latewood/services/report/field"
	"latewood/services/serve"
)

// ReportRequest asks for a report in a format. What a kind does not know of is left alone.
type ReportRequest struct {
	Asked
	Kind   string   `json:"kind"`
	Season string   `json:"season,omitempty"`
	From   string   `json:"from,omitempty"`
	To     string   `json:"to,omitempty"`
	On     string   `json:"on,omitempty"` // a day or a moment; empty: now
	Block  string   `json:"block,omitempty"`
	Spray  string   `json:"spray,omitempty"`
	Lots   []string `json:"lots,omitempty"`
	// Commodity is a cultivar or product, or a part of its name.
	Commodity string `json:"commodity,omitempty"`
	Lang      string `json:"lang,omitempty"`
	Format    string `json:"format,omitempty"`
	Paper     string `json:"paper,omitempty"`
	Table     string `json:"table,omitempty"` // of CSV, by its key; empty: the first
	// Issue has it recorded that this report was handed out, with the hash of its bytes. IssueTo is to whom: a business.
	Issue   bool   `json:"issue,omitempty"`
	IssueTo string `json:"issueTo,omitempty"`
}

// Reported ends a report; its bytes came as pieces.
type Reported struct {
	Kind   string `json:"kind"`
	Format string `json:"format"`
	Bytes  int    `json:"bytes"`
	Size   uint64 `json:"size"`
	Root   string `json:"root"`
	// Letters are those that the font of a PDF does not have.
	Letters string `json:"letters,omitempty"`
	// Hash is the SHA-256 of the bytes, and Issued the id of the record that says so.
	Hash   string `json:"hash"`
	Issued string `json:"issued,omitempty"`
}

// A reporter builds one kind of report from a Book. at is the moment that the answer is for.
type reporter func(f *farm, b *projections.Book, q ReportRequest, at time.Time) (*report.Report, error)

// reporters is the table of reports: one line a kind.
func reporters() map[string]reporter {
	return map[string]reporter{
		"sprays":        ofSprays(field.Sprays),
		"posting":       ofSprays(field.Posting),
		"customer-copy": ofSprays(field.CustomerCopy),
		"ingredients":   ofSprays(field.Ingredients),
		"exposure":      ofSprays(field.Exposure),
		"trace-sheet":   traceSheet,
	}
}

// daysAsked reads the days of a request.
func daysAsked(q ReportRequest, from, to *civil.Date) error {
	for _, d := range []struct {
		text string
		into *civil.Date
	}{{q.From, from}, {q.To, to}} {
		if d.text == "" {
			continue
		}
		var err error
		if *d.into, err = civil.ParseDate(d.text); err != nil {
			return &serve.Fault{Exit: 2, Text: words.Say("app.moment", "text", d.text), Err: err}
		}
	}
	if q.From != "" && q.To != "" && to.Before(*from) {
		return &serve.Fault{Exit: 2, Text: words.Say("out.from-after-to", "from", q.From, "to", q.To)}
	}
	return nil
}

// ofSprays makes a reporter of a function that builds a report about sprays.
func ofSprays(build func(*projections.Book, field.Query, field.People) *report.Report) reporter {
	return func(f *farm, b *projections.Book, q ReportRequest, at time.Time) (*report.Report, error) {
		query := field.Query{Lang: q.Lang, Block: q.Block, At: at}
		if err := daysAsked(q, &query.From, &query.To); err != nil {
			return nil, err
		}
		if q.Season != "" {
			s, err := civil.ParseSeason(q.Season)
			if err != nil {
				return nil, &serve.Fault{Exit: 2, Text: words.Say("app.season", "text", q.Season), Err: err}
			}
			query.Season = s
		}
		if q.Block != "" && !slices.Contains(b.Keys(projections.Block), q.Block) {
			return nil, &serve.Fault{Exit: 2, Text: words.Say("report.no-block", "block", q.Block, "blocks", list(b.Keys(projections.Block)))}
		}
		if q.Spray != "" {
			id, err := events.ParseID(q.Spray)
			if err != nil {
				return nil, &serve.Fault{Exit: 2, Text: words.Say("app.id", "text", q.Spray), Err: err}
			}
			fact := b.Fact(id)
			if fact == nil || fact.Kind != "spray.applied" || !fact.Stands() {
				return nil, &serve.Fault{Exit: 1, Text: words.Say("report.no-spray", "id", q.Spray)}
			}
			query.Spray = fact.ID.String()
		}
		return build(b, query, f.who), nil
	}
}

// who is what the register says of a pseudonym, and the number of the certificate behind a commitment.
func (f *farm) who(code, commitment string) field.Who {
	p, ok := f.people.Get(code)
	if !ok {
		return field.Who{}
	}
	out := field.Who{Name: p.Name, Tag: p.Tag}
	for _, proof := range p.Proofs() {
		if commitment != "" && proof.Commitment == commitment {
			out.Certificate = proof.Number
		}
	}
	return out
}

func (a *App) opReport(ctx context.Context, q ReportRequest, _ serve.File, progress func(any)) (any, int, error) {
	build := reporters()[q.Kind]
	if build == nil {
		return nil, 2, &serve.Fault{Exit: 2, Text: words.Say("report.no-kind", "kind", q.Kind, "kinds", strings.Join(slices.Sorted(maps.Keys(reporters())), ", "))}
	}
	if q.Lang != "" {
		if _, err := words.In(q.Lang); err != nil {
			return nil, 2, &serve.Fault{Exit: 2, Text: words.Say("report.no-language", "lang", q.Lang, "languages", strings.Join(words.Languages(), ", ")), Err: err}
		}
	}
	if q.Paper != "" && !slices.Contains(paper.Sizes(), paper.Size(q.Paper)) {
		return nil, 2, &serve.Fault{Exit: 2, Text: words.Say("people.paper", "paper", q.Paper)}
	}
	var r *report.Report
	var of *farm
	err := a.read(ctx, q.Asked, func(f *farm, b *projections.Book, assumed int) error {
		of = f
		at, err := momentAsked(q.On, a.o.Now(), b.Zone())
		if err != nil {
			return err
		}
		if r, err = build(f, b, q, at); err != nil {
			return err
		}
		say := report.Language(q.Lang)
		if q.KnownBy+q.KnownByClaim != "" {
			r.Covers = append(r.Covers, report.Field{Key: "known-by", Name: say.Say("report.known-by"), Value: report.Text(q.KnownBy + q.KnownByClaim)})
			if q.KnownByClaim != "" {
				r.Foot.Method = append(r.Foot.Method, say.Say("report.assumed", "n", assumed))
			}
		}
		r.Foot.Size, r.Foot.Root = f.mark()
		r.Foot.Sealed = f.sealed(r.Foot.Size)
		r.Foot.Version = built()
		if r.Foot.Made.IsZero() {
			r.Foot.Made = civil.DateOf(at, b.Zone())
		}
		return nil
	})
	if err != nil {
		return nil, 1, err
	}
	var out bytes.Buffer
	lack, err := r.Render(&out, report.Format(q.Format), report.Options{Paper: paper.Size(q.Paper), Table: q.Table})
	switch {
	case errors.Is(err, report.ErrNoTable):
		return nil, 2, &serve.Fault{Exit: 2, Text: words.Say("report.no-table", "kind", q.Kind, "tables", list(r.TableKeys())), Err: err}
	case errors.Is(err, report.ErrFormat):
		return nil, 2, &serve.Fault{Exit: 2, Text: words.Say("report.no-format", "format", q.Format, "formats", formats()), Err: err}
	case err != nil:
		return nil, 1, fmt.Errorf("app: report %s: %w", q.Kind, err)
	}
	hash := sha256.Sum256(out.Bytes())
	doc := Reported{Kind: q.Kind, Format: q.Format, Bytes: out.Len(), Size: r.Foot.Size, Root: r.Foot.Root, Letters: lack, Hash: hex.EncodeToString(hash[:])}
	const piece = 256 << 10 // what one answer of another process carries
	for rest := out.Bytes(); len(rest) > 0; {
		n := min(len(rest), piece)
		progress(Piece{Bytes: rest[:n]})
		rest = rest[n:]
	}
	if q.Issue {
		// If we crash here, the report went out and no record says so; the other way round would be worse.
		return of.issue(ctx, q, doc)
	}
	return doc, 0, nil
}

// issue records that a report was handed out.
func (f *farm) issue(ctx context.Context, q ReportRequest, doc Reported) (any, int, error) {
	issued := events.ReportIssued{Kind: q.Kind, Season: q.Season, Hash: doc.Hash, Size: int(doc.Size), Root: doc.Root}
	if q.IssueTo != "" {
		issued.To = &events.Party{Name: q.IssueTo}
	}
	draft, problems, err := f.naming(false).draft(ctx, events.Draft{Type: "report.issued", Data: events.Encode(issued)})
	if err != nil {
		return nil, 1, err
	}
	if len(problems) > 0 {
		return nil, 1, &serve.Fault{Exit: 1, Text: problems.Error(), Err: problems}
	}
	recorded, exit, err := f.record(ctx, []record.Proposal{{Draft: draft, Device: "cli", Clock: true}})
	if err != nil {
		return nil, exit, err
	}
	if len(recorded.Refused) > 0 || len(recorded.IDs) == 0 {
		return nil, 1, &serve.Fault{Exit: 1, Text: words.Say("report.not-issued", "kind", q.Kind)}
	}
	doc.Issued = recorded.IDs[0]
	return doc, 0, nil
}

func formats() string {
	var out []string
	for _, f := range report.Formats() {
		out = append(out, string(f))
	}
	return strings.Join(out, ", ")
}

// momentAsked reads a day or a moment that is asked about: of today the moment that it is, of another day its last second.
func momentAsked(text string, now time.Time, zone *time.Location) (time.Time, error) {
	if text == "" {
		return now, nil
	}
	m, err := events.ParseMoment(text, zone)
	if err != nil {
		return time.Time{}, &serve.Fault{Exit: 2, Text: words.Say("app.moment", "text", text), Err: err}
	}
	if m.Only && m.Day == civil.DateOf(now, zone) {
		return now, nil
	}
	if m.Only {
		return civil.DayEnd(m.Day, zone).Add(-time.Second), nil
	}
	return m.At, nil
}

// built is what the program was built from.
func built() string {
	if info, ok := debug.ReadBuildInfo(); ok && info.Main.Version != "" && info.Main.Version[0] == 'v' {
		return info.Main.Version
	}
	return "devel"
}

// Lacking is an element that records lack.
type Lacking struct {
	elements.Count
	Words string `json:"words"`
}

// LackingOne is an element that a record lacks.
type LackingOne struct {
	elements.Missing
	Words string `json:"words"`
}

// lackingYears is how far back status looks: as long as 7 CFR 110.3(d) has spray records kept.
const lackingYears = 2

// lacking counts what the records of the last years up to a moment lack. It never gives nil.
func (f *farm) lacking(b *projections.Book, at time.Time) []Lacking {
	out := []Lacking{}
	for _, c := range elements.Lacking(b, f.named, at.AddDate(-lackingYears, 0, 0), at) {
		out = append(out, Lacking{c, c.Words(report.Language(words.English))})
	}
	return out
}

// missing is what one record lacks.
func (f *farm) missing(b *projections.Book, fact *projections.Fact) (out []LackingOne) {
	for _, m := range elements.OfFact(b, fact, f.named) {
		out = append(out, LackingOne{m, m.Words(report.Language(words.English))})
	}
	return out
}

// named reports whether the register has a name for a pseudonym.
func (f *farm) named(code string) bool {
	p, ok := f.people.Get(code)
	return ok && p.Name != ""
}
