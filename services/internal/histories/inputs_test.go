package histories

import (
	"time"

	"latewood/events"
)

func (m *maker) pruned() (any, string) {
	end := m.when()
	p := &events.TreePruned{Where: m.where(), Cut: pick(m, "after-harvest", "shaping", "tip", "hedging", "panicle", "dead-wood")}
	switch m.IntN(4) {
	case 0:
		return p, stamp(end)
	case 1:
		p.Started = m.mom(end)
	case 2:
		p.Ended = m.mom(end)
	default:
		p.Started, p.Ended = m.mom(end.Add(-time.Duration(24+m.IntN(48))*time.Hour)), m.mom(end)
	}
	return p, ""
}

// reading makes a reading; stations often tell the same moment twice.
func (m *maker) reading() (any, string) {
	w := &events.WeatherRead{Station: pick(m, stations...)}
	temperature := func() *events.Quantity { return q(float64(m.IntN(400))/10, "Cel") }
	at := m.when()
	switch m.IntN(5) {
	case 0: // the summary of a day
		day := 86400.0
		w.Interval, w.AirTemperatureMin, w.AirTemperatureMax, w.Rain = &day, q(float64(m.IntN(150))/10, "Cel"), q(15+float64(m.IntN(200))/10, "Cel"), q(float64(m.IntN(40)), "mm")
	case 1:
		w.AirTemperature = temperature() // an instant
	case 2:
		w.AirTemperature, w.RelativeHumidity, w.WindSpeed = q(float64(32+m.IntN(700)/10), "[degF]"), q(float64(m.IntN(100)), "%"), q(float64(m.IntN(20)), "m/s")
	default:
		hour := 3600.0
		w.Interval, w.AirTemperature, w.Rain = &hour, temperature(), q(float64(m.IntN(9)), "mm")
	}
	if m.chance(5) {
		w.RainTrace = truth(true)
	}
	return w, stamp(at)
}

// inputs makes data of labels, sprays and picks.
func (m *maker) inputs(kind, at string) (any, string) {
	switch kind {
	case "label.filed":
		return m.label(), at
	case "label.closed":
		if l := m.some("label.filed"); l != "" {
			return &events.LabelClosed{Label: l, Reason: pick(m, "superseded", "cancelled", "suspended", "expired"), LastLawfulUse: pick(m, "", m.date())}, at
		}
	case "spray.planned":
		from := m.when()
		p := &events.SprayPlanned{Where: m.where(), From: m.mom(from), Mix: m.mix()}
		if m.chance(40) {
			p.Until = stamp(from.Add(48 * time.Hour))
		}
		return p, at
	case "spray.begun":
		return &events.SprayBegun{Where: m.where(), Started: m.mom(m.when()), Plan: m.maybe("spray.planned")}, ""
	case "spray.called-off":
		c := &events.SprayCalledOff{Where: m.where(), Plan: m.maybe("spray.planned"), Begun: m.maybe("spray.begun"), Reason: "wind"}
		if c.Plan == "" && c.Begun == "" {
			return nil, ""
		}
		if m.chance(40) {
			c.AnythingApplied = truth(m.chance(50))
		}
		return c, at
	case "spray.applied":
		return m.sprayed(), ""
	case "hold.judged":
		if s := m.some("spray.applied"); s != "" {
			h := &events.HoldJudged{Where: m.where(), Spray: s, Words: "not before full colour"}
			if m.chance(50) {
				h.From = m.mom(m.when())
			} else {
				h.GrowthStage = "full colour"
			}
			return h, at
		}
	case "fruit.picked":
		return m.picked(), at
	case "harvest.closed":
		return &events.HarvestClosed{Where: m.where(), Date: m.date()}, ""
	}
	return nil, ""
}

// maybe is the id of a record of a kind, or "".
func (m *maker) maybe(kind string) string {
	if m.chance(50) {
		return ""
	}
	return m.some(kind)
}

