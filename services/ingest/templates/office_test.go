package templates_test

import (
	"archive/zip"
	"bytes"
	"encoding/csv"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"latewood/services/ingest"
	"latewood/services/ingest/templates"
	"latewood/services/internal/sheets"
)

// Templates opened by a spreadsheet program that others wrote: the table it shows is that of the CSV template, and the sheet
// that explains has a line for each column.
func TestSecondReader(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	names := ingest.Tables()
	args := []string{"-env:UserInstallation=file://" + filepath.Join(dir, "profile"), "--headless", "--convert-to",
		"csv:Text - txt - csv (StarCalc):44,34,76,1,,0,false,true,false,false,false,-1", "--outdir", dir}
	for _, name := range names {
		f, err := os.Create(filepath.Join(dir, name+".xlsx"))
		if err != nil {
			t.Fatal(err)
		}
		if err := make(t, name, templates.Farm{}).XLSX(f); err != nil {
			t.Fatal(err)
		}
		if err := f.Close(); err != nil {
			t.Fatal(err)
		}
		args = append(args, f.Name())
	}
	cmd := exec.Command("soffice", args...)
	cmd.Env = append(os.Environ(), "HOME="+dir)
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	rows := func(name string) [][]string {
		t.Helper()
		b, err := os.ReadFile(filepath.Join(dir, name))
		if err != nil {
			t.Fatal(err)
		}
		out, err := csv.NewReader(bytes.NewReader(b)).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		return out
	}
	cells := 0
	for _, name := range names {
		tm := make(t, name, templates.Farm{})
		var b bytes.Buffer
		if err := tm.CSV(&b); err != nil {
			t.Fatal(err)
		}
		want, err := csv.NewReader(&b).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		got := rows(name + "-" + tm.Kind.Name + ".csv")
		if len(got) != len(want) {
			t.Fatalf("%s: %d rows, want %d", name, len(got), len(want))
		}
		for i := range want {
			for j := range want[i] {
				cells++
				if got[i][j] != want[i][j] {
					t.Errorf("%s, row %d, %s: it reads %q, want %q", name, i+1, want[0][j], got[i][j], want[i][j])
				}
			}
		}
		explained := map[string][]string{}
		for _, r := range rows(name + "-" + sheets.ReadMe + ".csv") {
			explained[r[0]] = r
		}
		for _, c := range tm.Columns {
			r := explained[c.Text]
			if len(r) < 3 || r[1] == "" || r[2] == "" {
				t.Errorf("%s: nothing explains %s", name, c.Text)
				continue
			}
			if c.Required != strings.HasPrefix(r[1], "Must be filled in.") {
				t.Errorf("%s: %s is required: %v, but it says %q", name, c.Text, c.Required, r[1])
			}
		}
	}
	t.Logf("counts: %d templates with %d cells read by a second program", len(names), cells)
}

// The drop-downs: words of the kind in the cell's own rule, blocks and labels of the farm from the sheet that explains.
func TestDropDowns(t *testing.T) {
	t.Parallel()
	farm := templates.Farm{
		Blocks: []templates.Choice{{Code: "north", Name: "North Block"}, {Code: "upper", Name: "Upper"}},
		Labels: []templates.Choice{{Code: "019b76da-a800-7000-8000-000000000001", Name: "Brume 80 rev. 4"}},
	}
	var b bytes.Buffer
	if err := make(t, "sprays", farm).XLSX(&b); err != nil {
		t.Fatal(err)
	}
	sheet := part(t, b.Bytes(), "xl/worksheets/sheet1.xml")
	for _, want := range []string{
		`<formula1>&#39;read me&#39;!$G$2:$G$3</formula1>`, `<formula1>&#39;read me&#39;!$K$2:$K$2</formula1>`, `"active,adjuvant,nutrient"`, `"yes,no"`, `sqref="A2:A5000"`,
	} {
		if !strings.Contains(sheet, want) && !strings.Contains(sheet, strings.ReplaceAll(want, "&#39;", "'")) {
			t.Errorf("no rule %s", want)
		}
	}
	book, err := sheets.Open(bytes.NewReader(b.Bytes()))
	if err != nil {
		t.Fatal(err)
	}
	defer book.Close()
	rows, err := book.Rows(sheets.ReadMe)
	if err != nil {
		t.Fatal(err)
	}
	all := ""
	for {
		r, err := rows.Next()
		if err == io.EOF {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range r.Cells {
			all += c.Text + "\n"
		}
	}
	for _, want := range []string{"North Block", "Brume 80 rev. 4", "year-month-day", "read the label before anybody picks or enters", "Lists in a cell are divided by semicolons"} {
		if !strings.Contains(all, want) {
			t.Errorf("the sheet that explains does not say %q", want)
		}
	}
}

// part reads one part of a workbook.
func part(t *testing.T, book []byte, name string) string {
	t.Helper()
	z, err := zip.NewReader(bytes.NewReader(book), int64(len(book)))
	if err != nil {
		t.Fatal(err)
	}
	f, err := z.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	b, err := io.ReadAll(f)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}
