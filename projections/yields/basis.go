package yields

import (
	"slices"

	"latewood/events"
)

// A Basis says what a mass rests on.
type Basis string

// The bases, from the strongest to the weakest.
const (
	Assessed           Basis = "assessed"             // a zero that somebody saw; never anything else
	WeighedTree        Basis = "weighed-tree"         // one tree's fruit on a scale, or on the packer's
	WeighedRowShared   Basis = "weighed-row-shared"   // rows or several trees together
	WeighedBlockShared Basis = "weighed-block-shared" // a whole block together
	Counted            Basis = "counted"              // containers times the mass of one
	Estimated          Basis = "estimated"            // by eye, or nobody said how
)

var strengths = []Basis{Assessed, WeighedTree, WeighedRowShared, WeighedBlockShared, Counted, Estimated}

// weaker is the weaker of two bases; none is stronger than any.
func weaker(a, b Basis) Basis {
	if slices.Index(strengths, b) > slices.Index(strengths, a) {
		return b
	}
	return a
}

// ByTree reports whether the basis says something about a single tree: only such seasons enter means and indices.
func (b Basis) ByTree() bool { return b == WeighedTree || b == Assessed }

// basisOf is what a pick's mass rests on.
func basisOf(d *events.FruitPicked) Basis {
	switch d.MassBasis {
	case "scale", "packer-ticket":
		if d.Mass == nil {
			return Counted // a scale was there, its number is not: the containers give the mass
		}
		return named(d.Where)
	case "counted":
		return Counted
	}
	return Estimated
}

// named sorts a weighed pick by what its parts name.
func named(parts []events.Part) Basis {
	var trees []string
	basis := WeighedTree
	for _, p := range parts {
		switch {
		case len(p.Rows) == 0 && len(p.Trees) == 0:
			return WeighedBlockShared
		case len(p.Rows) > 0:
			basis = WeighedRowShared
		}
		for _, tree := range p.Trees {
			if !slices.Contains(trees, tree) {
				trees = append(trees, tree)
			}
		}
	}
	if len(trees) > 1 {
		basis = WeighedRowShared
	}
	return basis
}
