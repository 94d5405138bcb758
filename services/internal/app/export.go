package app

import (
	"context"
	"iter"
	"slices"
	"time"

	"latewood/events"
	"latewood/services/project"
	"latewood/services/serve"
)

// ExportRequest asks for records.
type ExportRequest struct {
	Asked
	Kinds []string `json:"kinds,omitempty"`
	From  string   `json:"from,omitempty"` // of the record's time, inclusive
	To    string   `json:"to,omitempty"`   // inclusive; a date means its end
}

// Lines is a run of stored records, handed over as progress: an export is never held whole.
type Lines struct {
	Records []events.Raw `json:"records"`
}

// Exported ends an export.
type Exported struct {
	Records int    `json:"records"`
	Size    uint64 `json:"size"`
	Root    string `json:"root"`
	Sealed  bool   `json:"sealed"`
}

func (a *App) opExport(ctx context.Context, q ExportRequest, _ serve.File, progress func(any)) (any, int, error) {
	f, err := a.farm(ctx, q.Farm)
	if err != nil {
		return nil, 1, err
	}
	var from, to time.Time
	if q.From != "" {
		m, err := f.moment(q.From)
		if err != nil {
			return nil, 2, err
		}
		from = m.At
	}
	if q.To != "" {
		m, err := f.moment(q.To)
		if err != nil {
			return nil, 2, err
		}
		to = m.Latest(f.zone())
	}
	knowledge, err := f.knowledge(q.Asked)
	if err != nil {
		return nil, 2, err
	}
	var doc Exported
	lines := make([]events.Raw, 0, exportRun)
	zone := f.zone()
	for r, err := range records(ctx, f) {
		if err != nil {
			return nil, 1, err
		}
		known, _ := knowledge.Takes(r, zone)
		if !known || len(q.Kinds) > 0 && !slices.Contains(q.Kinds, r.Kind) || !from.IsZero() && r.Time.Before(from) || !to.IsZero() && r.Time.After(to) {
			continue
		}
		doc.Records++
		if lines = append(lines, events.Raw(r.Body)); len(lines) == exportRun {
			progress(Lines{lines})
			lines = lines[:0]
		}
	}
	if len(lines) > 0 {
		progress(Lines{lines})
	}
	doc.Size, doc.Root = f.mark()
	doc.Sealed = f.sealed(doc.Size)
	return doc, 0, nil
}

// exportRun is how many records are handed over at a time.
const exportRun = 500

// records reads the whole ledger.
func records(ctx context.Context, f *farm) iter.Seq2[*events.Record, error] {
	if f.recorder.Head().Size == 0 {
		return func(func(*events.Record, error) bool) {}
	}
	return project.Records(ctx, f.log, 1, f.recorder.Head().Size)
}
