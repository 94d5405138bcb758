package pgstore_test

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"latewood/events"
	"latewood/projections"
	"latewood/projections/flags"
	"latewood/projections/foldtest"
	"latewood/projections/holds"
	"latewood/projections/orchard"
	"latewood/projections/store/pgstore"
	"latewood/projections/store/pgstore/pgtest"
	"latewood/projections/weather"
	"latewood/projections/yields"
)

const farm, origin = "tern-hollow", "latewood/tern-hollow-00112233"

func folds() []*projections.Fold {
	return []*projections.Fold{orchard.Fold(), holds.Fold(), yields.Fold(), weather.Fold(), flags.Blocks(), flags.Farm()}
}

// recordsOf is an invented orchard of so many blocks of ten trees, a day of weather, and picks.
func recordsOf(t testing.TB, blocks, picks int) []*events.Record {
	f := foldtest.NewFarm(t, "Pacific/Honolulu")
	hour := 3600.0
	for i := range blocks {
		block := fmt.Sprintf("b%02d", i)
		f.Add("2012-01-01", &events.BlockEstablished{Block: block, Name: block + " \"é\"", Area: events.Quantity{Value: 1, Unit: "har"}})
		for k := range 10 {
			f.Add("", &events.TreePlanted{Tree: fmt.Sprintf("%s-%d", block, k), Block: block, Row: "1", Position: fmt.Sprint(k), Cultivar: "Kaimana", Planted: "2012"})
		}
	}
	for h := range 24 {
		f.Add(fmt.Sprintf("2025-06-01T%02d:30:00-10:00", h), &events.WeatherRead{
			Station: "mauka", Interval: &hour, AirTemperature: &events.Quantity{Value: 12.5 + float64(h)/2, Unit: "Cel"}, Rain: &events.Quantity{Value: 0.2, Unit: "mm"},
		})
	}
	for i := range picks {
		block := fmt.Sprintf("b%02d", i%blocks)
		f.Add("2025-06-02T08:00:00-10:00", &events.FruitPicked{
			Where: events.Where{{Block: block, Trees: []string{fmt.Sprintf("%s-%d", block, i%10)}}}, Mass: &events.Quantity{Value: 2.5, Unit: "kg"},
		})
	}
	return f.Records
}

// said is what rows should be, by the memory alone.
func said(t testing.TB, b *projections.Book) string {
	t.Helper()
	out := map[string]string{}
	for _, f := range folds() {
		for _, code := range b.Keys(f.Class) {
			state, err := events.WriteJSON(b.State(f, code))
			if err != nil {
				t.Fatal(err)
			}
			out[fmt.Sprintf("%s %d %s/%s", f.Name, f.Version, f.Class, code)] = string(state)
		}
	}
	return text(t, out)
}

func stored(t testing.TB, url string) (string, uint64) {
	t.Helper()
	rows, size, err := pgstore.Read(t.Context(), url, farm)
	if err != nil {
		t.Fatal(err)
	}
	out := map[string]string{}
	for _, r := range rows {
		out[fmt.Sprintf("%s %d %s/%s", r.Fold, r.Version, r.Class, r.Code)] = string(r.State)
	}
	return text(t, out), size
}

func text(t testing.TB, m map[string]string) string {
	b, err := events.WriteJSON(m)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

func open(t testing.TB, url string) *pgstore.Store {
	t.Helper()
	if err := pgstore.Prepare(t.Context(), url); err != nil {
		t.Fatal(err)
	}
	s, err := pgstore.Open(t.Context(), url, farm, origin, folds())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = s.Close(context.WithoutCancel(t.Context())) })
	return s
}

func write(t testing.TB, s *pgstore.Store, b *projections.Book) *pgstore.Batch {
	t.Helper()
	batch, err := s.Gather(b)
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Commit(t.Context(), batch); err != nil {
		t.Fatal(err)
	}
	return batch
}

