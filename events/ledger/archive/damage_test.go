package archive

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"latewood/events/ledger"
	"latewood/events/ledger/proof"
)

// damaged is the archive that the tests here hurt: two full bundles and a partial one, sealed three times, with the partial
// files of the checkpoint before, and five records that are not sealed.
func damaged(t testing.TB) string {
	t.Helper()
	dir := t.TempDir()
	build(t, dir, 5, 300, 530, 600).Close()
	return dir
}

// wantNothingWrong opens an archive, damaged or not, and reads all of it in both ways: what comes out is right, or an
// error comes out.
func wantNothingWrong(t testing.TB, dir string) (opened bool) {
	t.Helper()
	a, err := Open(dir, options())
	var damage *DamageError
	if err != nil {
		if !errors.As(err, &damage) || len(damage.Findings) == 0 {
			t.Errorf("opening: got %v, want a DamageError with findings", err)
		}
		return false
	}
	defer a.Close()
	next := uint64(1)
	for e, err := range a.Read(t.Context(), 0, 0) {
		if err != nil {
			if !errors.As(err, &damage) {
				t.Errorf("reading place %d: %v", next, err)
			}
			break
		}
		if e.Place != next || !bytes.Equal(e.Body, record(next)) {
			t.Errorf("place %d: a wrong record was handed out: %q", next, e.Body)
		}
		next++
	}
	for p := uint64(1); p <= a.Sealed(); p += 37 {
		if body, err := a.ReadRecord(t.Context(), p); err == nil && !bytes.Equal(body, record(p)) {
			t.Errorf("place %d: a wrong record was handed out: %q", p, body)
		}
		if leaf, err := a.LeafHash(p); err == nil && leaf != ledger.LeafHash(record(p)) {
			t.Errorf("place %d: a wrong leaf was handed out", p)
		}
	}
	return true
}

// wantRepaired mends an archive and reads it.
func wantRepaired(t testing.TB, dir string, source Source) {
	t.Helper()
	report, err := Repair(t.Context(), dir, options(), source)
	if err != nil || !report.OK() {
		t.Errorf("repair: %+v, %v", report.Findings, err)
		return
	}
	a, err := Open(dir, options())
	if err != nil {
		t.Errorf("opening after repair: %v", err)
		return
	}
	defer a.Close()
	wantRecords(t, a)
	if a.Sealed() != 600 {
		t.Errorf("after repair %d records are sealed, want 600", a.Sealed())
	}
}

// recordAt says which record a byte of a bundle belongs to, its length included.
func recordAt(t testing.TB, content []byte, at, w int, frame int) uint64 {
	t.Helper()
	for i := range w {
		n := frame + int(content[0])<<8 + int(content[1])
		if at < n {
			return uint64(i)
		}
		at -= n
		content = content[n:]
	}
	t.Fatal("beyond the bundle")
	return 0
}

// TestBitFlips flips one bit in every file, at 12 places of each by default and at every byte in the full run. Check names
// exactly that file and exactly the records, nothing wrong is ever handed out, and Repair brings everything back.
func TestBitFlips(t *testing.T) {
	t.Parallel()
	good := damaged(t)
	flips, opened := 0, 0
	dir := copyDir(t, good)
	for _, name := range listFiles(t, good) {
		content := readFile(t, good, name)
		step := max(1, len(content)/12)
		if full {
			step = 1
		}
		for at := 0; at < len(content); at += step {
			bad := bytes.Clone(content)
			bad[at] ^= 1 << (at % 8)
			writeFile(t, dir, name, bad)
			flips++
			report, err := Check(t.Context(), dir, options())
			if err != nil {
				t.Fatal(err)
			}
			want, places, silent := expected(t, name, content, at)
			if silent {
				if !report.OK() {
					t.Errorf("%s, byte %d: an unsealed record is no finding: %+v", name, at, report.Findings)
				}
			} else if len(report.Findings) != 1 || !strings.HasPrefix(report.Findings[0].File, want) || !slices.Equal(report.Findings[0].Places, places) {
				// A newline of the history may spoil the checkpoints on both of its sides.
				if name != historyName || report.OK() || slices.ContainsFunc(report.Findings, func(f Finding) bool { return !strings.HasPrefix(f.File, name) && f.File != checkpointName }) {
					t.Errorf("%s, byte %d: got %+v, want %s with records %v", name, at, report.Findings, want, places)
				}
			}
			for _, f := range report.Findings {
				if s := f.Say(); strings.Contains(s, "⟦") {
					t.Errorf("%s, byte %d: %s", name, at, s)
				}
			}
			if wantNothingWrong(t, dir) {
				opened++
			}
			if full || at%5 == 0 || at < 2*step {
				// Opening may have tidied up, so the damage is done anew.
				again := dir
				if silent {
					again = copyDir(t, good)
					writeFile(t, again, name, bad)
				}
				var src Source
				if places != nil {
					src = source()
				}
				wantRepaired(t, again, src)
			}
			restore(t, good, dir)
		}
	}
	t.Logf("counts: %d bits flipped in %d files, each found; %d of the archives could be opened, none handed out a wrong record", flips, len(listFiles(t, good)), opened)
}

