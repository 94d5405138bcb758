// Package sheets reads and writes XLSX workbooks. It is the only package that knows the library behind it, and it knows
// nothing of records: services/ingest makes records of what Rows gives, services/report and the templates write with the
// other half.
//
// # Reading
//
//	b, err := sheets.Open(file)
//	defer b.Close()
//	rows, err := b.Rows("Picks") // one of b.Sheets()
//	for {
//		row, err := rows.Next() // io.EOF at the end
//		...
//	}
//
// A workbook is a zip archive of XML parts. Open unpacks it under the limits below and refuses what is larger with
// ErrTooLarge, so that a few kilobytes that unpack to gigabytes cost nobody's memory. The rows of a sheet are then read in a
// stream, each cell with its type (Kind): what a person typed, what the sheet worked out, and what a number is shown as are
// three things, and whoever makes records of them has to know which it has.
//
// What a spreadsheet does to what people type is not undone here but told: a number that is shown as a date (Date), one that
// is shown with a word or a percent sign behind it (Cell.Shown), a formula whose value was never worked out (Uncalculated),
// cells that were joined (Row.Joined).
//
// Dates are days and clocks without a zone, as they stand in the cell. Both ways of counting days, from 1900 and from 1904,
// are read (ECMA-376 part 1, 18.17.4.1); which one it is stands in the workbook.
//
// # Templates
//
// Two words join the half that writes templates to the one that reads them filled in: a sheet called ReadMe holds
// instructions and no rows, and a row whose first cell is ExampleMark is an example. Reading passes over both.
package sheets

// ReadMe is the name of the sheet of a workbook of ours that holds instructions. Import passes over it, in any case of
// letters.
//
//words:data the name of a sheet
const ReadMe = "read me"

// ExampleMark is what the first cell of a template's example row begins with. Import passes over such a row, in any case of
// letters.
//
//words:data a mark in a cell
const ExampleMark = "example"

// The limits of a workbook that is read. A season of picks of a large orchard, 100,000 rows of ten columns, takes about
// 5 MB packed and 50 MB unpacked; a workbook over a limit is no table of a farm, or an attack.
const (
	MaxPacked   = 64 << 20  // bytes of the file
	MaxUnpacked = 384 << 20 // bytes of all parts together
	MaxParts    = 10_000    // files in the archive
	MaxRows     = 1 << 20   // of a sheet, as the format has it (ECMA-376)
	MaxColumns  = 1 << 14   // of a sheet, as the format has it
)
