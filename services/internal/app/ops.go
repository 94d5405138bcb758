package app

import (
	"context"

	"latewood/events"
	"latewood/events/words"
	"latewood/projections"
	"latewood/services/serve"
)

// A Caller runs operations: in this process, or in the one that has the folder open.
type Caller interface {
	Call(ctx context.Context, name string, request any, file serve.File, progress func([]byte)) (document []byte, exit int, err error)
}

// ops is the table of operations: what a command or a page can ask for, by name.
func (a *App) ops() map[string]serve.Op {
	return map[string]serve.Op{
		"open":     op(a.opOpen),
		"add":      op(a.opAdd),
		"correct":  op(a.opCorrect),
		"withdraw": op(a.opWithdraw),
		"import":   opFile(a.opImport),
		"plant":    op(a.opPlant),
		"show":     op(a.opShow),
		"export":   opFile(a.opExport),
		"template": opFile(a.opTemplate),
		"status":   op(a.opStatus),
		"holds":    op(a.opHolds),
		"settings": op(a.opSettings),
		"forecast": op(a.opForecast),
		"why":      op(a.opWhy),
		"trace":    op(a.opTrace),
		"yield":    op(a.opYield),
		"weather":  op(a.opWeather),
		"reviews":  op(a.opReviews),
		"flags":    op(a.opFlags),
		"report":   opFile(a.opReport),
		"calendar": opFile(a.opCalendar),
		"sensors":  op(a.opSensors),
		"people":   op(a.opPeople),
		"person":   op(a.opPerson),
		"who":      op(a.opShowPerson),
		"erase":    op(a.opErase),
		"cards":    op(a.opCards),
		"attach":   opFile(a.opAttach),
		"file":     op(a.opFile),
		"files":    op(a.opFiles),

		"key":        op(a.opKey),
		"rotate":     op(a.opRotate),
		"checkpoint": op(a.opCheckpoint),
		"audit":      op(a.opAudit),
		"bundle":     op(a.opBundle),
		"backup":     op(a.opBackup),
	}
}

func op[Q any](f func(ctx context.Context, q Q) (any, int, error)) serve.Op {
	return func(ctx context.Context, request []byte, _ serve.File, _ func(any)) (any, int, error) {
		var q Q
		if err := events.ReadJSON(request, &q); err != nil {
			return nil, 2, err
		}
		return f(ctx, q)
	}
}

func opFile[Q any](f func(ctx context.Context, q Q, file serve.File, progress func(any)) (any, int, error)) serve.Op {
	return func(ctx context.Context, request []byte, file serve.File, progress func(any)) (any, int, error) {
		var q Q
		if err := events.ReadJSON(request, &q); err != nil {
			return nil, 2, err
		}
		return f(ctx, q, file, progress)
	}
}

// Call runs an operation in this process. What it returns is the same JSON that another process would send.
func (a *App) Call(ctx context.Context, name string, request any, file serve.File, progress func([]byte)) ([]byte, int, error) {
	o, ok := a.ops()[name]
	if !ok {
		return nil, 2, &serve.Fault{Exit: 2, Text: words.Say("app.no-op", "name", name)}
	}
	q, err := events.WriteJSON(request)
	if err != nil {
		return nil, 1, err
	}
	document, exit, err := o(ctx, q, file, func(p any) {
		if b, err := events.WriteJSON(p); err == nil && progress != nil {
			progress(b)
		}
	})
	if document == nil {
		return nil, exit, err
	}
	b, werr := events.WriteJSON(document)
	if werr != nil {
		return nil, 1, werr
	}
	return b, exit, err
}

// Asked is what every question carries.
type Asked struct {
	Farm         string `json:"farm,omitempty"`
	KnownBy      string `json:"knownBy,omitempty"`      // strict
	KnownByClaim string `json:"knownByClaim,omitempty"` // by what writers claim
}

// read lets f ask a farm's Book, as it is or as it was known. assumed is told for claimed knowledge.
func (a *App) read(ctx context.Context, q Asked, f func(fm *farm, b *projections.Book, assumed int) error) error {
	fm, err := a.farm(ctx, q.Farm)
	if err != nil {
		return err
	}
	knowledge, err := fm.knowledge(q)
	if err != nil {
		return err
	}
	if knowledge.By.IsZero() {
		return fm.projector.With(func(b *projections.Book) error { return f(fm, b, 0) })
	}
	book, assumed, err := fm.projector.AsKnown(ctx, knowledge)
	if err != nil {
		return err
	}
	return f(fm, book, assumed)
}

// knowledge reads --known-by and --known-by-claim. A date means its end: all that was known that day.
func (f *farm) knowledge(q Asked) (projections.Knowledge, error) {
	text, make := q.KnownBy, projections.Strict
	if q.KnownByClaim != "" {
		if q.KnownBy != "" {
			return projections.Knowledge{}, &serve.Fault{Exit: 2, Text: words.Say("app.one-knowledge")}
		}
		text, make = q.KnownByClaim, projections.Claim
	}
	if text == "" {
		return projections.Knowledge{}, nil
	}
	m, err := f.moment(text)
	if err != nil {
		return projections.Knowledge{}, err
	}
	return make(m.Latest(f.zone())), nil
}
