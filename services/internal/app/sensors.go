package app

import (
	"cmp"
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"runtime"
	"sync"
	"time"

	"latewood/events"
	"latewood/events/words"
	"latewood/projections"
	"latewood/services/internal/natsbox"
	"latewood/services/record"
	"latewood/services/sense"
	"latewood/services/serve"
)

// MQTT says where weather stations are listened to.
type MQTT struct {
	Address string // host:port; empty: nowhere
	Users   string // the file with the stations' logins; empty: sensors/users in the folder
	// Certificate and Key are PEM files; with them stations are listened to over TLS and not otherwise. Both or neither.
	Certificate, Key string
	// What the raw stream keeps; 0: as before.
	RawBytes int64
	RawAge   time.Duration
}

// file is a file of the folder that belongs to the sensors.
func (a *App) sensorFile(name string) string { return filepath.Join(a.o.Dir, "sensors", name) }

// sensorLogins reads the stations' logins, if stations are listened to.
func (a *App) sensorLogins() (map[string]string, error) {
	if a.o.MQTT.Address == "" {
		return nil, nil
	}
	users, err := sense.Users(cmp.Or(a.o.MQTT.Users, a.sensorFile("users")))
	if err != nil {
		return nil, &serve.Fault{Exit: 1, Text: err.Error()}
	}
	// The broker would say only that it cannot start.
	l, err := net.Listen("tcp", a.o.MQTT.Address)
	if err != nil {
		return nil, &serve.Fault{Exit: 1, Text: words.Say("app.listen", "address", a.o.MQTT.Address), Err: err}
	}
	return users, l.Close()
}

// sensorCertificate reads what the listener shows of itself; nil where stations speak in the clear.
func (a *App) sensorCertificate() (*tls.Certificate, error) {
	m := a.o.MQTT
	if m.Address == "" || m.Certificate == "" && m.Key == "" {
		return nil, nil
	}
	if m.Certificate == "" || m.Key == "" {
		return nil, &serve.Fault{Exit: 2, Text: words.Say("sense.tls-both")}
	}
	// Windows has no such bits; there the folder's own list of who may read decides.
	if info, err := os.Stat(m.Key); err == nil && runtime.GOOS != "windows" && info.Mode().Perm()&0o077 != 0 {
		return nil, &serve.Fault{Exit: 1, Text: words.Say("sense.tls-open", "file", m.Key, "mode", fmt.Sprintf("%04o", info.Mode().Perm()))}
	}
	pair, err := tls.LoadX509KeyPair(m.Certificate, m.Key)
	if err != nil {
		return nil, &serve.Fault{Exit: 1, Text: words.Say("sense.tls-pair", "certificate", m.Certificate, "key", m.Key), Err: err}
	}
	if now := a.o.Now(); now.After(pair.Leaf.NotAfter) {
		return nil, &serve.Fault{Exit: 1, Text: words.Say("sense.tls-expired", "certificate", m.Certificate, "until", pair.Leaf.NotAfter.UTC().Format(time.DateOnly))}
	}
	return &pair, nil
}

// sensing is the service that takes readings in, while it runs or for one question.
type sensing struct {
	*sense.Service
	raw  *natsbox.Raw
	stop func()
}

// openSensing opens the service on the raw stream.
func (a *App) openSensing(ctx context.Context) (*sensing, error) {
	if err := os.MkdirAll(filepath.Dir(a.sensorFile("")), 0o700); err != nil {
		return nil, folderFault(a.o.Dir, err)
	}
	raw, err := a.box.Raw(ctx, natsbox.RawOptions{MaxBytes: a.o.MQTT.RawBytes, MaxAge: a.o.MQTT.RawAge})
	if err != nil {
		return nil, err
	}
	s, err := sense.Open(ctx, sense.Config{
		Source: raw, Recorder: stationRecorder{a}, List: a.sensorFile("refused.json"), Now: a.o.Now, Logger: a.o.Logger,
		RulesOf: a.sensorRules(context.WithoutCancel(ctx)),
	})
	if err != nil {
		raw.Close()
		return nil, err
	}
	return &sensing{Service: s, raw: raw, stop: raw.Close}, nil
}

// sensorRules gives the limits that the farm of a station has adopted, the defaults where no farm has sited it.
func (a *App) sensorRules(ctx context.Context) func(station string) sense.Rules {
	return func(station string) (rules sense.Rules) {
		f, _, err := a.farmOf(ctx, station)
		if err != nil || f == nil {
			return rules
		}
		today := f.today()
		_ = f.projector.With(func(b *projections.Book) error {
			rules = sense.RulesFrom(func(name string) (float64, bool) { return b.Number(name, today) })
			return nil
		})
		return rules
	}
}

