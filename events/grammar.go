package events

import (
	"strings"
	"unicode"

	"latewood/events/civil"
)

// follows reports whether a text keeps the grammar of a form. Dates and times are not asked here: see times.go.
func follows(f Form, s string, cat *Catalogue) bool {
	switch f {
	case FormCode:
		return IsCode(s)
	case FormLabel:
		return len([]rune(s)) <= 32 && !strings.ContainsFunc(s, unicode.IsControl)
	case FormLot:
		return IsLot(s)
	case FormID:
		_, err := ParseID(s)
		return err == nil
	case FormPerson:
		return IsPseudonym(s)
	case FormSHA256:
		return len(s) == 64 && isHex(s)
	case FormBase64:
		return isBase64Hash(s)
	case FormGLN:
		return isGLN(s)
	case FormGTIN:
		return isGTIN(s)
	case FormZone:
		_, err := civil.Zone(s)
		return err == nil
	case FormType:
		name, _, ok := SplitType(s)
		return ok && cat.Kind(name) != nil
	case FormChain:
		return isChain(s)
	case FormCurrency:
		return len(s) == 3 && strings.Trim(s, "ABCDEFGHIJKLMNOPQRSTUVWXYZ") == ""
	}
	return true
}

// wanted says what to write where a field holds nothing or the wrong thing.
func wanted(s *Shape) Sentence {
	switch {
	case len(s.Enum) > 0:
		return say("refuse.one-word-of", "words", strings.Join(s.Enum, ", "))
	case len(s.Dims) > 0 && s.Form == FormText: // the unit of a quantity
		return say("refuse.one-word-of", "words", strings.Join(codesOf(s.Dims), " "))
	}
	switch s.Form {
	case FormQuantity:
		return say("refuse.quantity-instead", "units", strings.Join(codesOf(s.Dims), " "))
	case FormList:
		return say("refuse.list-instead", "item", wanted(s.Elem))
	case FormOneOrMany:
		return say("refuse.one-or-many-instead", "item", wanted(s.Elem))
	case FormObject:
		return say("refuse.object-instead", "first", firstField(s), "fields", strings.Join(fieldNames(s), ", "))
	case FormGeometry:
		return say("refuse.geojson-instead")
	case FormData:
		return say("refuse.data-instead")
	case FormAny:
		return say("refuse.any-instead")
	case FormBool:
		return say("refuse.bool-instead")
	}
	return say("refuse.form."+string(s.Form), "example", exampleOf(s.Form))
}

// firstField is the field that an example of an object shows: one that must stand, else the first.
func firstField(s *Shape) string {
	for i := range s.Fields {
		if s.Fields[i].Required {
			return s.Fields[i].Name
		}
	}
	return s.Fields[0].Name
}

// exampleOf shows how a form is written.
func exampleOf(f Form) string {
	switch f {
	case FormText, FormName:
		return "Tern Hollow"
	case FormCode:
		return "north-2"
	case FormLabel:
		return "2a"
	case FormLot:
		return "L26-014"
	case FormID:
		return "017f22e2-79b0-7cc3-98c4-dc0c0c07398f"
	case FormPerson:
		return "w_00112233445566778899aabbccddeeff"
	case FormSHA256:
		return "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"
	case FormBase64:
		return "47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU="
	case FormGLN:
		return "9506000134352" // the example company prefix 9506000 of GS1's own documents, from memory
	case FormGTIN:
		return "09506000134352" // of the same prefix
	case FormZone:
		return "Pacific/Honolulu"
	case FormDate, FormPartial:
		return "2026-06-01"
	case FormMoment, FormInstant:
		return "2026-06-01T16:00:00-10:00"
	case FormSeason:
		return "2026"
	case FormType:
		return "spray.applied.v1"
	case FormChain:
		return "inputs/north"
	case FormCurrency:
		return "USD"
	case FormCount:
		return "12"
	case FormNumber:
		return "12.5"
	}
	return ""
}

// nearest finds the name that somebody probably meant: the one within a third of its letters, else none.
func nearest(s string, names []string) string {
	best, bestAt := "", len(s)/3+1
	for _, n := range names {
		if len(n)-len(s) >= bestAt || len(s)-len(n) >= bestAt {
			continue // as many letters would have to go or come
		}
		if d := distance(strings.ToLower(s), strings.ToLower(n)); d < bestAt {
			best, bestAt = n, d
		}
	}
	return best
}

// distance counts the letters to change, to put in, to leave out, or to swap with the next (optimal string alignment).
func distance(a, b string) int {
	before, last, row := make([]int, len(b)+1), make([]int, len(b)+1), make([]int, len(b)+1)
	for j := range last {
		last[j] = j
	}
	for i := 1; i <= len(a); i++ {
		row[0] = i
		for j := 1; j <= len(b); j++ {
			cost := 1
			if a[i-1] == b[j-1] {
				cost = 0
			}
			row[j] = min(last[j-1]+cost, last[j]+1, row[j-1]+1)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				row[j] = min(row[j], before[j-2]+1)
			}
		}
		before, last, row = last, row, before
	}
	return last[len(b)]
}
