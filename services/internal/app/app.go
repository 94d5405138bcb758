package app

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"time"

	"latewood/events"
	"latewood/events/ledger/archive"
	"latewood/events/ledger/disk"
	"latewood/events/ledger/jetlog"
	"latewood/events/words"
	"latewood/services/internal/natsbox"
	"latewood/services/serve"
)

// Options say which folder to open and how.
type Options struct {
	Dir    string
	Logger *slog.Logger
	Now    func() time.Time // the clock; nil: the system's
	MQTT   MQTT             // where weather stations are listened to
	// SealEvery is how late a record may be sealed; 0: a second.
	SealEvery time.Duration
	// Postgres is the URL of the database that gets the rows of the folds; empty: none.
	Postgres string
}

func (o *Options) defaults() {
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.Logger == nil {
		o.Logger = slog.New(slog.DiscardHandler)
	}
}

// An App has a folder open.
type App struct {
	o    Options
	lock *disk.Lock
	box  *natsbox.Box

	mu      sync.Mutex
	farms   map[string]*farm
	fatal   chan error // the first service that ended by itself
	sensing *sensing   // nil: no station is listened to
}

// ErrBusy says that another process has the folder open.
var ErrBusy = errors.New("app: the folder is open in another process")

// Open takes the folder's lock and starts the broker. It makes the folder if it is not there.
func Open(ctx context.Context, o Options) (_ *App, err error) {
	o.defaults()
	if err := os.MkdirAll(filepath.Join(o.Dir, "farms"), 0o700); err != nil {
		return nil, folderFault(o.Dir, err)
	}
	lock, err := disk.TryLock(filepath.Join(o.Dir, "latewood.lock"))
	switch {
	case errors.Is(err, disk.ErrLocked):
		return nil, fmt.Errorf("%w: %s", ErrBusy, o.Dir)
	case err != nil:
		return nil, folderFault(o.Dir, err)
	}
	a := &App{o: o, lock: lock, farms: map[string]*farm{}, fatal: make(chan error, 1)}
	if err := a.sweepUnborn(ctx); err != nil {
		_ = lock.Unlock()
		return nil, err
	}
	if err := a.check(ctx); err != nil {
		_ = lock.Unlock()
		return nil, err
	}
	if err := a.preparePostgres(ctx); err != nil {
		_ = lock.Unlock()
		return nil, err
	}
	users, err := a.sensorLogins()
	if err != nil {
		_ = lock.Unlock()
		return nil, err
	}
	certificate, err := a.sensorCertificate()
	if err != nil {
		_ = lock.Unlock()
		return nil, err
	}
	a.box, err = natsbox.Start(ctx, natsbox.Options{
		Dir: filepath.Join(o.Dir, "broker"), Logger: o.Logger, MQTT: o.MQTT.Address, Sensors: users, Certificate: certificate,
	})
	if err != nil {
		_ = lock.Unlock()
		return nil, folderFault(o.Dir, err)
	}
	return a, nil
}

// folderFault says in a sentence what is wrong with the folder.
func folderFault(dir string, err error) error {
	key := "app.folder"
	switch {
	case errors.Is(err, natsbox.ErrFull) || disk.IsFull(err):
		key = "app.folder-full"
	case errors.Is(err, natsbox.ErrReadOnly) || disk.IsReadOnly(err) || errors.Is(err, os.ErrPermission):
		key = "app.folder-read-only"
	case errors.Is(err, natsbox.ErrInUse):
		key = "app.folder-in-use"
	}
	return &serve.Fault{Exit: 1, Text: words.Say(key, "dir", dir), Err: err} //words:keys app.folder
}

// Close stops everything, first what takes in, last the broker, and writes the caches down.
func (a *App) Close() error {
	a.stopSensing()
	a.mu.Lock()
	defer a.mu.Unlock()
	var errs []error
	for _, code := range a.codesOpen() {
		errs = append(errs, a.farms[code].close())
	}
	a.box.Stop()
	errs = append(errs, a.lock.Unlock())
	return errors.Join(errs...)
}

func (a *App) codesOpen() []string {
	var out []string
	for code := range a.farms {
		out = append(out, code)
	}
	slices.Sort(out)
	return out
}

