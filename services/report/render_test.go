package report_test

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"errors"
	"image"
	"image/color"
	"image/png"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"latewood/events/civil"
	"latewood/services/internal/sheets"
	"latewood/services/report"
)

// sample is a report with one of everything; all in it is invented.
func sample() *report.Report {
	day := civil.Date{Year: 2026, Month: time.May, Day: 4}
	t := report.Table{Key: "picks", Name: "Picks", Columns: []report.Column{
		{Key: "day", Heading: "Day"}, {Key: "block", Heading: "Block"}, {Key: "kg", Heading: "Fruit", Unit: "kg", Numbers: true}, {Key: "early", Heading: "Early"}, {Key: "at", Heading: "At"},
	}}
	t.Add(report.Day(day), report.Text("=1+2"), report.Number(1234.5678, 1), report.Truth(true), report.Moment(time.Date(2026, 5, 4, 8, 25, 0, 0, time.FixedZone("", -36000))))
	t.Add(report.Day(day.AddDays(1)), report.Text("0012"), report.Cell{}, report.Truth(false), report.Cell{})
	second := report.Table{Key: "more", Name: "More: [of it]/all*", Columns: []report.Column{{Key: "a", Heading: "A"}}, Empty: "Nothing more."}
	return &report.Report{
		Kind: "sample", Title: "A <sample> & more", Of: "Tern Hollow",
		Covers: []report.Field{{Key: "season", Name: "Season", Value: report.Text("2026")}},
		Sections: []report.Section{
			{Title: "First", Big: "North terrace", Paragraphs: []string{"A paragraph with <b>marks</b>."}, Fields: []report.Field{{Key: "x", Name: "Known", Value: report.Count(3)}, {Key: "y", Name: "Not known"}},
				Marks: []report.Mark{{Head: "Not recorded:", Texts: []string{"the total", "the area"}}}, Tables: []report.Table{t}},
			{Title: "Second", Fresh: true, Tables: []report.Table{second}},
		},
		Cautions: []string{"The label and the local rules decide."},
		Foot:     report.Foot{Method: []string{"Counted."}, Corrected: 2, Made: day, Size: 12, Root: "ROOT=", Version: "v1.2.3"},
	}
}

func render(t *testing.T, r *report.Report, as report.Format) []byte {
	t.Helper()
	var b bytes.Buffer
	if _, err := r.Render(&b, as, report.Options{}); err != nil {
		t.Fatalf("%s: %v", as, err)
	}
	return b.Bytes()
}

// The same report gives the same bytes, in every format.
func TestSameBytes(t *testing.T) {
	t.Parallel()
	for _, as := range report.Formats() {
		first := render(t, sample(), as)
		for range 3 {
			if again := render(t, sample(), as); !bytes.Equal(first, again) {
				t.Errorf("%s: other bytes of the same report", as)
			}
		}
	}
}

func TestText(t *testing.T) {
	t.Parallel()
	text := string(render(t, sample(), report.AsText))
	for _, want := range []string{
		"A <sample> & more\nTern Hollow\nSeason  2026\n", "  Known      3\n  Not known  –\n", "▌ Not recorded:\n▌ • the total\n",
		"Day         Block  Fruit (kg)  Early  At\n", "2026-05-04  =1+2       1234.6  yes    2026-05-04 08:25\n", "2026-05-05  0012            –  no     –\n", "Nothing more.\n",
		"2 records in it were corrected", "From a ledger of 12 records, root ROOT=.\n", "Made for 2026-05-04 with Latewood v1.2.3.\n",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("no %q in\n%s", want, text)
		}
	}
	spanish := sample()
	spanish.Lang = "es"
	if text := string(render(t, spanish, report.AsText)); !strings.Contains(text, "De un libro de 12 registros") || !strings.Contains(text, "sí") {
		t.Errorf("not in Spanish:\n%s", text)
	}
}

func TestCSV(t *testing.T) {
	t.Parallel()
	rows, err := csv.NewReader(bytes.NewReader(render(t, sample(), report.AsCSV))).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	want := [][]string{
		{"day", "block", "kg", "early", "at"},
		{"2026-05-04", "'=1+2", "1234.5678", "true", "2026-05-04T08:25:00-10:00"},
		{"2026-05-05", "0012", "", "false", ""},
	}
	if len(rows) != len(want) {
		t.Fatalf("got %d rows, want %d", len(rows), len(want))
	}
	for i := range want {
		if !slices.Equal(rows[i], want[i]) {
			t.Errorf("row %d: got %q, want %q", i, rows[i], want[i])
		}
	}
	var second bytes.Buffer
	if _, err := sample().Render(&second, report.AsCSV, report.Options{Table: "more"}); err != nil || second.String() != "a\r\n" {
		t.Errorf("the second table: %v, %q", err, second.String())
	}
	if _, err := sample().Render(&second, report.AsCSV, report.Options{Table: "none"}); !errors.Is(err, report.ErrNoTable) {
		t.Errorf("a table that is not there: got %v, want ErrNoTable", err)
	}
	if _, err := (&report.Report{}).Render(&bytes.Buffer{}, report.AsCSV, report.Options{}); !errors.Is(err, report.ErrNoTable) {
		t.Errorf("a report without a table: got %v, want ErrNoTable", err)
	}
	if _, err := sample().Render(&bytes.Buffer{}, "doc", report.Options{}); !errors.Is(err, report.ErrFormat) {
		t.Errorf("an unknown format: got %v, want ErrFormat", err)
	}
}