// Listen takes in what stations send, until Close. Without an address it does nothing.
func (a *App) Listen(ctx context.Context) error {
	if a.o.MQTT.Address == "" {
		return nil
	}
	s, err := a.openSensing(ctx)
	if err != nil {
		return err
	}
	run, cancel := context.WithCancel(context.Background())
	var running sync.WaitGroup
	running.Go(func() {
		if err := s.Run(run, func() {}); err != nil {
			a.failed(err)
		}
	})
	s.stop = func() {
		cancel()
		running.Wait()
		s.raw.Close()
	}
	a.mu.Lock()
	defer a.mu.Unlock()
	a.sensing = s
	return nil
}

// stopSensing ends Listen. What was sent and not taken in stays in the raw stream for the next start.
func (a *App) stopSensing() {
	a.mu.Lock()
	s := a.sensing
	a.sensing = nil
	a.mu.Unlock()
	if s != nil {
		s.stop()
	}
}

// stationRecorder gives readings to the farm whose station they are of.
type stationRecorder struct{ a *App }

func (r stationRecorder) Record(ctx context.Context, proposals []sense.Proposal) ([]sense.Outcome, error) {
	out := make([]sense.Outcome, len(proposals))
	farms := map[string]*farm{}
	problems := map[string]events.Problem{}
	of := map[*farm][]int{}
	var order []*farm
	for i, p := range proposals {
		f, known := farms[p.Station]
		if !known {
			var problem events.Problem
			var err error
			if f, problem, err = r.a.farmOf(ctx, p.Station); err != nil {
				return nil, err
			}
			farms[p.Station], problems[p.Station] = f, problem
		}
		if f == nil {
			out[i].Problems = events.Problems{problems[p.Station]}
			continue
		}
		if of[f] == nil {
			order = append(order, f)
		}
		of[f] = append(of[f], i)
	}
	for _, f := range order {
		batch := make([]record.Proposal, len(of[f]))
		for n, i := range of[f] {
			// Rows of its own for each: the id follows from what the reading says, and the same once more is the same record.
			batch[n] = record.Proposal{Draft: proposals[i].Draft, Device: proposals[i].Device, DefaultActor: f.owner, Rows: record.NewRows()}
		}
		receipts, err := f.recorder.Record(ctx, batch)
		if err != nil {
			return nil, f.cannotRecord(err)
		}
		for n, i := range of[f] {
			out[i] = sense.Outcome{Known: receipts[n].Known, Problems: receipts[n].Problems}
		}
	}
	return out, nil
}

// farmOf finds the farm that has sited a station. The problem says why there is none.
func (a *App) farmOf(ctx context.Context, station string) (*farm, events.Problem, error) {
	codes, err := a.Codes()
	if err != nil {
		return nil, events.Problem{}, err
	}
	var found []*farm
	for _, code := range codes {
		f, err := a.farm(ctx, code)
		if err != nil {
			return nil, events.Problem{}, err
		}
		sited := false
		err = f.projector.With(func(b *projections.Book) error {
			for _, fact := range b.View(projections.Key{Class: projections.Station, Code: station}).Standing() {
				if _, ok := fact.Data().(*events.StationSited); ok {
					sited = true
				}
			}
			return nil
		})
		if err != nil {
			return nil, events.Problem{}, err
		}
		if sited {
			found = append(found, f)
		}
	}
	switch len(found) {
	case 0:
		return nil, events.Problem{Why: sentence("sense.not-sited", "station", station), Instead: sentence("sense.not-sited-instead")}, nil
	case 1:
		return found[0], events.Problem{}, nil
	}
	return nil, events.Problem{
		Why:     sentence("sense.several-farms", "station", station, "one", found[0].code, "other", found[1].code),
		Instead: sentence("sense.several-farms-instead"),
	}, nil
}

// sentence names a sentence of the catalogue.
//
//words:say
func sentence(key string, pairs ...any) events.Sentence {
	return events.Sentence{Key: key, Pairs: pairs}
}

// Sensors is what stations sent that is not in the ledger.
type Sensors struct {
	Address string          `json:"address,omitempty"` // where they are listened to; empty: they are not
	Counts  *sense.Counts   `json:"counts,omitempty"`  // since the start
	Refused []sense.Refusal `json:"refused"`
	Unseen  int             `json:"unseen,omitempty"`  // refused messages that went from the list because it or the raw stream was full
	LeftOut []sense.LeftOut `json:"leftOut,omitempty"` // values that no reading can hold, since the start
}

