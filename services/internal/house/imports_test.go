package house

import (
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path"
	"slices"
	"strings"
	"testing"
)

// A room says what the packages in it may import of our own module. Patterns: "a/b" is that package, "a/*" one level below
// a, "a/..." a and everything below, "a/*/..." everything below any a/x; "self/..." the same a/x and what is below it.
type room struct {
	packages string
	may      []string
	why      string
}

// The language of facts: pure, and there for everyone.
var language = []string{"events", "events/canon", "events/units", "events/civil", "events/words"}

// rooms is the import law. The first line that fits a package holds; a package that fits none is a finding, so a new room
// starts with a line here.
var rooms = []room{
	{"events/words", nil, "texts only; everyone may say a sentence, so this may need nobody"},
	{"events/canon", []string{"events/words", "events/units"}, "bytes and numbers, not records"},
	{"events/units", []string{"events/words"}, "numbers, not records"},
	{"events/civil", []string{"events/words", "events/units"}, "days and zones, not records"},
	{"events/internal/gencatalogue", language, "writes the catalogue of the records"},
	{"events/internal/...", []string{"events/canon", "events/units", "events/civil", "events/words"}, "below the records"},
	{"events", []string{"events/canon", "events/units", "events/civil", "events/words", "events/internal/..."},
		"a record must be readable without a ledger"},
	{"events/ledger", language, "the contract and the mathematics know no backend"},
	{"events/ledger/archive", append([]string{"events/ledger", "events/ledger/disk", "events/ledger/proof"}, language...),
		"sealed records in plain files: it checks what it reads, and needs no broker for that"},
	{"events/ledger/evidence", []string{"events/canon", "events/words", "events/ledger", "events/ledger/proof"},
		"what a stranger checks with leans on as little as can be; it reads records by itself (see offline_test.go)"},
	{"events/ledger/*", append([]string{"events/ledger", "events/ledger/disk"}, language...),
		"a backend knows the contract and the disk, never another backend"},
	{"projections/...", append([]string{"projections/...", "events/ledger"}, language...),
		"meaning follows from records alone; where they are kept is not its business"},
	{"services/internal/house/...", []string{"events/words"}, "the laws look at files, not at packages"},
	{"services/internal/natsbox", []string{"events/words", "events/ledger", "events/ledger/disk"}, "runs the broker, knows no record"},
	{"services/internal/bus", []string{"events", "events/words", "events/ledger"}, "carries records, knows none of their meanings"},
	{"services/internal/app", []string{"events/...", "projections/...", "services/..."}, "the one place that wires the services"},
	{"services/internal/histories", append([]string{"events/ledger", "projections/...", "services/record", "services/project", "services/ingest", "services/export"}, language...),
		"tests only: random histories through the recorder and the folds, out and back in"},
	{"services/internal/*", append([]string{"events/ledger", "projections/..."}, language...), "help for several services"},
	{"services/latewood", append([]string{"events/ledger", "projections/...", "services/*", "services/internal/app", "services/internal/demo"}, language...),
		"the command line: arguments in, the wiring does the rest"},
	{"services/seal", append([]string{"events/ledger/archive", "events/ledger/proof"}, verbs...),
		"writes the archive and signs its checkpoints"},
	{"services/sense", append([]string{"services/ingest/stations"}, verbs...),
		"packs of SenML are read by one parser, whether they come in a file or over the air; the parser is pure and knows no verb"},
	{"services/*", verbs, "a verb gets the other verbs handed in by app, as the one or two methods it needs"},
	{"services/*/...", append([]string{"self/..."}, verbs...), "a part of one verb"},
}

// verbs is what one service may know: records, their meaning, the ledger's contract, and files.
var verbs = append([]string{
	"self/...", "projections/...",
	"events/ledger", "events/ledger/idindex", "events/ledger/disk", "events/ledger/proof", "events/ledger/evidence",
	"services/internal/bus", "services/internal/httpx", "services/internal/sheets", "services/internal/paper",
}, language...)

