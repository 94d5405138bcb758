// Package export writes records out as tables that people open in a spreadsheet, and the ground as a map.
//
// A table holds the records of one kind as they stand: each with its latest correction, without the withdrawn. What it
// writes services/ingest reads: the headings are those of import (the path of a field, its unit in brackets), and a table
// that is written and brought into another ledger gives the same records there, to the byte of their data, with the same
// ids, times and writers. TestThereAndBack in services/internal/histories holds it to that.
//
//	t := export.NewTable(kind)
//	for _, r := range rows {
//		t.See(r) // the columns are those that some row fills
//	}
//	err := t.CSV(w, rows) // or: book.Add(t, rows)
//
// # What a cell cannot say
//
// Cells are texts without outer blanks, and lists are divided by semicolons. What would be read as something else is written
// in one of three ways, of which import knows the reverse:
//
//	'=SUM        a text of which a spreadsheet would make a formula, or that begins like one of these: an apostrophe before it
//	'" x"        a text with outer blanks, line ends or control characters: an apostrophe, and the text as in JSON
//	["a; b"]     a list whose items could not be told apart: the list as in JSON
//
// A measure that has one unit in all rows is one column, mass[kg]; one with several is two, mass.value and mass.unit.
//
// # What is not read back
//
// Columns that begin with "ledger." say how the record stands in the ledger it came from: when it was taken, from which
// device, in which batch, in which version of its kind it was first written, how often it was corrected. Import passes over
// them: another ledger says these things for itself.
package export
