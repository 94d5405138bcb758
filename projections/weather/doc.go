// Package weather turns a station's readings into local days and months: hours below and at or above a temperature,
// degree-days, extremes, rain, and what the readings leave open.
//
// # Which readings speak for a day
//
// Days are those of the farm's zone, with 23, 24 or 25 hours. A reading with an interval speaks for [time - interval,
// time), one without for its instant; its extremes, its rain and its place in a day's count go to the day that holds the
// middle of its interval.
//
// A reading whose interval is about a day (20 to 28 hours) is a daily summary. It stands for the local day that holds its
// middle, with that day's real length. A day whose shorter readings cover less than 22 of 24 hours is answered by its
// summary, where that has a minimum and a maximum (method sine); else by the shorter readings (method linear). A method
// that is asked for is used everywhere: linear, hold and count look at shorter readings only; sine, average, clipped and
// double-sine take the extremes of the summary, else those of a day that shorter readings cover well enough (see
// meteo.Summarise). Hours under a daily method always come from the single sine.
//
// Of two readings for one time that tell the same element the one with the higher id counts, the other not at all; both are
// flagged. Readings for one time that share no element, as sensors send that speak each for itself, are taken together. A
// daily summary and a shorter reading that end at the same instant speak for different spans and both count.
//
// A shorter reading that brings a minimum and a maximum but no mean counts as their middle if it speaks for two hours at
// most (project rule). Intervals longer than a day bring rain and nothing else.
//
// # What is left out
//
// Withdrawn readings; what weather.doubted names; values outside the range that meteo.Limits gives for their element, and
// extremes in the wrong order. They stay in the ledger, and the day counts them. Silences longer than the setting
// weather-max-gap add neither hours nor coverage: read a total beside its coverage. Nothing is filled in.
//
// # Numbers
//
// A day keeps whole milliseconds, thousandths of a degree, micrometres of rain and millionths of a degree-day, so that
// months add up in any order. Thresholds are held against the readings as they came, before that rounding: 45 F is 7.22 C.
// "Below" is strict. To ask for days with a minimum of -2.2 or less in data with tenths, ask for days below -2.1.
package weather
