package app_test

import (
	"bytes"
	"context"
	"fmt"
	"strings"
	"testing"
	"time"
	_ "time/tzdata"

	"latewood/events"
	"latewood/services/internal/app"
)

// memFile is a file in memory, as an import takes it.
type memFile struct {
	*bytes.Reader
	name string
}

func (m memFile) Name() string { return m.name }

// opened opens a folder with one farm in it.
func opened(t *testing.T, zone string) *app.App {
	t.Helper()
	ctx := context.Background()
	a, err := app.Open(ctx, app.Options{Dir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := a.Close(); err != nil {
			t.Error(err)
		}
	})
	call(t, a, "open", app.OpenRequest{Farm: "table", Name: "Table", Zone: zone, Latitude: 10, Longitude: 10}, nil)
	return a
}

// call runs an operation and returns its JSON.
func call(t *testing.T, a *app.App, name string, request any, file []byte) []byte {
	t.Helper()
	var f *memFile
	var doc []byte
	var exit int
	var err error
	if file != nil {
		f = &memFile{bytes.NewReader(file), "table.jsonl"}
		doc, exit, err = a.Call(context.Background(), name, request, f, nil)
	} else {
		doc, exit, err = a.Call(context.Background(), name, request, nil, nil)
	}
	if err != nil || exit != 0 {
		t.Fatalf("%s: exit %d, %v\n%s", name, exit, err, doc)
	}
	return doc
}

// holdsJSON is what an outside reader takes from holds --json.
type holdsJSON struct {
	Blocks []struct {
		Block string `json:"block"`
		Pick  struct {
			Status   string            `json:"status"`
			From     string            `json:"from"`
			Readings map[string]string `json:"readings"`
			Because  []struct {
				Words string `json:"words"`
			} `json:"because"`
		} `json:"pick"`
	} `json:"blocks"`
	Caution string `json:"caution"`
}

// holdCase is one row of the table: a spray that ended then, with a label that says so.
type holdCase struct {
	block, ended, rule, unit string
	n                        int
}

// expect counts a case by itself: the three readings of the project's design (compliance facts 4.2; published sources are
// silent on how such days are counted), then the order full-days >= elapsed >= date, then never before the end.
func (c holdCase) expect(zone *time.Location) time.Time {
	midnight := func(t time.Time, days int) time.Time {
		y, m, d := t.Date()
		return time.Date(y, m, d+days, 0, 0, 0, 0, zone)
	}
	var end, day time.Time
	if len(c.ended) == len("2006-01-02") {
		day, _ = time.ParseInLocation("2006-01-02", c.ended, zone)
		end = midnight(day, 1)
	} else {
		end, _ = time.Parse(time.RFC3339, c.ended)
		end = end.In(zone)
		day = end
	}
	later := func(a, b time.Time) time.Time {
		if a.After(b) {
			return a
		}
		return b
	}
	if c.unit == "h" {
		return end.Add(time.Duration(c.n) * time.Hour)
	}
	days := c.n
	if c.unit == "wk" {
		days *= 7
	}
	date := later(midnight(day, days), end)
	elapsed := later(end.Add(time.Duration(days)*24*time.Hour), date)
	full := later(midnight(day, days+1), elapsed)
	return map[string]time.Time{"date": date, "elapsed": elapsed, "full-days": full}[c.rule]
}

// The table of intervals through holds --json: every reading, unit, number and end, in zones where clocks move.
func TestHoldsTable(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		zone string
		days []string // on which sprays end
	}{
		{"America/New_York", []string{"2026-03-07", "2026-06-01", "2026-10-31"}}, // the changes are on 8 March and 1 November
		{"Australia/Lord_Howe", []string{"2026-04-04", "2026-10-03"}},            // 5 April and 4 October, by half an hour
		{"Australia/Brisbane", []string{"2026-06-01"}},
	} {
		t.Run(strings.ReplaceAll(tt.zone, "/", "-"), func(t *testing.T) {
			t.Parallel()
			zone, err := time.LoadLocation(tt.zone)
			if err != nil {
				t.Fatal(err)
			}
			a := opened(t, tt.zone)
			asked := 0
			for _, day := range tt.days {
				asked += holdsOn(t, a, zone, day)
			}
			t.Logf("counts: holds table %s: %d answers", tt.zone, asked)
		})
	}
}

