package ingest

import (
	"fmt"
	"strconv"
	"strings"

	"latewood/events"
	"latewood/events/civil"
)

// A DateOrder says in which order day, month and year stand in dates that do not begin with the year.
type DateOrder string

// The orders. YMD says that every date begins with its year.
const (
	AnyOrder DateOrder = "" // nothing was said: dates that can be read in two ways are refused
	DMY      DateOrder = "dmy"
	MDY      DateOrder = "mdy"
	YMD      DateOrder = "ymd"
)

// A fault is what is wrong with one cell or heading.
type fault struct {
	why, instead events.Sentence
	rank         int // of several, the one that is most to the point
}

// unknown reports whether the fault is a heading that means nothing, for which the words are yet to be found.
func (f *fault) unknown() bool { return f.why.Key == "" }

func wrong(why, instead events.Sentence) *fault { return &fault{why: why, instead: instead} }

// normal writes a date, or a date and clock time, as records do: 6/1/2026 2:05 PM as 2026-06-01T14:05. What it does not
// know the shape of comes back as it is, for the door to refuse in its words.
func (o DateOrder) normal(text string) (string, *fault) {
	day, rest := cutClock(text)
	date, f := o.date(day, text)
	if f != nil || date == "" {
		return text, f
	}
	if rest == "" {
		return date, nil
	}
	clock, ok := normalClock(rest)
	if !ok || len(date) != len("2006-01-02") {
		return text, nil
	}
	return date + "T" + clock, nil
}

// cutClock divides at the T or blank behind a date.
func cutClock(text string) (date, clock string) {
	for i := 1; i+1 < len(text); i++ {
		if c := text[i]; (c == 'T' || c == ' ') && isDigit(text[i-1]) {
			if rest := strings.TrimLeft(text[i+1:], " "); rest != "" && isDigit(rest[0]) {
				return text[:i], rest
			}
		}
	}
	return text, ""
}

func isDigit(c byte) bool { return c >= '0' && c <= '9' }

func allDigits(s string) bool {
	for i := range len(s) {
		if !isDigit(s[i]) {
			return false
		}
	}
	return s != ""
}

// date reads a date, month or year; "" where it is none of them. whole is the cell, for messages.
func (o DateOrder) date(day, whole string) (string, *fault) {
	if f := serialDay(whole); f != nil {
		return "", f
	}
	var parts []string
	for _, mark := range []string{"-", "/", "."} {
		if parts = strings.Split(day, mark); len(parts) > 1 {
			break
		}
	}
	n := make([]int, len(parts))
	for i, p := range parts {
		if !allDigits(p) || len(p) > 4 && len(parts) > 1 {
			return "", nil
		}
		n[i], _ = strconv.Atoi(p)
	}
	long := func(i int) bool { return len(parts[i]) == 4 }
	switch len(parts) {
	case 1:
		switch len(day) {
		case 4:
			return day, nil
		case 8:
			return day[:4] + "-" + day[4:6] + "-" + day[6:], nil
		}
	case 2:
		if long(0) && len(parts[1]) <= 2 {
			return fmt.Sprintf("%s-%02d", parts[0], n[1]), nil
		}
		if long(1) && len(parts[0]) <= 2 {
			return fmt.Sprintf("%s-%02d", parts[1], n[0]), nil
		}
	case 3:
		switch {
		case long(0) && len(parts[1]) <= 2 && len(parts[2]) <= 2:
			return fmt.Sprintf("%s-%02d-%02d", parts[0], n[1], n[2]), nil
		case long(2) && len(parts[0]) <= 2 && len(parts[1]) <= 2:
			return o.shortFirst(n[0], n[1], parts[2])
		case len(parts[0]) <= 2 && len(parts[1]) <= 2 && len(parts[2]) <= 2:
			return "", wrong(say("ingest.two-digit-year"), say("ingest.date-instead"))
		}
	}
	return "", nil
}