// Tests may use more: the ledger in memory, and in services everything that is not another verb.
var testsMay = map[string][]string{
	"events/...":      {"events/ledger/memlog", "events/..."},
	"projections/...": {"events/ledger/memlog", "projections/..."},
	"services/...":    {"events/...", "projections/...", "services/internal/natsbox", "services/internal/bus", "services/internal/demo"},
}

// fits matches a package against a pattern of the law; from is the package that asks, for "self".
func fits(pattern, pkg, from string) bool {
	if rest, ok := strings.CutPrefix(pattern, "self"); ok {
		parts := strings.SplitN(from, "/", 3)
		if len(parts) < 2 {
			return false
		}
		pattern = parts[0] + "/" + parts[1] + rest
	}
	if head, ok := strings.CutSuffix(pattern, "/*/..."); ok {
		rest, ok := strings.CutPrefix(pkg, head+"/")
		return ok && strings.Contains(rest, "/")
	}
	if head, ok := strings.CutSuffix(pattern, "/..."); ok {
		return pkg == head || strings.HasPrefix(pkg, head+"/")
	}
	if head, ok := strings.CutSuffix(pattern, "/*"); ok {
		return path.Dir(pkg) == head
	}
	return pattern == pkg
}

func anyFits(patterns []string, pkg, from string) bool {
	return slices.ContainsFunc(patterns, func(p string) bool { return fits(p, pkg, from) })
}

// importLaw finds imports within our module that the rooms do not allow.
func importLaw(t *tree) []string {
	var found []string
	for _, s := range t.files {
		i := slices.IndexFunc(rooms, func(r room) bool { return fits(r.packages, s.dir, s.dir) })
		if i < 0 {
			found = append(found, fmt.Sprintf("%s: package %q stands in no room: give it a line in the table of imports_test.go", s.path, s.dir))
			continue
		}
		for imp, line := range t.imports(s) {
			if imp == "testing" || strings.HasPrefix(imp, "testing/") {
				if s.live() {
					found = append(found, fmt.Sprintf("%s:%d: imports %s; only tests and packages named ...test may", s.path, line, imp))
				}
				continue
			}
			to, ours := strings.CutPrefix(imp, module+"/")
			switch {
			case imp == module:
				found = append(found, fmt.Sprintf("%s:%d: imports the root of the module, where no code stands", s.path, line))
				continue
			case !ours || to == s.dir:
				continue
			case support(to) || to == "testdata" || strings.Contains("/"+to+"/", "/testdata/"):
				if s.live() {
					found = append(found, fmt.Sprintf("%s:%d: imports %s, which is for tests, into the program", s.path, line, to))
				}
				continue
			}
			may := rooms[i].may
			if !s.live() {
				for _, where := range slices.Sorted(maps.Keys(testsMay)) {
					if fits(where, s.dir, s.dir) {
						may = append(slices.Clone(may), testsMay[where]...)
					}
				}
			}
			if !anyFits(may, to, s.dir) {
				found = append(found, fmt.Sprintf("%s:%d: %s may not import %s (%s)", s.path, line, s.dir, to, rooms[i].why))
			}
		}
	}
	return found
}

func TestImportLaw(t *testing.T) {
	t.Parallel()
	tr := repository(t)
	report(t, importLaw(tr), "Imports run services -> projections -> events. Move the code to the room it belongs to, or take in the\n"+
		"method you need as a small interface; a change of the law is a change of the table in imports_test.go.")
	t.Logf("counts: %d rooms", len(rooms))
}

