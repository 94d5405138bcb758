package app_test

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"testing"

	"latewood/services/internal/app"
)

// A backup that is made while records come in holds everything that was answered for before it began, whole, and nothing half.
func TestBackupOfARunningFarm(t *testing.T) {
	t.Parallel()
	_, a := peopleFarm(t)
	defer func() { _ = a.Close() }()
	var answered sync.Map // id: true
	stop, n := make(chan struct{}), 0
	var coming sync.WaitGroup
	first := make(chan struct{})
	coming.Go(func() {
		for i := 0; ; i++ {
			if i == 20 {
				close(first)
			}
			select {
			case <-stop:
				return
			default:
			}
			id := fmt.Sprintf("018f0000-0000-7000-8000-%012x", i)
			_, exit, err := a.Call(context.Background(), "add", app.AddRequest{
				Kind: "fruit.picked", ID: id, Time: "2026-06-01", Data: `{"where":{"block":"north"},"mass":{"value":3,"unit":"kg"}}`,
			}, nil, nil)
			if err != nil || exit != 0 {
				t.Errorf("add while a backup is made: exit %d, %v", exit, err)
				return
			}
			answered.Store(id, true)
			n++
		}
	})
	<-first
	for round := range 3 {
		var before []string
		answered.Range(func(id, _ any) bool { before = append(before, id.(string)); return true })
		file := filepath.Join(t.TempDir(), "copy.backup")
		made := read[app.BackedUp](t, call(t, a, "backup", app.BackupRequest{File: file}, nil))
		to := t.TempDir()
		doc, err := app.RestoreBackup(context.Background(), app.Options{Dir: to}, app.RestoreRequest{File: file})
		if err != nil {
			t.Fatalf("round %d: restore: %v", round, err)
		}
		if doc.Farms[0].Sealed < made.Records {
			t.Errorf("round %d: %d records came back, the backup said %d", round, doc.Farms[0].Sealed, made.Records)
		}
		b := reopened(t, to, nil)
		records := bytes.Join(lines(stored(t, b, "fruit.picked")), nil)
		for _, id := range before {
			if !bytes.Contains(records, []byte(id)) {
				t.Errorf("round %d: %s was answered for before the backup and is not in it", round, id)
			}
		}
		if text, exit, err := b.Call(context.Background(), "audit", app.AuditRequest{}, nil, nil); err != nil || exit != 0 {
			t.Errorf("round %d: audit: exit %d, %s, %v", round, exit, text, err)
		}
		if err := b.Close(); err != nil {
			t.Fatal(err)
		}
	}
	close(stop)
	coming.Wait()
	t.Logf("counts: 3 backups while %d records came in", n)
}

func lines(s []string) (out [][]byte) {
	for _, l := range s {
		out = append(out, []byte(l))
	}
	return out
}

// A backup from before an erasure brings the name back, which only the list of erasures, kept elsewhere, can prevent where the
// ledger of the backup does not know of it either.
func TestRestoreWithErasures(t *testing.T) {
	t.Parallel()
	dir, a := peopleFarm(t)
	file := filepath.Join(t.TempDir(), "copy.backup")
	call(t, a, "backup", app.BackupRequest{File: file}, nil)
	ione := person(t, a, "P02")
	call(t, a, "erase", app.EraseRequest{Who: "P02", Reason: "has left", Early: true}, nil)
	if err := a.Close(); err != nil {
		t.Fatal(err)
	}
	list := filepath.Join(dir, "farms", "table", "people", "erasures.json")
	restored := func(erasures string) (string, *app.App) {
		to := t.TempDir()
		if _, err := app.RestoreBackup(context.Background(), app.Options{Dir: to}, app.RestoreRequest{File: file, Erasures: erasures}); err != nil {
			t.Fatal(err)
		}
		return to, reopened(t, to, nil)
	}
	_, without := restored("")
	if p := person(t, without, "P02"); p.Name == "" {
		t.Errorf("without the list the backup is what it was: %+v", p)
	}
	if err := without.Close(); err != nil {
		t.Fatal(err)
	}
	to, with := restored(list)
	if p := person(t, with, "P02"); p.Name != "" || p.Erased == nil || p.Pseudonym != ione.Pseudonym {
		t.Errorf("with the list: %+v", p)
	}
	if got := stored(t, with, "person.forgotten"); len(got) != 1 {
		t.Errorf("forgotten: %v", got)
	}
	if err := with.Close(); err != nil {
		t.Fatal(err)
	}
	b, err := os.ReadFile(filepath.Join(to, "farms", "table", "people", "register.json"))
	if err != nil || bytes.Contains(b, []byte("Ione")) || !bytes.Contains(b, []byte("Tama")) {
		t.Errorf("the register (%v): %s", err, b)
	}
	// A list that is none is refused, and nothing is restored.
	bad := filepath.Join(t.TempDir(), "bad")
	if err := os.WriteFile(bad, []byte("no list\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	empty := t.TempDir()
	if _, err := app.RestoreBackup(context.Background(), app.Options{Dir: empty}, app.RestoreRequest{File: file, Erasures: bad}); err == nil {
		t.Error("a list that is none was taken")
	}
	if farms, err := os.ReadDir(filepath.Join(empty, "farms")); err != nil || len(farms) != 0 {
		t.Errorf("after the refusal: %v, %v", farms, err)
	}
}
