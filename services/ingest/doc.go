// Package ingest turns files into drafts of records. It knows formats and headings, and nothing of the ledger: whoever
// reads hands each draft to the door (events.Door) and on to the recorder.
//
//	r, err := ingest.Open(file, ingest.Options{Name: "picks.csv", As: "picks", Zone: zone})
//	for {
//		row, err := r.Next() // io.EOF at the end
//		...
//	}
//
// A file is read once, from its beginning to its end, one row at a time; what it takes in memory does not grow with the
// file. Rows come in the order of the file, each with the physical line on which it begins (the heading counts, lines
// inside a quoted cell count, the first line is 1).
//
// # What can be wrong, and where it is told
//
// What makes every row unreadable (a heading that means nothing, an unknown kind, bytes that are no text) is told by Open,
// as Refusals, before any row is given. What is wrong with one row is told in its Problems, and the rest goes on. An error
// of Next is the disk's or the network's: the file then was not read to its end.
//
// # JSON Lines
//
// One object a line. Either an envelope, with type and data at least, as `export` writes it; attributes that the recorder
// gives anew are left out, unknown ones are refused. Or, where Options.As names a kind, the bare data, with time, id, actor
// and notedtime beside it if they are known.
//
// # Tables
//
// The first line that is not empty is the heading. A heading is the path of a field of the kind, with its unit where the
// field is a measured value: mass_kg, mix[0].rate_lha, rain[mm], windSpeed[[mi_i]/h]. How a name is cut into words does
// not matter: areaTreated_ha, area_treated_ha and "Area treated_ha" are one heading. Beside the fields there are time,
// id, actor, notedtime and devicetime, and for kinds with a `where` its parts block, rows, trees, except, share, side.
// Lists are divided by semicolons, and rows may be written as a range, 1-3. An empty cell says nothing.
//
// What cannot be read in one way only is refused and never guessed: 03/04/2026, 1,234, a unit inside the cell, a number
// that a spreadsheet made of a date. A Map says how such a table is meant.
//
// # Workbooks
//
// A sheet of a workbook (XLSX) is a table like any other; a line is the row of the sheet. Its cells have types, and what a
// spreadsheet does behind a person's back is refused and told: a day where a row 1-3 was typed, a number that is shown in
// another unit than the heading's, a formula without a value, cells that are joined, a row that is hidden. A sheet called
// "read me" and a row whose first cell is "example" are passed over, so that templates come back as they were filled in. Of
// several sheets somebody has to say which are read: Options.Sheet, or Map.Sheets and Map.SheetInto.
//
// # Maps of the land
//
// GeoJSON (RFC 7946): an area is a block, a point a tree, the properties are the columns. A line is the one on which the
// feature begins.
//
// # Weather
//
// A row of weather.read with a date alone is a daily summary: its time is the end of that local day, its interval the real
// length of the day in that zone. Clock times without an offset are those of the station's logger, in the order of the
// file, so that the repeated hour of autumn comes out twice (civil.Series).
//
// Files of weather archives and stations (GHCN-Daily, ISD-Lite, METAR, SenML) are read by services/ingest/stations. What
// they hold and no record can is not refused: Reader.LeftValues lists it.
package ingest