func TestImportLawCatches(t *testing.T) {
	t.Parallel()
	src := func(pkg string, imports ...string) string {
		text := "package " + pkg + "\n"
		for _, i := range imports {
			text += "import _ \"" + i + "\"\n"
		}
		return text
	}
	for _, tc := range []struct {
		name, file, text string
		want             []string
	}{
		{"events -> projections", "events/a.go", src("events", "latewood/projections"), []string{"events may not import projections"}},
		{"events -> services", "events/a.go", src("events", "latewood/services/record"), []string{"may not import services/record"}},
		{"events -> ledger", "events/a.go", src("events", "latewood/events/ledger"), []string{"may not import events/ledger"}},
		{"contract -> backend", "events/ledger/a.go", src("ledger", "latewood/events/ledger/jetlog"), []string{"may not import events/ledger/jetlog"}},
		{"backend -> backend", "events/ledger/jetlog/a.go", src("jetlog", "latewood/events/ledger/memlog"), []string{"may not import events/ledger/memlog"}},
		{"fold -> backend", "projections/holds/a.go", src("holds", "latewood/events/ledger/disk"), []string{"may not import events/ledger/disk"}},
		{"fold -> service", "projections/a.go", src("projections", "latewood/services/project"), []string{"may not import services/project"}},
		{"fold test -> service", "projections/a_test.go", src("projections", "latewood/services/project"), []string{"may not import services/project"}},
		{"verb -> verb", "services/record/a.go", src("record", "latewood/services/project"), []string{"may not import services/project"}},
		{"verb test -> verb", "services/record/a_test.go", src("record", "latewood/services/project"), []string{"may not import services/project"}},
		{"verb -> wiring", "services/record/a.go", src("record", "latewood/services/internal/app"), []string{"may not import services/internal/app"}},
		{"verb -> backend", "services/record/a.go", src("record", "latewood/events/ledger/jetlog"), []string{"may not import events/ledger/jetlog"}},
		{"part of another verb", "services/report/pdf/a.go", src("pdf", "latewood/services/record/x"), []string{"may not import services/record/x"}},
		{"command -> broker", "services/latewood/a.go", src("main", "latewood/services/internal/natsbox"), []string{"may not import services/internal/natsbox"}},
		{"test suite in the program", "services/record/a.go", src("record", "latewood/events/ledger/ledgertest"), []string{"which is for tests"}},
		{"testdata in the program", "services/record/a.go", src("record", "latewood/testdata"), []string{"which is for tests"}},
		{"testing in the program", "services/record/a.go", src("record", "testing"), []string{"only tests and packages named"}},
		{"no room", "helpers/a.go", src("helpers"), []string{"stands in no room"}},
		{"two at once", "events/units/a.go", src("units", "latewood/events/civil", "latewood/events"), []string{"import events (", "import events/civil"}},

		{"allowed: service -> fold -> record", "services/record/a.go", src("record", "latewood/projections/holds", "latewood/events", "os"), nil},
		{"allowed: wiring", "services/internal/app/a.go", src("app", "latewood/services/record", "latewood/events/ledger/jetlog"), nil},
		{"allowed: own part", "services/report/a.go", src("report", "latewood/services/report/pdf"), nil},
		{"allowed: own whole", "services/report/pdf/a.go", src("pdf", "latewood/services/report"), nil},
		{"allowed: suite in a test", "events/ledger/jetlog/a_test.go", src("jetlog", "latewood/events/ledger/ledgertest", "testing"), nil},
		{"allowed: testing in a suite", "events/ledger/ledgertest/a.go", src("ledgertest", "testing", "latewood/events/ledger"), nil},
		{"allowed: memory ledger in a fold's test", "projections/a_test.go", src("projections", "latewood/events/ledger/memlog"), nil},
		{"allowed: own package from outside", "events/civil/a_test.go", src("civil_test", "latewood/events/civil"), nil},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			caught(t, importLaw(plant(map[string]string{tc.file: tc.text})), tc.want)
		})
	}
}

// A dependency is a module of somebody else that our code may import.
type dependency struct {
	module    string
	importers []string // packages of the program that may; one, unless the reason says why more
	tests     []string // packages whose tests may too; "..." is all
	why       string
}

