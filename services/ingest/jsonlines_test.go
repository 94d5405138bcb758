package ingest

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"
	"runtime"
	"strings"
	"testing"
)

func TestJSONLines(t *testing.T) {
	t.Parallel()
	data := `{"where":{"block":"north"},"mass":{"value":12,"unit":"kg"}}`
	for _, tc := range []struct{ name, as, text, want string }{
		{"an envelope", "", `{"type":"fruit.picked.v1","time":"2026-06-01T10:00:00-10:00","data":` + data + `}`, "1: fruit.picked.v1 2026-06-01T10:00:00-10:00 " + pick("12")},
		{"without version", "", `{"type":"fruit.picked","time":"2026-06-01","data":` + data + `}`, "1: fruit.picked.v1 2026-06-01T00:00:00-10:00 " + pick("12")},
		{"bare data", "picks", data[:len(data)-1] + `,"time":"2026-06-01"}`, "1: fruit.picked.v1 2026-06-01T00:00:00-10:00 " + pick("12")},
		{"bare data of a kind", "fruit.picked.v1", data[:len(data)-1] + `,"time":"2026-06-01","id":"017f22e2-79b0-7cc3-98c4-dc0c0c07398f"}`, "1: fruit.picked.v1 2026-06-01T00:00:00-10:00 id=017f22e2-79b0-7cc3-98c4-dc0c0c07398f " + pick("12")},
		{"an envelope where a kind was named", "picks", `{"type":"fruit.picked","time":"2026-06-01","data":` + data + `}`, "1: fruit.picked.v1 2026-06-01T00:00:00-10:00 " + pick("12")},
		{"an envelope of another kind", "trees", `{"type":"fruit.picked","time":"2026-06-01","data":` + data + `}`,
			"1: type: fruit.picked: the rows were said to be tree.planted; leave --as away where the lines name their kinds, or take this line out"},
		{"a correction has type, data and time of its own", "record.corrected",
			`{"record":"017f22e2-79b0-7cc3-98c4-dc0c0c07398f","type":"fruit.picked.v1","follows":"017f22e2-79b0-7cc3-98c4-dc0c0c07398f","reason":"slip","time":"2026-06-02T00:00:00Z","data":` + data + `}`,
			"1: time: <nil>: refuse.time-missing"},
		{"a station for those who name none", "weather", `{"rain":{"value":1,"unit":"mm"},"time":"2026-06-01T01:00:00-10:00"}`,
			`1: weather.read.v1 2026-06-01T01:00:00-10:00 {"rain":{"unit":"mm","value":1},"station":"hollow"}`},
		{"blank lines count", "", "\n \t\n" + `{"type":"fruit.picked","time":"2026-06-01","data":` + data + `}` + "\r\n", "3: fruit.picked.v1 2026-06-01T00:00:00-10:00 " + pick("12")},
		{"a doubled name", "", `{"type":"fruit.picked","type":"fruit.picked","data":` + data + `}`, "1: : type: this is no JSON: "},
		{"too long", "", `{"type":"` + strings.Repeat("x", maxLine) + `"}` + "\n", "1: : <nil>: the row has more than 1048576 bytes"},
		{"nearly an attribute", "", `{"type":"fruit.picked","times":"2026-06-01","data":` + data + `}`, `1: times: 2026-06-01: a record has no such attribute; did you mean "time"?`},
		{"nulls inside are the door's", "", `{"type":"fruit.picked","time":"2026-06-01","data":{"where":null,"mass":{"value":12,"unit":"kg"}}}`, "1: data.where: <nil>: refuse.null"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			got := strings.TrimSuffix(read(t, tc.text, Options{Name: "f", As: tc.as, Station: "hollow"}), "\n")
			if !strings.HasPrefix(got, tc.want) || !strings.Contains(tc.want, "<nil>") && strings.HasPrefix(tc.want, "1: fruit") && got != tc.want {
				t.Errorf("got\n%s\nwant\n%s", got, tc.want)
			}
		})
	}
}

