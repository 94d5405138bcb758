package field_test

import (
	"bytes"
	"os/exec"
	"slices"
	"strings"
	"testing"
	"time"

	"latewood/events"
	"latewood/projections"
	"latewood/projections/elements"
	"latewood/projections/foldtest"
	"latewood/services/report"
	"latewood/services/report/field"
)

// The farm of these tests, its people and its product are invented.
const (
	certified = "w_000000000000000000000000000000a1"
	helper    = "w_000000000000000000000000000000a2"
	committed = "AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA="
)

func q(value float64, unit string) *events.Quantity {
	return &events.Quantity{Value: value, Unit: unit}
}

func yes() *bool { b := true; return &b }

// whole is a farm whose spray has every element; a test takes one away.
type whole struct {
	label   events.LabelFiled
	spray   events.SprayApplied
	entry   events.EntryMade
	block   bool // the block is described
	trees   bool // its trees are listed
	unnamed string
}

func complete() *whole {
	hours := 72.0
	days := 7.0
	return &whole{
		block: true, trees: true,
		label: events.LabelFiled{
			Product: "Invented Shield", Material: "pesticide", ReadBy: "owner", Registration: "INVENTED-77", Crop: "lychee", CropListed: yes(), RestrictedUse: yes(),
			ActiveIngredients: []events.Ingredient{{Name: "invented pyrethrin", Share: q(12, "%"), MoA: &events.MoA{Scheme: "IRAC", Group: "3A"}}},
			Withholding:       events.OneOrMany[events.Withholding]{{Kind: "numeric", Value: &days, Unit: "d"}},
			Reentry:           events.OneOrMany[events.Reentry]{{Hours: &hours, DoubleNotification: yes()}}, SignalWord: "DANGER-INVENTED",
			SafetyDataSheet: strings.Repeat("ab", 32),
		},
		spray: events.SprayApplied{
			Where:   events.OneOrMany[events.SprayedPart]{{Part: events.Part{Block: "north", Rows: []string{"1"}}}},
			Started: "2026-05-04T06:10:00-10:00", Ended: "2026-05-04T08:25:00-10:00",
			Mix:         []events.MixItem{{Rate: q(2, "kg/har"), Total: q(1.3, "kg")}},
			AreaTreated: q(0.65, "har"), Target: "erinose mite", Applicator: &events.Person{Code: helper},
			SupervisedBy: &events.Person{Code: certified, Commitment: committed},
			Contractor:   &events.Party{Code: "brook-spraying", Name: "Brook Spraying"}, Customer: &events.Party{Code: "tern", Name: "Tern Hollow", Address: "1 Invented Lane"},
			Warning: &events.Warning{SignsUp: "2026-05-03T18:00:00-10:00", Oral: "2026-05-04T05:50:00-10:00"},
		},
		entry: events.EntryMade{
			Where: events.Where{{Block: "north"}}, Who: events.OneOrMany[string]{helper}, From: "2026-05-05T09:00:00-10:00", Until: "2026-05-05T09:30:00-10:00",
			Activity: "irrigation", ExceptionClaimed: "short-term", BriefingItems: elements.Briefing(), AgeOf18Attested: yes(), ProtectiveEquipment: "coveralls, gloves",
		},
	}
}

// book records the farm. It gives the ids of spray and entry.
func (w *whole) book(t *testing.T) (b *projections.Book, spray, entry string) {
	t.Helper()
	f := foldtest.NewFarm(t, "Pacific/Honolulu")
	if w.block {
		f.Add("2010-01-01", &events.BlockEstablished{Block: "north", Name: "North terrace", Area: *q(0.65, "har")})
	}
	if w.trees {
		for _, code := range []string{"n1", "n2"} {
			f.Add("2012-01-01", &events.TreePlanted{Tree: code, Block: "north", Row: "1", Position: code[1:], Cultivar: "Kaimana", Planted: "2012"})
		}
	}
	if w.label.Product != "" {
		label := f.Add("2026-01-02", &w.label)
		for i := range w.spray.Mix {
			w.spray.Mix[i].Label = label.ID.String()
		}
	}
	s := f.Add("", &w.spray)
	e := f.Add("", &w.entry)
	return f.Book(), s.ID.String(), e.ID.String()
}

