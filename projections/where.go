package projections

import (
	"reflect"
	"slices"

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
	case *events.SprayPosted:
		texts = append(texts, d.Spray)
	case *events.ExposureReported:
		texts = append(texts, d.Spray)
	case *events.LotTreated:
		texts = append(texts, d.Label)
	case *events.RecordsReviewed:
		texts = append(texts, d.Records...)
	default:
		texts = picksOf(d)
	}
	return parseIDs(texts)
}

// picksOf lists the picks that a record names, and the neighbours' fruit that went into a lot. The version of a pick that
// somebody saw is not among them: what counts is the pick as it stands.
func picksOf(data any) (ids []string) {
	switch d := data.(type) {
	case *events.FruitDelivered:
		for _, p := range d.Picks {
			ids = append(ids, p.Pick)
		}
	case *events.PickCooled:
		return d.Picks
	case *events.LotPacked:
		for _, in := range d.Inputs {
			ids = append(ids, in.Pick, in.Received)
		}
	case *events.FruitSold:
		return d.Picks
	case *events.LotWrittenOff:
		return d.Picks
	case *events.StockCounted:
		for _, item := range d.Items {
			ids = append(ids, item.Pick)
		}
	case *events.IncidentReported:
		return d.PicksTouched
	}
	return ids
}

// lotsOf lists the codes of lots and of loads that a record names. A packer's own lot codes are none of ours.
func lotsOf(data any) (lots, loads []string) {
	switch d := data.(type) {
	case *events.FruitDelivered:
		return nil, []string{d.Delivery}
	case *events.DeliveryAnswered:
		return nil, []string{d.Delivery}
	case *events.PackoutReported:
		return nil, d.Deliveries
	case *events.FruitReceived:
		return nil, []string{d.Delivery}
	case *events.BinEmptied:
		return []string{d.Into}, nil
	case *events.LotPacked:
		return []string{d.Lot}, nil
	case *events.LotRepacked:
		lots = []string{d.Lot}
		for _, in := range d.Inputs {
			lots = append(lots, in.Lot)
		}
		return lots, nil
	case *events.LotTreated:
		return []string{d.Lot}, []string{d.Delivery}
	case *events.LotReceived:
		return []string{d.Lot}, nil
	case *events.LotShipped:
		return []string{d.Lot}, nil
	case *events.LotRejected:
		return fateOf(&d.LotFate), nil
	case *events.LotReturned:
		return fateOf(&d.LotFate), nil
	case *events.LotRecalled:
		return fateOf(&d.LotFate), nil
	case *events.LotHeld:
		return []string{d.Lot}, []string{d.Delivery}
	case *events.LotReleased:
		return []string{d.Lot}, []string{d.Delivery}
	case *events.FruitSold:
		return []string{d.Lot}, nil
	case *events.LotWrittenOff:
		return []string{d.Lot}, nil
	case *events.StockCounted:
		for _, item := range d.Items {
			lots = append(lots, item.Lot)
		}
		return lots, nil
	case *events.SampleTested:
		return []string{d.Lot}, nil
	case *events.IncidentReported:
		return d.LotsTouched, nil
	}
	return nil, nil
}

// binsOf lists the bins that a pick went into.
func binsOf(data any) (bins []string) {
	if d, ok := data.(*events.FruitPicked); ok {
		for _, c := range d.Containers {
			if c.ID != "" {
				bins = append(bins, c.ID)
			}
		}
	}
	return bins
}

// LotsOf lists the codes of lots and of loads that a record names, in the order in which they stand in its data.
func LotsOf(f *Fact) (lots, loads []string) {
	lots, loads = lotsOf(f.decoded)
	empty := func(code string) bool { return code == "" }
	return slices.DeleteFunc(slices.Clone(lots), empty), slices.DeleteFunc(slices.Clone(loads), empty)
}

func fateOf(d *events.LotFate) []string { return append([]string{d.Lot}, d.Lots...) }

// concerns lists the records about which a fact says something that moves their answers: the plan that a spray ended, the
// label that was closed, the pick that went into a lot. Neither a spray nor a treatment concerns the labels that it names.
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
	case *events.SprayPosted:
		texts = append(texts, d.Spray)
	case *events.ExposureReported:
		texts = append(texts, d.Spray)
	case *events.RecordsReviewed:
		texts = append(texts, d.Records...)
	default:
		texts = picksOf(d)
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
