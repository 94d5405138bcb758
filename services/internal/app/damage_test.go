package app

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"text/tabwriter"

	"latewood/events"
	"latewood/services/internal/natsbox"
)

// proofSize says whether the full counts were asked for.
var proofSize = os.Getenv("LATEWOOD_PROOF") == "1"

const (
	sealedRecords   = 300 // one full bundle of the archive, and some behind it
	unsealedRecords = 4
)

// twoStores is the folder of a farm with sealed records and some behind them that nobody signed yet, and the records. The
// broker was stopped well, so its index is there. Each record has a note of so many bytes.
func twoStores(t *testing.T, note int) (dir string, bodies [][]byte) {
	t.Helper()
	dir = t.TempDir()
	add := func(a *App, from, to int) {
		t.Helper()
		var rows strings.Builder
		if from == 0 {
			rows.WriteString(`{"type":"farm.opened","time":"2020-01-01","data":{"name":"Damage test","zone":"Pacific/Honolulu","latitude":19,"longitude":-155}}` + "\n" +
				`{"type":"block.established","time":"2020-01-01","data":{"block":"north","name":"North","area":{"value":1,"unit":"har"}}}` + "\n")
			from = 2
		}
		for i := from; i < to; i++ {
			fmt.Fprintf(&rows, `{"type":"fruit.picked","time":"2026-05-01T08:%02d:%02dZ","data":{"where":{"block":"north"},"mass":{"value":%d,"unit":"kg"},"note":%q}}`+"\n", i/60, i%60, i%40+1, strings.Repeat("n", note))
		}
		if _, exit, err := a.Call(t.Context(), "import", ImportRequest{Farm: "damage", Name: "rows.jsonl"}, fileOf("rows.jsonl", rows.String()), nil); err != nil || exit != 0 {
			t.Fatalf("import: exit %d, %v", exit, err)
		}
	}
	a := openDir(t, dir)
	add(a, 0, sealedRecords-1) // the import is a record too
	closeApp(t, a)
	key := filepath.Join(dir, "farms", "damage", "keys", "ledger.key")
	if err := os.Rename(key, key+".away"); err != nil {
		t.Fatal(err)
	}
	a = openDir(t, dir)
	add(a, sealedRecords, sealedRecords+unsealedRecords-1)
	bodies = exported(t, a)
	closeApp(t, a)
	if err := os.Rename(key+".away", key); err != nil {
		t.Fatal(err)
	}
	if len(bodies) != sealedRecords+unsealedRecords {
		t.Fatalf("%d records, want %d", len(bodies), sealedRecords+unsealedRecords)
	}
	return dir, bodies
}

type textFile struct {
	*strings.Reader
	name string
}

func (f textFile) Name() string { return f.name }

func fileOf(name, text string) textFile { return textFile{strings.NewReader(text), name} }

func openDir(t *testing.T, dir string) *App {
	t.Helper()
	a, err := Open(context.Background(), Options{Dir: dir})
	if err != nil {
		t.Fatal(err)
	}
	return a
}

func closeApp(t *testing.T, a *App) {
	t.Helper()
	if err := a.Close(); err != nil {
		t.Errorf("close: %v", err)
	}
}

func exported(t *testing.T, a *App) (out [][]byte) {
	t.Helper()
	_, exit, err := a.Call(t.Context(), "export", ExportRequest{}, nil, func(p []byte) {
		var l Lines
		if err := events.ReadJSON(p, &l); err != nil {
			t.Error(err)
		}
		for _, r := range l.Records {
			out = append(out, bytes.Clone(r))
		}
	})
	if err != nil || exit != 0 {
		t.Fatalf("export: exit %d, %v", exit, err)
	}
	return out
}

