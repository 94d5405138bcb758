package app

import (
	"context"
	"slices"
	"strconv"
	"strings"

	"latewood/events"
	"latewood/events/canon"
	"latewood/events/words"
	"latewood/projections"
	"latewood/services/record"
	"latewood/services/serve"
)

// CorrectRequest gives a record other values. Set holds FIELD=VALUE; an empty value takes the field away.
type CorrectRequest struct {
	Farm   string   `json:"farm,omitempty"`
	ID     string   `json:"id"`
	Set    []string `json:"set"`
	Reason string   `json:"reason"`
	Check  bool     `json:"check,omitempty"`
}

// WithdrawRequest says that a record, or everything that one import recorded, did not happen.
type WithdrawRequest struct {
	Farm   string `json:"farm,omitempty"`
	ID     string `json:"id,omitempty"`
	Batch  string `json:"batch,omitempty"`
	Reason string `json:"reason"`
	Check  bool   `json:"check,omitempty"`
}

// Moved is what a correction or withdrawal moves, beside what it recorded.
type Moved struct {
	Recorded
	Check bool   `json:"check,omitempty"` // nothing was recorded, this is what would move
	Moves []Move `json:"moves"`
}

// A Move is one answer that becomes another.
type Move struct {
	Of     string `json:"of"`   // a block, a season
	What   string `json:"what"` // pick, enter, kg, flag
	Before string `json:"before,omitempty"`
	After  string `json:"after,omitempty"`
}

func (a *App) opCorrect(ctx context.Context, q CorrectRequest) (any, int, error) {
	f, err := a.farm(ctx, q.Farm)
	if err != nil {
		return nil, 1, err
	}
	target, latest, data, typ, err := f.current(ctx, q.ID)
	if err != nil {
		return nil, 1, err
	}
	when := ""
	for _, set := range q.Set {
		field, value, ok := strings.Cut(set, "=")
		if !ok {
			return nil, 2, &serve.Fault{Exit: 2, Text: words.Say("app.set", "text", set)}
		}
		if field == "time" {
			when = value
			continue
		}
		if !setPath(&data, strings.TrimPrefix(field, "data."), typed(value)) {
			return nil, 2, &serve.Fault{Exit: 2, Text: words.Say("app.set-path", "field", field)}
		}
	}
	naming := f.naming(false)
	if err := naming.inReason(q.Reason); err != nil {
		return nil, 1, err
	}
	named, problems, err := naming.draft(ctx, events.Draft{Type: typ, Time: when, Data: data})
	if err != nil {
		return nil, 1, err
	}
	if len(problems) > 0 {
		doc := Moved{Check: q.Check, Recorded: Recorded{Refused: refusals("-", 1, problems, nil), Flagged: []Flagged{}}, Moves: []Move{}}
		for i := range doc.Refused {
			doc.Refused[i].Field = "data." + doc.Refused[i].Field // in the correction
		}
		f.stamp(&doc.Recorded)
		return doc, 1, nil
	}
	if data = named.Data; when == "" {
		when = f.movedTime(typ, q.Set, data)
	}
	correction := canon.ObjectOf(
		canon.Member{Name: "record", Value: canon.Text(target)}, canon.Member{Name: "follows", Value: canon.Text(latest)},
		canon.Member{Name: "type", Value: canon.Text(typ)}, canon.Member{Name: "reason", Value: canon.Text(q.Reason)},
		canon.Member{Name: "data", Value: data},
	)
	if when != "" {
		m, err := f.moment(when)
		if err != nil {
			return nil, 2, err
		}
		correction.Set("time", canon.Text(events.Moment{At: m.At, Day: m.Day}.String()))
	}
	return f.change(ctx, []events.Draft{{Type: "record.corrected", Data: correction}}, q.Check)
}

func (a *App) opWithdraw(ctx context.Context, q WithdrawRequest) (any, int, error) {
	f, err := a.farm(ctx, q.Farm)
	if err != nil {
		return nil, 1, err
	}
	if err := f.naming(false).inReason(q.Reason); err != nil {
		return nil, 1, err
	}
	ids := []string{q.ID}
	if q.Batch != "" {
		if ids, err = f.batch(ctx, q.Batch); err != nil {
			return nil, 1, err
		}
		if len(ids) == 0 {
			return nil, 1, &serve.Fault{Exit: 1, Text: words.Say("app.no-batch", "batch", q.Batch)}
		}
	}
	var drafts []events.Draft
	for _, id := range ids {
		target, latest, _, _, err := f.current(ctx, id)
		if err != nil {
			return nil, 1, err
		}
		drafts = append(drafts, events.Draft{Type: "record.withdrawn", Data: canon.ObjectOf(
			canon.Member{Name: "record", Value: canon.Text(target)}, canon.Member{Name: "follows", Value: canon.Text(latest)},
			canon.Member{Name: "reason", Value: canon.Text(q.Reason)},
		)})
	}
	return f.change(ctx, drafts, q.Check)
}

// movedTime is the time that corrected data state, where a field that gives the record its time was set; empty: none was,
// and the correction keeps the time of the version that it follows.
func (f *farm) movedTime(typ string, set []string, data canon.Value) string {
	name, _, _ := events.SplitType(typ)
	kind := events.Standard().Kind(name)
	if kind == nil {
		return ""
	}
	for _, s := range set {
		field, _, _ := strings.Cut(s, "=")
		if slices.Contains(kind.TimeFrom, strings.TrimPrefix(field, "data.")) {
			door := events.Door{Catalogue: events.Standard(), Farm: f.code, Zone: f.zone()}
			if a, problems := door.Check(events.Draft{Type: typ, Data: data}); len(problems) == 0 {
				return a.Draft.Time
			}
		}
	}
	return ""
}

