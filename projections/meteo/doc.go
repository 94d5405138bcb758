// Package meteo holds the weather formulas: functions on numbers, nothing else.
//
// It knows no record, no station, no file and no clock. A caller hands in
// times, temperatures, humidities; it gets back hours, degree-days, vapour
// pressures, sunrise, verdicts with reason codes. The same input gives the
// same output every time.
//
// # Times and readings
//
// All instants are Unix milliseconds in UTC (int64). Readings are parallel
// slices ([Series]) so that a month or a year is one run through memory, or
// they are fed one at a time into a meter ([HoursMeter], [DegreeDayMeter]),
// which keeps one reading back and allocates nothing.
//
// A reading either speaks for the instant at which it was taken (interval 0)
// or for the stretch [time-interval, time), the way a logger writes means. A
// reading with an interval counts as one constant value over that stretch,
// so for abutting means the linear method and the hold method agree.
//
// # Three ways to turn readings into time
//
// [Count] multiplies readings by a nominal interval; chill tables were made
// for that. [Hold] lets a value stand until the next reading. [Linear] draws
// straight lines and finds the crossings; it is the default. They differ, by
// a quarter of an hour in an ordinary night and by more on a frosty one, so
// the method's name travels with every result.
//
// A silence longer than [Rules.MaxGap] adds nothing to the hours and nothing
// to the hours covered. A total without its coverage is not a result: every
// result here carries both.
//
// # Strict and not strict
//
// "Below" is strict: 20.0 is not below 20. "At or above" is the rest. Compare
// in the unit and the precision of the original reading: 45 F is 7.22 C, and
// once rounded to 7.2 it falls on the other side of a 7.2 C limit.
//
// # Where the numbers come from
//
// Every function says where its formula or limit comes from, in one of these
// words: "published" (the source is named), "common practice" (trade habit
// without a source), "project rule" (decided for this program, nobody's
// standard), "from memory" (believed right, source not at hand when written).
// Every function also says in which range it holds and what it does outside.
//
// # What it does not do
//
// It gives no permission and no advice. Delta T bands, frost levels and
// quality verdicts are codes; the label and local rules decide, and the words
// a person reads are chosen elsewhere. Chill models for temperate fruit are
// here for comparison; they were not fitted to lychee.
//
// Results are the same bytes on one kind of processor. Between kinds the last
// bits may differ, because the standard library's exponential and the fused
// multiply-add do; nothing here needs those bits.
package meteo

// Version numbers the formulas of this package. A stored total carries it
// beside the method's name. It is raised when the same input would give a
// different number.
const Version = 1
