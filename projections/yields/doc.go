// Package yields tells what each tree and block bore, season by season, out of the picks and what was said of the crop.
//
// Masses are whole milligrams from the first record to the last sum, so that totals do not depend on how a harvest was
// split into records. They become kilograms only in a Report.
//
// # From a pick to trees
//
// The pick's `where` is resolved against the trees that stood there at its time. Its mass is shared equally over those of
// bearing age (setting bearing-age, in full months since the first day on which the tree can have been planted), over all
// of them if none bears, by largest remainder, ties by tree code. A tree whose planting is not recorded counts as bearing.
// Of a pick over several blocks each block's fold computes the same shares over all trees of all parts and keeps its own.
//
// A block whose records state a number of trees, and of which fewer than half are listed one by one, is "not listed": rows
// or the whole of it take their share by that number, and the mass stands in the block's row only. (Project rule: half,
// because a miscounted tree must not make a listed block lose its trees, nor three study trees take a whole harvest.)
// What names no standing tree at all stands in the block's row only, too.
//
// # How sure a number is
//
// Basis says so, from the strongest to the weakest: assessed (a zero that somebody saw), weighed-tree, weighed-row-shared,
// weighed-block-shared, counted, estimated. It goes by what the pick names, not by what happens to stand there: a row of
// one tree is still weighed-row-shared. The weakest basis of a tree's picks is the season's. A pick that only counts
// containers gets its mass from the setting container-mass.KIND of its day; without one it has none, and is listed.
//
// A bearing tree has a measured zero where all picks of its block in that season name trees, and it is none of them and
// still stands at the last one (basis weighed-tree, no picks), or where the last that was said of its crop is none (basis
// assessed). Else it has no row: nothing is known.
//
// # Which day
//
// A season's day is the one of its last pick in the block, else of the last crop.assessed. Ages, area and the number of
// bearing trees are those of that day.
//
// # Alternate bearing
//
// I and B (Alternation) look only at seasons that were weighed tree by tree or assessed: equal shares alternate alike.
package yields
