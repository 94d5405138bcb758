package main

import (
	"bytes"
	"slices"
	"strings"
	"testing"
	"time"
)

// Where no terminal redraws a line, a long import says every few seconds, or every 50,000 rows, how far it is; a short one says nothing.
func TestProgress(t *testing.T) {
	t.Parallel()
	type step struct {
		rows int
		at   time.Duration
	}
	steady := func(rows int, each time.Duration, n int) (out []step) {
		for i := 1; i <= n; i++ {
			out = append(out, step{i * rows, time.Duration(i) * each})
		}
		return out
	}
	for name, c := range map[string]struct {
		steps []step
		want  []string // the beginnings of the lines
	}{
		"short":        {steady(1000, 100*time.Millisecond, 30), nil},
		"slow":         {steady(1000, time.Second, 12), []string{"picks.csv: 5000 rows, 1000 a second", "picks.csv: 10000 rows, 1000 a second"}},
		"quick":        {steady(1000, 10*time.Millisecond, 120), []string{"picks.csv: 50000 rows, 100000 a second", "picks.csv: 100000 rows, 100000 a second"}},
		"a long pause": {[]step{{1000, time.Minute}}, []string{"picks.csv: 1000 rows, 16 a second"}},
		"no time":      {[]step{{60_000, 0}}, []string{"picks.csv: 60000 rows, 0 a second"}},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			var errs bytes.Buffer
			term := &terminal{errs: &errs}
			for range 2 { // two files one after the other are told of alike
				for _, s := range c.steps {
					term.progress("picks.csv", s.rows, s.at)
				}
				term.progressEnd()
			}
			got := strings.FieldsFunc(errs.String(), func(r rune) bool { return r == '\n' })
			if want := slices.Concat(c.want, c.want); !slices.Equal(got, want) {
				t.Errorf("got %q, want %q", got, want)
			}
		})
	}
}
