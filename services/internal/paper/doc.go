// Package paper draws PDF: cards, sheets and reports. It is the only package that knows the library behind it and the font,
// and it knows neither records nor words: callers bring every text.
//
// # Two ways to draw
//
// A Doc is drawn on by hand, in millimetres from the upper left corner:
//
//	d, err := paper.New(paper.Info{Size: paper.A4, Title: "Cards", Lang: "en", Made: day})
//	d.Page()
//	d.Fit(10, 10, 80, 15, paper.Bold, "Ione Fernside")
//	_, err = d.WriteTo(w)
//
// A Flow runs down page after page, and breaks them by itself: headings, paragraphs, pairs of a name and a value, tables with
// their heads on every page, a foot below. Set runs the caller's function twice, the first time to count the pages:
//
//	lack, err := paper.Set(w, info, feet, func(f *paper.Flow) {
//		f.Title("Spray records", "Tern Hollow, 2026")
//		f.Table(columns, rows)
//	})
//
// # The same bytes
//
// The same calls give the same bytes on every machine: dates are arguments, the font comes with the program, and what the
// library keeps in maps is sorted. A letter that the font lacks is drawn as the sign for an unknown letter and told.
package paper