func (m *maker) label() *events.LabelFiled {
	l := &events.LabelFiled{Product: pick(m, "Copper", "Oil", "Sulphur"), Material: pick(m, "pesticide", "growth-regulator", "nutrient", "biological"), ReadBy: pick(m, people...)}
	if l.Material == "pesticide" || l.Material == "growth-regulator" || m.chance(50) {
		value := float64(m.IntN(20))
		w := events.Withholding{Kind: pick(m, "numeric", "numeric", "numeric", "zero", "none-stated", "growth-stage", "prohibited", "unknown")}
		if w.Kind == "numeric" {
			w.Value, w.Unit, w.CountRule = &value, pick(m, "h", "d", "wk"), pick(m, "", "label-says", "date", "elapsed", "full-days")
		} else {
			w.Words = "do not pick before the fruit has its colour"
		}
		l.Withholding = events.OneOrMany[events.Withholding]{w}
		if m.chance(20) {
			other := w
			other.EndUse = "juice"
			l.Withholding = append(l.Withholding, other)
		}
		hours := float64(pick(m, 0, 4, 12, 48))
		r := events.Reentry{Hours: &hours}
		if m.chance(20) {
			r = events.Reentry{Words: "until dry"}
		}
		l.Reentry = events.OneOrMany[events.Reentry]{r}
		l.Registration, l.Crop, l.CropListed = "1-2-3", "lychee", truth(m.chance(80))
		l.ActiveIngredients = []events.Ingredient{{Name: "copper"}}
	}
	if m.chance(40) {
		l.Rates = []events.LabelRate{{Max: q(float64(1+m.IntN(5)), "kg/har")}}
		l.LeastDaysBetween, l.MostApplications = count(m.IntN(30)), count(1+m.IntN(3))
		l.WindLimit = q(5, "m/s")
	}
	if m.chance(20) {
		l.ValidFrom, l.ValidUntil = "2022-06-01", "2023-12-31"
	}
	l.Supersedes = m.maybe("label.filed")
	return l
}

func (m *maker) mix() []events.MixItem {
	var out []events.MixItem
	for range 1 + m.IntN(2) {
		item := events.MixItem{Product: "a product as typed"}
		if l := m.some("label.filed"); l != "" && m.chance(85) {
			item = events.MixItem{Label: l}
		}
		if m.chance(50) {
			item.Rate, item.Total = q(float64(1+m.IntN(9)), "kg/har"), q(float64(1+m.IntN(9)), "kg")
		}
		item.Role = pick(m, "", "", "active", "adjuvant", "nutrient")
		out = append(out, item)
	}
	return out
}

// sprayed makes a spray of several parts; some end before the spray does.
func (m *maker) sprayed() *events.SprayApplied {
	end := m.when()
	start := end.Add(-time.Duration(1+m.IntN(8)) * time.Hour)
	s := &events.SprayApplied{
		Started: m.mom(start), Ended: m.mom(end), Mix: m.mix(), Target: "mites", Applicator: &events.Person{Code: pick(m, people...)},
		Plan: m.maybe("spray.planned"), Begun: m.maybe("spray.begun"), AreaTreated: q(1, "har"),
	}
	if len(s.Started) == len("2022-01-01") {
		s.Started = s.Started[:10]
		if len(s.Ended) != len(s.Started) && m.chance(50) {
			s.Started = stamp(start)
		}
	}
	for range 1 + m.IntN(3) {
		p := events.SprayedPart{Part: m.part()}
		if m.chance(30) && len(s.Ended) > 10 && len(s.Started) > 10 {
			p.Ended = stamp(start.Add(end.Sub(start) / 2))
		}
		s.Where = append(s.Where, p)
	}
	if m.chance(30) {
		s.Conditions = []events.Condition{{WindSpeed: q(float64(m.IntN(10)), "m/s")}}
	}
	return s
}

func (m *maker) picked() *events.FruitPicked {
	p := &events.FruitPicked{Where: m.where(), MassBasis: pick(m, "", "scale", "counted", "estimated", "packer-ticket"), Condition: pick(m, "", "dry", "wet", "hot")}
	if m.chance(60) {
		p.Mass = q(float64(1+m.IntN(5000))/10, pick(m, "kg", "kg", "[lb_av]"))
	}
	if p.Mass == nil || m.chance(30) {
		p.Containers = []events.Container{{Kind: "bin", Count: count(1 + m.IntN(4))}}
		if m.chance(50) {
			p.Containers = append(p.Containers, events.Container{ID: "c7", Kind: "crate", Tare: q(1.5, "kg")})
		}
	}
	return p
}
