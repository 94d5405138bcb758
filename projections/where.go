package projections

import (
	"reflect"

	"latewood/events"
)

// PartsOf returns the parts of the `where` of a kind's data, none if it has no `where`.
func PartsOf(data any) []events.Part {
	v := reflect.Indirect(reflect.ValueOf(data))
	if v.Kind() != reflect.Struct {
		return nil
	}
	switch w := fieldOf(v, "Where").(type) {
	case events.Where:
		return w
	case events.OneOrMany[events.SprayedPart]:
		out := make([]events.Part, len(w))
		for i, p := range w {
			out[i] = p.Part
		}
		return out
	}
	return nil
}

// stationOf returns the station that a kind's data names, "" if it names none.
func stationOf(data any) string {
	v := reflect.Indirect(reflect.ValueOf(data))
	if v.Kind() != reflect.Struct {
		return ""
	}
	station, _ := fieldOf(v, "Station").(string)
	return station
}

func fieldOf(v reflect.Value, name string) any {
	if f := v.FieldByName(name); f.IsValid() {
		return f.Interface()
	}
	return nil
}

// References lists the ids that a fact names, in the order in which they stand in its data: what its answer leans on.
func References(f *Fact) []events.ID {
	var texts []string
	mix := func(items []events.MixItem) {
		for _, m := range items {
			texts = append(texts, m.Label)
		}
	}
	switch d := f.decoded.(type) {
	case *events.LabelFiled:
		texts = append(texts, d.Supersedes)
	case *events.LabelClosed:
		texts = append(texts, d.Label)
	case *events.SprayPlanned:
		mix(d.Mix)
	case *events.SprayBegun:
		texts = append(texts, d.Plan)
		mix(d.Mix)
	case *events.SprayCalledOff:
		texts = append(texts, d.Plan, d.Begun)
	case *events.SprayApplied:
		texts = append(texts, d.Plan, d.Begun)
		mix(d.Mix)
	case *events.HoldJudged:
		texts = append(texts, d.Spray)
	case *events.RecordsReviewed:
		texts = append(texts, d.Records...)
	}
	return parseIDs(texts)
}

// concerns lists the records about which a fact says something that moves their answers: the plan that a spray ended, the
// label that was closed. A spray does not concern the labels that it names.
func concerns(f *Fact) []events.ID {
	var texts []string
	switch d := f.decoded.(type) {
	case *events.LabelClosed:
		texts = append(texts, d.Label)
	case *events.SprayBegun:
		texts = append(texts, d.Plan)
	case *events.SprayCalledOff:
		texts = append(texts, d.Plan, d.Begun)
	case *events.SprayApplied:
		texts = append(texts, d.Plan, d.Begun)
	case *events.HoldJudged:
		texts = append(texts, d.Spray)
	case *events.RecordsReviewed:
		texts = append(texts, d.Records...)
	}
	return parseIDs(texts)
}

func parseIDs(texts []string) []events.ID {
	var out []events.ID
	for _, t := range texts {
		if id, err := events.ParseID(t); err == nil {
			out = append(out, id)
		}
	}
	return out
}
