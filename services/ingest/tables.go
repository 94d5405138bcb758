package ingest

import (
	"strings"

	"latewood/events"
	"latewood/events/canon"
)

// The kinds that have a table with a name of its own, and some rules of their own.
const (
	treeKind    = "tree.planted"
	pickKind    = "fruit.picked"
	sprayKind   = "spray.applied"
	labelKind   = "label.filed"
	weatherKind = "weather.read"
)

// named is the tables by name.
var named = map[string]string{
	"trees": treeKind, "picks": pickKind, "sprays": sprayKind, "labels": labelKind, "weather": weatherKind,
}

// Tables lists the names of the tables that Options.As takes beside the kinds.
func Tables() []string { return []string{"trees", "picks", "sprays", "labels", "weather"} }

// kindOf finds what `as` means.
func kindOf(c *events.Catalogue, as string) (*events.Kind, *events.Problem) {
	name := strings.TrimSpace(as)
	if kind, ok := named[name]; ok {
		name = kind
	}
	if bare, version, ok := events.SplitType(name); ok {
		if k := c.Kind(bare); k != nil && version == k.Version {
			return k, nil
		}
	}
	if k := c.Kind(name); k != nil {
		return k, nil
	}
	all := Tables()
	for _, k := range c.Kinds() {
		all = append(all, k.Name)
	}
	instead := say("ingest.as-instead", "tables", strings.Join(Tables(), ", "))
	if near := nearest(name, all); near != "" {
		instead = say("refuse.did-you-mean", "near", near)
	}
	return nil, &events.Problem{Value: as, Why: say("ingest.as", "as", as), Instead: instead}
}

// sameKind reports whether two names, of kinds or tables, with or without version, mean one kind.
func sameKind(c *events.Catalogue, a, b string) bool {
	plain := func(s string) string {
		if kind, ok := named[s]; ok {
			return kind
		}
		if k, _, ok := events.SplitType(s); ok && c.Kind(k) != nil {
			return k
		}
		return s
	}
	return plain(a) == plain(b)
}

// alias is the words of the trade that stand for fields of a kind in headings, folded (see fold). A target with a plus
// leads to two fields. PHI and REI, pre-harvest and restricted-entry interval, are common practice in label tables.
var alias = map[string]map[string]string{
	treeKind: {"code": "tree", "variety": "cultivar", "date": "planted", "source": "source.code"},
	pickKind: {"weight": "mass", "unit": "mass.unit", "basis": "massBasis", "pickedby": "picker"},
	sprayKind: {
		"date": "started.date+ended.date", "start": "started", "end": "ended",
		"product": "mix[0].product", "label": "mix[0].label", "registration": "mix[0].registration", "rate": "mix[0].rate",
		"total": "mix[0].total", "batch": "mix[0].batch", "role": "mix[0].role",
		"area": "areaTreated", "applicator": "applicator.code", "supervisedby": "supervisedBy.code", "equipment": "equipmentKind",
	},
	labelKind: {
		"filed": "time", "phi": "withholding", "rei": "reentry.hours", "active": "activeIngredients[0].name", "activeshare": "activeIngredients[0].share",
		"termonlabel": "withholding.termOnLabel", "countrule": "withholding.countRule",
	},
	weatherKind: {},
}

// general is what stands for the time of any kind that has no field of that name.
var general = map[string]string{"date": "time", "datetime": "time", "timestamp": "time"}

// fold makes one of all ways to write a name: small letters without blanks, hyphens and underscores.
func fold(s string) string {
	plain := true
	for i := range len(s) {
		if c := s[i]; c == ' ' || c == '_' || c == '-' || c >= 'A' && c <= 'Z' || c >= 0x80 {
			plain = false
			break
		}
	}
	if plain {
		return s
	}
	return strings.Map(func(r rune) rune {
		if r == ' ' || r == '_' || r == '-' {
			return -1
		}
		return r
	}, strings.ToLower(s))
}

// finish adds what follows from a row that is read: the code of a tree, the kind of a withholding line.
func finish(kind string, data *canon.Value) {
	switch kind {
	case treeKind:
		text := func(name string) string { return data.Get(name).Str }
		if data.Get("tree").Kind == canon.Absent && text("block") != "" && text("row") != "" && text("position") != "" {
			data.Set("tree", canon.Text(TreeCode(text("block"), text("row"), text("position"))))
		}
	case labelKind:
		w := member(data, "withholding", false)
		// A value is a number to count with; nought days are the label's own case, which a person must name.
		if w != nil && w.Kind == canon.Object && w.Get("kind").Kind == canon.Absent && w.Get("value").Num > 0 {
			w.Set("kind", canon.Text("numeric"))
		}
	}
}

// TreeCode makes the code of a tree from where it stands: {block}-{row}-{position}, two digits each where they are numbers
// under 100, in small letters. The grammar of codes is not checked.
func TreeCode(block, row, position string) string {
	return strings.ToLower(block + "-" + two(row) + "-" + two(position))
}

func two(s string) string {
	trimmed := strings.TrimLeft(s, "0")
	for i := range len(s) {
		if s[i] < '0' || s[i] > '9' {
			return s
		}
	}
	switch len(trimmed) {
	case 0:
		return "00"
	case 1:
		return "0" + trimmed
	case 2:
		return trimmed
	}
	return s
}

// nearest finds the name that somebody probably meant: the one within a third of its letters, else none. It is offered,
// never taken.
func nearest(s string, names []string) string {
	best, bestAt := "", len(s)/3+1
	for _, n := range names {
		if d := distance(fold(s), fold(n)); d < bestAt {
			best, bestAt = n, d
		}
	}
	return best
}

// distance counts the letters to change, put in or leave out.
func distance(a, b string) int {
	if len(a) > 64 || len(b) > 64 { // no name is that long
		return max(len(a), len(b))
	}
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := 1; i <= len(a); i++ {
		diagonal := row[0]
		row[0] = i
		for j := 1; j <= len(b); j++ {
			cost := diagonal
			if a[i-1] != b[j-1] {
				cost++
			}
			diagonal = row[j]
			row[j] = min(cost, row[j]+1, row[j-1]+1)
		}
	}
	return row[len(b)]
}
