package app

import (
	"context"
	"errors"
	"fmt"
	"io"
	"iter"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"latewood/events"
	"latewood/events/ledger"
	"latewood/events/ledger/archive"
	"latewood/events/ledger/disk"
	"latewood/events/ledger/jetlog"
	"latewood/events/words"
	"latewood/services/internal/natsbox"
	"latewood/services/project"
	"latewood/services/record"
	"latewood/services/register"
	"latewood/services/seal"
	"latewood/services/serve"
)

// Restored is what came back of one farm.
type Restored struct {
	Farm     string `json:"farm"`
	Sealed   uint64 `json:"sealed"`           // records under the newest checkpoint
	Salvaged uint64 `json:"salvaged"`         // records behind them that came back
	Lost     uint64 `json:"lost"`             // records that stood behind those and did not
	Mended   int    `json:"mended"`           // files of the archive that were made again
	Rebuilt  bool   `json:"rebuilt"`          // the broker's store was made again
	Aside    string `json:"aside,omitempty"`  // where the damaged one was put
	Unlinked string `json:"behind,omitempty"` // records that could be read behind a lost one, as JSON Lines
	Size     uint64 `json:"size"`             // of the ledger now
	Root     string `json:"root"`
}

// Restores is the answer of restore.
type Restores struct {
	Farms []Restored `json:"farms"`
}

// RestoreFromArchive brings back what is damaged, farm by farm, from whichever store has it. Nothing else may have the folder
// open. Records that were sealed come back all, or it says which cannot be had in either store, and changes nothing.
//
// The steps, and what a crash before each leaves:
//
//  1. The archive is mended, from the records in the broker's files where its own are damaged (archive.Repair). Before:
//     nothing changed.
//  2. Records behind the sealed ones that can still be read, in the archive's tail or the broker's files, are appended to the
//     archive and synced. Before: they stand where they stood.
//  3. The broker's store of this ledger is put aside, whole, by one rename. Before: it stands damaged, and the next start
//     says so again.
//  4. It is made again from the archive. Before, or half done: the next start says that it is shorter than the archive, and
//     this command, given again, goes on from here.
//  5. Caches are deleted, and ledger.restored is appended and sealed. Before: the ledger is whole, and does not say that it
//     was restored.
func RestoreFromArchive(ctx context.Context, o Options, only string) (Restores, error) {
	doc := Restores{Farms: []Restored{}}
	a, err := hold(&o)
	if err != nil {
		return doc, err
	}
	codes, err := a.Codes()
	if err != nil {
		return doc, errors.Join(err, a.lock.Unlock())
	}
	if only != "" && !slices.Contains(codes, only) {
		return doc, errors.Join(&serve.Fault{Exit: 2, Text: words.Say("app.unknown-farm", "farm", only, "farms", list(codes))}, a.lock.Unlock())
	}
	for _, code := range codes {
		if only != "" && code != only {
			continue
		}
		keys, err := seal.PublicKeys(filepath.Join(a.o.Dir, "farms", code, "keys"))
		if err == nil && len(keys) == 0 && only == "" && len(codes) > 1 {
			continue // a farm that has no record yet
		}
		r, err := a.mend(ctx, code)
		if err != nil {
			return doc, errors.Join(err, a.lock.Unlock())
		}
		doc.Farms = append(doc.Farms, r)
	}
	if err := a.lock.Unlock(); err != nil {
		return doc, err
	}
	return doc, tellRestored(ctx, o, doc.Farms)
}

// hold takes the folder's lock and starts nothing.
func hold(o *Options) (*App, error) {
	o.defaults()
	if err := os.MkdirAll(filepath.Join(o.Dir, "farms"), 0o700); err != nil {
		return nil, folderFault(o.Dir, err)
	}
	lock, err := disk.TryLock(filepath.Join(o.Dir, "latewood.lock"))
	switch {
	case errors.Is(err, disk.ErrLocked):
		return nil, &serve.Fault{Exit: 1, Text: words.Say("seal.busy", "dir", o.Dir), Err: err}
	case err != nil:
		return nil, folderFault(o.Dir, err)
	}
	return &App{o: *o, lock: lock, farms: map[string]*farm{}, fatal: make(chan error, 1)}, nil
}