func (w *whole) people(code, commitment string) field.Who {
	if code == w.unnamed {
		return field.Who{}
	}
	switch code {
	case certified:
		who := field.Who{Name: "Ione Fernside", Tag: "P01"}
		if commitment == committed {
			who.Certificate = "CERT-4711"
		}
		return who
	case helper:
		return field.Who{Name: "Basil Quarry", Tag: "P02"}
	}
	return field.Who{}
}

var at = time.Date(2026, 5, 6, 12, 0, 0, 0, time.UTC)

// lacks are the elements that a farm's records lack, by id.
func (w *whole) lacks(t *testing.T) (ids []string, b *projections.Book, list []elements.Missing) {
	t.Helper()
	b, spray, entry := w.book(t)
	for _, id := range []string{spray, entry} {
		parsed, err := events.ParseID(id)
		if err != nil {
			t.Fatal(err)
		}
		list = append(list, elements.OfFact(b, b.Fact(parsed), func(code string) bool { return w.people(code, "").Name != "" })...)
	}
	for _, m := range list {
		ids = append(ids, m.Element)
	}
	return ids, b, list
}

// removals takes each element of facts away in turn. What the door refuses a record without cannot be taken away, which is
// tested with the door (TestRefused).
func removals() []struct {
	name string
	take func(*whole)
	want []string
} {
	untyped := func(w *whole) { w.label.Product = "" }
	briefing := func(item string) func(*whole) {
		return func(w *whole) {
			w.entry.BriefingItems = slices.DeleteFunc(elements.Briefing(), func(s string) bool { return s == item })
		}
	}
	return []struct {
		name string
		take func(*whole)
		want []string
	}{
		{"registration", func(w *whole) {
			untyped(w)
			w.spray.Mix[0].Product = "Invented Shield"
		}, []string{"rup.registration", "com.registration", "wps.sheet", "wps.registration", "wps.ingredients", "wps.interval"}},
		{"total", func(w *whole) { w.spray.Mix[0].Total = nil }, []string{"rup.total", "com.total"}},
		{"place", func(w *whole) { w.block = false }, []string{"rup.location", "com.location", "wps.location"}},
		{"area", func(w *whole) { w.spray.AreaTreated = nil }, []string{"rup.area", "com.area"}},
		{"crop", func(w *whole) {
			w.trees, w.label.CropListed = false, nil
		}, []string{"rup.crop", "com.crop", "wps.crop"}},
		{"name", func(w *whole) { w.unnamed = certified }, []string{"rup.applicator", "com.applicator"}},
		{"certificate", func(w *whole) { w.spray.SupervisedBy.Commitment = "" }, []string{"rup.certificate", "com.certificate"}},
		{"customer", func(w *whole) { w.spray.Customer.Name, w.spray.Customer.Code, w.spray.Customer.Phone = "", "", "1" }, []string{"com.customer"}},
		{"address", func(w *whole) { w.spray.Customer.Address = "" }, []string{"com.address"}},
		{"time", func(w *whole) { w.spray.Ended = "2026-05-04" }, []string{"com.time", "wps.times"}},
		{"name of who applied", func(w *whole) { w.unnamed = helper }, []string{"com.noncertified"}},
		{"safety data sheet", func(w *whole) { w.label.SafetyDataSheet = "" }, []string{"wps.sheet"}},
		{"signs", func(w *whole) { w.spray.Warning.SignsUp = "" }, []string{"notice.signs"}},
		{"oral warning", func(w *whole) { w.spray.Warning.Oral = "" }, []string{"notice.oral"}},
		{"any warning", func(w *whole) {
			four := 4.0
			w.label.Reentry = events.OneOrMany[events.Reentry]{{Hours: &four}}
			w.spray.Warning = nil
		}, []string{"notice.either"}},
		{"spot: total", func(w *whole) {
			w.spot()
			w.spray.Mix[0].Total = nil
		}, []string{"spot.total", "com.total"}},
		{"spot: registration", func(w *whole) {
			w.spot()
			untyped(w)
			w.spray.Mix[0].Product = "Invented Shield"
		}, []string{"spot.registration", "com.registration", "wps.sheet", "wps.registration", "wps.ingredients", "wps.interval"}},
		{"spot: place", func(w *whole) {
			w.spot()
			w.spray.Where[0].Rows = nil
		}, []string{"spot.place"}},
		{"spot: area", func(w *whole) {
			w.spot()
			w.spray.AreaTreated = nil
		}, []string{"rup.area", "com.area"}}, // by its trees it is half of the block: more than a spot
		{"spot that is none: area over a tenth of an acre", func(w *whole) {
			w.spot()
			w.spray.AreaTreated = q(0.11, "[acr_us]")
			w.spray.Where[0].Rows = nil
		}, nil},
		{"age", func(w *whole) { w.entry.AgeOf18Attested = nil }, []string{"entry.age"}},
		{"exception", func(w *whole) { w.entry.ExceptionClaimed = "" }, []string{"entry.exception"}},
		{"told: place", briefing("place"), []string{"entry.place"}},
		{"told: pesticide", briefing("pesticide"), []string{"entry.pesticide"}},
		{"told: interval", briefing("interval"), []string{"entry.interval"}},
		{"told: exception", briefing("exception"), []string{"entry.exception-told"}},
		{"told: contact", briefing("contact"), []string{"entry.contact"}},
		{"told: time", briefing("time"), []string{"entry.time"}},
		{"told: equipment", briefing("equipment"), []string{"entry.equipment"}},
		{"told: supplies", briefing("supplies"), []string{"entry.supplies"}},
		{"told: label", briefing("label"), []string{"entry.label"}},
		{"equipment given", func(w *whole) { w.entry.ProtectiveEquipment = "" }, []string{"entry.given"}},
	}
}