// Failed yields the error of a service that ended by itself: the process should stop.
func (a *App) Failed() <-chan error { return a.fatal }

// Codes lists the farms of the folder.
func (a *App) Codes() ([]string, error) {
	entries, err := os.ReadDir(filepath.Join(a.o.Dir, "farms"))
	if err != nil {
		return nil, folderFault(a.o.Dir, err)
	}
	var out []string
	for _, e := range entries {
		if e.IsDir() && events.IsCode(e.Name()) {
			out = append(out, e.Name())
		}
	}
	return out, nil
}

// Farm opens the farm with a code, or the only one of the folder where code is empty.
func (a *App) farm(ctx context.Context, code string) (*farm, error) {
	codes, err := a.Codes()
	if err != nil {
		return nil, err
	}
	switch {
	case code == "" && len(codes) == 0:
		return nil, &serve.Fault{Exit: 1, Text: words.Say("app.no-farm", "dir", a.o.Dir)}
	case code == "" && len(codes) > 1:
		return nil, &serve.Fault{Exit: 2, Text: words.Say("app.which-farm", "farms", list(codes))}
	case code == "":
		code = codes[0]
	case !slices.Contains(codes, code):
		return nil, &serve.Fault{Exit: 2, Text: words.Say("app.unknown-farm", "farm", code, "farms", list(codes))}
	}
	a.mu.Lock()
	defer a.mu.Unlock()
	if f := a.farms[code]; f != nil {
		return f, nil
	}
	f, err := a.open(ctx, code, false)
	if err != nil {
		return nil, err
	}
	a.farms[code] = f
	return f, nil
}

// create makes the ledger of a farm that is not there yet.
func (a *App) create(ctx context.Context, code string) (*farm, error) {
	a.mu.Lock()
	defer a.mu.Unlock()
	if f := a.farms[code]; f != nil {
		return f, nil
	}
	f, err := a.open(ctx, code, true)
	if err != nil {
		return nil, err
	}
	a.farms[code] = f
	return f, nil
}

func (a *App) open(ctx context.Context, code string, create bool) (*farm, error) {
	writer, err := a.box.Ledger()
	if err != nil {
		return nil, err
	}
	reader, err := a.box.Ledger()
	if err != nil {
		return nil, err
	}
	log, err := jetlog.Open(ctx, writer, code, jetlog.Options{
		Create: create, Reader: reader,
		Health: a.box.Health,
	})
	switch {
	case errors.Is(err, jetlog.ErrAbsent):
		return nil, &serve.Fault{Exit: 1, Text: words.Say("app.ledger-gone", "farm", code, "dir", a.o.Dir), Err: err}
	case len(findingsOf(err)) > 0:
		return nil, damage(code, findingsOf(err)...)
	case err != nil:
		return nil, &serve.Fault{Exit: 1, Text: words.Say("app.ledger", "farm", code), Err: err}
	}
	dir := filepath.Join(a.o.Dir, "farms", code)
	for _, sub := range []string{"people", "folds", "archive", "files", "keys"} {
		if err := os.MkdirAll(filepath.Join(dir, sub), 0o700); err != nil {
			return nil, folderFault(a.o.Dir, err)
		}
	}
	f := &farm{app: a, code: code, dir: dir, stream: log}
	f.log = archive.Over(log, &f.seal)
	if err := f.start(ctx); err != nil {
		return nil, errors.Join(err, f.abandon())
	}
	return f, nil
}

// failed reports a service that ended with an error.
func (a *App) failed(err error) {
	select {
	case a.fatal <- err:
	default:
	}
}

func list(codes []string) string {
	if len(codes) == 0 {
		return words.Say("app.none")
	}
	out := codes[0]
	for _, c := range codes[1:] {
		out += ", " + c
	}
	return out
}

// Warm opens every farm of the folder, so that what is wrong with one is told at the start.
func (a *App) Warm(ctx context.Context) error {
	codes, err := a.Codes()
	if err != nil {
		return err
	}
	for _, code := range codes {
		if _, err := a.farm(ctx, code); err != nil {
			return err
		}
	}
	return nil
}
