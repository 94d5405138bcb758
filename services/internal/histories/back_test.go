package histories

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"iter"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"latewood/events"
	"latewood/events/canon"
	"latewood/events/civil"
	"latewood/projections"
	"latewood/services/export"
	"latewood/services/ingest"
	"latewood/services/record"
)

// TestThereAndBack takes ledgers out and brings them in elsewhere: as stored, and as tables of every kind.
func TestThereAndBack(t *testing.T) {
	t.Parallel()
	histories, longest := counted()
	if histories = histories / 2; histories > 100 {
		histories = 100 // orders are not shuffled here, so that fewer say as much
	}
	var whole, rows, tables int
	kinds := map[string]bool{}
	for seed := range histories {
		r := rand.New(rand.NewPCG(uint64(seed), 31))
		m := makeHistory(uint64(seed), longest)
		a := build(t, snapshotPath(t))
		a.record(m.entries, r, &tally{kinds: map[string]int{}, reasons: map[string]int{}, corrected: map[string]int{}, withdrawn: map[string]int{}})
		whole += wholeBack(t, a)
		n, seen := tablesBack(t, a, m.zone)
		rows += n
		for kind := range seen {
			kinds[kind] = true
			tables++
		}
		a.stop()
	}
	t.Logf("counts: %d histories out and back: %d records as stored, %d rows in %d tables of %d kinds, each as CSV and as XLSX", histories, whole, rows, tables, len(kinds))
	if len(kinds) < 60 {
		t.Errorf("only %d kinds came out in tables", len(kinds))
	}
}

// wholeBack brings the records of a ledger into an empty one and holds the states of all folds and all flags against each
// other. What was known when is another matter: records are known elsewhere from when they come in.
func wholeBack(t *testing.T, a *house) int {
	t.Helper()
	var file bytes.Buffer
	for _, rec := range a.records() {
		file.Write(rec.Body)
		file.WriteByte('\n')
	}
	b := build(t, snapshotPath(t))
	defer b.stop()
	b.now = a.clock().Add(400 * 24 * time.Hour)
	in, err := ingest.Open(&file, ingest.Options{Name: "export.jsonl"})
	if err != nil {
		t.Fatal(err)
	}
	equal := record.NewRows()
	var all []record.Proposal
	for row, err := range rowsOf(in) {
		if err != nil {
			t.Fatal(err)
		}
		if len(row.Problems) > 0 {
			t.Fatalf("line %d: %v", row.Line, row.Problems)
		}
		d := row.Draft
		if d.DeviceTime != "" { // as import does: the device is as far off as it was
			written, _, _ := strings.Cut(d.DeviceTime, " ")
			_, sent, err := events.DeviceClock(d.DeviceTime)
			at, err2 := time.Parse(time.RFC3339, row.Recorded)
			if err := errors.Join(err, err2); err != nil {
				t.Fatal(err)
			}
			d.DeviceTime = written + " " + civil.FormatTime(b.now.Add(sent.Sub(at)))
		}
		all = append(all, record.Proposal{Draft: d, Device: "import", Rows: equal})
	}
	for len(all) > 0 {
		n := min(len(all), 50)
		if len(all) == a.size() {
			n = 1 // the farm is opened alone: what follows is read in its zone
		}
		got, err := b.rec.Record(context.Background(), all[:n])
		if err != nil {
			t.Fatal(err)
		}
		for i, rc := range got {
			if len(rc.Problems) > 0 || rc.Known {
				t.Fatalf("%s is refused or known: %v", all[i].Draft.ID, rc.Problems)
			}
		}
		all = all[n:]
	}
	if err := b.proj.Wait(context.Background(), b.rec.Head().Size); err != nil {
		t.Fatal(err)
	}
	if want, got := a.says(), b.says(); !bytes.Equal(want, got) {
		t.Fatalf("brought in elsewhere the records say something else:\n%s", diff(want, got))
	}
	return a.size()
}

func (h *house) size() int { return int(h.rec.Head().Size) }

