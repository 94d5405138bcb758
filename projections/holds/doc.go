// Package holds says which withholding and re-entry intervals run in a block, at any instant, for every tree.
//
// It counts from what a person filed off a label and from what was recorded of sprays, and it says no more than that: an
// interval runs, has run out, or must be read off the label by a person. Whether fruit is fit for anything it never says.
//
// # From records to answers
//
// The fold (Fold) gathers, for one block, all that can move an answer: plans, sprays begun, called off and applied, what
// the labels in their mixes state, what a person judged, and when harvests closed. A State has no day of its own; At,
// PickAt and WorkAt are asked about an instant. Holds makes the document of the whole farm.
//
//	s := holds.Of(book, "north")
//	b := s.At(at, book.Zone())          // the block, and its parts where trees differ
//	in, why := s.PickAt(parts, at, zone) // was this pick inside an interval?
//
// # The rules, where they are more than a count
//
//   - Statuses, worst first: in-progress, read-the-label, waiting, planned, read-by-person, run-out, none. Of several
//     holds on a tree the worst counts, of several trees the worst tree.
//   - Days are counted in three readings (Count): by calendar date, by elapsed time, by full days after the day on which
//     the spray ended. The label's own rule decides, else the farm's setting count-rule, else full days. In the two hours
//     of a year where moved clocks would turn their order round, the earlier reading is raised to the one that it may not
//     fall below: full-days >= elapsed >= date, always.
//   - A value of 0 days is counted like any other, so by full days it opens at the end of that day; a label that lets
//     fruit be picked on the day of the spray is filed as kind zero, which opens at the end of the application.
//   - Only a number that a person filed is counted. Everything else is read-the-label: nothing stated, a growth stage, a
//     prohibition, a crop that the label does not list, a label that is not there or was withdrawn, a product that was
//     typed without a label. That holds until somebody judges it (hold.judged), or until the harvest of the crop that the
//     spray leads to is closed, else until that crop year turns, and never shorter than the numbers on that label say.
//   - A judgement is for the spray that it names, from when it was made. Where its words are those of some lines of the
//     labels it answers these lines only, else all lines of the spray that no number answers. Of several the latest
//     counts. With a date it is read-by-person until then; with a growth stage it stays read-by-person, without a date,
//     until the crop is closed: nothing here knows when a stage is reached.
//   - Re-entry rules picking: a pick never opens before its re-entry interval ends, and where that must be read off the
//     label, so must the pick. The three readings stay as the withholding gives them.
//   - An end that is known only to the day is the end of that day (marked end-not-known), and a start the start of it.
//   - A device whose clock was off by more than the setting clock-tolerance: the later reading of the two for ends, the
//     earlier for starts (marked clock-off), until the record is reviewed or corrected.
//   - A plan closes its block from its start until it is begun or called off; one that was begun is in progress until it
//     is applied or called off. Called off with something applied, or without a word on that after it was begun:
//     read-the-label.
//
// # Which trees
//
// A record's where is resolved against the trees that stood at its time. In a block whose trees are not listed singly the
// rows that records name, and the rest of the block, stand for them. A tree that moved between blocks takes its holds
// along (Of); a block that was redrawn takes those of the blocks that it was made from.
//
// Design source of the count: facts of the project, compliance 4.2; no published rule says how such days are counted.
package holds