// tellRestored opens the folder, which checks everything once more, and appends ledger.restored where a store was made again.
func tellRestored(ctx context.Context, o Options, farms []Restored) error {
	a, err := OpenSoon(ctx, o)
	if err != nil {
		return err
	}
	for i := range farms {
		r := &farms[i]
		f, err := a.farm(ctx, r.Farm)
		if err != nil {
			return errors.Join(err, a.Close())
		}
		if r.Rebuilt {
			_, _, err = f.record(ctx, []record.Proposal{{
				Draft: events.Draft{Type: "ledger.restored", Data: events.Encode(events.LedgerRestored{
					SealedSize: int(r.Sealed), Salvaged: int(r.Salvaged), Lost: int(r.Lost), Words: words.Say("seal.restored-words"),
				})},
				Device: "cli", Clock: true,
			}})
			if err != nil {
				return errors.Join(err, a.Close())
			}
		}
		r.Size, r.Root = f.mark()
	}
	return a.Close()
}

// store is the two stores of one farm while nothing runs on them.
type stores struct {
	a      *App
	code   string
	dir    string
	broker string
	opt    archive.Options
}

func (a *App) mend(ctx context.Context, code string) (Restored, error) {
	r := Restored{Farm: code}
	s := stores{a: a, code: code, dir: filepath.Join(a.o.Dir, "farms", code), broker: filepath.Join(a.o.Dir, "broker")}
	keys, err := seal.PublicKeys(filepath.Join(s.dir, "keys"))
	if err != nil {
		return r, keyFault(err)
	}
	if len(keys) == 0 {
		return r, &serve.Fault{Exit: 1, Text: words.Say("seal.no-archive", "farm", code, "dir", filepath.Join(s.dir, "archive"))}
	}
	s.opt = archive.Options{Origin: keys[0].Name(), Keys: keys}
	if r.Mended, err = s.mendArchive(ctx); err != nil { // 1
		return r, err
	}
	ar, err := archive.Open(filepath.Join(s.dir, "archive"), s.opt)
	if err != nil {
		return r, folderFault(a.o.Dir, err)
	}
	defer ar.Close()
	r.Sealed = ar.Sealed()
	bad, behind, last, err := s.compare(ctx, ar)
	if err != nil {
		return r, err
	}
	fits, rest, err := s.fitting(ctx, ar, behind)
	if err != nil {
		return r, err
	}
	if !bad && len(rest) == 0 {
		r.Size = r.Sealed + uint64(len(fits))
		return r, nil
	}
	r.Rebuilt = true
	r.Salvaged = uint64(len(fits))
	r.Lost = last - r.Sealed - r.Salvaged
	if len(rest) > 0 {
		if r.Unlinked, err = s.writeRest(rest); err != nil {
			return r, folderFault(a.o.Dir, err)
		}
	}
	var bodies [][]byte
	for _, e := range fits {
		if e.Place > ar.Size() {
			bodies = append(bodies, e.Body)
		}
	}
	if len(bodies) > 0 { // 2
		if err := errors.Join(ar.Append(bodies...), ar.Sync()); err != nil {
			return r, folderFault(a.o.Dir, err)
		}
	}
	if r.Aside, err = s.putAside(); err != nil { // 3
		return r, folderFault(a.o.Dir, err)
	}
	if err := s.rebuild(ctx, ar, fits); err != nil { // 4
		return r, err
	}
	// Caches may speak of records that are lost.
	if err := os.RemoveAll(filepath.Join(s.dir, "folds")); err != nil {
		return r, folderFault(a.o.Dir, err)
	}
	return r, nil
}

