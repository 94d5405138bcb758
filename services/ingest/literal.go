package ingest

import (
	"strings"

	"latewood/events"
	"latewood/events/canon"
)

// What services/export writes where a cell could not say it otherwise, read back: see its package doc.

// unguard takes off the apostrophe that stands before a text of which a spreadsheet would make a formula, or before another
// apostrophe.
func unguard(text string) string {
	if len(text) > 1 && text[0] == '\'' && strings.IndexByte("=+-@'", text[1]) >= 0 {
		return text[1:]
	}
	return text
}

// literal reads a text that stands as in JSON behind an apostrophe: one with blanks at its ends, line ends, control
// characters.
func literal(c *filled, text string) (canon.Value, bool) {
	f := c.field
	quoted, ok := strings.CutPrefix(text, `'"`)
	if !ok || c.guarded || f.attr != "" || f.shape == nil || !textual(f.shape.Form) {
		return canon.Value{}, false
	}
	v, err := canon.Parse([]byte(`"` + quoted))
	return v, err == nil && v.Kind == canon.String
}

// textual reports whether cells of a form are texts and nothing is made of them.
func textual(f events.Form) bool {
	switch f {
	case events.FormObject, events.FormQuantity, events.FormList, events.FormOneOrMany, events.FormAny, events.FormData, events.FormGeometry,
		events.FormNumber, events.FormCount, events.FormBool, events.FormDate, events.FormPartial, events.FormMoment, events.FormInstant:
		return false
	}
	return true
}

// jsonList reads a cell that holds a whole list of texts as in JSON: ["a; b"].
func jsonList(text string) (canon.Value, bool) {
	if !strings.HasPrefix(text, "[") {
		return canon.Value{}, false
	}
	v, err := canon.Parse([]byte(text))
	if err != nil || v.Kind != canon.List || len(v.Items) == 0 {
		return canon.Value{}, false
	}
	for _, item := range v.Items {
		if item.Kind != canon.String {
			return canon.Value{}, false
		}
	}
	return v, true
}

// ledgerColumn reports whether a column says how a record stood in the ledger that it was exported from. Another ledger says
// that for itself.
func ledgerColumn(heading string) bool { return strings.HasPrefix(strings.ToLower(heading), "ledger.") }

// KindOf finds the kind that a name means: a kind with or without its version, or the name of a table. The error is the
// Problem that says what was probably meant.
func KindOf(c *events.Catalogue, as string) (*events.Kind, error) {
	k, p := kindOf(c, as)
	if p != nil {
		return nil, *p
	}
	return k, nil
}