// expected says what Check must find for a flipped byte: the file, the records, or nothing at all.
func expected(t testing.TB, name string, content []byte, at int) (file string, places []Span, silent bool) {
	t.Helper()
	switch tl, ok := parseTile(name); {
	case name == tailName && at < tailHeader:
		return tailName, []Span{{513, 600}}, false
	case name == tailName:
		i := recordAt(t, content[tailHeader:], at-tailHeader, 93, tailFrame)
		if i >= 88 {
			return "", nil, true
		}
		// A damaged length hides what stands behind; a damaged record does not.
		off := tailHeader
		for range i {
			off += tailFrame + int(content[off])<<8 + int(content[off+1])
		}
		if at-off < 2 {
			return tailName, []Span{{513 + i, 600}}, false
		}
		return tailName, []Span{{513 + i, 513 + i}}, false
	case ok && tl.level == entries && tl.w == width:
		i := recordAt(t, content, at, width, 2)
		first := tl.n*width + i + 1
		off := 0
		for range i {
			off += 2 + int(content[off])<<8 + int(content[off+1])
		}
		if at-off < 2 {
			return name, []Span{{first, (tl.n + 1) * width}}, false
		}
		return name, []Span{{first, first}}, false
	}
	return name, nil, false
}

// restore makes dir as good is.
func restore(t testing.TB, good, dir string) {
	t.Helper()
	for _, name := range listFiles(t, dir) {
		if _, err := os.Stat(filepath.Join(good, name)); err != nil {
			os.Remove(filepath.Join(dir, name))
		}
	}
	for _, name := range listFiles(t, good) {
		want := readFile(t, good, name)
		if have, err := os.ReadFile(filepath.Join(dir, name)); err != nil || !bytes.Equal(have, want) {
			if err := os.MkdirAll(filepath.Dir(filepath.Join(dir, name)), 0o700); err != nil {
				t.Fatal(err)
			}
			writeFile(t, dir, name, want)
		}
	}
}

// TestFilesGone takes each file away, empties it, cuts it and makes it longer.
func TestFilesGone(t *testing.T) {
	t.Parallel()
	good := damaged(t)
	for _, name := range listFiles(t, good) {
		for _, how := range []string{"gone", "empty", "cut", "longer", "doubled"} {
			if !full && (how == "empty" || how == "longer") {
				continue
			}
			dir := copyDir(t, good)
			content := readFile(t, good, name)
			// What a crash may leave, or what takes nothing away, is no finding.
			silent := false
			switch how {
			case "gone":
				if err := os.Remove(filepath.Join(dir, name)); err != nil {
					t.Fatal(err)
				}
				silent = strings.Contains(name, ".p/") && !strings.HasSuffix(name, ".p/88") && name != "tile/1/000.p/2" // an older partial file
			case "empty":
				writeFile(t, dir, name, nil)
			case "cut":
				writeFile(t, dir, name, content[:len(content)/2])
			case "longer":
				writeFile(t, dir, name, append(bytes.Clone(content), "more"...))
				silent = name == tailName || name == historyName
			case "doubled":
				writeFile(t, dir, name, append(bytes.Clone(content), content...))
				silent = name == tailName || name == historyName
			}
			report, err := Check(t.Context(), dir, options())
			if err != nil {
				t.Fatal(err)
			}
			if report.OK() != silent {
				t.Errorf("%s %s: got %+v, want a finding: %v", name, how, report.Findings, !silent)
			}
			if slices.ContainsFunc(report.Findings, func(f Finding) bool { return !strings.HasPrefix(f.File, strings.SplitN(name, "#", 2)[0]) }) {
				t.Errorf("%s %s: got %+v", name, how, report.Findings)
			}
			wantNothingWrong(t, copyDir(t, dir))
			wantRepaired(t, dir, source())
		}
	}
}