// source gives the records that the broker's files still have.
func (s *stores) source(ctx context.Context, first, last uint64) iter.Seq2[ledger.Entry, error] {
	return func(yield func(ledger.Entry, error) bool) {
		enough := errors.New("app: enough")
		_, err := natsbox.LookAt(ctx, s.broker, s.code, first-1, func(e ledger.Entry) error {
			if e.Place > last || !yield(e, nil) {
				return enough
			}
			return nil
		})
		if err != nil && !errors.Is(err, enough) {
			yield(ledger.Entry{}, err)
		}
	}
}

func (s *stores) mendArchive(ctx context.Context) (mended int, err error) {
	dir := filepath.Join(s.dir, "archive")
	before, err := archive.Check(ctx, dir, s.opt)
	if err != nil {
		return 0, folderFault(s.a.o.Dir, err)
	}
	if before.OK() {
		return 0, nil
	}
	_, err = archive.Repair(ctx, dir, s.opt, s.source)
	switch {
	case errors.Is(err, archive.ErrNoCheckpoint):
		return 0, &serve.Fault{Exit: 1, Text: words.Say("seal.no-archive", "farm", s.code, "dir", dir)}
	case len(findingsOf(err)) > 0:
		d := Damage{s.code, findingsOf(err)}
		return 0, &serve.Fault{Exit: 1, Text: words.Say("seal.lost-sealed", "what", d.Error()), Err: err}
	case err != nil:
		return 0, folderFault(s.a.o.Dir, err)
	}
	return len(before.Findings), nil
}

// compare says whether the broker's store is not what it should be, and collects what stands in either store behind the sealed
// records, in order of places.
//
// last is the last place that anything says was taken, also where it cannot be read.
func (s *stores) compare(ctx context.Context, ar *archive.Archive) (bad bool, behind []ledger.Entry, last uint64, err error) {
	sealed := ar.Sealed()
	at := map[uint64]ledger.Entry{}
	tail, err := archive.Salvage(filepath.Join(s.dir, "archive"))
	if err != nil {
		return false, nil, 0, folderFault(s.a.o.Dir, err)
	}
	last = max(sealed, s.remembered(ar))
	for _, e := range tail {
		if e.Place > sealed {
			at[e.Place] = e
			last = max(last, e.Place)
		}
	}
	seen := uint64(0)
	look, err := natsbox.LookAt(ctx, s.broker, s.code, 0, func(e ledger.Entry) error {
		if e.Place > sealed {
			at[e.Place] = ledger.Entry{Place: e.Place, Kind: e.Kind, Body: slices.Clone(e.Body)}
			last = max(last, e.Place)
			return nil
		}
		leaf, err := ar.LeafHash(e.Place)
		if err != nil {
			return err
		}
		if leaf == ledger.LeafHash(e.Body) {
			seen++
		}
		return nil
	})
	if err != nil {
		return false, nil, 0, folderFault(s.a.o.Dir, err)
	}
	// A torn end is what the broker itself cuts off; everything else is not to be opened by it.
	torn := len(look.Spots) == 0 || len(look.Spots) == 1 && look.Spots[0].Torn
	for _, spot := range look.Spots {
		if !spot.Torn {
			last = max(last, spot.After+1)
		}
	}
	bad = seen < sealed || look.There && !look.Settings || !torn || len(look.Gaps) > 0 || look.Last < ar.Size()
	for _, e := range at {
		behind = append(behind, e)
	}
	slices.SortFunc(behind, func(x, y ledger.Entry) int {
		if x.Place < y.Place {
			return -1
		}
		return 1
	})
	return bad, behind, last, nil
}

// remembered is how many records this ledger had when the program last stopped well, by the recorder's cache; 0 if it is not there,
// or of another ledger. Where the broker's files are gone, nothing else names what is lost with them.
func (s *stores) remembered(ar *archive.Archive) uint64 {
	file, err := os.Open(filepath.Join(s.dir, "folds", "recorder.state"))
	if err != nil {
		return 0
	}
	defer file.Close()
	state, err := record.LoadState(file)
	if err != nil || state.Size() == 0 || ar.Sealed() == 0 {
		return 0
	}
	if leaf, err := ar.LeafHash(1); err != nil || leaf != state.First {
		return 0
	}
	return state.Size()
}

