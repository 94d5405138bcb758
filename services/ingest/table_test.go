package ingest

import (
	"errors"
	"io"
	"strings"
	"testing"
	"testing/iotest"
)

// pick is the data of a pick in the block north.
func pick(kg string) string {
	return `{"mass":{"unit":"kg","value":` + kg + `},"where":{"block":"north"}}`
}

// The outer shape of files: what divides cells and lines, quotes, blanks, and what is refused as a whole.
func TestShapes(t *testing.T) {
	t.Parallel()
	one := "2: fruit.picked.v1 2026-06-01T00:00:00-10:00 " + pick("12") + "\n"
	for _, tc := range []struct{ name, text, want string }{
		{"commas", "time,block,mass_kg\n2026-06-01,north,12\n", one},
		{"no last line break", "time,block,mass_kg\n2026-06-01,north,12", one},
		{"semicolons", "time;block;mass_kg\n2026-06-01;north;12\n", one},
		{"tabs", "time\tblock\tmass_kg\n2026-06-01\tnorth\t12\n", one},
		{"CRLF", "time,block,mass_kg\r\n2026-06-01,north,12\r\n", one},
		{"CR", "time,block,mass_kg\r2026-06-01,north,12\r", one},
		{"byte order mark", "\xef\xbb\xbftime,block,mass_kg\n2026-06-01,north,12\n", one},
		{"the spreadsheet's mark", "sep=;\ntime;block;mass_kg\n2026-06-01;north;12\n", "3" + one[1:]},
		{"quotes", "\"time\",\"block\",\"mass_kg\"\n\"2026-06-01\" , \"north\",\"12\"\n", one},
		{"delimiters inside quotes of the heading", "\"time\",\"block\",\"mass_kg\",\"note\"\n2026-06-01,north,12,\"a;b;c;d;e\"\n",
			"2: fruit.picked.v1 2026-06-01T00:00:00-10:00 {\"mass\":{\"unit\":\"kg\",\"value\":12},\"note\":\"a;b;c;d;e\",\"where\":{\"block\":\"north\"}}\n"},
		{"blank lines and cells", "\n,,\ntime,block,mass_kg\n\n , ,\n2026-06-01,north,12\n,,\n", "6" + one[1:]},
		{"empty columns at the end", "time,block,mass_kg,,\n2026-06-01,north,12,,\n", one},
		{"a cell under no heading", "time,block,mass_kg,,\n2026-06-01,north,12,x,\n",
			"2: : x: cell 4 stands under no heading; there are 3; put texts with a comma into quotes, or give the column a heading\n"},
		{"blanks that do not break", "time,block,mass_kg\n2026-06-01,\u00a0north\u00a0,12\n", one},
		{"heading only", "time,block,mass_kg\n", ""},
		{"lines are physical lines", "time,block,mass_kg,note\n2026-06-01,north,1,\"a\r\nb\n\nc\"\n2026-06-01,north,x,\n",
			"2: fruit.picked.v1 2026-06-01T00:00:00-10:00 {\"mass\":{\"unit\":\"kg\",\"value\":1},\"note\":\"a\\nb\\n\\nc\",\"where\":{\"block\":\"north\"}}\n" +
				"6: data.mass.value (mass_kg): x: this says nothing; leave the cell empty where the number is not known\n"},
		{"a quote inside a plain cell", "time,block,mass_kg,note\n2026-06-01,north,12,5\" limb\n",
			"2: fruit.picked.v1 2026-06-01T00:00:00-10:00 {\"mass\":{\"unit\":\"kg\",\"value\":12},\"note\":\"5\\\" limb\",\"where\":{\"block\":\"north\"}}\n"},
		{"not UTF-8", "time,block,mass_kg,note\n2026-06-01,north,12,caf\xe9\n",
			"2: data.note (note): caf\ufffd: there are bytes that are no UTF-8; save it from the spreadsheet as CSV UTF-8\n"},
		{"heading not UTF-8", "time,block,mass_kg,caf\xe9\n", "f:1: there are bytes that are no UTF-8: save it from the spreadsheet as CSV UTF-8\n"},
		{"empty", "", "f: the file is empty: check that it is the right file\n"},
		{"blank", " \n\n", "f: the file is empty: check that it is the right file\n"},
		{"UTF-16", "\xff\xfet\x00i\x00", "f: the file is in UTF-16: save it from the spreadsheet as CSV UTF-8\n"},
		{"a spreadsheet", "PK\x03\x04 and so on", "f: the workbook is damaged or no XLSX: open it in the spreadsheet and save it anew as XLSX\n"},
		{"a picture", "\x89PNG\x00\x01", "f: the file is no text: save it from the spreadsheet as CSV UTF-8\n"},
		{"a JSON list", " [{}]", "f:1: the file is one JSON list: write each record as an object on a line of its own, without a list around them\n"},
		{"JSON over several lines", "{\n\"type\": 1\n}\n", "f:1: a JSON object runs over several lines: write each record as an object on a line of its own, without a list around them\n"},
		{"unknown headings, all at once", "time,blok,mas_kg,Colour\n2026-06-01,north,12,red\n",
			"f:1: \"blok\": this is no heading of fruit.picked: did you mean \"block\"?\nf:1: \"mas_kg\": this is no heading of fruit.picked: did you mean \"mass_kg\"?\n" +
				"f:1: \"Colour\": this is no heading of fruit.picked: leave the column out with ignore in a map, or lead it to a field; required: time, block. All others: latewood template fruit.picked --format csv\n"},
		{"a heading twice", "time,block,mass_kg,note,note\n", "f:1: \"note\": the heading stands twice: give each column a heading of its own\n"},
		{"one place twice", "time,block,mass_kg,mass_lb\n", "f:1: \"mass_lb\": data.mass is filled by mass_kg already: leave one of the columns out with ignore in a map\n"},
		{"a thing and its part", "time,block,mass_kg,mass.unit\n", "f:1: \"mass.unit\": data.mass.unit is filled by mass_kg already: leave one of the columns out with ignore in a map\n"},
		{"a row too long", "time,block,mass_kg,note\n2026-06-01,north,12," + strings.Repeat("x", maxLine) + "\n2026-06-01,north,12,\n",
			"2: : <nil>: the row has more than 1048576 bytes; write one record a line; long texts are documents, to be filed beside the ledger\n3" + one[1:]},
		{"a quoted cell too long", "time,block,mass_kg,note\n2026-06-01,north,12,\"" + strings.Repeat(strings.Repeat("x", 60000)+"\n", 18) + "\"\n2026-06-01,north,12,\n", "2: : <nil>: a quote on line 2 does not end"},
		{"a heading too long", strings.Repeat("x", maxLine+1), "f:1: the row has more than 1048576 bytes: save it from the spreadsheet as CSV UTF-8\n"},
		{"too many columns", strings.Repeat("a,", 1000) + "a\n", "f:1: the table has more than 1000 columns: leave columns that are not read away, or split the table\n"},
		{"date and clock", "date,time,block,mass_kg\n2026-06-01,14:30,north,12\n", "2: fruit.picked.v1 2026-06-01T14:30:00-10:00 " + pick("12") + "\n"},
		{"date and half past nothing", "date,time,block,mass_kg\n2026-06-01,morning,north,12\n2026-06-01,,north,12\n,14:30,north,12\n,soon,north,12\n",
			"2: time (time): morning: this is no time of the day; write it as 14:30\n3: fruit.picked.v1 2026-06-01T00:00:00-10:00 " + pick("12") + "\n" +
				"4: time (time): 14:30: the time of the day stands without a date; write the date too, or add a column date\n" +
				"5: time (time): soon: this is no time of the day; write it as 14:30\n"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			got := read(t, tc.text, Options{Name: "f", As: "picks"})
			if got != tc.want && !(strings.HasSuffix(tc.want, "end") && strings.HasPrefix(got, tc.want)) {
				t.Errorf("got\n%swant\n%s", got, tc.want)
			}
		})
	}
}

