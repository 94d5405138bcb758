// Package field builds the reports about sprays: the records that an inspector asks for (Sprays), the sheet that is displayed
// where workers see it (Posting), the copy that a hired applicator hands over (CustomerCopy), a season by active ingredient
// (Ingredients), and the sheet for somebody who was exposed (Exposure), which waits for nothing.
//
// They say what was recorded and what was not, each missing element with its paragraph (projections/elements), and never that
// something is in order. All of them are said in every language that the catalogue has; what a person read off a label stays
// in the label's language.
//
// The functions are pure: moments and days are arguments.
package field
