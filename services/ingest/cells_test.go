package ingest

import (
	"strings"
	"testing"

	"latewood/events"
	"latewood/events/canon"
)

func TestNumbers(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		text  string
		comma bool
		want  string // the number as JSON, or what the refusal says to write
	}{
		{"12", false, "12"}, {"12.50", false, "12.5"}, {"-3.5", false, "-3.5"}, {"+4", false, "4"}, {".5", false, "0.5"}, {"007", false, "7"},
		{"1.2E+05", false, "120000"}, {"-0", false, "0"}, {"41,2", true, "41.2"}, {"1234", true, "1234"}, {"-0,5", true, "-0.5"},
		{"12 kg", false, "write 12; a unit (kg)"}, {"12kg", false, "write 12; a unit (kg)"}, {"45%", false, "write 45; a unit (%)"}, {"30°C", false, "write 30; a unit (°C)"},
		{"-2.5 C", false, "write -2.5; a unit (C)"}, {"$12", false, "write digits"}, {"about 12", false, "write digits"}, {"1.2.3", false, "write digits"}, {"12.", false, "write digits"},
		{"1,234.5", false, "write 1234.5"}, {"1,234,567", false, "write 1234567"}, {"1,234", false, "write 1234, or 1.234, or say"}, {"1,5", false, "write 1.5, or say"},
		{"1 234", false, "write 1234"}, {"1 234,5", false, "write 1234.5"}, {"1\u00a0234.5", false, "write 1234.5"}, {"1'234.5", false, "write 1234.5"}, {"1.234,5", false, "write 1234.5"}, {"1.234.567", false, "write 1234567"},
		{"1.234,5", true, "write 1234,5"}, {"1.5", true, "write 1,5"}, {"1.234", true, "write 1,234, or leave the point out"}, {"1,234.5", true, "write 1234,5"}, {"1 234,5", true, "write 1234,5"},
		{"n/a", false, "leave the cell empty"}, {"-", false, "leave the cell empty"}, {"NaN", false, "leave the cell empty"}, {"Inf", false, "write digits"}, {"1e999", false, "write digits"}, {"0x1F", false, "write 0;"},
		{"−5", false, "write digits"},
	} {
		t.Run(tc.text, func(t *testing.T) {
			t.Parallel()
			c := cellReader{comma: tc.comma}
			n, f := c.number(tc.text)
			if f == nil {
				if got := string(canon.Bytes(canon.Num(n))); got != tc.want {
					t.Errorf("got %s, want %s", got, tc.want)
				}
				return
			}
			if got := f.instead.String(); !strings.HasPrefix(got, tc.want) {
				t.Errorf("got %s: %s, want %s", f.why, got, tc.want)
			}
		})
	}
}

func TestDates(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		text  string
		order DateOrder
		want  string // the text for the door, or the beginning of the refusal
	}{
		{"2026-06-01", "", "2026-06-01"}, {"2026-6-1", "", "2026-06-01"}, {"2026/06/01", "", "2026-06-01"}, {"2026.6.1", "", "2026-06-01"}, {"20260601", "", "2026-06-01"},
		{"2011", "", "2011"}, {"2011-03", "", "2011-03"}, {"3/2011", "", "2011-03"},
		{"2026-06-01T14:30:00-10:00", "", "2026-06-01T14:30:00-10:00"}, {"2026-06-01 14:30", "", "2026-06-01T14:30"}, {"2026-06-01  9:05:07", "", "2026-06-01T09:05:07"},
		{"2026-06-01T14:30:00Z", "", "2026-06-01T14:30:00Z"}, {"2026-06-01 2:30 PM", "", "2026-06-01T14:30"}, {"2026-06-01 12:05 a.m.", "", "2026-06-01T00:05"}, {"2026-06-01 12:05PM", "", "2026-06-01T12:05"},
		{"2026-06-01 14:30:00.250", "", "2026-06-01T14:30:00.250"}, {"2026-06-01 14:30 -10:00", "", "2026-06-01T14:30-10:00"},
		// Which comes first must be said where it can be both.
		{"03/04/2026", "", "this can be 2026-04-03 or 2026-03-04"}, {"3.4.2026 08:00", "", "this can be 2026-04-03 or 2026-03-04"}, {"03-04-2026", "", "this can be 2026-04-03 or 2026-03-04"},
		{"13/04/2026", "", "2026-04-13"}, {"04/13/2026", "", "2026-04-13"}, {"04/04/2026", "", "2026-04-04"},
		{"03/04/2026", DMY, "2026-04-03"}, {"03/04/2026", MDY, "2026-03-04"}, {"6/1/2026 2:05 PM", MDY, "2026-06-01T14:05"}, {"2026-04-03", MDY, "2026-04-03"},
		{"04/13/2026", DMY, "the date does not fit the order dmy"}, {"13/04/2026", MDY, "the date does not fit the order mdy"}, {"03/04/2026", YMD, "the date does not fit the order ymd"},
		{"03/04/26", DMY, "the year has two digits"}, {"26-04-03", "", "the year has two digits"},
		// What spreadsheets leave of dates.
		{"46204", "", "this is a spreadsheet's number of a day, probably 2026-07-01"}, {"46204.5", DMY, "this is a spreadsheet's number of a day, probably 2026-07-01"},
		// For the door to refuse.
		{"yesterday", "", "yesterday"}, {"31/31/2026", "", "31/31/2026"}, {"2026-06-01 25 o'clock", "", "2026-06-01 25 o'clock"}, {"2026-06-01 13:00 PM", "", "2026-06-01 13:00 PM"}, {"12", "", "12"}, {"", "", ""},
		{"2026-13-45", "", "2026-13-45"}, {"1/2/3/4", "", "1/2/3/4"}, {"-1", "", "-1"}, {"99999999999999999999/1/2026", "", "99999999999999999999/1/2026"},
	} {
		t.Run(tc.text+" "+string(tc.order), func(t *testing.T) {
			t.Parallel()
			got, f := tc.order.normal(tc.text)
			if f != nil {
				got = f.why.String()
			}
			if got != tc.want && (f == nil || !strings.HasPrefix(got, tc.want)) {
				t.Errorf("got %s, want %s", got, tc.want)
			}
		})
	}
	if got, f := AnyOrder.days("2026-06-01 00:00:00"); got != "2026-06-01" || f != nil {
		t.Errorf("a date written with midnight: got %s, want 2026-06-01", got)
	}
	if got, _ := AnyOrder.days("2026-06-01 06:00:00"); got != "2026-06-01T06:00:00" {
		t.Errorf("a date written with another time: got %s, want it left for the door", got)
	}
}

