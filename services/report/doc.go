// Package report is what a report says, as a value, and how it is shown: on a terminal, as JSON, CSV, a workbook, a page for a
// browser, or PDF.
//
// # The value
//
// A Report has a kind, a title, what it covers, sections, cautions, and a foot that says how it was made and from what ledger.
// A Section has, in this order: a title, paragraphs, fields (a name and a value), marks (what a reader must not miss),
// figures, and tables. A Table has typed columns: what is a date in one rendering is a date in all. Every text in it is ready
// to be read, in the report's language; keys of fields, tables and columns are the same in every language.
//
// Packages below this one build reports of a subject from answers of projections, and know neither files nor clocks:
//
//	r := field.Sprays(book, q, people)   // *report.Report
//	r.Foot.Size, r.Foot.Root = ...       // services/internal/app does that for all
//	err := r.Render(w, report.PDF, report.Options{})
//
// # The renderings
//
//	Text  for a terminal, tables aligned
//	JSON  Report.Document where a document is agreed, else the report itself: {kind, title, covers, sections, ...}
//	CSV   one table (Report.Data, else the sections'; the first, or Options.Table), RFC 4180, headings are the columns' keys
//	XLSX  every table on a sheet of its own, behind a sheet that says what it is; cells have types and are never formulas
//	HTML  one page, no scripts, made to be printed
//	PDF   A4 or US letter, title on top, foot and number on every page
//
// The same report gives the same bytes.
//
// # To add a report
//
//  1. Write a function in the package of its subject (services/report/SUBJECT) that returns a *Report.
//  2. Give it a line in the table of services/internal/app/reports.go and a command in services/latewood/reports.go.
//  3. Put its sentences into events/words/en_SUBJECT.txt. Sheets that people hang up or carry are also said in Spanish: those
//     stand in en_sheet_SUBJECT.txt and es_sheet_SUBJECT.txt.
package report
