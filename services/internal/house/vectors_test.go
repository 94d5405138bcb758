package house

import (
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// vectorsToCome are check tables whose formulas no room has yet, and why.
var vectorsToCome = map[string]string{
	"sprayer.csv":            "calibration and mixing: for spray plans",
	"airquality_monthly.csv": "a data set of R under the GPL, read from an installed R only",
}

// A check table that no test reads checks nothing: each one in testdata/vectors is named in the text of a test, and its line
// in testdata/README.md says by which room.
func TestVectorsAreRead(t *testing.T) {
	t.Parallel()
	at := root(t)
	tables, err := filepath.Glob(filepath.Join(at, "testdata", "vectors", "*.csv"))
	if err != nil || len(tables) == 0 {
		t.Fatalf("testdata/vectors: %d tables, %v", len(tables), err)
	}
	readme, err := os.ReadFile(filepath.Join(at, "testdata", "README.md"))
	if err != nil {
		t.Fatal(err)
	}
	read, rows := 0, 0
	for _, table := range tables {
		name := filepath.Base(table)
		raw, err := os.ReadFile(table)
		if err != nil {
			t.Fatal(err)
		}
		lines := 0
		for line := range strings.Lines(string(raw)) {
			if strings.TrimSpace(line) != "" && !strings.HasPrefix(line, "#") {
				lines++
			}
		}
		var by []string
		for _, s := range repository(t).files {
			if s.test && s.dir != "services/internal/house" && (strings.Contains(s.text, strconv.Quote(name)) || strings.Contains(s.text, "vectors/"+name+`"`)) {
				by = append(by, s.dir)
			}
		}
		by = slices.Compact(by)
		line := ""
		for l := range strings.Lines(string(readme)) {
			if strings.HasPrefix(l, "| ") && strings.Contains(l, name) {
				line = l
			}
		}
		switch {
		case line == "":
			t.Errorf("%s has no line in testdata/README.md", name)
		case len(by) == 0 && vectorsToCome[name] == "":
			t.Errorf("%s is read by no test", name)
		}
		for _, dir := range by {
			if !strings.Contains(line, dir) {
				t.Errorf("%s is read in %s, of which its line in testdata/README.md says nothing", name, dir)
			}
		}
		if len(by) > 0 {
			read++
			rows += lines - 1
		}
	}
	t.Logf("counts: %d of %d check tables are read, %d rows", read, len(tables), rows)
}
