package app

import (
	"context"

	"latewood/events/civil"
	"latewood/events/words"
	"latewood/projections"
	"latewood/projections/causes"
	"latewood/services/serve"
)

// WhyRequest asks why a block or tree did not fruit.
type WhyRequest struct {
	Asked
	Of     string `json:"of"`
	Season string `json:"season,omitempty"`
}

func (a *App) opWhy(ctx context.Context, q WhyRequest) (any, int, error) {
	if _, err := civil.ParseSeason(q.Season); q.Season != "" && err != nil {
		return nil, 2, &serve.Fault{Exit: 2, Text: words.Say("app.season", "text", q.Season), Err: err}
	}
	var doc causes.Doc
	err := a.read(ctx, q.Asked, func(_ *farm, b *projections.Book, _ int) (err error) {
		doc, err = causes.Why(b, q.Of, civil.Season(q.Season), civil.DateOf(a.o.Now(), b.Zone()))
		return err
	})
	return answered(doc, err)
}