// TestWorse hurts several files at once.
func TestWorse(t *testing.T) {
	t.Parallel()
	good := damaged(t)
	flip := func(name string, at int) func(dir string) {
		return func(dir string) {
			b := readFile(t, dir, name)
			b[at] ^= 4
			writeFile(t, dir, name, b)
		}
	}
	gone := func(names ...string) func(dir string) {
		return func(dir string) {
			for _, name := range names {
				if err := os.RemoveAll(filepath.Join(dir, name)); err != nil {
					t.Fatal(err)
				}
			}
		}
	}
	for _, tt := range []struct {
		name   string
		hurt   []func(string)
		source Source
		mended bool
		lost   []Span
	}{
		{"records and their hashes", []func(string){flip("tile/entries/000", 500), flip("tile/0/000", 500)}, source(), true, nil},
		{"records and the hash above", []func(string){flip("tile/entries/000", 500), flip("tile/1/000.p/2", 5)}, source(), true, nil},
		{"records, their hashes, the hash above", []func(string){flip("tile/entries/000", 500), flip("tile/0/000", 500), flip("tile/1/000.p/2", 5)}, source(), true, nil},
		{"hashes and the hash above", []func(string){flip("tile/0/000", 500), flip("tile/1/000.p/2", 5)}, nil, true, nil},
		{"all hashes gone", []func(string){gone("tile/0", "tile/1")}, nil, true, nil},
		{"all records of full bundles gone", []func(string){gone("tile/entries/000", "tile/entries/001")}, source(), true, nil},
		{"all tiles gone", []func(string){gone("tile")}, source(), true, nil},
		{"only the standard files left", []func(string){gone("tail", "checkpoints")}, nil, true, nil},
		{"tail and partial bundle", []func(string){flip("tail", 40), flip("tile/entries/002.p/88", 40)}, source(), true, nil},
		{"tail and partial bundle, in two records", []func(string){flip("tail", 40), flip("tile/entries/002.p/88", 3000)}, nil, true, nil},
		{"checkpoint and history", []func(string){flip("checkpoint", 40), flip("checkpoints", 40)}, nil, true, nil},
		{"another record here than there", []func(string){flip("tile/entries/000", 500)}, source(200), true, nil},
		{"the same record here and there", []func(string){flip("tile/entries/000", 500)}, source(4, 5, 6, 7, 8, 9, 10), false, []Span{{5, 5}}},
		{"no source", []func(string){flip("tile/entries/001", 500)}, nil, false, []Span{{261, 261}}},
		{"tail and partial bundle, no source", []func(string){flip("tail", 40), flip("tile/entries/002.p/88", 40)}, nil, false, []Span{{1, 600}}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			dir := copyDir(t, good)
			for _, h := range tt.hurt {
				h(dir)
			}
			report, err := Check(t.Context(), dir, options())
			if err != nil || report.OK() {
				t.Errorf("check: %+v, %v", report, err)
			}
			wantNothingWrong(t, copyDir(t, dir))
			if tt.mended {
				wantRepaired(t, dir, tt.source)
				return
			}
			before := listFiles(t, dir)
			var damage *DamageError
			if _, err := Repair(t.Context(), dir, options(), tt.source); !errors.As(err, &damage) || !slices.Equal(damage.Findings[0].Places, tt.lost) {
				t.Errorf("repair: got %v, want records %v lost", err, tt.lost)
			}
			if !slices.Equal(listFiles(t, dir), before) {
				t.Error("repair wrote something")
			}
		})
	}
	t.Run("all checkpoints", func(t *testing.T) {
		t.Parallel()
		dir := copyDir(t, good)
		writeFile(t, dir, "checkpoint", []byte("x"))
		writeFile(t, dir, "checkpoints", []byte("x\n\ny\n\n"))
		if _, err := Repair(t.Context(), dir, options(), source()); !errors.Is(err, ErrNoCheckpoint) {
			t.Errorf("got %v, want ErrNoCheckpoint", err)
		}
	})
	t.Run("a source that lies", func(t *testing.T) {
		t.Parallel()
		dir := copyDir(t, good)
		flip("tile/entries/000", 500)(dir)
		flip("tile/0/000", 500)(dir)
		other := t.TempDir()
		a := reopen(t, other)
		var bodies [][]byte
		for p := uint64(1); p <= 600; p++ {
			bodies = append(bodies, record(p+1))
		}
		var h proof.Hashes
		for _, b := range bodies {
			h.Append(ledger.LeafHash(b))
		}
		root, err := proof.Root(600, &h)
		if err := errors.Join(err, a.Append(bodies...), a.Publish(note(t, 600, root))); err != nil {
			t.Fatal(err)
		}
		var damage *DamageError
		if _, err := Repair(t.Context(), dir, options(), a.Read); !errors.As(err, &damage) {
			t.Errorf("got %v, want a DamageError", err)
		}
	})
	t.Run("a second history", func(t *testing.T) {
		t.Parallel()
		dir := copyDir(t, good)
		b := readFile(t, dir, "checkpoints")
		writeFile(t, dir, "checkpoints", slices.Concat(appendHistory(nil, note(t, 400, rootAt(401))), b))
		report, err := Check(t.Context(), dir, options())
		if err != nil || len(report.Findings) != 1 || report.Findings[0].Fault != Diverges || report.Findings[0].File != "checkpoints#1" {
			t.Errorf("check: %+v, %v", report.Findings, err)
		}
	})
}