// dependencies is every module that any file of ours may import. The table in DEVELOPERS.md says the same to people, with
// versions and licences; TestDependencyTable holds the two together.
var dependencies = []dependency{
	{module: "github.com/nats-io/nats-server/v2", importers: []string{"services/internal/natsbox"},
		tests: []string{"events/ledger/jetlog"},
		why:   "only the box that starts the broker knows it; jetlog's tests need one and cannot reach into services"},
	{module: "github.com/nats-io/nats.go", importers: []string{"events/ledger/jetlog", "services/internal/natsbox"},
		tests: []string{"services/internal/app", "services/latewood"},
		why:   "jetlog appends, reads and follows, natsbox makes the connection and the accounts; app's tests attack from the sensors' side"},
	{module: "github.com/minio/highwayhash", importers: []string{"services/internal/natsbox"}, why: "the broker's own checksum, to look at its files before it opens them"},
	{module: "github.com/synadia-io/orbit.go/jetstreamext", importers: []string{"events/ledger/jetlog"}, why: "atomic batches, for appends only"},
	{module: "github.com/ThreeDotsLabs/watermill", importers: []string{"services/internal/bus"}, why: "swapped in one place if it must be"},
	{module: "golang.org/x/mod", importers: []string{"events/ledger", "events/ledger/proof"}, tests: []string{"..."},
		why: "tree hashes and signed notes; what verifies offline must be readable in an afternoon"},
	{module: "golang.org/x/sys", importers: []string{"events/ledger/disk"}, why: "calls of Windows that os does not offer"},
	{module: "golang.org/x/text", importers: []string{"events", "services/register"},
		why: "codes and names in NFC; a person's name stands in no record, so the register has to do it itself"},
	{module: "github.com/segmentio/encoding", importers: []string{"events"}, why: "faster JSON for the records, nothing else"},
	{module: "github.com/alecthomas/kong", importers: []string{"services/latewood"}, why: "the command line"},
	{module: "github.com/jackc/pgx/v5", importers: []string{"projections/store/pgstore"}, why: "Postgres is one store among others"},
	{module: "github.com/xuri/excelize/v2", importers: []string{"services/internal/sheets"}, why: "sheets are read by ingest and written by report, through one package"},

	{module: "go.yaml.in/yaml/v4", importers: []string{"services/ingest"}, why: "map files, as people write them"},

	{module: "codeberg.org/go-pdf/fpdf", importers: []string{"services/internal/paper"}, why: "PDF: cards and reports are drawn through one package"},
	{module: "codeberg.org/go-fonts/dejavu", importers: []string{"services/internal/paper"}, why: "the font that comes with the program"},
	{module: "github.com/boombuler/barcode", importers: []string{"services/print"}, why: "QR codes"},

	{module: "github.com/makiuchi-d/gozxing", tests: []string{"services/print"}, why: "reads codes back with nothing of what wrote them"},
	{module: "github.com/eclipse/paho.mqtt.golang", tests: []string{"services/sense", "services/latewood"}, why: "a station's side of MQTT, written by others"},
	{module: "github.com/emersion/go-ical", tests: []string{"services/remind"}, why: "a second reader of iCalendar, to hold our writer against"},
	{module: "github.com/gowebpki/jcs", tests: []string{"events", "events/canon", "services/record"}, why: "a second implementation of RFC 8785 to test ours against"},
	{module: "github.com/transparency-dev/merkle", tests: []string{"events/ledger/proof"}, why: "a second implementation of RFC 6962 to hold every proof against"},
	{module: "pgregory.net/rapid", tests: []string{"..."}, why: "property tests"},
	{module: "go.uber.org/goleak", tests: []string{"..."}, why: "a service that ends leaves nothing running"},
	{module: "github.com/rogpeppe/go-internal", tests: []string{"services/latewood"}, why: "one script a user story"},
}