func copyTree(t *testing.T, from string) string {
	t.Helper()
	to := t.TempDir()
	if err := os.CopyFS(to, os.DirFS(from)); err != nil {
		t.Fatal(err)
	}
	// What is private stays private: CopyFS keeps no modes.
	err := filepath.WalkDir(to, func(p string, d fs.DirEntry, err error) error {
		if err == nil && d.Type().IsRegular() {
			err = os.Chmod(p, 0o600)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return to
}

// flipAt flips one bit of a file.
func flipAt(t *testing.T, path string, at int) {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	b[at] ^= 1 << (at % 7)
	if err := os.WriteFile(path, b, 0o600); err != nil {
		t.Fatal(err)
	}
}

// fieldsOf finds the parts of the record at a place in a block file.
func fieldsOf(t *testing.T, block []byte, place uint64) map[string]int {
	t.Helper()
	for at := 0; at < len(block); {
		n := int(binary.LittleEndian.Uint32(block[at:]) &^ (1 << 31))
		if binary.LittleEndian.Uint64(block[at+4:]) == place {
			subject := int(binary.LittleEndian.Uint16(block[at+20:]))
			headers := at + 22 + subject
			size := int(binary.LittleEndian.Uint32(block[headers:]))
			return map[string]int{
				"length": at, "sequence": at + 4, "time": at + 14, "subject's length": at + 20, "subject": at + 25, "headers' length": headers,
				"headers": headers + 8, "body": headers + 4 + size + 40, "checksum": at + n - 4,
			}
		}
		at += n
	}
	t.Fatalf("no record %d in the block", place)
	return nil
}

// TestDamage flips one bit in each region of the broker's store, with and without its index, in the archive, and in both. Nothing
// wrong is served, every sealed record comes back, and what is not sealed comes back or is named as lost.
func TestDamage(t *testing.T) {
	t.Parallel()
	good, bodies := twoStores(t, 1)
	stream := natsbox.StreamDir("broker", "damage")
	block := filepath.Join(stream, "msgs", "1.blk")
	content, err := os.ReadFile(filepath.Join(good, block))
	if err != nil {
		t.Fatal(err)
	}
	type damage struct {
		file string
		at   int
	}
	type hurt struct {
		name  string
		index bool
		flips []damage
		lost  int // records that are expected not to come back
	}
	var cases []hurt
	regions := []string{"length", "sequence", "headers' length", "body", "checksum"}
	if proofSize {
		regions = append(regions, "time", "subject's length", "subject", "headers")
	}
	for _, index := range []bool{true, false} {
		for _, r := range regions {
			cases = append(cases,
				hurt{"stream, a sealed record: " + r, index, []damage{{block, fieldsOf(t, content, 100)[r]}}, 0},
				// The records behind it cannot follow on.
				hurt{"stream, an unsealed record: " + r, index, []damage{{block, fieldsOf(t, content, sealedRecords+2)[r]}}, unsealedRecords - 1})
		}
		cases = append(cases,
			hurt{"stream, the last record: body", index, []damage{{block, fieldsOf(t, content, uint64(len(bodies)))["body"]}}, 1},
			hurt{"stream, its settings", index, []damage{{filepath.Join(stream, "meta.inf"), 90}}, 0},
			hurt{"stream, their checksum", index, []damage{{filepath.Join(stream, "meta.sum"), 5}}, 0})
	}
	cases = append(cases, hurt{"stream, its index", true, []damage{{filepath.Join(stream, "msgs", "index.db"), 12}}, 0})
	in := func(name string) string { return filepath.Join("farms", "damage", "archive", filepath.FromSlash(name)) }
	for _, f := range []struct {
		name string
		at   int
	}{
		{"tile/entries/000", 30000}, {"tile/0/000", 900}, {"tile/1/000.p/1", 9}, {"tile/0/001.p/44", 20}, {"tile/entries/001.p/44", 700},
		{"tail", 3}, {"tail", 900}, {"checkpoint", 40}, {"checkpoints", 60},
	} {
		cases = append(cases, hurt{fmt.Sprintf("archive, %s, byte %d", f.name, f.at), true, []damage{{in(f.name), f.at}}, 0})
	}
	cases = append(cases,
		hurt{"both: a record here, another there", true, []damage{{in("tile/entries/000"), 30000}, {block, fieldsOf(t, content, 200)["body"]}}, 0},
		hurt{"both: checkpoint and an unsealed record", false, []damage{{in("checkpoint"), 40}, {block, fieldsOf(t, content, sealedRecords+1)["body"]}}, unsealedRecords},
		hurt{"both: tail and the last record", true, []damage{{in("tail"), 900}, {block, fieldsOf(t, content, uint64(len(bodies)))["body"]}}, 1})
	var mu sync.Mutex
	var rows []string
	t.Run("cases", func(t *testing.T) {
		for _, c := range cases {
			t.Run(fmt.Sprintf("%s, index %v", c.name, c.index), func(t *testing.T) {
				t.Parallel()
				dir := copyTree(t, good)
				for _, f := range c.flips {
					flipAt(t, filepath.Join(dir, f.file), f.at)
				}
				if !c.index {
					if err := os.Remove(filepath.Join(dir, stream, "msgs", "index.db")); err != nil {
						t.Fatal(err)
					}
				}
				at := servedRight(t, copyTree(t, dir), bodies)
				after := comesBack(t, dir, bodies, c.lost)
				mu.Lock()
				defer mu.Unlock()
				rows = append(rows, fmt.Sprintf("%s\t%v\t%s\t%s", c.name, c.index, at, after))
			})
		}
	})
	var table strings.Builder
	w := tabwriter.NewWriter(&table, 0, 4, 2, ' ', 0)
	fmt.Fprintln(w, "one bit in\tindex\tat the start\tafter restore --from-archive")
	slices.Sort(rows)
	for _, r := range rows {
		fmt.Fprintln(w, r)
	}
	w.Flush()
	t.Logf("\n%s", table.String())
	t.Logf("counts: %d damaged folders, nothing wrong served, every sealed record back", len(cases))
}

// TestDamagedBlocks flips bits in several block files of the broker's store at once, and takes whole ones away: nothing is served,
// and every sealed record comes back.
func TestDamagedBlocks(t *testing.T) {
	t.Parallel()
	good, bodies := twoStores(t, 50_000) // so that the store has several
	msgs := filepath.Join(natsbox.StreamDir("broker", "damage"), "msgs")
	found, err := filepath.Glob(filepath.Join(good, msgs, "*.blk"))
	if err != nil || len(found) < 2 {
		t.Fatalf("%d block files, %v, want several", len(found), err)
	}
	flipAll := func(t *testing.T, dir string, index bool) {
		for n := range found {
			path := filepath.Join(dir, msgs, fmt.Sprintf("%d.blk", n+1))
			info, err := os.Stat(path)
			if err != nil {
				t.Fatal(err)
			}
			for _, part := range []int64{3, 2} { // in the first third, and in the half
				if int(info.Size()/part) < int(info.Size())-1 {
					flipAt(t, path, int(info.Size()/part))
				}
			}
		}
		if !index {
			if err := os.Remove(filepath.Join(dir, msgs, "index.db")); err != nil {
				t.Fatal(err)
			}
		}
	}
	for name, hurt := range map[string]func(t *testing.T, dir string){
		"bits in all of them":                 func(t *testing.T, dir string) { flipAll(t, dir, true) },
		"bits in all of them, the index gone": func(t *testing.T, dir string) { flipAll(t, dir, false) },
		"the first taken away":                func(t *testing.T, dir string) { _ = os.Remove(filepath.Join(dir, msgs, "1.blk")) },
		"the first taken away, bits in the last": func(t *testing.T, dir string) {
			flipAt(t, filepath.Join(dir, msgs, fmt.Sprintf("%d.blk", len(found))), 30_000)
			_ = os.Remove(filepath.Join(dir, msgs, "1.blk"))
		},
		"all of them taken away": func(t *testing.T, dir string) {
			for n := range found {
				_ = os.Remove(filepath.Join(dir, msgs, fmt.Sprintf("%d.blk", n+1)))
			}
		},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			dir := copyTree(t, good)
			hurt(t, dir)
			at := servedRight(t, copyTree(t, dir), bodies)
			if !strings.Contains(at, "refused") {
				t.Error(at)
			}
			doc, err := RestoreFromArchive(context.Background(), Options{Dir: dir}, "")
			if err != nil {
				t.Fatalf("restore: %v", err)
			}
			r := doc.Farms[0]
			a := openDir(t, dir)
			defer closeApp(t, a)
			got := exported(t, a)
			if len(got) < sealedRecords || int(r.Sealed) != sealedRecords || r.Salvaged+r.Lost != unsealedRecords {
				t.Errorf("%d records, %d sealed, %d salvaged, %d lost", len(got), r.Sealed, r.Salvaged, r.Lost)
			}
			for i := range min(len(got), sealedRecords+int(r.Salvaged)) {
				if !bytes.Equal(got[i], bodies[i]) {
					t.Errorf("place %d came back as another", i+1)
				}
			}
			if text, exit, err := a.Call(t.Context(), "audit", AuditRequest{}, nil, nil); err != nil || exit != 0 {
				t.Errorf("audit after it: exit %d, %s, %v", exit, text, err)
			}
			t.Logf("%d block files, %s: %d sealed back, %d salvaged, %d named as lost", len(found), at, r.Sealed, r.Salvaged, r.Lost)
		})
	}
}

// servedRight opens a damaged folder and asks for everything: what is served is right, or the start is refused.
func servedRight(t *testing.T, dir string, bodies [][]byte) string {
	t.Helper()
	var d *Damage
	a, err := Open(context.Background(), Options{Dir: dir})
	if err != nil {
		if !errors.As(err, &d) {
			t.Errorf("open: got %v, want a finding", err)
		}
		return "refused before the broker opens it"
	}
	defer a.Close()
	var got [][]byte
	_, _, err = a.Call(t.Context(), "export", ExportRequest{}, nil, func(p []byte) {
		var l Lines
		if err := events.ReadJSON(p, &l); err != nil {
			t.Error(err)
		}
		for _, r := range l.Records {
			got = append(got, bytes.Clone(r))
		}
	})
	for i, b := range got {
		if i < len(bodies) && !bytes.Equal(b, bodies[i]) {
			t.Errorf("place %d was served wrong", i+1)
		}
	}
	if err != nil {
		return "opened, and refused"
	}
	if len(got) != len(bodies) {
		t.Errorf("served %d records as if they were all, want %d", len(got), len(bodies))
	}
	doc, exit, err := a.Call(t.Context(), "audit", AuditRequest{}, nil, nil)
	if err != nil {
		t.Errorf("audit: %v", err)
	}
	if exit == 3 {
		return "serves what is right; audit names it"
	}
	_ = doc
	return "serves what is right; nothing lost"
}

// comesBack restores a damaged folder and holds everything against what stood there.
func comesBack(t *testing.T, dir string, bodies [][]byte, lost int) string {
	t.Helper()
	doc, err := RestoreFromArchive(context.Background(), Options{Dir: dir}, "")
	if err != nil {
		t.Errorf("restore: %v", err)
		return "not restored"
	}
	r := doc.Farms[0]
	a := openDir(t, dir)
	defer closeApp(t, a)
	got := exported(t, a)
	keep := len(bodies) - lost
	if len(got) < keep {
		t.Errorf("%d records came back, want %d", len(got), keep)
		return "short"
	}
	for i := range keep {
		if !bytes.Equal(got[i], bodies[i]) {
			t.Errorf("place %d came back as another", i+1)
		}
	}
	if int(r.Lost) != lost {
		t.Errorf("%d named as lost, want %d", r.Lost, lost)
	}
	text, exit, err := a.Call(t.Context(), "audit", AuditRequest{}, nil, nil)
	if err != nil || exit != 0 {
		t.Errorf("audit after it: exit %d, %s, %v", exit, text, err)
	}
	switch {
	case r.Rebuilt && r.Lost > 0:
		return fmt.Sprintf("sealed back, %d salvaged, %d named as lost", r.Salvaged, r.Lost)
	case r.Rebuilt:
		return fmt.Sprintf("all back, %d salvaged", r.Salvaged)
	case r.Mended > 0:
		return "archive mended"
	}
	return "nothing to do"
}