// sensors tells it; nil where no station is listened to and none was refused.
func (a *App) sensors() (*Sensors, error) {
	a.mu.Lock()
	s := a.sensing
	a.mu.Unlock()
	if s != nil {
		counts := s.Counts()
		return &Sensors{Address: a.o.MQTT.Address, Counts: &counts, Refused: s.Refused(), Unseen: s.Unseen(), LeftOut: s.LeftOut()}, nil
	}
	refused, unseen, err := sense.Listed(a.sensorFile("refused.json"))
	if err != nil || len(refused)+unseen == 0 {
		return nil, err
	}
	return &Sensors{Refused: refused, Unseen: unseen}, nil
}

// SensorsRequest asks what stations sent that is not in the ledger, or decides about it.
type SensorsRequest struct {
	TakeIn  []uint64 `json:"takeIn,omitempty"` // places in the raw stream
	Shift   string   `json:"shift,omitempty"`  // moves their times, as 1h or -90m
	Dismiss []uint64 `json:"dismiss,omitempty"`
	// All takes in, or dismisses, all that is on the list instead: of one station, or of all where Station is empty.
	All     string `json:"all,omitempty"` // take-in, dismiss
	Station string `json:"station,omitempty"`
}

// What SensorsRequest.All may be.
const (
	AllTakeIn  = "take-in"
	AllDismiss = "dismiss"
)

// SensorsDoc answers it.
type SensorsDoc struct {
	Sensors
	Recorded  int          `json:"recorded"`
	Known     int          `json:"known"`
	Dismissed int          `json:"dismissed"`
	Not       []NotTakenIn `json:"not,omitempty"`
}

// NotTakenIn is a message that still cannot be taken in.
type NotTakenIn struct {
	Seq     uint64 `json:"seq"`
	Why     string `json:"why"`
	Instead string `json:"instead,omitempty"`
}

func (a *App) opSensors(ctx context.Context, q SensorsRequest) (any, int, error) {
	var shift time.Duration
	if q.Shift != "" {
		var err error
		if shift, err = time.ParseDuration(q.Shift); err != nil {
			return nil, 2, &serve.Fault{Exit: 2, Text: words.Say("sense.shift", "text", q.Shift), Err: err}
		}
	}
	doc := SensorsDoc{}
	if len(q.TakeIn)+len(q.Dismiss) > 0 || q.All != "" {
		a.mu.Lock()
		s := a.sensing
		a.mu.Unlock()
		if s == nil { // nothing is listened to; the raw stream is there all the same
			var err error
			if s, err = a.openSensing(ctx); err != nil {
				return nil, 1, err
			}
			defer s.stop()
		}
		if err := doc.decide(ctx, s, q, shift); err != nil {
			return nil, 1, err
		}
	}
	now, err := a.sensors()
	if err != nil {
		return nil, 1, err
	}
	if doc.Refused = []sense.Refusal{}; now != nil {
		doc.Sensors = *now
	}
	if len(doc.Not) > 0 {
		return doc, 1, nil
	}
	return doc, 0, nil
}

// decide takes messages in and dismisses others.
func (d *SensorsDoc) decide(ctx context.Context, s *sensing, q SensorsRequest, shift time.Duration) error {
	gone := func(seq uint64) {
		d.Not = append(d.Not, NotTakenIn{Seq: seq, Why: words.Say("sense.gone"), Instead: words.Say("sense.gone-instead")})
	}
	takeIn := q.TakeIn
	switch q.All {
	case AllTakeIn:
		for _, r := range s.Refused() {
			if q.Station == "" || r.Station == q.Station {
				takeIn = append(takeIn, r.Seq)
			}
		}
	case AllDismiss:
		n, err := s.Clear(q.Station)
		if err != nil {
			return err
		}
		d.Dismissed += n
	}
	for _, seq := range takeIn {
		got, err := s.Retake(ctx, seq, shift)
		switch {
		case errors.Is(err, sense.ErrGone):
			gone(seq)
		case err != nil:
			return err
		case got.Why != "":
			d.Not = append(d.Not, NotTakenIn{Seq: seq, Why: got.Why, Instead: got.Instead})
		}
		d.Recorded += got.Recorded
		d.Known += got.Known
	}
	for _, seq := range q.Dismiss {
		ok, err := s.Dismiss(seq)
		switch {
		case err != nil:
			return err
		case ok:
			d.Dismissed++
		default:
			gone(seq)
		}
	}
	return nil
}