// A list's items may have gaps: what stands in mix[1] alone is the first of the mix, and a problem still finds its column.
func TestItems(t *testing.T) {
	t.Parallel()
	got := read(t, `started,ended,target,applicator,where[0].block,where[1].block,where[1].rows,mix[0].product,mix[0].rate_lha,mix[2].product,mix[2].rate_lha
2026-05-04T06:00,2026-05-04T07:00,scale,w_000102030405060708090a0b0c0d0e0f,north,south,1;2,A,1,B,2
2026-05-04T06:00,2026-05-04T07:00,scale,w_000102030405060708090a0b0c0d0e0f,,south,1;2,,,B,2
2026-05-04T06:00,2026-05-04T07:00,scale,w_000102030405060708090a0b0c0d0e0f,north,,,,,B,-2
2026-05-04T06:00,2026-05-04T07:00,scale,w_000102030405060708090a0b0c0d0e0f,north,South,,A,1,,2
2026-05-04T06:00,2026-05-04T07:00,scale,w_000102030405060708090a0b0c0d0e0f,,south,3-Jan,A,1,,
`, Options{As: "sprays"})
	data := `2: spray.applied.v1 2026-05-04T07:00:00-10:00 {"applicator":{"code":"w_000102030405060708090a0b0c0d0e0f"},"ended":"2026-05-04T07:00:00-10:00",` +
		`"mix":[{"product":"A","rate":{"unit":"L/har","value":1}},{"product":"B","rate":{"unit":"L/har","value":2}}],"started":"2026-05-04T06:00:00-10:00","target":"scale",` +
		`"where":[{"block":"north"},{"block":"south","rows":["1","2"]}]}`
	want := []string{
		data,
		strings.NewReplacer("2: ", "3: ", `{"product":"A","rate":{"unit":"L/har","value":1}},`, "", `[{"block":"north"},{"block":"south","rows":["1","2"]}]`, `{"block":"south","rows":["1","2"]}`).Replace(data),
		`4: data.mix[0].rate.value (mix[2].rate_lha): -2: refuse.negative`,
		`5: data.where[1].block (where[1].block): South: refuse.not.code`,
		`5: data.mix[1].label (mix[2].product): <nil>: refuse.one-of`,
		`6: data.where.rows (where[1].rows): 3-Jan: a spreadsheet has made a date of this; format the column as text and write it again, as 1-3 or 1;2;3`,
	}
	lines := strings.Split(strings.TrimSpace(got), "\n")
	for i := range want {
		if i >= len(lines) || lines[i] != want[i] {
			t.Errorf("line %d:\ngot  %s\nwant %s", i, append(lines, make([]string, 9)...)[i], want[i])
		}
	}
	if len(lines) != len(want) {
		t.Errorf("got %d lines, want %d:\n%s", len(lines), len(want), got)
	}
}