// spot makes the spray one of 400 m2 of some trees.
func (w *whole) spot() {
	w.spray.Spot, w.spray.AreaTreated = yes(), q(400, "m2")
}

// From a complete record each element is taken away in turn: what is missing names it and its paragraph, the reports and the
// count for status too, and nothing else.
func TestEachElement(t *testing.T) {
	t.Parallel()
	rules := map[string]string{}
	for _, e := range elements.Table() {
		rules[e.ID] = e.Source
	}
	if got, _, _ := complete().lacks(t); len(got) != 0 {
		t.Fatalf("the complete record lacks %v", got)
	}
	seen := map[string]bool{}
	for _, tc := range removals() {
		for _, id := range tc.want {
			seen[id] = true
		}
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			w := complete()
			tc.take(w)
			got, b, list := w.lacks(t)
			if !slices.Equal(got, tc.want) {
				t.Fatalf("got missing %v\nwant %v", got, tc.want)
			}
			english, spanish := report.Language("en"), report.Language("es")
			counted := elements.Lacking(b, func(code string) bool { return w.people(code, "").Name != "" }, at.AddDate(-2, 0, 0), at)
			for _, m := range list {
				if m.Rule != rules[m.Element] || m.Rule == "" {
					t.Errorf("%s: paragraph %q, want %q", m.Element, m.Rule, rules[m.Element])
				}
				if !slices.ContainsFunc(counted, func(c elements.Count) bool { return c.Element == m.Element && c.Rule == m.Rule }) {
					t.Errorf("%s is not among what status counts: %v", m.Element, counted)
				}
				for _, say := range []struct {
					lang  string
					words string
				}{{"en", m.Words(english)}, {"es", m.Words(spanish)}} {
					builds := []func(*projections.Book, field.Query, field.People) *report.Report{field.Sprays}
					switch m.Element[:3] {
					case "com":
						builds = append(builds, field.CustomerCopy)
					case "wps", "not":
						builds = append(builds, field.Posting)
					}
					for _, build := range builds {
						r := build(b, field.Query{Lang: say.lang, At: at}, w.people)
						var text bytes.Buffer
						if _, err := r.Render(&text, report.AsText, report.Options{}); err != nil {
							t.Fatal(err)
						}
						if !strings.Contains(text.String(), say.words) || !strings.Contains(say.words, m.Rule) {
							t.Errorf("report %s in %s does not say %q", r.Kind, say.lang, say.words)
						}
					}
				}
			}
		})
	}
	// What the door asks for, or a label's own rules, cannot be missing in a record; the rest is taken away above.
	cannot := []string{"rup.product", "rup.date", "com.product", "wps.product", "spot.product", "spot.date"}
	for _, e := range elements.Table() {
		if !seen[e.ID] && !slices.Contains(cannot, e.ID) {
			t.Errorf("no removal takes %s away", e.ID)
		}
	}
	t.Logf("counts: %d removals, %d elements of %d", len(removals()), len(seen), len(elements.Table()))
}

