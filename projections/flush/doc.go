// Package flush is the clock of a lychee tree's shoots: when buds are likely to break next, whether the weeks after that
// were cool enough in past winters, and in which stretches of the calendar a prune leads there.
//
// # The model
//
// A terminal shoot that was cut stands still (LAG), its bud breaks (BREAK), grows and hardens (GROW), rests (REST), and
// breaks again. Each step takes an amount of heat: degree-days above a base, summed from daily weather (Params). A bud that
// breaks in cool weather becomes a panicle, in warm weather leaves; how cool is a matter of the cultivar (Response), and of
// the weeks just after the break. So a crop needs the rhythm of the flushes to meet the cool weeks: a question of phase,
// with several good stretches for a prune, or none.
//
// What is modelled is published in parts only: the base temperature, the share of terminals that flowered in controlled
// rooms, the pattern of flushes in a few districts. The heat that each step takes was derived from vague dates: a prior with
// a wide band, narrowed by what the orchard's own people see (Fit). Everything that one could argue with is a setting with
// its source.
//
// Outside the model: girdling, withheld water, growth regulators, flush taken off by hand, and whatever else than heat starts
// a flush. They are named beside an answer, never counted. Mature trees that nobody pruned flush in patches: their clock is
// not known until somebody looks. Other species than lychee have no model unless the farm says so in a setting.
//
// # From records to an answer
//
// State is the fold of one block: who saw and did what to which trees, tree by tree, grouped where trees share their
// history. strands turns that and the weather into where the clock stands on a day: shares of the terminals, each with its
// last known event. The grower's look outranks the clock. A contradiction, a hail, a gap in the weather makes the clock not
// known, with the reason.
//
// Forecast lays the weather of each past winter behind the day of the question (Scene), lets draws of the fitted parameters
// run through it, and reads bands and shares off. Draws come from a seeded generator and are summed in a fixed order, so
// one and many cores give the same bytes.
//
// Nothing here is a forecast of yield. A winter that met the break is needed for a crop and is not enough for one.
package flush