// A quote that goes wrong costs its own line and no other, and never more than a linear look at the file.
func TestQuotesRecover(t *testing.T) {
	t.Parallel()
	var b strings.Builder
	b.WriteString("time,block,mass_kg,note\n")
	bad := 0
	for i := range 3000 {
		if i%7 == 3 {
			b.WriteString("2026-06-01,north,1,\"open\n")
			bad++
			continue
		}
		b.WriteString("2026-06-01,north,1,fine\n")
	}
	got := read(t, b.String(), Options{As: "picks"})
	good := strings.Count(got, "fruit.picked.v1")
	refused := strings.Count(got, "does not end where its cell ends")
	if good != 3000-bad || refused != bad {
		t.Errorf("got %d records and %d refusals, want %d and %d", good, refused, 3000-bad, bad)
	}
}

func TestReadErrors(t *testing.T) {
	t.Parallel()
	broken := errors.New("the cable is out")
	long := "time,block,mass_kg\n" + strings.Repeat("2026-06-01,north,12\n", 10000)
	for _, text := range []string{"", "time,block", long, `{"type":"x","data":{}}` + "\n" + strings.Repeat("\n", 100000)} {
		r, err := Open(io.MultiReader(strings.NewReader(text), iotest.ErrReader(broken)), Options{As: "picks", Zone: zone(t, "UTC")})
		for err == nil {
			_, err = r.Next()
		}
		if !errors.Is(err, broken) {
			t.Errorf("a file that breaks off after %d bytes: got %v, want %v", len(text), err, broken)
		}
	}
}

func TestOpenRefuses(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		name string
		o    Options
		text string
		want string
	}{
		{"unknown kind", Options{As: "fruit.pickd"}, "a\n", `there is no kind or table called fruit.pickd: did you mean "fruit.picked"?`},
		{"unknown table", Options{As: "pick"}, "a\n", `there is no kind or table called pick: did you mean "picks"?`},
		{"nothing like it", Options{As: "x"}, "a\n", "there is no kind or table called x: write a kind, as fruit.picked, or one of trees, picks, sprays, labels, weather"},
		{"two kinds", Options{As: "picks", Map: &Map{Kind: "trees"}}, "a\n", "the rows are said to be picks, and by the map to be trees: say it in one place"},
		{"no station", Options{As: "weather"}, "time,rain_mm\n", "f:1: the rows do not say of which station they are: name it with --station, or add a column station"},
		{"no kind", Options{}, "a,b\n", "f:1: these headings are of no kind of record that is known: name the kind with --as, or one of trees, picks, sprays, labels, weather"},
		{"several kinds", Options{}, "time,block,stage\n", "f:1: these headings could be of bloom.seen, flush.seen: name the kind with --as, or one of trees, picks, sprays, labels, weather"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			tc.o.Name, tc.o.Zone = "f", zone(t, "UTC")
			_, err := Open(strings.NewReader(tc.text), tc.o)
			var refusals Refusals
			if !errors.As(err, &refusals) || strings.TrimPrefix(err.Error(), "f: ") != tc.want {
				t.Errorf("got %v, want %s", err, tc.want)
			}
		})
	}
	if _, err := Open(strings.NewReader("time,rain_mm\n"), Options{As: "weather", Station: "hollow"}); !errors.Is(err, errNoZone) {
		t.Errorf("weather without a zone: got %v, want %v", err, errNoZone)
	}
}

// A withholding line with a number is one to count with, unless the table says what it is.
func TestWithholdingKind(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct{ kind, value, want string }{
		{"", "14", `"kind":"numeric","unit":"d","value":14`}, {"unknown", "14", `"kind":"unknown","unit":"d","value":14`}, {"zero", "0", `"kind":"zero","unit":"d","value":0`},
		{"none-stated", "", `"withholding":{"kind":"none-stated"}`}, {"", "0", "data.withholding.kind"},
	} {
		got := read(t, "time,product,material,readBy,phi_d,withholding.kind\n2026-01-12,Spreader T,adjuvant,owner,"+tc.value+","+tc.kind+"\n", Options{As: "labels"})
		if !strings.Contains(got, tc.want) {
			t.Errorf("%s %s: got %s, want %s", tc.kind, tc.value, got, tc.want)
		}
	}
}
