package evidence

import (
	"strings"
	"time"
	"unicode/utf8"

	"latewood/events/ledger/proof"
	"latewood/events/words"
)

// First is the first sentence of every file of evidence, wherever it stands: what is shown, and what never can be.
func First(s Subject, given *Record) string {
	return words.Say("evidence.first", "subject", s.Say(), "asOf", given.Place, "given", given.Recorded.UTC().Format(time.RFC3339))
}

// readme writes README.txt.
func readme(p Parts, sealed proof.Signed) []byte {
	var b strings.Builder
	para := func(text string) { b.WriteString(wrap(text, 78) + "\n\n") }
	line := func(text string) { b.WriteString("    " + text + "\n\n") }
	para(words.Say("evidence.readme-title", "subject", strings.ToUpper(p.Subject.Class)+" "+p.Subject.Code))
	para(First(p.Subject, p.Given))
	para(words.Say("evidence.readme-key-head"))
	para(words.Say("evidence.readme-key", "origin", sealed.Origin))
	fingerprint := strings.Split(p.Key.Fingerprint(), " ")
	b.WriteString("    " + strings.Join(fingerprint[:8], " ") + "\n")
	line(strings.Join(fingerprint[8:], " "))
	para(words.Say("evidence.readme-check-head"))
	para(words.Say("evidence.readme-check"))
	line("latewood verify FILE --key key.txt") //words:data a command to type
	para(words.Say("evidence.readme-check-ours"))
	line("python3 verify.py FILE --key key.txt") //words:data a command to type
	para(words.Say("evidence.readme-check-script"))
	para(words.Say("evidence.readme-hand"))
	para(words.Say("evidence.readme-keep-head"))
	para(words.Say("evidence.readme-keep"))
	para(words.Say("evidence.readme-parts-head"))
	para(words.Say("evidence.readme-parts"))
	para(words.Say("evidence.readme-chains", "given", p.Given.Place))
	para(words.Say("evidence.readme-not-head"))
	para(words.Say("evidence.readme-not", "given", p.Given.Place))
	b.WriteString(wrap(words.Say("evidence.leaks-"+p.Subject.Class), 78) + "\n")
	return []byte(b.String())
}

// wrap breaks a text at blanks into lines of at most width letters.
func wrap(text string, width int) string {
	var b strings.Builder
	at := 0
	for i, word := range strings.Fields(text) {
		n := utf8.RuneCountInString(word)
		switch {
		case i == 0:
		case at+1+n > width:
			b.WriteByte('\n')
			at = 0
		default:
			b.WriteByte(' ')
			at++
		}
		b.WriteString(word)
		at += n
	}
	return b.String()
}
