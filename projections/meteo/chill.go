package meteo

import "math"

// Chill rules, one weight per HOURLY reading. They were fitted to temperate
// fruit (peach above all), NOT to lychee: they are here to compare sites and
// winters, not to foretell lychee flowering. See cool.go for what is known of
// lychee.
//
// Compare in the original unit and precision of the reading. 45 F is 7.222 C:
// over 7.2, yet 7.2 itself once rounded to a tenth. The tables in C and in F
// are not the same function on continuous data.

// ChillHoursC weighs an hourly reading in C for chilling hours: 1 from 0 to
// 7.2 C, both ends included, else 0.
//
// Source: published as coded in two open packages, which disagree about 0.0 C
// itself; counting it is a project rule. NaN weighs 0. Temperate fruit only.
func ChillHoursC(t float64) float64 { return when(t >= 0 && t <= 7.2) }

// ChillHoursF is the same for a reading in F: 1 from 32 to 45 F, both ends
// included. Source: as [ChillHoursC]; 32-45 F is the rule's first form.
func ChillHoursF(t float64) float64 { return when(t >= 32 && t <= 45) }

func when(yes bool) float64 {
	if yes {
		return 1
	}
	return 0
}

// UtahC weighs an hourly reading in C by the Utah table with edges 1.4, 2.4,
// 9.1, 12.4, 15.9 and 18.0 C, the upper edge belonging to the lower class:
// weights 0, 0.5, 1, 0.5, 0, -0.5, -1.
//
// Source: Richardson, Seeley & Walker 1974 (HortScience 9:331-332), published
// as two packages agree on. The edges are the half degrees between the classes
// of whole degrees F (34.5 F = 1.4 C), except the last: 18.0 C is 64.4 F. NaN
// weighs 0. Temperate fruit only; in warm winters totals fall below zero, and
// the maintainer of the most used package advises against the model there.
func UtahC(t float64) float64 {
	return utah(t, [6]float64{1.4, 2.4, 9.1, 12.4, 15.9, 18.0})
}

// UtahF weighs an hourly reading in WHOLE degrees F: edges 34, 36, 48, 54, 60
// and 65 F. Source: published (an open model page). On continuous
// temperatures it is another function than [UtahC]: 9.1 C weighs 1 there and
// 0.5 here.
func UtahF(t float64) float64 {
	return utah(t, [6]float64{34, 36, 48, 54, 60, 65})
}

func utah(t float64, edges [6]float64) float64 {
	switch {
	case math.IsNaN(t) || t <= edges[0]:
		return 0
	case t <= edges[1]:
		return 0.5
	case t <= edges[2]:
		return 1
	case t <= edges[3]:
		return 0.5
	case t <= edges[4]:
		return 0
	case t <= edges[5]:
		return -0.5
	}
	return -1
}

// A ChillSum keeps running chill totals. The zero value is ready; the start
// date is the first reading handed in.
type ChillSum struct {
	// Floor keeps the Utah total from falling below zero at any hour. Off by
	// default: a clamp is a choice about the model and never made silently
	// (project rule).
	Floor bool

	Hours    float64 // chilling hours
	Utah     float64 // Utah units
	Readings int     // hourly readings counted
}

// AddC takes an hourly reading in C, by [ChillHoursC] and [UtahC]. NaN and
// infinite readings are left out.
func (s *ChillSum) AddC(t float64) { s.add(t, ChillHoursC(t), UtahC(t)) }

// AddF takes an hourly reading in F, by [ChillHoursF] and [UtahF].
func (s *ChillSum) AddF(t float64) { s.add(t, ChillHoursF(t), UtahF(t)) }

func (s *ChillSum) add(t, chill, utah float64) {
	if !usable(t) {
		return
	}
	s.Readings++
	s.Hours += chill
	s.Utah += utah
	if s.Floor {
		s.Utah = math.Max(0, s.Utah)
	}
}
