package projections

import (
	"slices"
	"time"

	"latewood/events"
	"latewood/events/civil"
	"latewood/projections/settings"
)

// Seasons tells which crop a block's records belong to.
//
// Season S of a block is its crop S. A pick belongs to the crop year that it falls in. Any other record of crop year Y
// belongs to the crop that it leads to: to Y+1 if it is later than the block's last pick of Y or its harvest.closed, else
// to Y. A season.named record overrides that for the days that it names. Between picks the answer moves as picks come in,
// so it holds for the knowledge of its View.
type Seasons struct {
	zone  *time.Location
	turn  func(civil.Date) civil.Turn
	named []namedSeason
	ends  map[civil.Season]time.Time // by crop year: the last pick or the closing
}

type namedSeason struct {
	season   civil.Season
	from, to civil.Date
}

// Turn is when the farm's crop year turns, as adopted for a day or by its latitude.
func (b *Book) Turn(on civil.Date) civil.Turn {
	latitude := 0.0
	if o := b.Opened(); o != nil {
		latitude = o.Latitude
	}
	turn := civil.DefaultTurn(latitude)
	if text := b.Text(settings.SeasonTurn, on); text != "" {
		if t, err := civil.ParseTurn(text, turn.Slash); err == nil {
			return t
		}
	}
	return turn
}

// Seasons returns the seasons of the view's block.
func (v *View) Seasons() *Seasons {
	s := &Seasons{zone: v.Zone, turn: v.book.Turn, ends: map[civil.Season]time.Time{}}
	species := v.species()
	for _, f := range v.seasonsNamed() {
		d := f.decoded.(*events.SeasonNamed)
		if len(d.Blocks) > 0 && !slices.Contains(d.Blocks, v.Key.Code) || d.Species != "" && !slices.Contains(species, d.Species) {
			continue
		}
		from, err1 := civil.ParseDate(d.From)
		to, err2 := civil.ParseDate(d.To)
		if err1 == nil && err2 == nil {
			s.named = append(s.named, namedSeason{civil.Season(d.Season), from, to})
		}
	}
	for _, f := range v.Facts {
		if !f.Stands() {
			continue
		}
		at := f.Time
		switch d := f.decoded.(type) {
		case *events.FruitPicked:
		case *events.HarvestClosed:
			// A date speaks for its whole day: what follows on the same day leads to the next crop only from its end on.
			if day, err := civil.ParseDate(d.Date); err == nil {
				at = civil.DayStart(day, v.Zone)
			}
		default:
			continue
		}
		if year := s.CropYear(at); at.After(s.ends[year]) {
			s.ends[year] = at
		}
	}
	return s
}

// species lists what grows in the view's block.
func (v *View) species() []string {
	var out []string
	for _, f := range v.Facts {
		if d, ok := f.decoded.(*events.TreePlanted); ok && f.Stands() {
			name := d.Species
			if name == "" {
				name = events.DefaultSpecies
			}
			if !slices.Contains(out, name) {
				out = append(out, name)
			}
		}
	}
	return out
}

// CropYear is the crop year that a moment falls in, before any look at picks: a named season where one covers the day,
// the latest by time and id first, else the year between two turns.
func (s *Seasons) CropYear(at time.Time) civil.Season {
	day := civil.DateOf(at, s.zone)
	for i := len(s.named) - 1; i >= 0; i-- {
		if n := s.named[i]; !day.Before(n.from) && !day.After(n.to) {
			return n.season
		}
	}
	return civil.CropYear(day, s.turn(day))
}

// Of is the crop that a record of a kind and time belongs to.
func (s *Seasons) Of(kind string, at time.Time) civil.Season {
	year := s.CropYear(at)
	if kind == "fruit.picked" || kind == "harvest.closed" {
		return year
	}
	if end, ok := s.ends[year]; ok && at.After(end) {
		return year.Next()
	}
	return year
}

// Closed is when the harvest of a crop ended by what is recorded: the last pick or the closing; ok is false while neither
// is there.
func (s *Seasons) Closed(crop civil.Season) (time.Time, bool) {
	t, ok := s.ends[crop]
	return t, ok
}

// Turns is the first instant after the crop year of a season: its next turn.
func (s *Seasons) Turns(crop civil.Season) (time.Time, bool) {
	for i := len(s.named) - 1; i >= 0; i-- {
		if s.named[i].season == crop {
			return civil.DayEnd(s.named[i].to, s.zone), true
		}
	}
	on := civil.Date{Year: max(crop.End(), 1), Month: time.January, Day: 1}
	_, to, err := civil.SeasonSpan(crop, s.turn(on))
	if err != nil {
		return time.Time{}, false
	}
	return civil.DayEnd(to, s.zone), true
}
