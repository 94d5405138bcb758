package app

import (
	"context"
	"strings"

	"latewood/events"
	"latewood/events/canon"
	"latewood/events/civil"
	"latewood/events/words"
	"latewood/projections"
	"latewood/projections/meteo"
	"latewood/projections/settings"
	"latewood/services/record"
	"latewood/services/serve"
)

// SettingsRequest asks for settings, or adopts one.
type SettingsRequest struct {
	Asked
	Name   string `json:"name,omitempty"`
	Adopt  string `json:"adopt,omitempty"`
	Unit   string `json:"unit,omitempty"`
	From   string `json:"from,omitempty"`
	Reason string `json:"reason,omitempty"`
	On     string `json:"on,omitempty"`
	Limits bool   `json:"limits,omitempty"` // of readings, too
}

// Settings lists them.
type Settings struct {
	On       string    `json:"on"`
	Settings []Setting `json:"settings"`
	Recorded *Recorded `json:"recorded,omitempty"`
	Limits   []Limit   `json:"limits,omitempty"` // by which readings are looked at; not to be adopted
}

// Limit is what quality control holds one variable of the weather against. What is absent is not looked at.
type Limit struct {
	Variable string   `json:"variable"`
	Unit     string   `json:"unit"`
	Low      *float64 `json:"low,omitempty"` // outside of it a value is left out
	High     *float64 `json:"high,omitempty"`
	// Steps are the largest changes within a minute and 1, 2, 3, 6 and 12 hours; above it a value is suspect and stays in.
	Steps      []float64 `json:"steps,omitempty"`
	Source     string    `json:"source"`
	StepSource string    `json:"stepSource,omitempty"`
}

// readingLimits is the part of meteo's table that the fold of the weather goes by.
func readingLimits() (out []Limit) {
	for _, l := range meteo.Limits() {
		row := Limit{Variable: l.Name, Unit: l.Unit, Low: &l.Low, High: &l.High, Source: l.Source}
		switch l.Variable {
		case meteo.DewPointTemperature, meteo.GroundTemperature, meteo.StationPressure:
			continue // no reading tells them
		case meteo.AirTemperature:
			row.Steps, row.StepSource = append([]float64{l.MinuteError}, l.Steps[:]...), l.StepSource
		}
		out = append(out, row)
	}
	return out
}

// Setting is one setting as it holds on a day.
type Setting struct {
	Name    string `json:"name"`
	Value   any    `json:"value,omitempty"`
	Unit    string `json:"unit,omitempty"`
	Default any    `json:"default,omitempty"`
	Source  string `json:"source"`
	Read    string `json:"read,omitempty"`
	Means   string `json:"means"`
	Choices string `json:"choices,omitempty"`
}

func (a *App) opSettings(ctx context.Context, q SettingsRequest) (any, int, error) {
	if q.Name != "" {
		if _, ok := settings.Lookup(q.Name); !ok {
			return nil, 2, &serve.Fault{Exit: 2, Text: words.Say("app.no-setting", "name", q.Name)}
		}
	}
	var recorded *Recorded
	exit := 0
	if q.Adopt != "" {
		doc, code, err := a.adopt(ctx, q)
		if err != nil {
			return nil, code, err
		}
		recorded, exit = &doc, code
	}
	out := Settings{Settings: []Setting{}, Recorded: recorded}
	if q.Limits {
		out.Limits = readingLimits()
	}
	err := a.read(ctx, q.Asked, func(f *farm, b *projections.Book, _ int) error {
		day := civil.DateOf(f.app.o.Now(), b.Zone())
		if q.On != "" {
			var err error
			if day, err = civil.ParseDate(q.On); err != nil {
				return &serve.Fault{Exit: 2, Text: words.Say("app.moment", "text", q.On), Err: err}
			}
		}
		out.On = day.String()
		names := map[string]bool{}
		rows := settings.Table()
		for _, s := range rows {
			names[s.Name] = true
		}
		for _, fact := range b.Adopted() { // container masses are named by the farm
			if name := fact.Data().(*events.SettingAdopted).Name; !names[name] {
				if s, ok := settings.Lookup(name); ok {
					names[name] = true
					rows = append(rows, s)
				}
			}
		}
		for _, s := range rows {
			if q.Name == "" || q.Name == s.Name {
				out.Settings = append(out.Settings, settingOn(b, s, day))
			}
		}
		return nil
	})
	if err != nil {
		return nil, 1, err
	}
	return out, exit, nil
}

func settingOn(b *projections.Book, s settings.Setting, day civil.Date) Setting {
	out := Setting{
		Name: s.Name, Unit: s.Unit, Default: s.Default, Source: s.Source, Read: s.Read, Choices: strings.Join(s.Choices, ", "),
		Means: words.Say(s.Doc), //words:keys setting.
	}
	switch s.Kind {
	case settings.Number:
		if v, ok := b.Number(s.Name, day); ok {
			out.Value = v
		}
	default:
		if text := b.Text(s.Name, day); text != "" {
			out.Value = text
		}
	}
	if s.Name == settings.SeasonTurn && out.Value == nil {
		out.Value = b.Turn(day).String()
	}
	return out
}

// adopt records setting.adopted after a look at whether the setting takes the value.
func (a *App) adopt(ctx context.Context, q SettingsRequest) (Recorded, int, error) {
	f, err := a.farm(ctx, q.Farm)
	if err != nil {
		return Recorded{}, 1, err
	}
	s, _ := settings.Lookup(q.Name)
	value := typed(q.Adopt)
	switch s.Kind {
	case settings.Number:
		n, ok := s.InUnit(value.Num, q.Unit)
		if value.Kind != canon.Number || !ok || n < s.Min || s.Max > 0 && n > s.Max {
			return Recorded{}, 2, &serve.Fault{Exit: 2, Text: words.Say("app.setting-number", "name", s.Name, "value", q.Adopt, "unit", s.Unit, "min", s.Min, "max", s.Max)}
		}
	case settings.Choice:
		ok := false
		for _, c := range s.Choices {
			ok = ok || value.Str == c
		}
		if !ok {
			return Recorded{}, 2, &serve.Fault{Exit: 2, Text: words.Say("app.setting-choice", "name", s.Name, "value", q.Adopt, "choices", strings.Join(s.Choices, ", "))}
		}
	default:
		value = canon.Text(q.Adopt)
		if _, err := civil.ParseTurn(q.Adopt, false); s.Name == settings.SeasonTurn && err != nil {
			return Recorded{}, 2, &serve.Fault{Exit: 2, Text: words.Say("app.setting-turn", "value", q.Adopt), Err: err}
		}
	}
	from := q.From
	if from == "" {
		from = civil.DateOf(f.app.o.Now(), f.zone()).String()
	}
	data := canon.ObjectOf(
		canon.Member{Name: "name", Value: canon.Text(q.Name)}, canon.Member{Name: "value", Value: value},
		canon.Member{Name: "from", Value: canon.Text(from)},
	)
	if q.Unit != "" || s.Unit != "" && s.Kind == settings.Number {
		unit := q.Unit
		if unit == "" {
			unit = s.Unit
		}
		data.Set("unit", canon.Text(unit))
	}
	if q.Reason != "" {
		data.Set("reason", canon.Text(q.Reason))
	}
	return f.record(ctx, []record.Proposal{{Draft: events.Draft{Type: "setting.adopted", Data: data}, Device: "cli", Clock: true}})
}