// Cells of all other forms, in a table of one kind that has them.
func TestCells(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct{ name, as, heading, cell, want string }{
		{"range", "picks", "rows", "1-3", `["1","2","3"]`},
		{"range with noughts", "picks", "rows", "08-11", `["08","09","10","11"]`},
		{"range with a dash", "picks", "rows", "1–2", `["1","2"]`},
		{"list", "picks", "rows", " 1 ;2a; 4-5;", `["1","2a","4","5"]`},
		{"range too long", "picks", "rows", "1-9999", "more than 2000 items"},
		{"list of nothing", "picks", "rows", ";;", "no items"},
		{"range backwards", "picks", "rows", "5-2", "does not go up"},
		{"codes with hyphens are codes", "picks", "trees", "north-01-02;north-01-03", `["north-01-02","north-01-03"]`},
		{"range of codes", "picks", "except", "north-01-08..north-01-10", `["north-01-08","north-01-09","north-01-10"]`},
		{"range of codes of two rows", "picks", "except", "north-01-08..north-02-10", "does not go up"},
		{"became a date", "picks", "rows", "Jan-03", "made a date of this"},
		{"became a date, as a position", "trees", "position", "2-Jan", "made a date of this"},
		{"a row called may", "trees", "row", "may", `"may"`},
		{"yes", "trees", "cultivarCertain", "Yes", "true"},
		{"FALSE", "trees", "cultivarCertain", "FALSE", "false"},
		{"1 is not true", "trees", "cultivarCertain", "1", "neither true nor false"},
		{"error", "trees", "row", "#N/A", "could not work this cell out"},
		{"too narrow", "trees", "row", "######", "could not work this cell out"},
		{"counted", "labels", "withholding_d", "14", `{"unit":"d","value":14}`},
		{"counted, no number", "labels", "withholding_d", "two weeks", "no number"},
		{"any number", "setting.adopted", "value", "3.50", "3.5"},
		{"any text", "setting.adopted", "value", "full-days", `"full-days"`},
		{"any truth", "setting.adopted", "value", "true", "true"},
		{"any list", "setting.adopted", "value", "[1,2]", "[1,2]"},
		{"geometry", "block.established", "outline", `{"type":"Point","coordinates":[1,2]}`, `{"coordinates":[1,2],"type":"Point"}`},
		{"no geometry", "block.established", "outline", "POINT(1 2)", "must hold JSON"},
		{"count", "block.established", "trees", "12.0", "12"},
		{"unit cell", "picks", "mass.unit", "lb", `"[lb_av]"`},
		{"unit cell with a code", "picks", "mass.unit", "[lb_av]", `"[lb_av]"`},
		{"unit cell said", "picks", "mass.unit", "lbs", "the unit lbs is not known"},
		{"date in a moment", "sprays", "ended", "13/04/2026 6:00", `"2026-04-13T06:00"`},
		{"partial", "trees", "planted", "4/2012", `"2012-04"`},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			fields, f := sheetOf(t, tc.as).resolve(tc.heading)
			if f != nil {
				t.Fatal(f.why)
			}
			c := cellReader{}
			v, f := c.value(fields[0], tc.cell)
			got := ""
			if f != nil {
				got = f.why.String()
			} else {
				got = string(canon.Bytes(v))
			}
			if got != tc.want && (f == nil || !strings.Contains(got, tc.want)) {
				t.Errorf("got %s, want %s", got, tc.want)
			}
		})
	}
}

func TestTreeCode(t *testing.T) {
	t.Parallel()
	for _, tc := range [][4]string{
		{"north", "1", "2", "north-01-02"}, {"north", "2a", "12", "north-2a-12"}, {"north", "101", "7", "north-101-07"}, {"north", "007", "0", "north-07-00"},
		{"north", "99", "100", "north-99-100"}, {"north", "2A", "0100", "north-2a-0100"},
	} {
		if got := TreeCode(tc[0], tc[1], tc[2]); got != tc[3] {
			t.Errorf("TreeCode(%q, %q, %q): got %s, want %s", tc[0], tc[1], tc[2], got, tc[3])
		}
		if !events.IsCode(TreeCode(tc[0], tc[1], tc[2])) {
			t.Errorf("%s is no code", tc[3])
		}
	}
}
