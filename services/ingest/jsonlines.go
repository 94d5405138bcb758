package ingest

import (
	"bytes"
	"strings"

	"latewood/events"
	"latewood/events/canon"
)

// jsonLines reads one object a line.
type jsonLines struct {
	in        *lines
	kind      *events.Kind // what bare data is of; nil: none is
	catalogue *events.Catalogue
	station   string // of weather rows that name none
}

func (j *jsonLines) next() (Row, error) {
	for {
		l, err := j.in.next()
		if err != nil {
			return Row{}, err
		}
		if !l.long && len(bytes.TrimSpace(l.text)) == 0 {
			continue
		}
		row := Row{Line: l.n}
		if l.long {
			row.add("", nil, say("ingest.too-long", "most", maxLine), say("ingest.too-long-instead"))
			return row, nil
		}
		v, err := canon.Parse(l.text)
		if err != nil {
			row.badJSON(err)
			return row, nil
		}
		if v.Kind != canon.Object {
			row.add("", events.Plain(v), say("ingest.json-object"), say("ingest.json-envelope-instead"))
			return row, nil
		}
		switch {
		case j.kind != nil && !j.envelope(v):
			j.bare(&row, v)
		default:
			j.whole(&row, v)
		}
		return row, nil
	}
}

func (r *Row) add(field string, value any, why, instead events.Sentence) {
	if s, ok := value.(string); ok {
		value = strings.ToValidUTF8(s, "\ufffd") // it will be shown as JSON
	}
	r.Problems = append(r.Problems, events.Problem{Field: field, Value: value, Why: why, Instead: instead})
}

// badJSON says where a line stops being JSON.
func (r *Row) badJSON(err error) {
	e, ok := canon.IsSyntax(err)
	if !ok {
		e = &canon.SyntaxError{What: canon.Unexpected}
	}
	var value any
	if e.Text != "" {
		value = e.Text
	}
	r.add("", value, say("ingest.json-syntax", "what", say("json."+e.What, "offset", e.Offset, "text", e.Text)), say("ingest.json-syntax-instead"))
}

// envelope reports whether an object is a whole record although a kind was named: it has type and data, and the kind has no
// fields of these names.
func (j *jsonLines) envelope(v canon.Value) bool {
	return v.Get("type").Kind == canon.String && v.Get("data").Kind == canon.Object &&
		j.kind.Shape.Field("data") == nil
}

// beside is what may stand beside bare data in its object, and where it goes.
func beside(d *events.Draft, name string) *string {
	switch name {
	case "time":
		return &d.Time
	case "id":
		return &d.ID
	case "actor":
		return &d.Actor
	case "notedtime":
		return &d.NotedTime
	}
	return nil
}

// bare reads the data of a kind, with what may stand beside it.
func (j *jsonLines) bare(row *Row, v canon.Value) {
	row.Draft.Type = j.kind.Type()
	data := canon.Value{Kind: canon.Object, Members: v.Members[:0:0]}
	for _, m := range v.Members {
		into := beside(&row.Draft, m.Name)
		if into == nil || j.kind.Shape.Field(m.Name) != nil {
			data.Members = append(data.Members, m)
			continue
		}
		row.attribute(into, m)
	}
	if j.station != "" && j.kind.Name == weatherKind && data.Get("station").Kind == canon.Absent {
		data.Set("station", canon.Text(j.station))
	}
	row.Draft.Data = data
}

// dropped are the attributes of an exported record that the recorder gives anew: they depend on the place in a ledger, or
// say what every record says.
var dropped = map[string]bool{
	"specversion": true, "datacontenttype": true, "farm": true, "batch": true, "salt": true, "chains": true,
}

//words:data the attributes of an envelope, for the nearest to an unknown one
var attributes = []string{"id", "source", "type", "time", "notedtime", "devicetime", "recordedtime", "actor", "data"}

// whole reads an envelope.
func (j *jsonLines) whole(row *Row, v canon.Value) {
	d := &row.Draft
	for _, m := range v.Members {
		into := beside(d, m.Name)
		switch m.Name {
		case "source":
			into = &d.Source
		case "type":
			into = &d.Type
		case "devicetime":
			into = &d.DeviceTime
		case "recordedtime":
			into = &row.Recorded
		case "data":
			d.Data = m.Value
			continue
		}
		switch {
		case into != nil:
			row.attribute(into, m)
		case dropped[m.Name]:
		default:
			instead := say("ingest.attribute-instead", "names", strings.Join(attributes, ", "))
			if near := nearest(m.Name, attributes); near != "" {
				instead = say("refuse.did-you-mean", "near", near)
			}
			row.add(m.Name, events.Plain(m.Value), say("ingest.attribute"), instead)
		}
	}
	if d.NotedTime == "" {
		d.NotedTime = row.Recorded
	}
	if v.Get("type").Kind == canon.Absent {
		row.add("type", nil, say("refuse.required"), say("ingest.json-envelope-instead"))
	}
	if v.Get("data").Kind == canon.Absent {
		row.add("data", nil, say("refuse.required"), say("ingest.json-envelope-instead"))
	}
	if j.kind != nil && d.Type != "" && !sameKind(j.catalogue, d.Type, j.kind.Name) {
		row.add("type", d.Type, say("ingest.json-other-kind", "kind", j.kind.Name), say("ingest.json-other-kind-instead"))
	}
}

// attribute takes one text of the envelope.
func (r *Row) attribute(into *string, m canon.Member) {
	if m.Value.Kind != canon.String || strings.TrimSpace(m.Value.Str) == "" {
		r.add(m.Name, events.Plain(m.Value), say("ingest.attribute-text"), say("ingest.attribute-text-instead"))
		return
	}
	*into = m.Value.Str
}
