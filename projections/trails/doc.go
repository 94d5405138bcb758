// Package trails follows fruit from the tree to whoever got it, and back, and weighs what went in against what came out.
//
// # Units and moves
//
// The fold keeps, for every pick, load and lot, its moves: what came in, what went out, and from or to which other unit. A
// question starts at one thing (a lot, a load, a pick, a spray, a tree, a shipment, a block on a day), takes the units that
// it means, and walks the moves backward to the picks and forward to the buyers.
//
//	doc, err := trails.Trace(book, "L-12")
//
// # The balance
//
// Of each unit: what went in is what went out, was culled, sampled, written off, shrank, lies on hand, or is unaccounted.
// What lies on hand is what was counted last and what moved since; where nobody counted, what the books leave, and the answer
// says so (OnHandFrom). More out than in gives a negative remainder and more than 100 per cent: it is shown as it is.
//
// Masses are whole milligrams inside and kilograms in answers. An amount that is told of several units together is shared out by
// their masses, by largest remainder, so that nothing is lost in rounding.
//
// # What should stand in the records
//
// Elements lists what 21 CFR part 1, subpart S (edition of 2026-06-11) wants in each record of harvesting, cooling, packing,
// shipping, receiving and repacking; Missing names what does not stand there and its paragraph. That nothing is missing says
// only that.
package trails
