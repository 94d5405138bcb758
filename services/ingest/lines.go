package ingest

import (
	"bufio"
	"bytes"
	"errors"
	"io"
)

// maxLine is the longest row in bytes, without its line break. A record has at most 60,000; what is longer than this is no
// row but a file of another kind, or a quote that was never closed.
const maxLine = 1 << 20

// lines cuts a file into physical lines, in bounded memory.
type lines struct {
	r    *bufio.Reader
	end  byte   // the last byte of a line break
	n    int    // the number of the line given last
	back []line // lines to be given again, the next one last
	buf  []byte
}

// A line is one physical line without its break.
type line struct {
	n    int    // from 1
	text []byte // valid until the next call
	long bool   // longer than maxLine; text then is empty
}

// newLines reads from r, whose beginning is head. Lines end with \n or \r\n; in a file that has none of these near its
// beginning, with \r, as some spreadsheets still write.
func newLines(r *bufio.Reader, head []byte) *lines {
	l := &lines{r: r, end: '\n'}
	if bytes.IndexByte(head, '\n') < 0 && bytes.IndexByte(head, '\r') >= 0 {
		l.end = '\r'
	}
	return l
}

// next gives the next line, io.EOF after the last. A file that ends with a line break has no line behind it.
func (l *lines) next() (line, error) {
	if last := len(l.back) - 1; last >= 0 {
		out := l.back[last]
		l.back = l.back[:last]
		l.n = out.n
		return out, nil
	}
	l.buf = l.buf[:0]
	long := false
	for {
		part, err := l.r.ReadSlice(l.end)
		if len(l.buf)+len(part) > maxLine+2 {
			long = true
		}
		if !long {
			l.buf = append(l.buf, part...)
		}
		switch {
		case err == nil:
		case errors.Is(err, bufio.ErrBufferFull):
			continue
		case !errors.Is(err, io.EOF):
			return line{}, err
		case len(l.buf) == 0 && !long:
			return line{}, io.EOF
		}
		break
	}
	text := l.buf
	if n := len(text); n > 0 && text[n-1] == l.end {
		text = text[:n-1]
	}
	if n := len(text); l.end == '\n' && n > 0 && text[n-1] == '\r' {
		text = text[:n-1]
	}
	if len(text) > maxLine {
		long = true
	}
	if long {
		text = nil
	}
	l.n++
	return line{n: l.n, text: text, long: long}, nil
}

// again gives lines back, which next then gives once more. Their texts must be the caller's own.
func (l *lines) again(given []line) {
	for i := len(given) - 1; i >= 0; i-- {
		l.back = append(l.back, given[i])
	}
}
