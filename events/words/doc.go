// Package words holds every sentence that a user reads.
//
// Code names a sentence by its key and hands over the values:
//
//	words.Say("import.done", "recorded", 412, "refused", 3)
//
// The text stands in a file beside this one, one sentence a line:
//
//	import.done = {recorded|one record|{recorded} records} recorded, {refused} refused
//
// So a translator works in text files, a reader finds all wording in one place, and a test can search it for words that
// this program must never say about fruit, fields or farms (services/internal/house, claims_test.go).
//
// # The files
//
// A file is named en.txt or en_topic.txt: the language, then, if there is more than one file of it, what the file is
// about. All files of one language are merged; a key stands once. A file has four kinds of lines:
//
//	# a comment
//	(an empty line)
//	key = text
//	key = text with {name} and {n|one tree|{n} trees}
//
// A key is letters, digits, dots, hyphens and underscores, by custom subject.sentence: "holds.read-the-label". Blanks
// around key and text are dropped. In a text
//
//	{name}               is replaced by the value given under that name
//	{n|one tree|{n} trees}   chooses a form by the number n; the forms may hold names, not further choices
//	\n                   is a line break
//	\{ \} \| \\          are the characters themselves
//
// English chooses the first form for exactly 1 and the last for every other number. A choice may have more forms in a
// language that needs them; see form in plural.go for the rule of each language.
//
// # To add a sentence
//
//  1. Write the line into the file of its subject, in English. Say what, where, why and what to write instead.
//  2. Call Say with the key and a pair of name and value for every placeholder.
//  3. Run the tests of services/internal/house. They find keys that no code uses, keys that stand in no file, pairs that
//     fit no placeholder, and sentences that bypass this package.
//
// Keys that are put together, as "flag."+name, count as a use of every key that begins so. A key that reaches Say
// through a variable needs //words:keys PREFIX on the line of the call or the line above, and a helper that passes its
// own key on to Say needs //words:say in its doc comment; then calls of the helper are checked like calls of Say.
//
// # To add a language
//
//  1. Copy English files to the new prefix (de_sheet_field.txt, pt-br_demo.txt) and translate the texts, not the keys. Those
//     that begin with sheet, what people hang up or carry to a doctor, every language has; of the others as many as you like,
//     each of them whole.
//  2. If the language does not count as English does, add its rule to form in plural.go.
//  3. Give the list of words it must never use to services/internal/house, claims_test.go. Without one the tests fail.
//  4. Run the tests here: they name every key that is missing and every placeholder that differs from the English.
//
// What a person read off a label is no sentence of ours: it stands in the label's language, in every language.
//
// A key that a language lacks is said in English. A key that no language has, or a value that was not handed over, shows
// as ⟦key⟧ in the output: a fault that is seen and does not stop anyone's work.
package words
