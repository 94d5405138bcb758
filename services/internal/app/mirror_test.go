package app

import (
	"context"
	"errors"
	"fmt"
	"testing"
	"time"

	"latewood/events"
	"latewood/projections"
	"latewood/projections/store/pgstore"
	"latewood/projections/store/pgstore/pgtest"
	"latewood/services/serve"
)

// Rows in Postgres follow the folds, through the database's end and return and through a stop of the program; entering
// records waits for none of it.
func TestMirror(t *testing.T) {
	t.Parallel()
	c := pgtest.Start(t)
	ctx := t.Context()
	dir := t.TempDir()
	start := func() *App {
		t.Helper()
		a, err := Open(ctx, Options{Dir: dir, Postgres: c.URL()})
		if err != nil {
			t.Fatal(err)
		}
		if err := a.Warm(ctx); err != nil {
			t.Fatal(err)
		}
		return a
	}
	ask := func(a *App, name string, request any) {
		t.Helper()
		if _, exit, err := a.Call(ctx, name, request, nil, nil); err != nil || exit != 0 {
			t.Fatalf("%s: exit %d, %v", name, exit, err)
		}
	}
	pick := func(a *App, n int) {
		t.Helper()
		for i := range n {
			ask(a, "add", AddRequest{Farm: "hillside", Kind: "fruit.picked", Time: "2026-06-01", Data: fmt.Sprintf(`{"where":{"block":"north"},"mass":{"value":%d,"unit":"kg"}}`, i+1)})
		}
	}
	// said is what the rows should be, by the memory.
	said := func(a *App, code string) (map[string]string, uint64) {
		t.Helper()
		f, err := a.farm(ctx, code)
		if err != nil {
			t.Fatal(err)
		}
		out, size := map[string]string{}, uint64(0)
		err = f.projector.With(func(b *projections.Book) error {
			size = b.Size()
			for _, fold := range Folds() {
				for _, key := range b.Keys(fold.Class) {
					state, err := events.WriteJSON(b.State(fold, key))
					if err != nil {
						return err
					}
					out[fold.Name+" "+key] = string(state)
				}
			}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
		return out, size
	}
	same := func(want map[string]string, size uint64, code string) error {
		rows, at, err := pgstore.Read(ctx, c.URL(), code)
		switch {
		case err != nil:
			return err
		case at != size:
			return fmt.Errorf("rows of %s speak for %d records, want %d", code, at, size)
		case len(rows) != len(want):
			return fmt.Errorf("%d rows of %s, want %d", len(rows), code, len(want))
		}
		for _, r := range rows {
			if want[r.Fold+" "+r.Code] != string(r.State) {
				return fmt.Errorf("%s %s of %s: %s, want %s", r.Fold, r.Code, code, r.State, want[r.Fold+" "+r.Code])
			}
		}
		return nil
	}
	follow := func(a *App, code string) {
		t.Helper()
		want, size := said(a, code)
		var err error
		for range 600 {
			if err = same(want, size, code); err == nil {
				return
			}
			time.Sleep(50 * time.Millisecond) // the mirror tells nobody when it has caught up; its rows do
		}
		t.Fatal(err)
	}

	a := start()
	ask(a, "open", OpenRequest{Farm: "hillside", Name: "Hillside", Zone: "Pacific/Honolulu", Latitude: 19, Longitude: -155})
	ask(a, "add", AddRequest{Farm: "hillside", Kind: "block.established", Time: "2020-01-01", Data: `{"block":"north","name":"North","area":{"value":1,"unit":"har"}}`})
	pick(a, 3)
	ask(a, "open", OpenRequest{Farm: "second", Name: "Second", Zone: "Australia/Brisbane", Latitude: -27, Longitude: 153})
	follow(a, "hillside")
	follow(a, "second") // a farm that came while it runs
	c.Kill()
	pick(a, 3)
	c.Up()
	follow(a, "hillside")
	pick(a, 2)
	want, size := said(a, "hillside")
	if err := a.Close(); err != nil {
		t.Fatal(err)
	}
	if err := same(want, size, "hillside"); err != nil {
		t.Errorf("after a clean stop: %v", err)
	}
	a = start()
	pick(a, 1)
	follow(a, "hillside")
	// The database is away when the program stops: nothing is lost, and the next start writes it.
	c.Kill()
	pick(a, 1)
	if err := a.Close(); err != nil {
		t.Fatal(err)
	}
	var fault *serve.Fault
	if b, err := Open(context.Background(), Options{Dir: dir, Postgres: c.URL()}); !errors.As(err, &fault) {
		t.Errorf("a start without its database: %v", err)
		if err == nil {
			_ = b.Close()
		}
	}
	c.Up()
	a = start()
	follow(a, "hillside")
	if err := a.Close(); err != nil {
		t.Fatal(err)
	}
	t.Logf("counts: 2 killings of the database, %d records mirrored", size+2)
}
