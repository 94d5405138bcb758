// Package shed builds the reports about fruit that left the trees: the sortable sheet that a request under the traceability
// rule asks for (Sheet).
//
// One table for each critical tracking event of 21 CFR part 1 subpart S that the farm has records of, one row for each lot and
// source; dates are dates, amounts numbers with their unit in a column of its own; a glossary, a map from our fields to the
// rule's elements, and the list of what the records lack, each with its paragraph. A glossary and the map are what
// 1.1455(c)(1) asks for beside the data.
//
// The functions are pure: moments and days are arguments.
package shed