// current finds a record as it stands: its own id, the id of its latest version, its effective data and type.
func (f *farm) current(ctx context.Context, text string) (target, latest string, data canon.Value, typ string, err error) {
	id, err := events.ParseID(text)
	if err != nil {
		return "", "", data, "", &serve.Fault{Exit: 2, Text: words.Say("app.id", "text", text), Err: err}
	}
	var fact *projections.Fact
	_ = f.projector.With(func(b *projections.Book) error { fact = b.Fact(id); return nil })
	if fact != nil {
		id = fact.ID
	}
	r, err := f.stored(ctx, id)
	if err != nil {
		return "", "", data, "", err
	}
	if r == nil {
		return "", "", data, "", &serve.Fault{Exit: 1, Text: words.Say("app.no-record", "id", text)}
	}
	target, latest, raw, typ := r.ID.String(), r.ID.String(), r.Data, r.Envelope.Type
	if fact != nil {
		if n := len(fact.Corrections); n > 0 {
			latest = fact.Corrections[n-1].ID.String()
			raw = fact.Raw()
		}
	}
	if k := events.Standard().Kind(r.Kind); k != nil {
		version := r.Version
		if fact != nil {
			version = fact.Version
		}
		if raw, err = events.Standard().Upcast(k, version, raw); err != nil {
			return "", "", data, "", err
		}
		typ = k.Type()
	}
	data, err = canon.Parse(raw)
	return target, latest, data, typ, err
}

// batch lists the records of an import that stand, newest first, so that what refers goes before what it refers to.
func (f *farm) batch(ctx context.Context, batch string) ([]string, error) {
	var ids []string
	gone := map[string]bool{}
	_ = f.projector.With(func(b *projections.Book) error {
		for _, fact := range b.Facts() {
			if !fact.Stands() {
				gone[fact.ID.String()] = true
			}
		}
		return nil
	})
	for r, err := range records(ctx, f) {
		if err != nil {
			return nil, err
		}
		if r.Envelope.Batch == batch && events.Withdrawable(r.Kind) && !gone[r.Envelope.ID] {
			ids = append([]string{r.Envelope.ID}, ids...)
		}
	}
	return ids, nil
}

// change shows what corrections or withdrawals move, and records them unless it is only a check.
func (f *farm) change(ctx context.Context, drafts []events.Draft, check bool) (any, int, error) {
	proposals := make([]record.Proposal, len(drafts))
	for i, d := range drafts {
		if d.Time == "" {
			d.Time = events.RecordedAt(f.app.o.Now())
		}
		proposals[i] = record.Proposal{Draft: d, Device: "cli", Clock: true}
	}
	before, err := f.answers()
	if err != nil {
		return nil, 1, err
	}
	if check {
		doc := Moved{Check: true, Recorded: Recorded{Refused: []Refusal{}, Flagged: []Flagged{}}}
		receipts, err := f.recorder.Check(ctx, record.NewTrial(), proposals)
		if err != nil {
			return nil, 1, f.cannotRecord(err)
		}
		for i, r := range receipts {
			doc.Refused = append(doc.Refused, refusals("-", i+1, r.Problems, nil)...)
		}
		if len(doc.Refused) == 0 {
			if doc.Moves, err = f.wouldMove(ctx, proposals, before); err != nil {
				return nil, 1, err
			}
		}
		f.stamp(&doc.Recorded)
		if len(doc.Refused) > 0 {
			return doc, 1, nil
		}
		return doc, 0, nil
	}
	recorded, exit, err := f.record(ctx, proposals)
	if err != nil {
		return nil, exit, err
	}
	after, err := f.answers()
	if err != nil {
		return nil, 1, err
	}
	return Moved{Recorded: recorded, Moves: moves(before, after)}, exit, nil
}

// typed reads a value from the command line: JSON where it is JSON, else a text.
func typed(s string) canon.Value {
	if s == "" {
		return canon.Value{}
	}
	if v, err := canon.Parse([]byte(s)); err == nil && v.Kind != canon.Null {
		return v
	}
	return canon.Text(s)
}

// setPath puts a value at a path as data.mix[0].rate.value; an Absent value takes the field away. It reports whether the
// path can be.
func setPath(v *canon.Value, path string, to canon.Value) bool {
	name, rest, deeper := strings.Cut(path, ".")
	at := -1
	if i := strings.IndexByte(name, '['); i >= 0 && strings.HasSuffix(name, "]") {
		n, err := strconv.Atoi(name[i+1 : len(name)-1])
		if err != nil || n < 0 {
			return false
		}
		name, at = name[:i], n
	}
	if name == "" || v.Kind != canon.Object && v.Kind != canon.Absent {
		return false
	}
	member := v.Get(name)
	into := &member
	if at >= 0 {
		if member.Kind == canon.Absent {
			member.Kind = canon.List
		}
		if member.Kind != canon.List || at > len(member.Items) {
			return false
		}
		if at == len(member.Items) {
			member.Items = append(member.Items, canon.Value{})
		}
		into = &member.Items[at]
	}
	switch {
	case deeper:
		if !setPath(into, rest, to) {
			return false
		}
	case to.Kind == canon.Absent && at >= 0:
		member.Items = append(member.Items[:at], member.Items[at+1:]...)
	default:
		*into = to
	}
	if member.Kind == canon.Absent {
		v.Drop(name)
		return true
	}
	v.Set(name, member)
	return true
}
