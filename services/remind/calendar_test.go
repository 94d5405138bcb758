package remind_test

import (
	"bytes"
	"strings"
	"testing"
	"time"

	ical "github.com/emersion/go-ical"
	"pgregory.net/rapid"

	"latewood/services/remind"
)

var made = time.Date(2026, 6, 1, 12, 0, 0, 0, time.UTC)

// Any text comes back whole through a reader that others wrote; no line is longer than RFC 5545 allows, and every line ends
// with CRLF.
func TestReadBack(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		texts := rapid.StringMatching(`[ -~äöüß–水\n]{0,300}`)
		e := remind.Entry{UID: "018f@tern-hollow", Sequence: rapid.IntRange(0, 99).Draw(rt, "sequence"), At: made.Add(time.Duration(rapid.IntRange(0, 1e6).Draw(rt, "minutes")) * time.Minute),
			Summary: texts.Draw(rt, "summary"), Text: texts.Draw(rt, "text"), Where: "north", Cancelled: rapid.Bool().Draw(rt, "cancelled"), Before: time.Duration(rapid.IntRange(-1, 2000).Draw(rt, "before")) * time.Minute}
		var out bytes.Buffer
		if err := (remind.Calendar{Name: "Tern Hollow; rows 1, 2", Made: made, Entries: []remind.Entry{e}}).Write(&out); err != nil {
			rt.Fatal(err)
		}
		for _, line := range strings.Split(strings.TrimSuffix(out.String(), "\r\n"), "\r\n") {
			if len(line) > 75 || strings.ContainsAny(line, "\r\n") {
				rt.Fatalf("a line of %d octets: %q", len(line), line)
			}
		}
		cal, err := ical.NewDecoder(bytes.NewReader(out.Bytes())).Decode()
		if err != nil {
			rt.Fatalf("%v in\n%s", err, out.String())
		}
		if name, err := cal.Props.Text("X-WR-CALNAME"); err != nil || name != "Tern Hollow; rows 1, 2" {
			rt.Fatalf("its name: %q, %v", name, err)
		}
		got := cal.Events()
		if len(got) != 1 {
			rt.Fatalf("%d entries", len(got))
		}
		summary, err := got[0].Props.Text(ical.PropSummary)
		if err != nil || summary != e.Summary {
			rt.Fatalf("summary %q, %v, want %q", summary, err, e.Summary)
		}
		text, err := got[0].Props.Text(ical.PropDescription)
		if err != nil || !strings.HasPrefix(text, strings.TrimSpace(e.Text)) || !strings.HasSuffix(text, "label and your local rules decide.") {
			rt.Fatalf("text %q, %v, want %q and the caution", text, err, e.Text)
		}
		at, err := got[0].DateTimeStart(time.UTC)
		if err != nil || !at.Equal(e.At.Truncate(time.Second)) {
			rt.Fatalf("at %v, %v, want %v", at, err, e.At)
		}
		status, err := got[0].Status()
		if err != nil || (status == ical.EventCancelled) != e.Cancelled {
			rt.Fatalf("status %v, %v", status, err)
		}
		alarms := 0
		for _, c := range got[0].Children {
			if c.Name == ical.CompAlarm {
				alarms++
			}
		}
		if want := e.Before >= 0 && !e.Cancelled; (alarms == 1) != want {
			rt.Fatalf("%d alarms, want one: %v", alarms, want)
		}
	})
}

// The same calendar has the same bytes, in whatever order its entries came; an empty one is one.
func TestSameBytes(t *testing.T) {
	t.Parallel()
	a, b := remind.Entry{UID: "a", At: made, Before: -1}, remind.Entry{UID: "b", At: made, Before: -1}
	var one, two, none bytes.Buffer
	for _, c := range []struct {
		out     *bytes.Buffer
		entries []remind.Entry
	}{{&one, []remind.Entry{a, b}}, {&two, []remind.Entry{b, a}}, {&none, nil}} {
		if err := (remind.Calendar{Name: "Tern Hollow", Made: made, Entries: c.entries}).Write(c.out); err != nil {
			t.Fatal(err)
		}
	}
	if !bytes.Equal(one.Bytes(), two.Bytes()) {
		t.Errorf("other bytes for another order:\n%s\n%s", one.String(), two.String())
	}
	if !strings.HasPrefix(none.String(), "BEGIN:VCALENDAR\r\nVERSION:2.0\r\n") || !strings.HasSuffix(none.String(), "END:VCALENDAR\r\n") {
		t.Errorf("an empty one: %q", none.String())
	}
}
