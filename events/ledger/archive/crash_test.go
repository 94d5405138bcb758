package archive

import (
	"errors"
	"os"
	"path/filepath"
	"testing"
)

var errCrash = errors.New("crash")

// A crasher ends the work before its n-th step, and remembers what a power cut would take away: files whose names were not
// synced yet, and the end of the tail.
type crasher struct {
	n       int
	steps   int
	what    string
	names   []string // put and not synced
	tail    int64    // length of the tail that is on the disk
	current string   // the tail file
}

func (c *crasher) step(what, name string) error {
	c.steps++
	if c.steps == c.n {
		c.what = what + " " + name
		return errCrash
	}
	switch {
	case what == "rename":
		c.names = append(c.names, name)
	case what == "sync" && name == "names":
		c.names = nil
	case what == "sync" && name == tailName:
		if info, err := os.Stat(c.current); err == nil {
			c.tail = info.Size()
		}
	}
	return nil
}

// TestCrashes cuts the work off before each of its steps, with and without what a power cut takes away, and opens what is left:
// it is the archive of the older checkpoint or of the newer, whole, and goes on from there.
func TestCrashes(t *testing.T) {
	t.Parallel()
	sizes := []uint64{200, 300}
	if full {
		sizes = []uint64{1, 200, 255, 256, 257, 300, 511, 512, 513, 520, 800}
	}
	cuts := 0
	for _, power := range []bool{false, true} {
		for n := 1; ; n++ {
			dir := t.TempDir()
			c := &crasher{n: n, current: filepath.Join(dir, tailName)}
			a, err := open(dir, options(), c.step)
			var was, now uint64
			for _, size := range sizes {
				if err != nil {
					break
				}
				was, now = a.Sealed(), size
				if err = a.Append(records(a.Size()+1, size)...); err == nil {
					err = a.Publish(sign(t, a, size))
				}
			}
			if a != nil {
				a.Close()
			}
			if c.what == "" {
				if err != nil {
					t.Fatalf("without a crash: %v", err)
				}
				break // there is no n-th step
			}
			// Removing old files is a courtesy: an error there ends nothing.
			if err == nil && c.what[:6] == "remove" {
				was = now
			}
			cuts++
			if power {
				for _, name := range c.names {
					os.Remove(filepath.Join(dir, filepath.FromSlash(name)))
				}
				if info, serr := os.Stat(c.current); serr == nil && c.tail > 0 && info.Size() > c.tail {
					if err := os.Truncate(c.current, c.tail+(info.Size()-c.tail)/2); err != nil {
						t.Fatal(err)
					}
				}
			}
			b, err := Open(dir, options())
			if err != nil {
				t.Errorf("cut off before %q, power %v: %v", c.what, power, err)
				continue
			}
			if b.Sealed() < was || b.Sealed() > now {
				t.Errorf("cut off before %q: %d sealed, want %d to %d", c.what, b.Sealed(), was, now)
			}
			end := sizes[len(sizes)-1] + 10
			err = errors.Join(b.Append(records(b.Size()+1, end)...), b.Publish(sign(t, b, end)), b.Close())
			report, cerr := Check(t.Context(), dir, options())
			if err != nil || cerr != nil || !report.OK() || report.Root != rootAt(end) {
				t.Errorf("cut off before %q, power %v: %+v, %v", c.what, power, report, errors.Join(err, cerr))
			}
		}
	}
	t.Logf("counts: %d cuts, each archive opened and went on", cuts)
}