// TestHistoryRoots has every size from 1 to 600 in the history.
func TestHistoryRoots(t *testing.T) {
	t.Parallel()
	dir := damaged(t)
	var b []byte
	var f ledger.Frontier
	for p := uint64(1); p <= 600; p++ {
		f.Append(ledger.LeafHash(record(p)))
		b = appendHistory(b, note(t, p, f.Root()))
	}
	writeFile(t, dir, "checkpoints", b)
	if r := wantClean(t, dir); r.Checkpoints != 600 {
		t.Errorf("got %d checkpoints, want 600", r.Checkpoints)
	}
	// Where the records of a bundle are damaged, roots inside it are still computed, from its tile.
	bundle := readFile(t, dir, "tile/entries/001")
	bundle[500] ^= 1
	writeFile(t, dir, "tile/entries/001", bundle)
	if r, err := Check(t.Context(), dir, options()); err != nil || len(r.Findings) != 1 {
		t.Errorf("with a damaged bundle: %+v, %v", r.Findings, err)
	}
}

func TestSalvage(t *testing.T) {
	t.Parallel()
	dir := damaged(t)
	b := readFile(t, dir, "tail")
	b[tailHeader+tailFrame+3] ^= 1 // inside the first record
	writeFile(t, dir, "tail", append(b, 0, 9, 1, 2))
	got, err := Salvage(dir)
	if err != nil || len(got) != 92 || got[0].Place != 514 || got[91].Place != 605 || got[5].Kind != "pest.scouted" {
		t.Errorf("got %d records, %v, want 92 from place 514 to 605", len(got), err)
	}
	if got, err := Salvage(t.TempDir()); err != nil || got != nil {
		t.Errorf("no tail: got %v, %v", got, err)
	}
	writeFile(t, dir, "tail", []byte("x"))
	if _, err := Salvage(dir); err == nil {
		t.Error("what is no tail is read")
	}
}

// TestWriteFails takes the file away from under Append.
func TestWriteFails(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	a := build(t, dir, 0, 10)
	mine := a.tail
	ro, err := os.Open(filepath.Join(dir, "tail"))
	if err != nil {
		t.Fatal(err)
	}
	a.tail = ro
	if err := a.Append(record(11)); !errors.Is(err, ledger.ErrStore) || a.Size() != 10 {
		t.Errorf("got %v, size %d, want ErrStore and nothing added", err, a.Size())
	}
	// Neither could the file be cut back, so nobody knows what stands in it.
	if err := a.Append(record(11)); !errors.Is(err, ErrClosed) {
		t.Errorf("after that: got %v, want ErrClosed", err)
	}
	mine.Close()
	b := reopen(t, dir)
	if err := errors.Join(b.Append(record(11)), b.Publish(sign(t, b, 11))); err != nil {
		t.Fatal(err)
	}
	wantRecords(t, b)
}

func TestFindingSay(t *testing.T) {
	t.Parallel()
	f := Finding{"tail", Damaged, []Span{{1, 3}, {5, 5}}}
	if got := f.Say(); !strings.Contains(got, "tail") || !strings.Contains(got, "1-3, 5") {
		t.Errorf("got %q", got)
	}
	if got := (&DamageError{[]Finding{f, f}}).Error(); got != "archive: tail is damaged, records 1-3, 5 (and 1 more)" {
		t.Errorf("got %q", got)
	}
	if got := formatSpans(spansOf([]uint64{1, 3, 5, 7, 9, 11, 13, 15, 17, 19, 21, 23, 25, 27})); !strings.HasSuffix(got, "23, ...") {
		t.Errorf("got %q", got)
	}
	for _, fault := range []Fault{Missing, Damaged, Unexpected, Unsigned, Diverges, Unproven} {
		if got := (Finding{File: "f", Fault: fault}).Say(); strings.Contains(got, "⟦") {
			t.Errorf("%s: %q", fault, got)
		}
	}
}
