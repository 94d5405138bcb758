package meteo

import (
	"bytes"
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"
)

// vectorRow is one row of a check table; its fields are asked for by column
// name, so that a renamed column stops the test.
type vectorRow struct {
	t    *testing.T
	line int
	cell map[string]string
}

func (r vectorRow) text(column string) string {
	r.t.Helper()
	v, ok := r.cell[column]
	if !ok {
		r.t.Fatalf("row %d has no column %q", r.line, column)
	}
	return v
}

func (r vectorRow) num(column string) float64 {
	r.t.Helper()
	v, err := strconv.ParseFloat(r.text(column), 64)
	if err != nil {
		r.t.Fatalf("row %d, column %s: %v", r.line, column, err)
	}
	return v
}

// vectors reads a check table of testdata/vectors and insists on its number of
// rows, so that a cut table cannot look like success.
func vectors(t *testing.T, name string, wantRows int) []vectorRow {
	t.Helper()
	raw, err := os.ReadFile(filepath.Join("..", "..", "testdata", "vectors", name))
	if err != nil {
		t.Fatal(err)
	}
	reader := csv.NewReader(bytes.NewReader(raw))
	reader.Comment = '#'
	all, err := reader.ReadAll()
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	if len(all)-1 != wantRows {
		t.Fatalf("%s: got %d rows, want %d", name, len(all)-1, wantRows)
	}
	rows := make([]vectorRow, 0, wantRows)
	for i, record := range all[1:] {
		cell := make(map[string]string, len(record))
		for j, v := range record {
			cell[all[0][j]] = v
		}
		rows = append(rows, vectorRow{t: t, line: i + 1, cell: cell})
	}
	return rows
}

// near compares within an absolute tolerance. One part in 10^9 is added
// because the tables are printed in decimals.
func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if math.IsNaN(got) || math.Abs(got-want) > tolerance+1e-9 {
		t.Errorf("%s: got %.6f, want %.6f within %g", what, got, want, tolerance)
	}
}

func must[T any](t *testing.T) func(T, error) T {
	return func(v T, err error) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
}