// made writes n lines as they are read, so that a file need not be held to be large.
type made struct {
	n, i int
	line func(i int) string
	rest string
}

func (m *made) Read(p []byte) (int, error) {
	if m.rest == "" {
		if m.i == m.n {
			return 0, io.EOF
		}
		m.rest = m.line(m.i)
		m.i++
	}
	n := copy(p, m.rest)
	m.rest = m.rest[n:]
	return n, nil
}

// What a reader holds does not grow with the file.
func TestMemory(t *testing.T) {
	n := 60_000
	if os.Getenv("LATEWOOD_PROOF") != "" {
		n = 1_000_000
	}
	const most = 8 << 20
	for _, tc := range []struct {
		name string
		as   string
		head string
		line func(i int) string
	}{
		{"JSON Lines", "", "", func(i int) string {
			return fmt.Sprintf(`{"type":"fruit.picked","time":"2026-06-01T10:00:00-10:00","data":{"where":{"block":"north","rows":["%d"]},"mass":{"value":%d.5,"unit":"kg"}}}`+"\n", i%40, i%300)
		}},
		{"CSV", "picks", "time,block,rows,mass_kg,note\n", func(i int) string {
			return fmt.Sprintf("2026-06-01 10:00,north,%d-%d,%d.5,\"row %d\"\n", i%20, i%20+3, i%300, i)
		}},
		{"refusals", "picks", "time,block,rows,mass_kg,note\n", func(i int) string { return fmt.Sprintf("2026-06-01 10:00,north,%d,%d kg,\"open %d\n", i%20, i%300, i) }},
	} {
		t.Run(tc.name, func(t *testing.T) {
			r, err := Open(io.MultiReader(strings.NewReader(tc.head), bufio.NewReader(&made{n: n, line: tc.line})), Options{As: tc.as, Zone: zone(t, "UTC")})
			if err != nil {
				t.Fatal(err)
			}
			held := func() uint64 {
				runtime.GC()
				var m runtime.MemStats
				runtime.ReadMemStats(&m)
				return m.HeapAlloc
			}
			before, peak, rows := held(), uint64(0), 0
			for {
				_, err := r.Next()
				if errors.Is(err, io.EOF) {
					break
				}
				if err != nil {
					t.Fatal(err)
				}
				if rows++; rows%(n/6) == 0 {
					peak = max(peak, held())
				}
			}
			if rows != n {
				t.Errorf("got %d rows, want %d", rows, n)
			}
			if peak > before+most {
				t.Errorf("the heap grew from %d to %d bytes over %d rows, by more than %d", before, peak, rows, most)
			}
			t.Logf("counts: %d rows, heap %d KiB at first, %d KiB at most", rows, before>>10, peak>>10)
		})
	}
}

// A line without an end is not held.
func TestEndlessLine(t *testing.T) {
	const chunk, n = 1 << 16, 1024
	x := strings.Repeat("x", chunk)
	in := &made{n: n, line: func(i int) string {
		if i == 0 {
			return `{"type":"` + x
		}
		if i == n-1 {
			return "\n{\"type\":\"fruit.eaten\",\"data\":{}}\n"
		}
		return x
	}}
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	r, err := Open(in, Options{})
	if err != nil {
		t.Fatal(err)
	}
	row, err := r.Next()
	runtime.ReadMemStats(&after)
	if err != nil || len(row.Problems) != 1 || row.Problems[0].Why.Key != "ingest.too-long" {
		t.Errorf("got %v, %v, want a row that is too long", row.Problems, err)
	}
	if taken := after.TotalAlloc - before.TotalAlloc; taken > 8<<20 {
		t.Errorf("a line of %d bytes took %d", n*chunk, taken)
	}
	if row, err = r.Next(); err != nil || row.Line != 2 || len(row.Problems) > 0 {
		t.Errorf("the line behind it: got %+v, %v", row, err)
	}
}
