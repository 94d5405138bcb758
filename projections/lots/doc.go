// Package lots says which lots and loads are held, why, and who already has them.
//
// # What holds
//
// A lot or a load is held while a pick that it drew on carries a flag that holds fruit (HoldingFlags): the pick fell inside
// a withholding interval or while the label had to be read, or the spray of its interval was withdrawn. It is held too
// while somebody has held it by hand (lot.held). What is packed from picks, bins or received loads, and what is repacked
// from other lots, takes along what holds those: commingling spreads a hold, it never thins it. Fruit is held until a person
// releases it (lot.released); no day and no calculation does.
//
// # What a release answers
//
// A release answers what it names: FLAG is that flag on every pick of the lot, FLAG:ID that flag on one record, and the id
// of a lot.held is that hold by hand; a hold that names flags ends with a release that names the same ones. A released lot
// passes nothing on to the lots that were repacked from it.
//
// A release knows only what was known when it was made. When a cause comes later (a spray that is typed in after it, a
// correction of the spray, of its label, or of where and when the pick was), the lot is held again, marked as reopened. What
// was known when is read off notedtime, else recordedtime, never off the order of arrival; records of one import count as
// known together, so that a file brings the same answer in whatever order its rows stand. A flag that a setting alone
// brings up has no record of its own to date it by.
//
// # Where it is
//
// Gone lists what left: shipped, delivered, sold. Back lists what did not stay away or is called back. Fruit that was sold
// straight from picks has no lot to hold and is listed as sold.
package lots