// fitting takes from the records behind the sealed ones those whose places follow on and whose chains fit, and gives the rest.
func (s *stores) fitting(ctx context.Context, ar *archive.Archive, behind []ledger.Entry) (fits, rest []ledger.Entry, err error) {
	state := record.NewState()
	if sealed := ar.Sealed(); sealed > 0 && len(behind) > 0 {
		for r, err := range project.Records(ctx, archive.Over(nil, ar), 1, sealed) {
			if err == nil {
				err = state.Apply(r)
			}
			if err != nil {
				return nil, nil, fmt.Errorf("app: restoring %s: %w", s.code, err)
			}
		}
	}
	for i, e := range behind {
		r, err := events.ParseRecord(e.Place, e.Body)
		if err == nil && e.Place == state.Size()+1 {
			err = state.Apply(r)
		}
		if err != nil || e.Place != state.Size() {
			return fits, behind[i:], nil
		}
		fits = append(fits, e)
	}
	return fits, nil, nil
}

func (s *stores) stamp() string { return s.a.o.Now().UTC().Format("20060102T150405Z") }

func (s *stores) aside(name string) (string, error) {
	dir := filepath.Join(s.dir, "aside")
	return filepath.Join(dir, name+"-"+s.stamp()), os.MkdirAll(dir, 0o700)
}

// writeRest keeps records that do not follow on: as lines that import takes.
func (s *stores) writeRest(rest []ledger.Entry) (string, error) {
	path, err := s.aside("behind")
	if err != nil {
		return "", err
	}
	path += ".jsonl"
	return path, disk.WriteFile(path, func(w io.Writer) error {
		for _, e := range rest {
			if _, err := w.Write(append(slices.Clone(e.Body), '\n')); err != nil {
				return err
			}
		}
		return nil
	})
}

func (s *stores) putAside() (string, error) {
	from := natsbox.StreamDir(s.broker, s.code)
	if _, err := os.Stat(from); errors.Is(err, os.ErrNotExist) {
		return "", nil
	}
	to, err := s.aside("stream")
	if err != nil {
		return "", err
	}
	if err := os.Rename(from, to); err != nil {
		return "", err
	}
	return to, errors.Join(disk.SyncDir(filepath.Dir(from)), disk.SyncDir(filepath.Dir(to)))
}

// rebuild fills a new stream with the sealed records and those behind them.
func (s *stores) rebuild(ctx context.Context, ar *archive.Archive, behind []ledger.Entry) error {
	box, err := natsbox.Start(ctx, natsbox.Options{Dir: s.broker, Logger: s.a.o.Logger})
	if err != nil {
		return folderFault(s.a.o.Dir, err)
	}
	defer box.Stop()
	nc, err := box.Ledger()
	if err != nil {
		return err
	}
	log, err := jetlog.Open(ctx, nc, s.code, jetlog.Options{Create: true, Health: box.Health})
	if err != nil {
		return &serve.Fault{Exit: 1, Text: words.Say("app.ledger", "farm", s.code), Err: err}
	}
	last := uint64(0)
	run := make([]ledger.Entry, 0, ledger.MaxBatch)
	flush := func() error {
		if len(run) == 0 {
			return nil
		}
		if err := ledger.Settle(ctx, log, last, run); err != nil {
			return fmt.Errorf("app: restoring %s: %w", s.code, err)
		}
		last += uint64(len(run))
		run = run[:0]
		return nil
	}
	for e, err := range ar.Read(ctx, 1, 0) {
		if err != nil {
			return fmt.Errorf("app: restoring %s: %w", s.code, err)
		}
		if run = append(run, e); len(run) == ledger.MaxBatch {
			if err := flush(); err != nil {
				return err
			}
		}
	}
	for _, e := range behind {
		if run = append(run, e); len(run) == ledger.MaxBatch {
			if err := flush(); err != nil {
				return err
			}
		}
	}
	return flush()
}

// RestoreRequest names a backup, and a list of erasures that is newer than it.
type RestoreRequest struct {
	File     string
	Erasures string
}

