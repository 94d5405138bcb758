package ingest

import (
	"errors"
	"io"
	"slices"
	"strings"

	"latewood/events"
	"latewood/services/ingest/stations"
)

// archive reads what weather archives and stations write (services/ingest/stations).
type archive struct {
	in     *lines
	parser stations.Parser
	given  []stations.Reading // read, and not yet asked for
	ended  bool
	left   []LeftValue
	leftN  int
}

// A LeftValue is a value that stood in the file and that no record can hold, or that its archive rejects.
type LeftValue = stations.LeftOut

// mostLeft is how many values left out are listed; the others are counted.
const mostLeft = 1000

// archiveFormat tells whether a file is one of a weather archive: because somebody says so, or by its beginning.
func archiveFormat(o Options, head []byte) (stations.Format, bool) {
	as := stations.Format(strings.TrimSpace(o.As))
	if slices.Contains(stations.Formats(), as) {
		return as, true
	}
	switch {
	case o.Map != nil, as != "" && as != "weather" && !strings.HasPrefix(string(as), weatherKind):
		return "", false
	}
	return stations.Sniff(head, len(head) < headSize)
}

// openArchive makes a Reader for a file of a weather archive. The station is the farm's code, or CODE=ID where the file
// holds several stations.
func openArchive(in *lines, f stations.Format, o Options) (*Reader, error) {
	code, id, _ := strings.Cut(o.Station, "=")
	if o.Map != nil {
		return nil, refused(o.Name, 0, "", events.Problem{Value: string(f), Why: say("ingest.archive-map"), Instead: say("ingest.no-table-instead")})
	}
	if code = strings.TrimSpace(code); code == "" {
		return nil, refused(o.Name, 0, "", events.Problem{Field: "station", Why: say("ingest.station"), Instead: say("ingest.archive-station")})
	}
	kind := o.Catalogue.Kind(weatherKind)
	if kind == nil {
		return nil, refused(o.Name, 0, "", events.Problem{Value: string(f), Why: say("ingest.as", "as", weatherKind)})
	}
	src := &archive{in: in, parser: stations.New(f, stations.Options{Station: code, ID: strings.TrimSpace(id), Zone: o.Zone})}
	return &Reader{format: Format(f), kind: kind, src: src}, nil
}

func (a *archive) next() (Row, error) {
	for {
		for len(a.given) > 0 {
			r := a.given[0]
			a.given = a.given[1:]
			a.leave(r)
			switch {
			case len(r.Problems) > 0:
				return Row{Line: r.Line, Problems: r.Problems}, nil
			case r.Data != nil:
				return Row{Line: r.Line, Draft: r.Draft()}, nil
			}
		}
		if a.ended {
			return Row{}, io.EOF
		}
		l, err := a.in.next()
		switch {
		case errors.Is(err, io.EOF):
			a.ended = true
			a.given = a.parser.End()
		case err != nil:
			return Row{}, err
		case l.long:
			row := Row{Line: l.n}
			row.add("", nil, say("ingest.too-long", "most", maxLine), say("ingest.too-long-instead"))
			return row, nil
		default:
			a.given = a.parser.Line(l.n, string(l.text))
		}
	}
}

func (a *archive) leave(r stations.Reading) {
	a.leftN += len(r.LeftOut)
	a.left = append(a.left, r.LeftOut[:min(len(r.LeftOut), mostLeft-len(a.left))]...)
}

// LeftValues lists values of a weather archive that were read so far and not taken, with their reasons, and counts them; it
// lists the first thousand.
func (r *Reader) LeftValues() (first []LeftValue, n int) {
	if a, ok := r.src.(*archive); ok {
		return a.left, a.leftN
	}
	return nil, 0
}

// isPack reports whether a text that begins with a list is SenML.
func isPack(text []byte) bool {
	_, ok := stations.Sniff(text, false)
	return ok
}
