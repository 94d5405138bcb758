package flush

import "math"

// Flowers is the share of growing terminals that become panicles when the mean air temperature over the sensitive window is
// tm (C). At t50 it is a half; slope is in C.
//
// Source: derived, see the setting flush-threshold: one informative point a cultivar (Menzel & Simpson 1988).
func Flowers(tm, t50, slope float64) float64 { return 1 / (1 + math.Exp((tm-t50)/slope)) }

// The published curve of 'Yu Her Pau' in Taiwan: Chang et al., 12 orchard-years. Cardinal temperatures and the units that
// emergence needs are from the abstract; the form of the curve is the usual one, from memory; that a unit is a day is an
// assumption.
const (
	betaMin, betaBest, betaMax = 0.0, 19.8, 21.9 // C
	BetaUnits                  = 60.37
	betaDays                   = 120 // how long units are added up after a break: project rule
)

// Beta is the rate of inflorescence emergence at a temperature (C), 1 at the best one. Its best lies 2 C under its end
// because emergence needs growth and cold; it does not mean that 19.8 is best for induction.
func Beta(t float64) float64 {
	if t <= betaMin || t >= betaMax {
		return 0
	}
	return (betaMax - t) / (betaMax - betaBest) * math.Pow((t-betaMin)/(betaBest-betaMin), (betaBest-betaMin)/(betaMax-betaBest))
}

// reaction turns the days after a break into a share of terminals. sums are running sums over days: of daily means for the
// logistic, of Beta for the beta response.
type reaction struct {
	window int
	beta   bool
}

func (m Model) reaction() reaction {
	if m.Response == "beta" {
		return reaction{betaDays, true}
	}
	return reaction{m.Window, false}
}

// daily is what a reaction sums up of a day.
func (r reaction) daily(mean float64) float64 {
	if r.beta {
		return Beta(mean)
	}
	return mean
}

// share is the share of terminals that flower when a window's sum is given.
func (r reaction) share(sum float64, p Params) float64 {
	if r.beta {
		return min(sum/BetaUnits, 1)
	}
	return Flowers(sum/float64(r.window), p.T50, p.Slope)
}
