package app

import (
	"context"

	"latewood/events"
	"latewood/events/civil"
	"latewood/events/words"
	"latewood/projections"
	"latewood/projections/reviews"
	"latewood/services/serve"
)

// ReviewsRequest asks which records wait for somebody else's look, which have had it, and what was written down late.
type ReviewsRequest struct {
	Asked
	On string `json:"on,omitempty"`
}

// Reviews is the list, with the tags behind its pseudonyms.
type Reviews struct {
	reviews.Doc
	People map[string]string `json:"people,omitempty"`
}

func (a *App) opReviews(ctx context.Context, q ReviewsRequest) (any, int, error) {
	var doc Reviews
	err := a.read(ctx, q.Asked, func(f *farm, b *projections.Book, _ int) error {
		on := civil.DateOf(a.o.Now(), b.Zone())
		if q.On != "" {
			var err error
			if on, err = civil.ParseDate(q.On); err != nil {
				return &serve.Fault{Exit: 2, Text: words.Say("app.moment", "text", q.On), Err: err}
			}
		}
		doc.Doc = reviews.Report(b, on)
		text, err := events.WriteJSON(doc.Doc)
		doc.People = f.tags(text)
		return err
	})
	if err != nil {
		return nil, 1, err
	}
	return doc, 0, nil
}

// FlagsRequest asks for every flag of the farm. Of limits it to some flags.
type FlagsRequest struct {
	Asked
	Of []string `json:"of,omitempty"`
}

// FlagsDoc is every flag, in order of records.
type FlagsDoc struct {
	Rows []FlagRow `json:"rows"`
}

// FlagRow is one flag with what its record is.
type FlagRow struct {
	Flagged
	Kind   string   `json:"kind"`
	Day    string   `json:"day"`
	Blocks []string `json:"blocks,omitempty"`
}

func (a *App) opFlags(ctx context.Context, q FlagsRequest) (any, int, error) {
	doc := FlagsDoc{Rows: []FlagRow{}}
	wanted := map[string]bool{}
	for _, name := range q.Of {
		wanted[name] = true
	}
	err := a.read(ctx, q.Asked, func(_ *farm, b *projections.Book, _ int) error {
		for _, fl := range saidOf(b, a.o.Now()).flagged() {
			if len(wanted) > 0 && !wanted[fl.Flag] {
				continue
			}
			row := FlagRow{Flagged: fl}
			if fl.Flag == "quality-control" {
				row.Kind = "weather.read" // readings stand in columns
			}
			if id, err := events.ParseID(fl.ID); err == nil {
				if fact := b.Fact(id); fact != nil {
					row.Kind, row.Day = fact.Kind, civil.DateOf(fact.Time, b.Zone()).String()
					for _, k := range projections.KeysOf(fact) {
						if k.Class == projections.Block {
							row.Blocks = append(row.Blocks, k.Code)
						}
					}
				}
			}
			doc.Rows = append(doc.Rows, row)
		}
		return nil
	})
	if err != nil {
		return nil, 1, err
	}
	return doc, 0, nil
}