// rowsOf reads to the end.
func rowsOf(in *ingest.Reader) iter.Seq2[ingest.Row, error] {
	return func(yield func(ingest.Row, error) bool) {
		for {
			row, err := in.Next()
			if errors.Is(err, io.EOF) || !yield(row, err) || err != nil {
				return
			}
		}
	}
}

// tablesBack writes what stands as tables and reads them again: the same ids, times, writers and data, to the byte.
func tablesBack(t *testing.T, a *house, zone *time.Location) (n int, kinds map[string]bool) {
	t.Helper()
	byKind := map[string][]export.Row{}
	readings := map[events.ID]*events.Record{}
	for _, rec := range a.records() {
		if rec.Kind == "weather.read" {
			readings[rec.ID] = rec
		}
	}
	err := a.proj.With(func(b *projections.Book) error {
		for _, f := range b.Facts() {
			if !f.Stands() {
				continue
			}
			var row export.Row
			var err error
			if rec := readings[f.ID]; rec != nil && len(f.Corrections) == 0 {
				row = export.RowOfRecord(rec)
				row.Data, err = export.Newest(rec.Kind, rec.Version, rec.Data)
			} else {
				row, err = export.RowOf(f)
			}
			if err != nil {
				return err
			}
			byKind[f.Kind] = append(byKind[f.Kind], row)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	kinds = map[string]bool{}
	for kind, rows := range byKind {
		kinds[kind] = true
		n += len(rows)
		csv, xlsx := asFiles(t, kind, rows)
		sameRows(t, kind+" as CSV", rows, csv, ingest.Options{Name: kind + ".csv", As: kind, Zone: zone})
		sameRows(t, kind+" as XLSX", rows, xlsx, ingest.Options{Name: kind + ".xlsx", As: kind, Zone: zone})
	}
	return n, kinds
}

// asFiles writes rows of one kind as CSV and as a workbook.
func asFiles(t fataler, kind string, rows []export.Row) (csv, xlsx []byte) {
	t.Helper()
	table := export.NewTable(events.Standard().Kind(kind))
	for _, r := range rows {
		table.See(r)
	}
	each := func(yield func(export.Row, error) bool) {
		for _, r := range rows {
			if !yield(r, nil) {
				return
			}
		}
	}
	var c, x bytes.Buffer
	if err := table.CSV(&c, each); err != nil {
		t.Fatal(err)
	}
	about := export.About{Farm: farm, Zone: "UTC", Size: 1}
	if err := export.Workbook(&x, about, []*export.Table{table}, func(string) iter.Seq2[export.Row, error] { return each }); err != nil {
		t.Fatal(err)
	}
	return c.Bytes(), x.Bytes()
}

// A fataler is a test, or one of a property's many.
type fataler interface {
	Helper()
	Fatal(...any)
	Fatalf(string, ...any)
}

func sameRows(t fataler, what string, rows []export.Row, file []byte, o ingest.Options) {
	t.Helper()
	in, err := ingest.Open(bytes.NewReader(file), o)
	if err != nil {
		t.Fatalf("%s: %v", what, err)
	}
	i := 0
	for row, err := range rowsOf(in) {
		if err != nil {
			t.Fatalf("%s: %v", what, err)
		}
		if len(row.Problems) > 0 {
			t.Fatalf("%s, line %d: %v", what, row.Line, row.Problems)
		}
		if i == len(rows) {
			t.Fatalf("%s: more rows than the %d that were written", what, len(rows))
		}
		want := rows[i]
		wants := []string{want.ID, want.Time, want.Actor, want.Noted, string(canon.Bytes(want.Data))}
		d := row.Draft
		gots := []string{d.ID, d.Time, d.Actor, d.NotedTime, string(canon.Bytes(d.Data))}
		if !slices.Equal(wants, gots) {
			t.Fatalf("%s, row %d:\nwrote %s\nread  %s", what, i+1, fmt.Sprint(wants), fmt.Sprint(gots))
		}
		i++
	}
	if i != len(rows) {
		t.Fatalf("%s: %d rows of %d came back", what, i, len(rows))
	}
}

// Whatever a text holds that the door takes, a table gives it back: formulas, blanks at the ends, line ends, semicolons in
// lists, what a spreadsheet would make a date or an error of.
func TestOddTextsThereAndBack(t *testing.T) {
	t.Parallel()
	odd := rapid.OneOf(
		rapid.StringN(1, 20, 80), rapid.StringMatching(`['"=+\-@ ;\[\]\\,\t\n\r\x00a1#_x]{1,8}`),
		rapid.SampledFrom([]string{"=1+1", "'=1", "''", "'\"a\"", "#N/A", "#REF!", "####", "1-Mar", "Jan-12", "007", "1e5", "-5", "true", "null", "[1]", "[\"a\"]", "{}", "a;b", "1-3", "a..b",
			"_x0041_", "x\r\ny", "\u00a0a", "a\u200b", "example", "example: x", "T", "12 kg", "43000", "2026-06-18", "\ufffe", "é"}),
	)
	text := func(t *rapid.T, name string) canon.Value { return canon.Text(odd.Draw(t, name)) }
	texts := func(t *rapid.T, name string) canon.Value {
		out := canon.Value{Kind: canon.List}
		for range rapid.IntRange(1, 3).Draw(t, name) {
			out.Items = append(out.Items, text(t, name))
		}
		return out
	}
	object := func(name string, v canon.Value) canon.Value {
		return canon.ObjectOf(canon.Member{Name: name, Value: v})
	}
	rapid.Check(t, func(t *rapid.T) {
		rows := map[string][]export.Row{}
		for i := range rapid.IntRange(1, 3).Draw(t, "rows") {
			add := func(kind string, members ...canon.Member) {
				data, err := canon.Parse(canon.Bytes(canon.ObjectOf(members...))) // members in the order of stored data
				if err != nil {
					t.Fatal(err)
				}
				rows[kind] = append(rows[kind], export.Row{
					ID: fmt.Sprintf("018f0000-0000-7000-8000-00000000000%d", i), Time: "2026-06-18T11:40:00-10:00", Actor: people[0], Noted: "2026-06-18T12:00:00-10:00", Data: data,
				})
			}
			where := object("block", canon.Text("north"))
			where.Set("rows", texts(t, "rows"))
			add("fruit.picked", canon.Member{Name: "note", Value: text(t, "note")}, canon.Member{Name: "cullReasons", Value: texts(t, "reasons")}, canon.Member{Name: "where", Value: where})
			value := rapid.OneOf(rapid.Just(canon.Num(5)), rapid.Just(canon.Truth(true)), rapid.Custom(func(t *rapid.T) canon.Value { return text(t, "text") }),
				rapid.Custom(func(t *rapid.T) canon.Value { return texts(t, "list") }), rapid.Custom(func(t *rapid.T) canon.Value { return object("a", text(t, "in")) })).Draw(t, "value")
			add("setting.adopted", canon.Member{Name: "value", Value: value}, canon.Member{Name: "name", Value: text(t, "name")})
			numbers := canon.ObjectOf(canon.Member{Name: "value", Value: canon.Num(rapid.Float64Range(0, 1e9).Draw(t, "mass"))}, canon.Member{Name: "unit", Value: canon.Text(rapid.SampledFrom([]string{"kg", "[lb_av]"}).Draw(t, "unit"))})
			add("lot.written-off", canon.Member{Name: "amount", Value: numbers}, canon.Member{Name: "lot", Value: canon.Text("L1")})
		}
		for kind, rs := range rows {
			csv, xlsx := asFiles(t, kind, rs)
			sameRows(t, kind+" as CSV", rs, csv, ingest.Options{Name: "a.csv", As: kind, Zone: time.UTC})
			sameRows(t, kind+" as XLSX", rs, xlsx, ingest.Options{Name: "a.xlsx", As: kind, Zone: time.UTC})
		}
	})
}
