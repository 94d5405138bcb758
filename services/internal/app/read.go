package app

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"time"

	"latewood/events"
	"latewood/events/civil"
	"latewood/events/ledger/disk"
	"latewood/events/words"
	"latewood/projections"
	"latewood/projections/flush"
	"latewood/projections/holds"
	"latewood/projections/lots"
	"latewood/projections/orchard"
	"latewood/projections/weather"
	"latewood/projections/yields"
	"latewood/services/serve"
)

// StatusRequest asks how every block stands.
type StatusRequest struct {
	Asked
	On string `json:"on,omitempty"`
}

// Status is how every block stands, with what else one looks at every day.
type Status struct {
	orchard.Doc
	Name       string             `json:"name"`
	Running    map[string]Running `json:"running"` // by block
	Flags      map[string]int     `json:"flags"`   // by block
	OtherFlags int                `json:"otherFlags"`
	Held       HeldCount          `json:"held"`
	// Lacking is what records lack that federal rules want in them, of the last two years.
	Lacking    []Lacking `json:"lacking"`
	Size       uint64    `json:"size"`
	Root       string    `json:"root"`
	Sealed     bool      `json:"sealed"`
	LastBackup string    `json:"lastBackup,omitempty"`
	FreeBytes  int64     `json:"freeBytes"`
	// BackupWords and BackupOld say the same in sentences; BackupOld is empty while the backup is young.
	BackupWords string `json:"backupWords"`
	BackupOld   string `json:"backupOld,omitempty"`
	Assumed     int    `json:"assumed,omitempty"` // records whose time of knowing was assumed
	// Sensors is what stations sent that is not in the ledger; absent where there is nothing to say.
	Sensors *Sensors `json:"sensors,omitempty"`
}

// Running is what runs in a block, in words.
type Running struct {
	Pick  string `json:"pick"`
	Enter string `json:"enter"`
}

// HeldCount is how many lots and loads are held.
type HeldCount struct {
	Lots       int `json:"lots"`
	Deliveries int `json:"deliveries"`
}

// oldBackup is the age from which status speaks up.
const oldBackup = 30 * 24 * time.Hour

func (a *App) opStatus(ctx context.Context, q StatusRequest) (any, int, error) {
	var doc Status
	err := a.read(ctx, q.Asked, func(f *farm, b *projections.Book, assumed int) error {
		zone := b.Zone()
		now := a.o.Now()
		day := civil.DateOf(now, zone)
		at := now
		if q.On != "" {
			var err error
			if day, err = civil.ParseDate(q.On); err != nil {
				return &serve.Fault{Exit: 2, Text: words.Say("app.moment", "text", q.On), Err: err}
			}
			if at = civil.DayEnd(day, zone).Add(-time.Second); at.After(now) && civil.DateOf(now, zone) == day {
				at = now
			}
		}
		due := map[string][]string{}
		doc.Running, doc.Flags = map[string]Running{}, map[string]int{}
		for _, block := range holds.Holds(b, at).Blocks {
			doc.Running[block.Block] = Running{runningText(block.Pick, zone), runningText(block.Enter, zone)}
			for _, d := range holds.Of(b, block.Block).Due(at, zone) {
				due[block.Block] = append(due[block.Block], d.Words)
			}
		}
		doc.Doc = orchard.Status(b, day, due)
		stages(b, day, doc.Blocks)
		said := saidOf(b, at)
		doc.Held.Lots, doc.Held.Deliveries = said.held.Held()
		f.countFlags(b, said, &doc)
		if o := b.Opened(); o != nil {
			doc.Name = o.Name
		}
		doc.Size, doc.Root = f.mark()
		doc.Sealed = f.sealed(doc.Size)
		doc.Assumed = assumed
		doc.Lacking = f.lacking(b, at)
		a.disk(&doc, now, zone)
		return nil
	})
	if err == nil {
		doc.Sensors, err = a.sensors()
	}
	if err != nil {
		return nil, 1, err
	}
	return doc, 0, nil
}

// stages puts the flush clock's estimate in the place of what common practice says, and of a look that time has overtaken.
func stages(b *projections.Book, day civil.Date, blocks []orchard.Stand) {
	clock := flush.Stages(b, day)
	for i := range blocks {
		s, o := clock[blocks[i].Block], &blocks[i]
		if s.From == "estimate" {
			o.Stage, o.StageSince, o.StageFrom = s.Stage, s.Since, s.From
		}
	}
}

// runningText is a hold in few words. An interval that has run out says no more than that none runs.
func runningText(h holds.Hold, zone *time.Location) string {
	text := words.Say("holds.short-" + string(h.Status))
	switch {
	case h.Status == holds.Waiting && h.From != "":
		return words.Say("app.until", "status", text, "from", Clock(h.From, zone))
	case h.Status == holds.Planned && h.Closes != "":
		return words.Say("app.closes", "status", text, "at", Clock(h.Closes, zone))
	}
	return text
}

// Clock writes a time of a document as people read it on the farm: day, hour and minute in its zone.
func Clock(text string, zone *time.Location) string {
	t, err := time.Parse(time.RFC3339, text)
	if err != nil {
		return text
	}
	return t.In(zone).Format("2006-01-02 15:04")
}

// countFlags counts flags by the blocks of their records.
func (f *farm) countFlags(b *projections.Book, said said, doc *Status) {
	for _, fl := range said.flags {
		id, err := events.ParseID(fl.ID)
		if err != nil {
			continue
		}
		hit := false
		if fact := b.Fact(id); fact != nil {
			for _, k := range projections.KeysOf(fact) {
				if k.Class == projections.Block {
					doc.Flags[k.Code]++
					hit = true
				}
			}
		}
		if !hit {
			doc.OtherFlags++
		}
	}
}