// dependencyLaw finds imports of modules that are not in the table or not by those who may, and, where stale is set,
// permits in the table that nobody uses.
func dependencyLaw(t *tree, stale bool) []string {
	var found []string
	used := map[[2]string]bool{}
	for _, s := range t.files {
		for imp, line := range t.imports(s) {
			first, _, _ := strings.Cut(imp, "/")
			if !strings.Contains(first, ".") {
				continue // standard library or ours
			}
			i := slices.IndexFunc(dependencies, func(d dependency) bool { return imp == d.module || strings.HasPrefix(imp, d.module+"/") })
			if i < 0 {
				found = append(found, fmt.Sprintf("%s:%d: %s is not in the table of dependencies", s.path, line, imp))
				continue
			}
			d := dependencies[i]
			if s.live() {
				used[[2]string{d.module, s.dir}] = true
			}
			ok := slices.Contains(d.importers, s.dir)
			if !s.live() {
				ok = ok || slices.Contains(d.tests, s.dir) || slices.Contains(d.tests, "...")
			}
			if !ok {
				found = append(found, fmt.Sprintf("%s:%d: %s may not import %s (%s)", s.path, line, s.dir, d.module, d.why))
			}
		}
	}
	if !stale {
		return found
	}
	there := t.packages()
	for _, d := range dependencies {
		for _, p := range d.importers {
			if there[p] != nil && !used[[2]string{d.module, p}] {
				found = append(found, fmt.Sprintf("imports_test.go: %s may be imported by %s, which does not: take it off the table", d.module, p))
			}
		}
	}
	return found
}

func TestDependencyLaw(t *testing.T) {
	t.Parallel()
	report(t, dependencyLaw(repository(t), true), "A big dependency has one importer, so that it can be understood, tested and replaced in one place.\n"+
		"A new one needs a line in the table of imports_test.go and one in DEVELOPERS.md.")
	t.Logf("counts: %d modules in the table of dependencies", len(dependencies))
}

func TestDependencyLawCatches(t *testing.T) {
	t.Parallel()
	tr := plant(map[string]string{
		"projections/a.go":                        "package projections\nimport _ \"github.com/nats-io/nats.go/jetstream\"\n",
		"services/record/a.go":                    "package record\nimport _ \"github.com/ThreeDotsLabs/watermill/message\"\n",
		"services/record/b.go":                    "package record\nimport _ \"pgregory.net/rapid\"\n",
		"services/record/b_test.go":               "package record\nimport _ \"pgregory.net/rapid\"\n",
		"services/record/c.go":                    "package record\nimport _ \"example.org/unheard/of\"\n",
		"services/internal/bus/a.go":              "package bus\n",
		"events/ledger/ledgertest/ledgertest.go":  "package ledgertest\nimport _ \"pgregory.net/rapid\"\n",
		"events/ledger/jetlog/jetlog_test.go":     "package jetlog\nimport _ \"github.com/nats-io/nats-server/v2/server\"\n",
		"services/internal/natsbox/natsbox.go":    "package natsbox\nimport (\n_ \"github.com/nats-io/nats.go\"\n_ \"github.com/nats-io/nats-server/v2/server\"\n)\n",
		"services/internal/app/a_test.go":         "package app\nimport _ \"github.com/nats-io/nats.go\"\n",
		"projections/store/pgstore/pg.go":         "package pgstore\nimport _ \"github.com/jackc/pgx/v5\"\n",
		"services/project/pg.go":                  "package project\nimport _ \"github.com/jackc/pgx/v5\"\n",
		"services/ingest/map.go":                  "package ingest\nimport _ \"go.yaml.in/yaml/v4\"\n",
		"services/ingest/excel.go":                "package ingest\nimport _ \"github.com/xuri/excelize/v2\"\n",
		"events/ledger/checkpoint.go":             "package ledger\nimport _ \"golang.org/x/mod/sumdb/note\"\n",
		"events/ledger/jetlog/ignored_by_rule.go": "package jetlog\nimport _ \"github.com/nats-io/nats.go\"\n",
	})
	caught(t, dependencyLaw(tr, true), []string{
		"projections/a.go:2: projections may not import github.com/nats-io/nats.go",
		"services/record/a.go:2: services/record may not import github.com/ThreeDotsLabs/watermill",
		"services/record/b.go:2: services/record may not import pgregory.net/rapid",
		"example.org/unheard/of is not in the table",
		"watermill may be imported by services/internal/bus, which does not",
		"jetstreamext may be imported by events/ledger/jetlog, which does not",
		"highwayhash may be imported by services/internal/natsbox, which does not",
		"services/ingest/excel.go:2: services/ingest may not import",
		"services/project/pg.go:2: services/project may not import github.com/jackc/pgx/v5",
	})
}