func TestJSON(t *testing.T) {
	t.Parallel()
	var got struct {
		Kind     string
		Sections []struct {
			Fields []struct{ Value any }
			Tables []struct{ Rows []map[string]any }
		}
		Foot struct{ Size int }
	}
	if err := json.Unmarshal(render(t, sample(), report.AsJSON), &got); err != nil {
		t.Fatal(err)
	}
	row := got.Sections[0].Tables[0].Rows[0]
	if got.Kind != "sample" || got.Foot.Size != 12 || row["kg"] != 1234.5678 || row["early"] != true || row["day"] != "2026-05-04" {
		t.Errorf("got %+v", got)
	}
	if f := got.Sections[0].Fields; f[0].Value != 3.0 || f[1].Value != nil {
		t.Errorf("fields: got %v, want 3 and null", f)
	}
	if _, ok := got.Sections[0].Tables[0].Rows[1]["kg"]; ok {
		t.Error("a value that is not known stands in the row")
	}
	agreed := sample()
	agreed.Document = map[string]int{"rows": 7}
	if got := string(render(t, agreed, report.AsJSON)); got != "{\"rows\":7}\n" {
		t.Errorf("the agreed document: got %s", got)
	}
}

// The workbook is read by our own reader, which shares no code with the writer, and by LibreOffice.
func TestXLSX(t *testing.T) {
	t.Parallel()
	file := render(t, sample(), report.AsXLSX)
	b, err := sheets.Open(bytes.NewReader(file))
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	var names []string
	for _, s := range b.Sheets() {
		names = append(names, s.Name)
	}
	if got, want := names, []string{"About", "Picks", "More   of it  all"}; !slices.Equal(got, want) {
		t.Errorf("sheets: got %q, want %q", got, want)
	}
	dir := t.TempDir()
	path := filepath.Join(dir, "sample.xlsx")
	if err := os.WriteFile(path, file, 0o600); err != nil {
		t.Fatal(err)
	}
	// -1: every sheet to a file of its own; false: values as they are, not as they are shown.
	cmd := exec.Command("soffice", "--headless", "-env:UserInstallation=file://"+filepath.ToSlash(dir)+"/profile", "--convert-to", "csv:Text - txt - csv (StarCalc):44,34,76,1,,0,false,false,false,false,false,-1", "--outdir", dir, path)
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("soffice: %v\n%s", err, out)
	}
	for name, want := range map[string]string{
		"sample-Picks.csv": "Day,Block,Fruit (kg),Early,At\n2026-05-04,=1+2,1234.5678,TRUE,2026-05-04T08:25:00-10:00\n2026-05-05,0012,,FALSE,\n",
		"sample-About.csv": "What this is,A <sample> & more\n,Tern Hollow\nSeason,2026\nCaution,The label and the local rules decide.\n",
	} {
		got, err := os.ReadFile(filepath.Join(dir, name))
		if err != nil {
			t.Fatal(err)
		}
		if !strings.HasPrefix(strings.ReplaceAll(string(got), `"`, ""), want) {
			t.Errorf("%s as LibreOffice reads it:\n%s\nwant it to begin\n%s", name, got, want)
		}
	}
}

func TestHTML(t *testing.T) {
	t.Parallel()
	page := string(render(t, sample(), report.AsHTML))
	for _, want := range []string{"<title>A &lt;sample&gt; &amp; more</title>", "&lt;b&gt;marks&lt;/b&gt;", `<td class="n">1234.6</td>`, "<li>the total</li>", `<section class="fresh">`, "Nothing more."} {
		if !strings.Contains(page, want) {
			t.Errorf("no %q in the page", want)
		}
	}
	if strings.Contains(page, "<script") || strings.Contains(page, "http") {
		t.Error("the page runs or fetches something")
	}
}

// PDF on both papers, read back by another program; a figure is drawn, a letter that the font lacks is told.
func TestPDF(t *testing.T) {
	t.Parallel()
	r := sample()
	r.Sections[0].Paragraphs = append(r.Sections[0].Paragraphs, "A letter: 山")
	img := image.NewGray(image.Rect(0, 0, 4, 4))
	img.SetGray(1, 1, color.Gray{Y: 200})
	var picture bytes.Buffer
	if err := png.Encode(&picture, img); err != nil {
		t.Fatal(err)
	}
	r.Sections[0].Figures = []report.Figure{{Title: "A figure", PNG: picture.Bytes(), Width: 60, Height: 30}}
	for _, tc := range []struct {
		paper report.Paper
		size  string
	}{{"a4", "595.28 x 841.89"}, {"letter", "612 x 792"}} {
		var b bytes.Buffer
		lack, err := r.Render(&b, report.AsPDF, report.Options{Paper: tc.paper})
		if err != nil || lack != "山" {
			t.Fatalf("%s: %v, lacking %q", tc.paper, err, lack)
		}
		info := exec.Command("pdfinfo", "-")
		info.Stdin = bytes.NewReader(b.Bytes())
		out, err := info.Output()
		if err != nil || !strings.Contains(string(out), tc.size) || !strings.Contains(string(out), "Pages:           2") {
			t.Errorf("%s: pdfinfo: %v\n%s", tc.paper, err, out)
		}
		cmd := exec.Command("pdftotext", "-layout", "-", "-")
		cmd.Stdin = &b
		text, err := cmd.Output()
		if err != nil {
			t.Fatal(err)
		}
		for _, want := range []string{"A <sample> & more", "North terrace", "the total", "1234.6", "Page 1 of 2", "Page 2 of 2", "A figure", "The label and the local rules decide.", "root ROOT="} {
			if !strings.Contains(string(text), want) {
				t.Errorf("%s: the text read back has no %q:\n%s", tc.paper, want, text)
			}
		}
	}
	if _, err := r.Render(&bytes.Buffer{}, report.AsPDF, report.Options{Paper: "a0"}); err == nil {
		t.Error("an unknown paper: no error")
	}
}