// holdsOn records a block for each case of a day and asks about each one second before, at, and one second after its end.
func holdsOn(t *testing.T, a *app.App, zone *time.Location, day string) (asked int) {
	t.Helper()
	var lines strings.Builder
	var cases []holdCase
	for _, clock := range []string{"00:00:00", "16:00:00", "23:59:59", ""} {
		ended := day
		if clock != "" {
			at, err := time.ParseInLocation("2006-01-02 15:04:05", day+" "+clock, zone)
			if err != nil {
				t.Fatal(err)
			}
			ended = at.Format(time.RFC3339)
		}
		for _, rule := range []string{"date", "elapsed", "full-days"} {
			for _, unit := range []string{"h", "d", "wk"} {
				for _, n := range []int{0, 1, 7} {
					c := holdCase{fmt.Sprintf("b%s-%d", strings.ReplaceAll(day[5:], "-", ""), len(cases)), ended, rule, unit, n}
					cases = append(cases, c)
					id := events.NewID(1_700_000_000_000+int64(len(cases)), [10]byte{day[6], day[9]}).String()
					fmt.Fprintf(&lines, `{"type":"block.established","time":"2020-01-01","data":{"block":%q,"name":"b","area":{"value":1,"unit":"har"}}}`+"\n", c.block)
					fmt.Fprintf(&lines, `{"id":%q,"type":"label.filed","time":"2020-01-01","data":{"product":"A","material":"pesticide","readBy":"me","registration":"1","crop":"lychee","cropListed":true,"activeIngredients":[{"name":"a"}],"reentry":{"hours":0},"withholding":{"kind":"numeric","value":%d,"unit":%q,"countRule":%q,"words":"the words of the label"}}}`+"\n", id, n, unit, rule)
					fmt.Fprintf(&lines, `{"type":"spray.applied","data":{"where":{"block":%q},"started":%q,"ended":%q,"target":"mites","applicator":{"code":"w_00000000000000000000000000000001"},"mix":[{"label":%q}]}}`+"\n", c.block, ended, ended, id)
				}
			}
		}
	}
	call(t, a, "import", app.ImportRequest{Name: "table.jsonl"}, []byte(lines.String()))
	answers := map[string]map[string]string{} // by instant: block -> status and from
	ask := func(at time.Time) map[string]string {
		text := at.In(zone).Format(time.RFC3339)
		if answers[text] == nil {
			var doc holdsJSON
			if err := events.ReadJSON(call(t, a, "holds", app.HoldsRequest{At: text}, nil), &doc); err != nil {
				t.Fatal(err)
			}
			if doc.Caution == "" {
				t.Error("no caution beside the dates")
			}
			answers[text] = map[string]string{}
			for _, b := range doc.Blocks {
				answers[text][b.Block] = b.Pick.Status + " " + b.Pick.From
			}
		}
		return answers[text]
	}
	for _, c := range cases {
		want := c.expect(zone)
		from := want.Format(time.RFC3339)
		if strings.HasSuffix(from, "+00:00") {
			from = strings.TrimSuffix(from, "+00:00") + "Z"
		}
		for _, q := range []struct {
			at   time.Time
			want string
		}{{want, "run-out " + from}, {want.Add(time.Second), "run-out " + from}} {
			asked++
			if got := ask(q.at)[c.block]; got != q.want {
				t.Errorf("%+v asked at %s: %s, want %s", c, q.at.Format(time.RFC3339), got, q.want)
			}
		}
		asked++
		if got := ask(want.Add(-time.Second))[c.block]; strings.HasPrefix(got, "run-out") || strings.HasPrefix(got, "none") && c.n > 0 {
			t.Errorf("%+v asked a second before %s: %s", c, from, got)
		}
	}
	return asked
}

