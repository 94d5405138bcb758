package app

import (
	"fmt"
	"strings"
	"testing"

	"latewood/events"
	"latewood/events/canon"
	"latewood/events/civil"
	"latewood/services/register"
)

// filled makes a value of a shape with every field in it, and a text at each place that may name a person.
func filled(s *events.Shape, who string, places *int) canon.Value {
	switch s.Form {
	case events.FormPerson:
		*places++
		return canon.Text(who)
	case events.FormList:
		return canon.ListOf(filled(s.Elem, who, places), filled(s.Elem, who, places))
	case events.FormOneOrMany:
		return filled(s.Elem, who, places)
	case events.FormObject:
		v := canon.Value{Kind: canon.Object}
		for i := range s.Fields {
			v.Set(s.Fields[i].Name, filled(s.Fields[i].Shape, who, places))
		}
		return v
	}
	return canon.Text("something else")
}

// Every place of every kind that can name a person takes a tag, a name or a pseudonym and holds a pseudonym afterwards; what
// cannot name one stays as it was.
func TestEveryPlace(t *testing.T) {
	t.Parallel()
	people, err := register.Open(register.Config{Dir: t.TempDir(), Owner: "w_00000000000000000000000000000001"})
	if err != nil {
		t.Fatal(err)
	}
	day := civil.Date{Year: 2026, Month: 1, Day: 5}
	p, err := people.Add(register.New{Name: "Ione Fernside"}, day)
	if err != nil {
		t.Fatal(err)
	}
	spots := spotsOf(events.Standard())
	n := &naming{f: &farm{people: people, spots: spots}, seen: map[string]whom{}}
	all, kinds := 0, 0
	for _, k := range events.Standard().Kinds() {
		for _, who := range []string{"P02", "p2", "ione  fernside", p.Pseudonym} {
			places := 0
			v := filled(k.Shape, who, &places)
			if places == 0 {
				t.Errorf("%s has no place for a person, not even by", k.Name)
				continue
			}
			was := string(canon.Bytes(v))
			if who != p.Pseudonym && !spots[k.Name].in(v, spots) {
				t.Errorf("%s with %q: it would not be looked at", k.Name, who)
			}
			w := names{naming: n}
			w.walk(&v, spots[k.Name], "data")
			if want := strings.ReplaceAll(was, `"`+who+`"`, `"`+p.Pseudonym+`"`); string(canon.Bytes(v)) != want || len(w.problems) > 0 {
				t.Errorf("%s with %q: %v\ngot  %s\nwant %s", k.Name, who, w.problems, canon.Bytes(v), want)
			}
			all += places
		}
		// Nobody: one problem for each place, at its path.
		places := 0
		v := filled(k.Shape, "Nobody", &places)
		w := names{naming: n}
		w.walk(&v, spots[k.Name], "data")
		at := map[string]bool{}
		for _, problem := range w.problems {
			at[problem.Field] = true
		}
		if len(w.problems) != places || len(at) != places || !at["data.by"] {
			t.Errorf("%s: %d places, %d problems at %v", k.Name, places, len(w.problems), at)
		}
		kinds++
	}
	t.Logf("counts: %d places for a person in %d kinds", all, kinds)
}