// Elements that the door wants: a record without them is refused, with the field named.
func TestRefused(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		name, field string
		take        func(*events.SprayApplied)
	}{
		{"date of start", "data.started", func(s *events.SprayApplied) { s.Started = "" }},
		{"date of end", "data.ended", func(s *events.SprayApplied) { s.Ended = "" }},
		{"place", "data.where", func(s *events.SprayApplied) { s.Where = nil }},
		{"product", "data.mix[0]", func(s *events.SprayApplied) { s.Mix[0].Product = "" }},
		{"applicator", "data.applicator", func(s *events.SprayApplied) { s.Applicator = nil }},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			w := complete()
			w.spray.Mix[0].Product = "typed"
			tc.take(&w.spray)
			door := events.Door{Catalogue: events.Standard(), Farm: "tern-hollow", Zone: time.UTC}
			_, problems := door.Check(events.Draft{Type: "spray.applied.v1", Data: events.Encode(&w.spray)})
			if !slices.ContainsFunc(problems, func(p events.Problem) bool { return strings.HasPrefix(p.Field, tc.field) }) {
				t.Errorf("got %v, want one about %s", problems, tc.field)
			}
		})
	}
}

// plain is a PDF's text as another program reads it, in one line.
func plain(t *testing.T, pdf []byte) string {
	t.Helper()
	cmd := exec.Command("pdftotext", "-layout", "-", "-")
	cmd.Stdin = bytes.NewReader(pdf)
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("pdftotext: %v", err)
	}
	return strings.Join(strings.Fields(string(out)), " ")
}

// The text of the PDF, read back, holds every element that is there.
func TestPDFHolds(t *testing.T) {
	t.Parallel()
	w := complete()
	b, spray, _ := w.book(t)
	shared := []string{"Invented Shield", "INVENTED-77", "2026-05-04 06:10", "2026-05-04 08:25", "North terrace", "72 h"}
	for _, tc := range []struct {
		name  string
		build func(*projections.Book, field.Query, field.People) *report.Report
		want  []string
	}{
		{"sprays", field.Sprays, []string{"Litchi chinensis", "1.3 kg", "0.65 ha", "Ione Fernside", "CERT-4711", "Basil Quarry", "rows 1", "2026-05-03 18:00", spray}},
		{"posting", field.Posting, []string{"Litchi chinensis", "invented pyrethrin", "abababababab", "2026-05-07 08:25", "2026-05-05 08:25", "2026-06-06", "2026-05-03 06:10", "2026-05-10 08:25"}},
		{"customer-copy", field.CustomerCopy, []string{"Litchi chinensis", "1.3 kg", "0.65 ha", "Ione Fernside", "CERT-4711", "Basil Quarry", "Tern Hollow, 1 Invented Lane", "Brook Spraying", "2026-06-03"}},
		{"exposure", field.Exposure, []string{"invented pyrethrin", "DANGER-INVENTED", "abababababab"}},
	} {
		for _, lang := range []string{"en", "es"} {
			t.Run(tc.name+" "+lang, func(t *testing.T) {
				t.Parallel()
				r := tc.build(b, field.Query{Lang: lang, At: at}, w.people)
				var pdf bytes.Buffer
				lack, err := r.Render(&pdf, report.AsPDF, report.Options{Paper: "letter"})
				if err != nil || lack != "" {
					t.Fatalf("render: %v, letters that are not there: %q", err, lack)
				}
				text := plain(t, pdf.Bytes())
				for _, want := range append(slices.Clone(shared), tc.want...) {
					if want == "rows 1" && lang == "es" {
						want = "hileras 1"
					}
					// A cell may break a value into lines: then its words stand apart.
					if slices.ContainsFunc(strings.Fields(want), func(word string) bool { return !strings.Contains(text, word) }) {
						t.Errorf("the PDF does not hold %q:\n%s", want, text)
					}
				}
				if !strings.Contains(text, r.Cautions[len(r.Cautions)-1]) {
					t.Errorf("the PDF does not hold the last caution")
				}
			})
		}
	}
}