// shortFirst reads a date of which the year comes last.
func (o DateOrder) shortFirst(a, b int, year string) (string, *fault) {
	write := func(month, day int) string { return fmt.Sprintf("%s-%02d-%02d", year, month, day) }
	switch {
	case a > 31 || b > 31:
		return "", nil
	case o == YMD:
		return "", wrong(say("ingest.date-order-other", "order", string(o)), say("ingest.date-instead"))
	case o == DMY && b > 12 && a <= 12, o == MDY && a > 12 && b <= 12:
		return "", wrong(say("ingest.date-order-other", "order", string(o)), say("ingest.date-instead"))
	case o == DMY:
		return write(b, a), nil
	case o == MDY:
		return write(a, b), nil
	case a > 12 && b > 12: // neither can be a month
		return "", nil
	case a > 12 || a == b:
		return write(b, a), nil
	case b > 12:
		return write(a, b), nil
	}
	return "", wrong(say("ingest.date-ambiguous", "one", write(b, a), "other", write(a, b)), say("ingest.date-ambiguous-instead"))
}

// serialDay refuses the number that a spreadsheet keeps for a date, and says which date that would be. Day 1 is 1 January
// 1900 and the 29 February of that year, which was not, counts (ECMA-376 part 1, 18.17.4); the range is years 1954 to 2119.
func serialDay(text string) *fault {
	whole, fraction, dotted := strings.Cut(text, ".")
	if len(whole) != 5 || !allDigits(whole) || dotted && !allDigits(fraction) {
		return nil
	}
	n, _ := strconv.Atoi(whole)
	if n < 20000 || n > 80000 {
		return nil
	}
	date := civil.Date{Year: 1899, Month: 12, Day: 30}.AddDays(n).String()
	return wrong(say("ingest.serial-day", "date", date), say("ingest.serial-day-instead", "date", date))
}

// normalClock reads H:MM, H:MM:SS, with AM or PM, with an offset.
func normalClock(s string) (string, bool) {
	i := 0
	number := func(most int) (int, bool) {
		start := i
		for i < len(s) && i-start < most && isDigit(s[i]) {
			i++
		}
		n, err := strconv.Atoi(s[start:i])
		return n, err == nil
	}
	hour, ok := number(2)
	if !ok || i >= len(s) || s[i] != ':' {
		return "", false
	}
	i++
	start := i
	if _, ok := number(2); !ok || i-start != 2 {
		return "", false
	}
	tail := ":" + s[start:i]
	if i < len(s) && s[i] == ':' {
		start = i
		i++
		for i < len(s) && (isDigit(s[i]) || s[i] == '.') {
			i++
		}
		tail += s[start:i]
	}
	rest := strings.TrimLeft(s[i:], " ")
	switch half := strings.ToLower(strings.ReplaceAll(rest, ".", "")); {
	case strings.HasPrefix(half, "am") || strings.HasPrefix(half, "pm"):
		if hour < 1 || hour > 12 {
			return "", false
		}
		if hour %= 12; half[0] == 'p' {
			hour += 12
		}
		if half != "am" && half != "pm" {
			return "", false
		}
		rest = ""
	case rest != "" && rest != "Z" && rest[0] != '+' && rest[0] != '-':
		return "", false
	}
	return fmt.Sprintf("%02d%s%s", hour, tail, rest), true
}

// clockOnly reads a clock time without a date.
func clockOnly(text string) (string, bool) {
	if len(text) < 4 || len(text) > 32 {
		return "", false
	}
	return normalClock(text)
}

// days reads a cell for a field of dates alone: what has a clock time at midnight, as programs write dates, loses it.
func (o DateOrder) days(text string) (string, *fault) {
	out, f := o.normal(text)
	if f != nil {
		return "", f
	}
	if date, clock, ok := strings.Cut(out, "T"); ok {
		switch clock {
		case "00:00", "00:00:00", "00:00:00.0", "00:00:00.000":
			return date, nil
		}
	}
	return out, nil
}