// RestoreBackup unpacks a backup into a folder without farms, checks every byte of it against its seals, makes the broker's
// store, and erases once more what was erased since. A crash before the farms are put in place leaves a folder
// "restoring", which the next try removes; behind it, "restore --from-archive" goes on.
func RestoreBackup(ctx context.Context, o Options, q RestoreRequest) (Restores, error) {
	doc := Restores{Farms: []Restored{}}
	a, err := hold(&o)
	if err != nil {
		return doc, err
	}
	err = a.restoreBackup(ctx, q, &doc)
	if err := errors.Join(err, a.lock.Unlock()); err != nil {
		return doc, err
	}
	for i := range doc.Farms {
		doc.Farms[i].Rebuilt = false // copied, bytes and roots: nothing is appended
	}
	return doc, tellRestored(ctx, o, doc.Farms)
}

func (a *App) restoreBackup(ctx context.Context, q RestoreRequest, doc *Restores) error {
	codes, err := a.Codes()
	if err != nil {
		return err
	}
	if len(codes) > 0 {
		return &serve.Fault{Exit: 1, Text: words.Say("seal.not-empty", "dir", a.o.Dir)}
	}
	bad := func(err error) error {
		return &serve.Fault{Exit: 1, Text: words.Say("seal.backup-bad", "file", q.File, "why", err)}
	}
	in, err := os.Open(q.File)
	if err != nil {
		return bad(err)
	}
	defer in.Close()
	temp := filepath.Join(a.o.Dir, "restoring")
	if err := errors.Join(os.RemoveAll(temp), os.MkdirAll(temp, 0o700)); err != nil {
		return folderFault(a.o.Dir, err)
	}
	defer os.RemoveAll(temp)
	m, err := unpack(ctx, in, temp)
	if errors.Is(err, errBackup) {
		return bad(err)
	}
	if err != nil {
		return folderFault(a.o.Dir, err)
	}
	for _, b := range m.Farms {
		if err := checkBacked(ctx, temp, b); err != nil {
			return bad(err)
		}
		if q.Erasures == "" {
			continue
		}
		dir := filepath.Join(temp, "farms", b.Farm, "people")
		if err := register.Take(dir, q.Erasures); err != nil {
			return registerFault(err)
		}
	}
	for _, b := range m.Farms {
		to := filepath.Join(a.o.Dir, "farms", b.Farm)
		if err := os.Rename(filepath.Join(temp, "farms", b.Farm), to); err != nil {
			return folderFault(a.o.Dir, err)
		}
	}
	if err := disk.SyncDir(filepath.Join(a.o.Dir, "farms")); err != nil {
		return folderFault(a.o.Dir, err)
	}
	for _, b := range m.Farms {
		r, err := a.mend(ctx, b.Farm)
		if err != nil {
			return err
		}
		doc.Farms = append(doc.Farms, r)
	}
	return nil
}

// checkBacked holds an unpacked farm against its own seals and against the manifest.
func checkBacked(ctx context.Context, temp string, b backedFarm) error {
	dir := filepath.Join(temp, "farms", b.Farm)
	keys, err := seal.PublicKeys(filepath.Join(dir, "keys"))
	if err != nil {
		return err
	}
	if len(keys) == 0 || !strings.HasPrefix(keys[0].Name(), "latewood/"+b.Farm+"-") {
		return fmt.Errorf("%w: there is no key of %s in it", errBackup, b.Farm)
	}
	report, err := archive.Check(ctx, filepath.Join(dir, "archive"), archive.Options{Origin: keys[0].Name(), Keys: keys})
	if err != nil {
		return err
	}
	if !report.OK() {
		return &archive.DamageError{Findings: report.Findings}
	}
	if report.Size != b.Size || hashText(report.Root) != b.Root {
		return fmt.Errorf("%w: %s has %d records under %s, want %d under %s", errBackup, b.Farm, report.Size, hashText(report.Root), b.Size, b.Root)
	}
	return nil
}