// Lines of a label that are not numbers are never turned into one: the words stand there, and no date.
func TestHoldsWords(t *testing.T) {
	t.Parallel()
	a := opened(t, "Pacific/Honolulu")
	var lines strings.Builder
	// Source of the phrases: compliance facts 4.3, a list of what labels say without a number.
	phrases := map[string]string{
		"growth-stage": "Do not apply after fruit set", "prohibited": "Do not harvest", "none-stated": "not required when used as directed",
		"unknown": "pre-bloom only",
	}
	i := 0
	for _, kind := range []string{"growth-stage", "prohibited", "none-stated", "unknown"} {
		i++
		id := events.NewID(1_700_000_000_000+int64(i), [10]byte{1}).String()
		fmt.Fprintf(&lines, `{"type":"block.established","time":"2020-01-01","data":{"block":%q,"name":"b","area":{"value":1,"unit":"har"}}}`+"\n", kind)
		fmt.Fprintf(&lines, `{"id":%q,"type":"label.filed","time":"2020-01-01","data":{"product":"A","material":"pesticide","readBy":"me","registration":"1","crop":"lychee","cropListed":true,"activeIngredients":[{"name":"a"}],"reentry":{"hours":0},"withholding":{"kind":%q,"words":%q}}}`+"\n", id, kind, phrases[kind])
		fmt.Fprintf(&lines, `{"type":"spray.applied","data":{"where":{"block":%q},"started":"2026-06-01T06:00:00-10:00","ended":"2026-06-01T08:00:00-10:00","target":"mites","applicator":{"code":"w_00000000000000000000000000000001"},"mix":[{"label":%q}]}}`+"\n", kind, id)
	}
	// A spray with only a date opens no earlier than the same spray ended at 23:59:59, and a pick at noon of that day is flagged.
	for i, ended := range []string{"2026-06-02", "2026-06-02T23:59:59-10:00"} {
		id := events.NewID(1_700_000_001_000+int64(i), [10]byte{1}).String()
		fmt.Fprintf(&lines, `{"type":"block.established","time":"2020-01-01","data":{"block":"day-%d","name":"b","area":{"value":1,"unit":"har"}}}`+"\n", i)
		fmt.Fprintf(&lines, `{"id":%q,"type":"label.filed","time":"2020-01-01","data":{"product":"A","material":"pesticide","readBy":"me","registration":"1","crop":"lychee","cropListed":true,"activeIngredients":[{"name":"a"}],"reentry":{"hours":0},"withholding":{"kind":"numeric","value":1,"unit":"h"}}}`+"\n", id)
		fmt.Fprintf(&lines, `{"type":"spray.applied","data":{"where":{"block":"day-%d"},"started":"2026-06-02","ended":%q,"target":"mites","applicator":{"code":"w_00000000000000000000000000000001"},"mix":[{"label":%q}]}}`+"\n", i, ended, id)
	}
	fmt.Fprintf(&lines, `{"type":"fruit.picked","time":"2026-06-02T12:00:00-10:00","data":{"where":{"block":"day-0"},"mass":{"value":5,"unit":"kg"}}}`+"\n")
	var took app.Imported
	if err := events.ReadJSON(call(t, a, "import", app.ImportRequest{Name: "words.jsonl"}, []byte(lines.String())), &took); err != nil {
		t.Fatal(err)
	}
	flagged := false
	for _, f := range took.Flagged {
		flagged = flagged || f.Flag == "pick-in-interval"
	}
	if !flagged {
		t.Errorf("the pick at noon of a spray's day is not flagged: %+v", took.Flagged)
	}
	var doc holdsJSON
	if err := events.ReadJSON(call(t, a, "holds", app.HoldsRequest{At: "2026-06-20T12:00:00-10:00"}, nil), &doc); err != nil {
		t.Fatal(err)
	}
	from := map[string]string{}
	for _, b := range doc.Blocks {
		from[b.Block] = b.Pick.From
		words, ok := phrases[b.Block]
		if !ok {
			continue
		}
		if b.Pick.Status != "read-the-label" || b.Pick.From != "" || len(b.Pick.Because) != 1 || b.Pick.Because[0].Words != words {
			t.Errorf("%s: %+v, want read-the-label, no date, and the words %q", b.Block, b.Pick, words)
		}
	}
	if from["day-0"] < from["day-1"] {
		t.Errorf("known to the day it opens %s, ended 23:59:59 it opens %s", from["day-0"], from["day-1"])
	}
}
