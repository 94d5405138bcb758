//go:build linux

package main

import (
	"bufio"
	"fmt"
	"os"
	"path/filepath"
	"syscall"
	"testing"
	"time"
)

// peak runs the program and says how much memory it had at most, in MiB, as the system counted. A child of a big process
// begins with that one's pages, so that the figure can be too high and never too low.
func peak(t *testing.T, args ...string) float64 {
	t.Helper()
	cmd := program(t, args...)
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("%v: %v\n%.2000s", args, err, out)
	}
	return float64(cmd.ProcessState.SysUsage().(*syscall.Rusage).Maxrss) / 1024
}

// readings writes a file of n readings of one station, one every ten minutes, as JSON Lines.
func readings(t *testing.T, n int) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "readings.jsonl")
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	w := bufio.NewWriter(f)
	w.WriteString(`{"type":"farm.opened","time":"1980-01-01","data":{"name":"Memory test","zone":"Pacific/Honolulu","latitude":19,"longitude":-155}}` + "\n")
	w.WriteString(`{"type":"station.sited","time":"1980-01-01","data":{"station":"gate","latitude":19,"longitude":-155}}` + "\n")
	start := time.Date(1981, 1, 1, 0, 0, 0, 0, time.UTC)
	for i := range n {
		fmt.Fprintf(w, `{"type":"weather.read","time":%q,"data":{"station":"gate","interval":600,"airTemperature":{"value":%d.%d,"unit":"Cel"},"rain":{"value":0,"unit":"mm"}}}`+"\n",
			start.Add(time.Duration(i)*10*time.Minute).Format(time.RFC3339), 18+i%9, i%7)
	}
	if err := w.Flush(); err != nil {
		t.Fatal(err)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
	return path
}

// TestMemoryOfLines: a file of JSON Lines of twice the length takes no more memory. At full count a million lines and two
// stay under 512 MiB, and differ by at most a tenth; at the small one the program has not yet come near its bound, so that
// only the first is asked for.
func TestMemoryOfLines(t *testing.T) {
	n := rounds(20_000, 1_000_000)
	once := peak(t, "import", readings(t, n), "--dir", t.TempDir(), "--farm", "memory")
	twice := peak(t, "import", readings(t, 2*n), "--dir", t.TempDir(), "--farm", "memory")
	t.Logf("counts: %d lines of JSON at a peak of %.0f MiB, %d at %.0f MiB", n, once, 2*n, twice)
	if once > 512 || twice > 512 {
		t.Errorf("%d and %d lines: %.0f and %.0f MiB, want at most 512", n, 2*n, once, twice)
	}
	if n == 1_000_000 && twice > 1.1*once {
		t.Errorf("twice the lines take %.2f times the memory", twice/once)
	}
}

// TestMemoryOfWorkbook: a long workbook comes in below 1 GiB; 100,000 rows at full count.
func TestMemoryOfWorkbook(t *testing.T) {
	n := rounds(2_000, 100_000)
	file, _ := history(t, n)
	from, to, book := t.TempDir(), t.TempDir(), filepath.Join(t.TempDir(), "picks.xlsx")
	peak(t, "import", file, "--dir", from, "--farm", "memory")
	out := peak(t, "export", "--kind", "picks", "--format", "xlsx", "-o", book, "--dir", from)
	peak(t, "open", "memory", "--name", "Memory test", "--zone", "Pacific/Honolulu", "--lat", "19", "--lon=-155", "--dir", to)
	in := peak(t, "import", book, "--dir", to)
	t.Logf("counts: a workbook of %d rows written at a peak of %.0f MiB and read at %.0f MiB", n, out, in)
	if in > 1024 || out > 1024 {
		t.Errorf("%d rows: written at %.0f MiB, read at %.0f MiB, want at most 1024", n, out, in)
	}
}

func TestMemoryBound(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ live, want uint64 }{
		{0, softMemory}, {300 << 20, softMemory}, {400 << 20, 500 << 20}, {4 << 30, 5 << 30}, {1 << 63, 1 << 62 / 4 * 5},
	} {
		if got := memoryBound(c.live); uint64(got) < c.want-64 || uint64(got) > c.want+64 {
			t.Errorf("%d live: got %d, want %d", c.live, got, c.want)
		}
	}
}
