package ingest

import (
	"errors"
	"io"
	"slices"
	"strings"
	"unicode/utf8"

	"latewood/events"
)

// csvGrid reads comma separated values (RFC 4180), with what is common beside it: semicolons or tabs for commas, blanks
// around quotes, quotes inside a cell that does not begin with one.
type csvGrid struct {
	in        *lines
	delimiter byte
}

// maxColumns is the most columns of a table. The widest that make sense have one a day of a year.
const maxColumns = 1000

// openCSV finds the delimiter and reads the heading; at is its line. The first lines may be skipped.
func openCSV(in *lines, name string, skip int) (g *csvGrid, headings []string, at int, err error) {
	g = &csvGrid{in: in}
	marked := false
	for {
		l, err := in.next()
		switch {
		case errors.Is(err, io.EOF) && skip > 0:
			return nil, nil, 0, refused(name, 0, "", events.Problem{Why: say("tables.no-heading", "line", skip+1), Instead: say("tables.no-heading-instead")})
		case errors.Is(err, io.EOF):
			return nil, nil, 0, refused(name, 0, "", events.Problem{Why: say("ingest.empty"), Instead: say("ingest.empty-instead")})
		case err != nil:
			return nil, nil, 0, err
		case l.n <= skip:
			if rest, ok := strings.CutPrefix(strings.TrimSpace(string(l.text)), "sep="); ok && len(rest) == 1 && l.n == 1 {
				g.delimiter, marked = rest[0], true
			}
			continue
		case l.long:
			return nil, nil, 0, refused(name, l.n, "", events.Problem{Why: say("ingest.too-long", "most", maxLine), Instead: say("ingest.save-as-csv")})
		}
		text := strings.TrimSpace(string(l.text))
		if rest, ok := strings.CutPrefix(text, "sep="); ok && len(rest) == 1 && l.n == 1 { // a spreadsheet's own mark
			g.delimiter, marked = rest[0], true
			continue
		}
		if text == "" {
			continue
		}
		if !marked {
			g.delimiter = sniffDelimiter(string(l.text))
		}
		in.again([]line{{n: l.n, text: slices.Clone(l.text)}})
		var problems events.Problems
		headings, at, problems, err = g.record()
		if err != nil {
			return nil, nil, 0, err
		}
		if len(problems) > 0 {
			return nil, nil, 0, refused(name, at, "", problems[0])
		}
		if !blank(headings) {
			break
		}
	}
	for i, h := range headings {
		if !utf8.ValidString(h) {
			return nil, nil, 0, refused(name, at, "", events.Problem{Why: say("ingest.not-utf8"), Instead: say("ingest.save-as-csv")})
		}
		headings[i] = strip(h)
	}
	for len(headings) > 0 && headings[len(headings)-1] == "" { // spreadsheets leave empty columns at the end
		headings = headings[:len(headings)-1]
	}
	if len(headings) > maxColumns {
		return nil, nil, 0, refused(name, at, "", events.Problem{Why: say("ingest.columns", "most", maxColumns), Instead: say("ingest.columns-instead")})
	}
	return g, headings, at, nil
}

// sniffDelimiter tells by the heading what divides the cells: what stands there most often outside of quotes.
func sniffDelimiter(heading string) byte {
	var counts [3]int
	marks := [3]byte{',', ';', '\t'}
	quoted := false
	for i := range len(heading) {
		if heading[i] == '"' {
			quoted = !quoted
		}
		if at := slices.Index(marks[:], heading[i]); at >= 0 && !quoted {
			counts[at]++
		}
	}
	best := 0
	for i, n := range counts {
		if n > counts[best] {
			best = i
		}
	}
	return marks[best]
}

func (g *csvGrid) row() (cells []cell, at int, problems events.Problems, err error) {
	for {
		read, at, problems, err := g.record()
		if err != nil || len(problems) > 0 || !blank(read) {
			return texts(read), at, problems, err
		}
	}
}

func blank(cells []string) bool {
	return !slices.ContainsFunc(cells, func(s string) bool { return strip(s) != "" })
}

// maxLines is the most line breaks that one record of a table may have inside its quotes.
const maxLines = 10_000

// record reads one record, which runs over several physical lines where line breaks stand inside quotes.
//
// A quote that goes wrong would swallow the lines below it. So only the record's first line is refused then, and reading
// goes on with the second.
func (g *csvGrid) record() (cells []string, at int, problems events.Problems, err error) {
	s := splitter{delimiter: g.delimiter}
	var taken []line // all lines of the record but the first
	size := 0
	for {
		l, err := g.in.next()
		switch {
		case errors.Is(err, io.EOF) && at > 0, err == nil && l.long && at > 0: // the quote was never closed
			if err == nil {
				taken = append(taken, line{n: l.n, long: true})
			}
			g.in.again(taken)
			return nil, at, broken(at), nil
		case err != nil:
			return nil, 0, nil, err
		case l.long:
			return nil, l.n, events.Problems{{Why: say("ingest.too-long", "most", maxLine), Instead: say("ingest.too-long-instead")}}, nil
		}
		if at == 0 {
			at = l.n
		} else {
			taken = append(taken, line{n: l.n, text: slices.Clone(l.text)})
		}
		size += len(l.text) + 1
		done, bad := s.feed(string(l.text))
		if bad || !done && (size > maxLine || len(taken) > maxLines) {
			g.in.again(taken)
			return nil, at, broken(at), nil
		}
		if done {
			return s.cells, at, nil, nil
		}
	}
}

func broken(at int) events.Problems {
	return events.Problems{{Why: say("ingest.quote", "line", at), Instead: say("ingest.quote-instead")}}
}

// A splitter cuts a record into cells, line by line.
type splitter struct {
	delimiter byte
	cells     []string
	cell      strings.Builder // the quoted cell that is being read
	quoted    bool            // a quote is open
}

// feed takes the next line. done: the record ends with it; bad: something stands behind a closing quote.
func (s *splitter) feed(text string) (done, bad bool) {
	if s.quoted {
		s.cell.WriteByte('\n')
	}
	for {
		if s.quoted {
			i := strings.IndexByte(text, '"')
			if i < 0 {
				s.cell.WriteString(text)
				return false, false
			}
			s.cell.WriteString(text[:i])
			text = text[i+1:]
			if strings.HasPrefix(text, `"`) {
				s.cell.WriteByte('"')
				text = text[1:]
				continue
			}
			s.quoted = false
			s.cells = append(s.cells, s.cell.String())
			text = strings.TrimLeft(text, " ")
			switch {
			case text == "":
				return true, false
			case text[0] != s.delimiter:
				return false, true
			}
			text = text[1:]
		}
		// At the beginning of a cell.
		if inner := strings.TrimLeft(text, " "); strings.HasPrefix(inner, `"`) {
			s.quoted = true
			s.cell.Reset()
			text = inner[1:]
			continue
		}
		i := strings.IndexByte(text, s.delimiter)
		if i < 0 {
			s.cells = append(s.cells, text)
			return true, false
		}
		s.cells = append(s.cells, text[:i])
		text = text[i+1:]
	}
}

// strip takes the blanks off both ends of a cell, also those that do not break.
func strip(s string) string {
	if s == "" {
		return s
	}
	return strings.Trim(s, " \t\r\n\u00a0\u2007\u202f\ufeff\u200b")
}
