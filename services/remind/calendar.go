package remind

import (
	"bufio"
	"cmp"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"latewood/events/words"
)

// An Entry is one date.
type Entry struct {
	UID      string // the same for ever
	Sequence int    // rises when anything about it changes
	At       time.Time
	Until    time.Time // zero: a moment
	Summary  string
	Text     string
	Where    string // the block
	// Cancelled entries did not come, or do not hold any more.
	Cancelled bool
	// Before is how long before At a reminder rings; below 0: none.
	Before time.Duration
}

// A Calendar is the dates of a farm.
type Calendar struct {
	Name    string
	Made    time.Time // the moment that it answers for: the same Calendar gives the same bytes
	Entries []Entry
}

// Write writes the calendar, entries by time and UID.
func (c Calendar) Write(w io.Writer) error {
	out := &lines{w: bufio.NewWriter(w)}
	out.put("BEGIN", "VCALENDAR")
	out.put("VERSION", "2.0")
	out.put("PRODID", "-//Latewood//"+words.English)
	out.put("CALSCALE", "GREGORIAN")
	out.put("METHOD", "PUBLISH")
	out.text("X-WR-CALNAME", c.Name)
	entries := slices.Clone(c.Entries)
	slices.SortFunc(entries, func(a, b Entry) int { return cmp.Or(a.At.Compare(b.At), strings.Compare(a.UID, b.UID)) })
	for _, e := range entries {
		out.put("BEGIN", "VEVENT")
		out.put("UID", e.UID)
		out.put("SEQUENCE", strconv.Itoa(e.Sequence))
		out.put("DTSTAMP", stamp(c.Made))
		out.put("DTSTART", stamp(e.At))
		if !e.Until.IsZero() {
			out.put("DTEND", stamp(e.Until))
		}
		status := "CONFIRMED"
		if e.Cancelled {
			status = "CANCELLED"
		}
		out.put("STATUS", status)
		out.put("TRANSP", "TRANSPARENT")
		out.text("SUMMARY", e.Summary)
		out.text("DESCRIPTION", strings.TrimSpace(e.Text+"\n\n"+words.Say("remind.caution")))
		if e.Where != "" {
			out.text("LOCATION", e.Where)
		}
		if e.Before >= 0 && !e.Cancelled {
			out.put("BEGIN", "VALARM")
			out.put("ACTION", "DISPLAY")
			out.put("TRIGGER", "-PT"+strconv.Itoa(int(e.Before.Minutes()))+"M")
			out.text("DESCRIPTION", e.Summary)
			out.put("END", "VALARM")
		}
		out.put("END", "VEVENT")
	}
	out.put("END", "VCALENDAR")
	if err := cmp.Or(out.err, out.w.Flush()); err != nil {
		return fmt.Errorf("remind: calendar: %w", err)
	}
	return nil
}

func stamp(t time.Time) string { return t.UTC().Format("20060102T150405Z") }

type lines struct {
	w   *bufio.Writer
	err error
}

// most is how many octets a line may have, without its end (RFC 5545, section 3.1).
const most = 75

// put writes one line, folded between letters, never inside of one.
func (l *lines) put(name, value string) {
	if l.err != nil {
		return
	}
	rest, room := name+":"+value, most
	for len(rest) > room {
		cut := room
		for cut > 1 && !utf8.RuneStart(rest[cut]) {
			cut--
		}
		l.write(rest[:cut] + "\r\n ")
		rest, room = rest[cut:], most-1
	}
	l.write(rest + "\r\n")
}

func (l *lines) write(s string) {
	if l.err == nil {
		_, l.err = l.w.WriteString(s)
	}
}

// text writes a TEXT value (section 3.3.11). Control characters have no place in it.
func (l *lines) text(name, value string) {
	value = strings.Map(func(r rune) rune {
		if r < ' ' && r != '\n' || r == 0x7f {
			return -1
		}
		return r
	}, strings.ToValidUTF8(value, "\uFFFD"))
	l.put(name, strings.NewReplacer(`\`, `\\`, ";", `\;`, ",", `\,`, "\n", `\n`).Replace(value))
}
