package app

import (
	"context"
	"runtime"

	"latewood/events/civil"
	"latewood/events/words"
	"latewood/projections"
	"latewood/projections/flush"
	"latewood/services/serve"
)

// ForecastRequest asks where the flush of blocks is going.
type ForecastRequest struct {
	Asked
	Block string `json:"block,omitempty"`
	On    string `json:"on,omitempty"`
	Quick bool   `json:"quick,omitempty"` // without the judgement of past seasons
}

func (a *App) opForecast(ctx context.Context, q ForecastRequest) (any, int, error) {
	var doc flush.Doc
	err := a.read(ctx, q.Asked, func(f *farm, b *projections.Book, assumed int) (err error) {
		day := civil.DateOf(a.o.Now(), b.Zone())
		if k, err := f.knowledge(q.Asked); err == nil && !k.By.IsZero() {
			day = civil.DateOf(k.By.Add(-1), b.Zone()) // what was known by the end of a day is asked on that day
		}
		if q.On != "" {
			if day, err = civil.ParseDate(q.On); err != nil {
				return &serve.Fault{Exit: 2, Text: words.Say("app.moment", "text", q.On), Err: err}
			}
		}
		doc, err = flush.Forecast(b, flush.Query{Block: q.Block, On: day, Cores: runtime.GOMAXPROCS(0), Skill: !q.Quick})
		doc.Assumed = assumed
		return err
	})
	return answered(doc, err)
}
