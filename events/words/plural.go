package words

// form says which of n forms (n is 2 or more) a language uses for a number written as s: an index from 0.
//
// A language that counts otherwise than English gets a case here, with the source of its rule beside it (the plural
// rules of the Unicode CLDR are the usual one) and one line in the table of TestForm.
func form(lang, s string, n int) int {
	switch lang {
	default:
		// English: one tree; 0, 2, 1.5 trees. CLDR has "one" for the integer 1 without decimals, "other" for the rest.
		// Spanish counts the same way up to a million (CLDR, from memory), and nothing here is said of more.
		if s == "1" {
			return 0
		}
		return n - 1
	}
}