func TestRows(t *testing.T) {
	t.Parallel()
	c := pgtest.Start(t)
	roles, err := filepath.Abs("../../../deploy/postgres/roles.sql")
	if err != nil {
		t.Fatal(err)
	}
	if out, err := c.SQL(roles); err != nil {
		t.Fatalf("roles.sql: %v\n%s", err, out)
	}
	url := c.As("latewood_project")
	records := recordsOf(t, 3, 30)
	s := open(t, url)

	// Rows are what memory says, at every step, and only what moved is written.
	book := foldtest.BookOf(t, nil)
	steps := 0
	for i, r := range records {
		if err := book.Add(r); err != nil {
			t.Fatal(err)
		}
		if i%7 != 0 && i != len(records)-1 {
			continue
		}
		steps++
		write(t, s, book)
		if got, size := stored(t, url); got != said(t, book) || size != book.Size() {
			t.Fatalf("at %d of %d the rows differ\n%s\n%s", size, book.Size(), got, said(t, book))
		}
	}
	if b := write(t, s, book); len(b.Put) != 0 || b.Gone() != 0 {
		t.Errorf("nothing moved, and %d rows were written, %d dropped", len(b.Put), b.Gone())
	}

	// The views, in units.
	owner, err := pgx.Connect(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	defer owner.Close(context.WithoutCancel(t.Context()))
	reader, err := pgx.Connect(t.Context(), c.As("latewood_read"))
	if err != nil {
		t.Fatal(err)
	}
	defer reader.Close(context.WithoutCancel(t.Context()))
	for _, q := range []struct{ sql, want string }{
		{"select count(*)::text from latewood.trees where from_day = '2012-01-01' and until_day is null", "30"},
		{"select sum(kg)::numeric(9,3)::text from latewood.block_seasons", "75.000"},
		{"select sum(kg)::numeric(9,3)::text || ' ' || sum(picks) from latewood.tree_seasons", "75.000 30"},
		{"select max(area_ha)::numeric(9,3)::text from latewood.block_seasons", "1.000"},
		{"select day || ' ' || min_c::numeric(9,2) || ' ' || max_c::numeric(9,2) || ' ' || rain_mm::numeric(9,2) from latewood.weather_days order by readings desc limit 1", "2025-06-01 12.50 24.00 4.80"},
		{"select count(*)::text from latewood.flags where record is null", "0"},
	} {
		var got string
		if err := reader.QueryRow(t.Context(), q.sql).Scan(&got); err != nil || got != q.want {
			t.Errorf("%s: %q, %v; want %q", q.sql, got, err, q.want)
		}
	}

	// A reader changes nothing, also where it drops the setting that says so.
	if _, err := reader.Exec(t.Context(), "set default_transaction_read_only = off"); err != nil {
		t.Fatal(err)
	}
	for _, sql := range []string{"delete from latewood.state", "update latewood.checkpoint set size = 0", "create table latewood.x (a int)", "drop view latewood.trees", "truncate latewood.state"} {
		if _, err := reader.Exec(t.Context(), sql); err == nil {
			t.Errorf("a reader could: %s", sql)
		}
	}

	// What somebody changed by hand is put right by the next writer, as is a row of an older version and one too many. That
	// writer takes the farm: the one before it writes nothing any more.
	for _, sql := range []string{
		"update latewood.state set state = '{}' where fold = 'yields'", "update latewood.state set version = 0 where fold = 'orchard' and code = 'b01'",
		"insert into latewood.state values ('tern-hollow', 'gone', 1, 'block', 'x', '{}', '')", "delete from latewood.state where fold = 'weather'",
	} {
		if _, err := owner.Exec(t.Context(), sql); err != nil {
			t.Fatal(err)
		}
	}
	second := open(t, url)
	if b := write(t, second, book); len(b.Put) != 5 || b.Gone() != 1 {
		t.Errorf("%d rows written, %d dropped; want 5 and 1", len(b.Put), b.Gone())
	}
	if got, _ := stored(t, url); got != said(t, book) {
		t.Errorf("rows were not put right")
	}
	batch, err := s.Gather(foldtest.BookOf(t, records[:20]))
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Commit(t.Context(), batch); !errors.Is(err, pgstore.ErrFenced) {
		t.Errorf("the first writer: %v", err)
	}
	if got, _ := stored(t, url); got != said(t, book) {
		t.Errorf("a fenced writer wrote")
	}

	// A ledger that is shorter again.
	short := foldtest.BookOf(t, records[:20])
	write(t, second, short)
	if got, size := stored(t, url); got != said(t, short) || size != 20 {
		t.Errorf("the rows of a shorter ledger differ")
	}

	// Another ledger of the same code, and tables of a later version.
	if _, err := pgstore.Open(t.Context(), url, farm, origin+"x", folds()); !errors.Is(err, pgstore.ErrOtherLedger) {
		t.Errorf("another ledger: %v", err)
	}
	if _, err := owner.Exec(t.Context(), "insert into latewood.migration (number) values (9999)"); err != nil {
		t.Fatal(err)
	}
	if err := pgstore.Prepare(t.Context(), url); !errors.Is(err, pgstore.ErrNewer) {
		t.Errorf("later tables: %v", err)
	}
	t.Logf("counts: %d batches compared with memory, 6 questions to views", steps)
}

// Rows and checkpoint stand together wherever the database dies.
func TestKilled(t *testing.T) {
	t.Parallel()
	rounds := 5
	if os.Getenv("LATEWOOD_PROOF") != "" {
		rounds = 50
	}
	c := pgtest.Start(t)
	url := c.URL()
	records := recordsOf(t, 6, 60)
	const seed = 7
	r := rand.New(rand.NewPCG(seed, seed))
	cut := 0
	for round := range rounds {
		s := open(t, url)
		stop := make(chan struct{})
		ended := make(chan error, 1)
		go func() {
			for n := 1; ; n++ { // grows and shrinks, so that every batch is a large one
				select {
				case <-stop:
					ended <- nil
					return
				default:
				}
				batch, err := s.Gather(foldtest.BookOf(t, records[:1+n*37%len(records)]))
				if err == nil {
					err = s.Commit(context.Background(), batch)
				}
				if err != nil {
					ended <- err
					return
				}
			}
		}()
		time.Sleep(time.Duration(30+r.IntN(120)) * time.Millisecond) // the moment of death is what this test is about
		c.Kill()
		select {
		case err := <-ended:
			if err != nil {
				cut++
			}
		case <-time.After(20 * time.Second):
			close(stop)
			t.Fatal("a writer did not notice that the database is gone")
		}
		c.Up()
		rows, size, err := pgstore.Read(t.Context(), url, farm)
		if err != nil && round == 0 && strings.Contains(err.Error(), "no rows") {
			continue
		}
		if err != nil {
			t.Fatal(err)
		}
		if size == 0 && len(rows) == 0 {
			continue // killed before the first batch
		}
		if got, _ := stored(t, url); got != said(t, foldtest.BookOf(t, records[:size])) {
			t.Fatalf("round %d, seed %d: rows are not those of the checkpoint at %d", round, seed, size)
		}
	}
	t.Logf("counts: killed %d times, %d writers cut off, rows and checkpoint together each time", rounds, cut)
}

// Writing all rows of a farm by a Store, against COPY of the same rows into a bare table.
func BenchmarkCatchUp(b *testing.B) {
	c := pgtest.Start(b)
	url := c.URL()
	book := foldtest.BookOf(b, recordsOf(b, 200, 2000))
	said(b, book) // folded before the clock runs
	if err := pgstore.Prepare(b.Context(), url); err != nil {
		b.Fatal(err)
	}
	conn, err := pgx.Connect(b.Context(), url)
	if err != nil {
		b.Fatal(err)
	}
	defer conn.Close(context.WithoutCancel(b.Context()))
	if _, err := conn.Exec(b.Context(), "create table bare (farm text, fold text, version integer, class text, code text, state json)"); err != nil {
		b.Fatal(err)
	}
	var store, bare time.Duration
	rows := 0
	for b.Loop() {
		if _, err := conn.Exec(b.Context(), "truncate bare, latewood.state; delete from latewood.checkpoint"); err != nil {
			b.Fatal(err)
		}
		s, err := pgstore.Open(b.Context(), url, farm, origin, folds())
		if err != nil {
			b.Fatal(err)
		}
		from := time.Now()
		batch := write(b, s, book)
		store += time.Since(from)
		_ = s.Close(b.Context())
		from = time.Now()
		_, err = conn.CopyFrom(b.Context(), pgx.Identifier{"bare"}, []string{"farm", "fold", "version", "class", "code", "state"},
			pgx.CopyFromSlice(len(batch.Put), func(i int) ([]any, error) {
				r := &batch.Put[i]
				return []any{farm, r.Fold, int32(r.Version), r.Class, r.Code, r.State}, nil
			}))
		if err != nil {
			b.Fatal(err)
		}
		bare += time.Since(from)
		rows += len(batch.Put)
	}
	b.ReportMetric(float64(rows)/store.Seconds(), "rows/s")
	b.ReportMetric(bare.Seconds()/store.Seconds(), "of-raw-COPY")
}