// The table of dependencies in DEVELOPERS.md says what this one says: module, version of go.mod, importers.
func TestDependencyTable(t *testing.T) {
	t.Parallel()
	dir := os.DirFS(root(t))
	doc, err := fs.ReadFile(dir, "DEVELOPERS.md")
	if err != nil {
		t.Fatal(err)
	}
	mod, err := fs.ReadFile(dir, "go.mod")
	if err != nil {
		t.Fatal(err)
	}
	report(t, tableLaw(string(doc), string(mod)), "The table in DEVELOPERS.md is for people, the one in imports_test.go for the law; they say the same.")
}

// tableLaw finds where the two tables and go.mod differ.
func tableLaw(doc, mod string) []string {
	rows := map[string][]string{}
	for line := range strings.Lines(doc) {
		cells := strings.Split(line, "|")
		if len(cells) < 6 {
			continue
		}
		name := strings.Trim(strings.TrimSpace(cells[1]), "`")
		if first, _, ok := strings.Cut(name, "/"); ok && strings.Contains(first, ".") {
			rows[name] = cells
		}
	}
	versions := map[string]string{}
	for line := range strings.Lines(mod) {
		if f := strings.Fields(strings.TrimPrefix(strings.TrimSpace(line), "require ")); len(f) >= 2 && strings.HasPrefix(f[1], "v") {
			versions[f[0]] = f[1]
		}
	}
	var found []string
	for _, d := range dependencies {
		row, ok := rows[d.module]
		if !ok {
			found = append(found, fmt.Sprintf("DEVELOPERS.md: no row for %s", d.module))
			continue
		}
		delete(rows, d.module)
		if v := versions[d.module]; v != "" && strings.TrimSpace(row[2]) != v {
			found = append(found, fmt.Sprintf("DEVELOPERS.md: %s is at %s in go.mod, at %s in the table", d.module, v, strings.TrimSpace(row[2])))
		}
		for _, p := range d.importers {
			if !strings.Contains(row[4], "`"+p+"`") {
				found = append(found, fmt.Sprintf("DEVELOPERS.md: the row of %s does not name its importer `%s`", d.module, p))
			}
		}
		if len(d.importers) == 0 && !strings.Contains(row[4], "tests") {
			found = append(found, fmt.Sprintf("DEVELOPERS.md: the row of %s does not say that only tests import it", d.module))
		}
	}
	for name := range rows {
		found = append(found, fmt.Sprintf("DEVELOPERS.md: a row for %s, which the law does not know", name))
	}
	return found
}

func TestDependencyTableCatches(t *testing.T) {
	t.Parallel()
	var doc strings.Builder
	for _, d := range dependencies {
		if d.module == "pgregory.net/rapid" {
			continue
		}
		who := "tests"
		for _, p := range d.importers {
			who += " `" + p + "`"
		}
		if d.module == "golang.org/x/mod" {
			who = "`events/ledger`"
		}
		fmt.Fprintf(&doc, "| `%s` | v1.0.0 | MIT | %s | why |\n", d.module, who)
	}
	doc.WriteString("| `example.org/more` | v1.0.0 | MIT | tests | why |\n| events/kind | a | b | c | d |\n")
	caught(t, tableLaw(doc.String(), "require (\n\tgithub.com/alecthomas/kong v1.0.1\n\tgithub.com/nats-io/nats.go v1.0.0 // indirect\n)\n"), []string{
		"no row for pgregory.net/rapid", "kong is at v1.0.1 in go.mod, at v1.0.0", "x/mod does not name its importer `events/ledger/proof`", "a row for example.org/more",
	})
}
