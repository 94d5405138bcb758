// Package civil knows days, clocks and crop years as people on a farm use them: the date on the calendar on the wall,
// the time on the clock beside it, and the season that a pick belongs to.
//
// Three things are kept apart that programs like to mix up.
//
//   - A Date is a day on the calendar. It has no zone and no length. Intervals on a label that are said in days count
//     Dates.
//   - A Wall is what a clock on the wall shows. In a zone that moves its clocks a Wall may name no instant (the hour
//     that is skipped in spring) or two (the hour that is repeated in autumn): Resolve gives all of them.
//   - An instant is a time.Time. DayStart and DayEnd turn a Date into the two instants that bound it in a zone: 23,
//     23.5, 24, 24.5 or 25 hours apart, and not always starting at midnight.
//
// # Which of two
//
// A repeated local hour is decided as the catalogue of records says: the first for rising readings until they fall back,
// else the later. So there are two doors. A Series reads the wall times of one logger in their order and can see the
// fall. Later takes a time that stands alone (a spray, a pick, a form filled in by hand), and takes the later instant:
// an interval that counts from it then ends later, which is the careful reading. A skipped hour is refused by both
// (*SkippedError).
//
// # Times in records
//
// ParseTime reads the time of a record as people and programs write it; FormatTime and FormatRecorded write it as the
// ledger keeps it, byte for byte the same for ever.
//
// # Crop years
//
// A Turn is the day on which the crop year turns; CropYear names the year that a date falls in ("2026", or "2025/26"
// south of the equator), SeasonSpan gives its first and last day.
//
// Nothing here reads a clock or the zone of the machine. The time-zone database is the system's where there is one, else
// the one that is compiled in; zones change by law, so two versions of it can differ about days that are yet to come.
package civil