// disk says when the folder was last backed up and how much room there is.
func (a *App) disk(doc *Status, now time.Time, zone *time.Location) {
	doc.FreeBytes, _ = disk.Free(a.o.Dir)
	doc.BackupWords = words.Say("app.backup-none")
	doc.BackupOld = words.Say("app.backup-never")
	b, err := os.ReadFile(filepath.Join(a.o.Dir, "backup.json"))
	if err != nil {
		return
	}
	var last struct {
		At string `json:"at"`
	}
	at, err := time.Time{}, events.ReadJSON(b, &last)
	if err == nil {
		at, err = time.Parse(time.RFC3339, last.At)
	}
	if err != nil {
		return
	}
	doc.LastBackup = civil.FormatTime(at.In(zone))
	doc.BackupWords = doc.LastBackup
	doc.BackupOld = ""
	if age := now.Sub(at); age > oldBackup {
		doc.BackupOld = words.Say("app.backup-old", "days", int(age.Hours()/24))
	}
}

// HoldsRequest asks which intervals run.
type HoldsRequest struct {
	Asked
	At string `json:"at,omitempty"`
}

// Holds is which intervals run, and which lots and loads are held.
type Holds struct {
	holds.Doc
	lots.Fruit
	LotsCaution string `json:"lotsCaution"`
	// People are the tags behind the pseudonyms of this answer.
	People map[string]string `json:"people,omitempty"`
}

func (a *App) opHolds(ctx context.Context, q HoldsRequest) (any, int, error) {
	var doc Holds
	err := a.read(ctx, q.Asked, func(f *farm, b *projections.Book, _ int) error {
		at := a.o.Now()
		if q.At != "" {
			m, err := events.ParseMoment(q.At, b.Zone())
			if err != nil {
				return &serve.Fault{Exit: 2, Text: words.Say("app.moment", "text", q.At), Err: err}
			}
			at = m.At
		}
		doc.Doc, doc.Fruit, doc.LotsCaution = holds.Holds(b, at), saidOf(b, at).held, words.Say("lots.caution")
		text, err := events.WriteJSON(doc.Fruit)
		doc.People = f.tags(text)
		return err
	})
	if err != nil {
		return nil, 1, err
	}
	return doc, 0, nil
}

// YieldRequest asks for the yield report.
type YieldRequest struct {
	Asked
	Season string `json:"season,omitempty"`
	By     string `json:"by,omitempty"`
}

func (a *App) opYield(ctx context.Context, q YieldRequest) (any, int, error) {
	if _, err := civil.ParseSeason(q.Season); q.Season != "" && err != nil {
		return nil, 2, &serve.Fault{Exit: 2, Text: words.Say("app.season", "text", q.Season), Err: err}
	}
	var doc yields.Doc
	err := a.read(ctx, q.Asked, func(_ *farm, b *projections.Book, _ int) error {
		doc = yields.Report(b, yields.Filter{Season: civil.Season(q.Season), By: yields.By(q.By)})
		return nil
	})
	if err != nil {
		return nil, 1, err
	}
	return doc, 0, nil
}

// WeatherRequest asks for the weather report; see weather.Query.
type WeatherRequest struct {
	Asked
	Station  string    `json:"station,omitempty"`
	From     string    `json:"from,omitempty"`
	To       string    `json:"to,omitempty"`
	By       string    `json:"by,omitempty"`
	Base     *float64  `json:"base,omitempty"`
	Upper    *float64  `json:"upper,omitempty"`
	Below    []float64 `json:"below,omitempty"`
	MinBelow []float64 `json:"minBelow,omitempty"`
	MaxBelow []float64 `json:"maxBelow,omitempty"`
	With     []string  `json:"with,omitempty"`
	Method   string    `json:"method,omitempty"`
	MaxGap   string    `json:"maxGap,omitempty"`
}

func (a *App) opWeather(ctx context.Context, q WeatherRequest) (any, int, error) {
	w := weather.Query{
		Station: q.Station, By: weather.By(q.By), Base: q.Base, Upper: q.Upper, Below: q.Below, MinBelow: q.MinBelow,
		MaxBelow: q.MaxBelow, Method: q.Method, With: q.With,
	}
	for _, d := range []struct {
		text string
		into *civil.Date
	}{{q.From, &w.From}, {q.To, &w.To}} {
		if d.text == "" {
			continue
		}
		var err error
		if *d.into, err = civil.ParseDate(d.text); err != nil {
			return nil, 2, &serve.Fault{Exit: 2, Text: words.Say("app.moment", "text", d.text), Err: err}
		}
	}
	if q.MaxGap != "" {
		var err error
		if w.MaxGap, err = time.ParseDuration(q.MaxGap); err != nil || w.MaxGap <= 0 {
			return nil, 2, &serve.Fault{Exit: 2, Text: words.Say("app.duration", "text", q.MaxGap), Err: err}
		}
	}
	var doc weather.Doc
	err := a.read(ctx, q.Asked, func(_ *farm, b *projections.Book, _ int) (err error) {
		doc, err = weather.Report(b, w)
		return err
	})
	return answered(doc, err)
}

// answered gives an answer, or says in one line what is wrong with a question that cannot be answered as it stands.
func answered(doc any, err error) (any, int, error) {
	var problem events.Problem
	if errors.As(err, &problem) {
		return nil, 2, &serve.Fault{Exit: 2, Text: problem.Error()}
	}
	if err != nil {
		return nil, 1, err
	}
	return doc, 0, nil
}
