package export

import (
	"fmt"
	"io"
	"iter"
	"strconv"

	"latewood/events/words"
	"latewood/services/internal/sheets"
)

// About is what the first lines of a workbook say of where its rows come from.
type About struct {
	Farm, Zone string
	Size       uint64 // of the ledger
	Root       string
	KnownBy    string // as it was asked for; empty: all
}

// Workbook writes a sheet a table, in the order given, and one that says what they are.
func Workbook(out io.Writer, about About, tables []*Table, rows func(kind string) iter.Seq2[Row, error]) (err error) {
	w, err := sheets.NewWorkbook(about.Farm)
	if err != nil {
		return err
	}
	defer func() {
		if cerr := w.Close(); err == nil {
			err = cerr
		}
	}()
	for _, t := range tables {
		if err := t.Sheet(w, rows(t.Kind.Name)); err != nil {
			return err
		}
	}
	if err := about.sheet(w, tables); err != nil {
		return err
	}
	if _, err := w.WriteTo(out); err != nil {
		return fmt.Errorf("export: %w", err)
	}
	return nil
}

// sheet writes what the rows are and where they come from.
func (a About) sheet(w *sheets.Workbook, tables []*Table) error {
	s, err := w.Sheet(sheets.ReadMe, []sheets.Column{{Heading: words.Say("out.read-me"), Width: 34}, {Heading: " ", Width: 100}})
	if err != nil {
		return err
	}
	type line struct{ name, text string }
	known := a.KnownBy
	if known == "" {
		known = words.Say("out.known-all")
	}
	lines := []line{
		{words.Say("out.farm"), a.Farm}, {words.Say("out.zone"), a.Zone}, {words.Say("out.known-by"), known},
		{words.Say("out.ledger"), words.Say("out.ledger-text", "size", a.Size, "root", a.Root)},
		{words.Say("out.rows"), words.Say("out.rows-text")},
		{words.Say("out.columns"), words.Say("out.columns-text")},
		{words.Say("out.aside"), words.Say("out.aside-text")},
		{words.Say("out.back"), words.Say("out.back-text")},
		{words.Say("out.caution"), words.Say("holds.caution")},
	}
	for _, l := range lines {
		if err := s.Text(sheets.Words(l.name), sheets.Words(l.text)); err != nil {
			return err
		}
	}
	if err := s.Head(sheets.Words(words.Say("out.sheets")), sheets.Words(" ")); err != nil {
		return err
	}
	for _, t := range tables {
		if err := s.Text(sheets.Words(t.Kind.Name), sheets.Words(words.Say("out.sheet-rows", "n", strconv.Itoa(t.Rows())))); err != nil {
			return err
		}
	}
	return s.Done()
}
