// Package stations reads what weather stations and weather archives write: bytes in, readings out. It is pure: no clock,
// no file, no ledger. A file is given to a Parser line by line, a pack of SenML to ReadSenML; what comes back are Readings,
// whose Draft goes to the door as any other record does.
//
// # Formats
//
//	ghcn-daily   NOAA GHCN-Daily, a .dly file or the by-year and by-station CSV. Source: the readme of GHCN-Daily,
//	             section III, and the readmes of by_year and by_station.
//	isd-lite     NOAA ISD-Lite. Source: its format document of 20 June 2006. That document misprints the positions of the
//	             day and of the dew point; its lengths are right, and so are the positions here.
//	metar        the temperature and rain groups in the remarks of a METAR. Source: AFMAN 15-111 (12 March 2019), remarks
//	             30 to 33.
//	senml        Sensor Measurement Lists in JSON. Source: RFC 8428 (August 2018), and RFC 8798 (June 2020) for the
//	             secondary units.
//
// # Days
//
// A value of GHCN-Daily that brings no time of observation speaks for its local day: the reading's time is the end of that
// day in the station's zone, its interval the day's real length, 23 or 25 hours where the clocks are moved. A value with a
// time of observation, as 0700, speaks for the day that ended then: its time is that hour, its interval reaches back to
// the same hour of the day before. So a maximum read at seven in the morning is not taken for one of the day that has just
// begun, and networks that end their day at other hours are not mixed up. Values of one day with different times of
// observation make readings of their own. A .dly file holds no times of observation.
//
// # What a record cannot hold
//
// weather.read has no field for a rejected value, for pressure, cloud, snow or a battery. Such values are not lost in
// silence: each reading lists in LeftOut what its line held beside it and why it was not taken, and kinds of values that
// nothing here can hold are counted and told once, at the end of the file.
//
//   - A value with a quality flag of the archive is left out with the flag's meaning. P, "missing, presumed zero", is
//     missing. T is a trace: rainTrace, not rain of 0 mm and not of -0.1 mm.
//   - The dew point becomes the relative humidity at the temperature beside it (FAO-56 equations 11 and 14), to a
//     hundredth of a percent; the reading's note keeps the dew point. Alone it is left out.
//   - Of two readings for one time one counts (events.WeatherRead). So amounts of six hours beside a reading of the hour
//     (rain of ISD-Lite, extremes of a METAR) are left out where that reading has anything itself.
//
// # SenML
//
// Base fields, sums and times are resolved as the RFC says, in exact decimals: a time of 1276020076.001 less five seconds
// ends in .001. A time below 2^28 counts from now, which the caller gives; it is never read as a moment of 1970. A pack in a
// file has no now: such records are refused there. A time that counts into the future is refused everywhere, because no
// reading comes from there; it is as a rule a device without a clock that sends its uptime.
//
// Which name means which element is not part of the RFC. The last part of a name (behind the last slash or colon) is
// looked up, without hyphens, underscores and capitals: temperature, air-temperature, humidity, rain, windSpeed and so on
// (see elementNames). Values are kept in the unit that they came in where the ledger knows it, and converted exactly
// otherwise.
package stations
