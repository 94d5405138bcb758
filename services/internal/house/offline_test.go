package house

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"
)

// offline is the packages that check evidence on a stranger's machine. What they import, directly or not, is the standard
// library, our own packages that keep to this law too, and the modules below.
var offline = []string{"events/ledger/evidence", "events/ledger/proof"}

// offlineModules is what a checker has to believe beside the standard library.
var offlineModules = []string{"golang.org/x/mod"}

// offlineLaw finds imports that a checker would have to believe. It gives the packages that it went through.
func offlineLaw(t *tree, from []string) (found, through []string) {
	seen := map[string]bool{}
	queue := slices.Clone(from)
	packages := t.packages()
	for len(queue) > 0 {
		dir := queue[0]
		queue = queue[1:]
		if seen[dir] {
			continue
		}
		seen[dir] = true
		for _, s := range packages[dir] {
			if !s.live() {
				continue
			}
			for imp, line := range t.imports(s) {
				first, _, _ := strings.Cut(imp, "/")
				if to, ours := strings.CutPrefix(imp, module+"/"); ours {
					queue = append(queue, to)
				} else if strings.Contains(first, ".") && !slices.ContainsFunc(offlineModules, func(m string) bool { return strings.HasPrefix(imp, m+"/") }) {
					found = append(found, fmt.Sprintf("%s:%d: imports %s, and what checks evidence leans on %s", s.path, line, imp, dir))
				}
			}
		}
	}
	return found, slices.Sorted(maps.Keys(seen))
}

func TestOfflineLaw(t *testing.T) {
	t.Parallel()
	found, through := offlineLaw(repository(t), offline)
	report(t, found, "A stranger reads all that he has to believe before he believes a proof: the standard library, golang.org/x/mod, and ours.")
	t.Logf("counts: %d packages that a checker of evidence leans on: %s", len(through), strings.Join(through, " "))
}

func TestOfflineLawCatches(t *testing.T) {
	t.Parallel()
	tr := plant(map[string]string{
		"events/ledger/evidence/a.go":      "package evidence\nimport _ \"golang.org/x/mod/sumdb/note\"\nimport _ \"latewood/events/ledger\"\nimport _ \"latewood/events/canon\"\n",
		"events/ledger/evidence/a_test.go": "package evidence\nimport _ \"github.com/far/away\"\n",
		"events/ledger/l.go":               "package ledger\nimport _ \"crypto/sha256\"\nimport _ \"golang.org/x/text/unicode\"\n",
		"events/canon/c.go":                "package canon\nimport _ \"strings\"\n",
		"events/e.go":                      "package events\nimport _ \"github.com/far/away\"\n",
	})
	found, _ := offlineLaw(tr, []string{"events/ledger/evidence"})
	caught(t, found, []string{"events/ledger/l.go:3: imports golang.org/x/text/unicode"})
}