// The data inside a correction are of the kind that it names.
func TestInsideACorrection(t *testing.T) {
	t.Parallel()
	people, err := register.Open(register.Config{Dir: t.TempDir(), Owner: "w_00000000000000000000000000000001"})
	if err != nil {
		t.Fatal(err)
	}
	spots := spotsOf(events.Standard())
	n := &naming{f: &farm{people: people, spots: spots}, seen: map[string]whom{}}
	for _, tc := range []struct{ in, want, problem string }{
		{`{"type":"fruit.picked.v1","data":{"picker":"P01","crew":"P01"},"by":"P01"}`, `{"by":"w_00000000000000000000000000000001","data":{"crew":"P01","picker":"w_00000000000000000000000000000001"},"type":"fruit.picked.v1"}`, ""},
		{`{"type":"fruit.picked.v1","data":{"picker":"P09"}}`, `{"data":{"picker":"P09"},"type":"fruit.picked.v1"}`, "data.data.picker"},
		{`{"type":"nonsense","data":{"picker":"P09"}}`, `{"data":{"picker":"P09"},"type":"nonsense"}`, ""},
		{`{"type":7,"data":[{"picker":"P09"}]}`, `{"data":[{"picker":"P09"}],"type":7}`, ""},
		{`["P01"]`, `["P01"]`, ""},
	} {
		v, err := canon.Parse([]byte(tc.in))
		if err != nil {
			t.Fatal(err)
		}
		spots["record.corrected"].in(v, spots)
		w := names{naming: n}
		w.walk(&v, spots["record.corrected"], "data")
		fields := ""
		for _, p := range w.problems {
			fields += p.Field
		}
		if string(canon.Bytes(v)) != tc.want || fields != tc.problem {
			t.Errorf("%s: got %s, %q", tc.in, canon.Bytes(v), fields)
		}
	}
}

// Texts that may name a person or a business, and texts that should name nobody.
func TestTexts(t *testing.T) {
	t.Parallel()
	people, err := register.Open(register.Config{Dir: t.TempDir(), Owner: "w_00000000000000000000000000000001"})
	if err != nil {
		t.Fatal(err)
	}
	for range 2 {
		if _, err := people.Add(register.New{Name: "Tama Reef"}, civil.Date{Year: 2026, Month: 1, Day: 5}); err != nil {
			t.Fatal(err)
		}
	}
	spots := spotsOf(events.Standard())
	n := &naming{f: &farm{people: people, spots: spots}, seen: map[string]whom{}}
	for _, tc := range []struct{ kind, in, want, problem string }{
		{"label.filed", `{"readBy":"p1"}`, `{"readBy":"w_00000000000000000000000000000001"}`, ""},
		{"label.filed", `{"readBy":"Reef Advice"}`, `{"readBy":"Reef Advice"}`, ""},
		{"label.filed", `{"readBy":"tama reef"}`, "", "data.readBy people.several"},
		{"visit.made", `{"who":["P01","an auditor"]}`, `{"who":["w_00000000000000000000000000000001","an auditor"]}`, ""},
		{"visit.made", `{"who":"P01"}`, `{"who":"w_00000000000000000000000000000001"}`, ""},
		{"training.given", `{"trainer":"P01"}`, `{"trainer":"w_00000000000000000000000000000001"}`, ""},
		{"tree.seen", `{"note":"by Tama Reef"}`, "", "data.note people.mentioned"},
		{"tree.seen", `{"note":"by the reef"}`, `{"note":"by the reef"}`, ""},
		{"record.corrected", `{"type":"tree.seen.v1","data":{"note":"by Tama Reef"}}`, "", "data.data.note people.mentioned"},
		{"record.withdrawn", `{"reason":"Tama Reef says so"}`, "", "data.reason people.mentioned"},
	} {
		v, err := canon.Parse([]byte(tc.in))
		if err != nil {
			t.Fatal(err)
		}
		w := names{naming: n}
		if spots[tc.kind].in(v, spots) {
			w.walk(&v, spots[tc.kind], "data")
		}
		problem := ""
		for _, p := range w.problems {
			problem += p.Field + " " + p.Why.Key
		}
		if problem != tc.problem || tc.problem == "" && string(canon.Bytes(v)) != tc.want {
			t.Errorf("%s %s: got %s, problem %q; want %s, %q", tc.kind, tc.in, canon.Bytes(v), problem, tc.want, tc.problem)
		}
	}
}

func TestCombined(t *testing.T) {
	t.Parallel()
	got := fmt.Sprint(combined([][]string{{"a", "b"}, {"x", "y"}}))
	if want := "[[a x] [a y] [b x] [b y]]"; got != want {
		t.Errorf("got %s, want %s", got, want)
	}
	long := strings.Split(strings.Repeat("x ", 100), " ")
	if n := len(combined([][]string{long, long})); n > mostChoices {
		t.Errorf("%d ways", n)
	}
}
