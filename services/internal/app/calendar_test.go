package app

import (
	"strings"
	"testing"
	"time"

	"latewood/events"
	"latewood/projections"
	"latewood/projections/foldtest"
	"latewood/services/remind"
)

// An interval's end has one entry for ever: corrections of the spray and of its label move it and raise its sequence, a
// withdrawal cancels it, and when it is long over it goes.
func TestCalendarEntries(t *testing.T) {
	t.Parallel()
	f := foldtest.NewFarm(t, "Pacific/Honolulu")
	f.Add("2010-01-01", &events.BlockEstablished{Block: "north", Name: "North", Area: events.Quantity{Value: 1, Unit: "har"}})
	seven, ten, four, listed := 7.0, 10.0, 4.0, true
	filed := events.LabelFiled{Product: "Mitefall (invented)", Material: "pesticide", ReadBy: "test", Registration: "INVENTED-1", Crop: "lychee", CropListed: &listed,
		ActiveIngredients: []events.Ingredient{{Name: "invented sulphur"}}, Withholding: events.OneOrMany[events.Withholding]{{Kind: "numeric", Value: &seven, Unit: "d"}},
		Reentry: events.OneOrMany[events.Reentry]{{Hours: &four}}}
	label := f.Add("2015-01-01", &filed)
	spray := events.SprayApplied{Where: events.OneOrMany[events.SprayedPart]{{Part: events.Part{Block: "north"}}}, Started: "2026-06-01T06:00:00-10:00", Ended: "2026-06-01T08:00:00-10:00",
		Target: "mites", Mix: []events.MixItem{{Label: label.ID.String()}}, Applicator: &events.Person{Code: "w_00000000000000000000000000000001"}}
	applied := f.Add("", &spray)

	now := time.Date(2026, 6, 2, 12, 0, 0, 0, time.UTC)
	entry := func(b *projections.Book, what string) *remind.Entry {
		t.Helper()
		for _, e := range entriesOf(b, "hollow", now) {
			if strings.HasSuffix(e.UID, "-"+what+"@hollow.latewood") {
				return &e
			}
		}
		return nil
	}
	want := func(when, what, at string, sequence int, cancelled bool) {
		t.Helper()
		e := entry(f.Book(), what)
		if e == nil {
			t.Fatalf("%s: no entry for %s", when, what)
		}
		if got := e.At.In(f.Zone()).Format(time.RFC3339); got != at || e.Sequence != sequence || e.Cancelled != cancelled || !strings.HasPrefix(e.UID, applied.ID.String()) {
			t.Errorf("%s, %s: %s, sequence %d, cancelled %v, %s; want %s, %d, %v", when, what, got, e.Sequence, e.Cancelled, e.UID, at, sequence, cancelled)
		}
	}
	want("as recorded", "pick", "2026-06-09T00:00:00-10:00", 0, false)
	want("as recorded", "enter", "2026-06-01T12:00:00-10:00", 0, false)

	spray.Started, spray.Ended = "2026-06-02T06:00:00-10:00", "2026-06-02T08:00:00-10:00"
	moved := f.Correct(applied, applied, "", &spray)
	want("a day later", "pick", "2026-06-10T00:00:00-10:00", 1, false)

	filed.Withholding[0].Value = &ten
	f.Correct(label, label, "2015-01-01", &filed)
	want("ten days on the label", "pick", "2026-06-13T00:00:00-10:00", 2, false)

	f.Withdraw(applied, moved)
	want("withdrawn", "pick", "2026-06-13T00:00:00-10:00", 3, true)

	now = now.AddDate(1, 0, 0)
	if e := entry(f.Book(), "pick"); e != nil {
		t.Errorf("a year later it is still there: %+v", e)
	}
}
