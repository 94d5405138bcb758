package app

import (
	"context"
	"errors"
	"slices"
	"strings"

	"latewood/events"
	"latewood/events/words"
	"latewood/projections"
	"latewood/services/ingest/templates"
	"latewood/services/serve"
)

// TemplateRequest asks for the empty table of a kind.
type TemplateRequest struct {
	Farm   string `json:"farm,omitempty"`
	Kind   string `json:"kind"` // or the name of a table
	Format string `json:"format,omitempty"`
}

// Template ends a template.
type Template struct {
	Kind    string `json:"kind"`
	Columns int    `json:"columns"`
	Blocks  int    `json:"blocks"` // of the farm, that the drop-downs offer
}

// opTemplate hands over the template as pieces. Without a farm it lists nothing of one.
func (a *App) opTemplate(ctx context.Context, q TemplateRequest, _ serve.File, progress func(any)) (any, int, error) {
	codes, err := a.Codes()
	if err != nil {
		return nil, 1, err
	}
	var of templates.Farm
	if len(codes) == 1 || q.Farm != "" {
		err := a.read(ctx, Asked{Farm: q.Farm}, func(f *farm, b *projections.Book, _ int) error {
			of = choices(f.code, b)
			return nil
		})
		if err != nil {
			return nil, 1, err
		}
	}
	return makeTemplate(q, of, progress)
}

// TemplateAlone is the operation "template" where there is no folder to ask.
func TemplateAlone(q TemplateRequest, progress func([]byte)) (document []byte, exit int, err error) {
	doc, exit, err := makeTemplate(q, templates.Farm{}, func(p any) {
		if b, err := events.WriteJSON(p); err == nil {
			progress(b)
		}
	})
	if err != nil {
		return nil, exit, err
	}
	document, err = events.WriteJSON(doc)
	return document, exit, err
}

func makeTemplate(q TemplateRequest, of templates.Farm, progress func(any)) (any, int, error) {
	t, err := templates.New(events.Standard(), q.Kind, of)
	var p events.Problem
	switch {
	case errors.As(err, &p):
		return nil, 2, &serve.Fault{Exit: 2, Text: words.Say("out.kind", "kind", q.Kind, "instead", p.Instead.String())}
	case err != nil:
		return nil, 1, err
	}
	w := &pieces{progress: progress}
	switch q.Format {
	case "", "xlsx":
		err = t.XLSX(w)
	case "csv":
		err = t.CSV(w)
	default:
		return nil, 2, &serve.Fault{Exit: 2, Text: words.Say("out.template-format", "format", q.Format)}
	}
	if err == nil {
		err = w.flush()
	}
	if err != nil {
		return nil, 1, err
	}
	return Template{Kind: t.Kind.Name, Columns: len(t.Columns), Blocks: len(of.Blocks)}, 0, nil
}

// choices are what a farm's drop-downs offer: its blocks, stations and labels, as they stand.
func choices(code string, b *projections.Book) templates.Farm {
	out := templates.Farm{Code: code}
	blocks, stations, closed := map[string]string{}, map[string]bool{}, map[string]bool{}
	for _, f := range b.Facts() {
		if !f.Stands() {
			continue
		}
		switch d := f.Data().(type) {
		case *events.BlockEstablished:
			blocks[d.Block] = d.Name
		case *events.BlockChanged:
			if _, ok := blocks[d.Block]; ok && d.Name != "" {
				blocks[d.Block] = d.Name
			}
		case *events.BlockRedrawn:
			for _, from := range d.From {
				delete(blocks, from)
			}
			for _, into := range d.Into {
				blocks[into.Block] = into.Name
			}
		case *events.StationSited:
			stations[d.Station] = true
		case *events.LabelFiled:
			out.Labels = append(out.Labels, templates.Choice{Code: f.ID.String(), Name: strings.TrimSpace(d.Product + " " + d.LabelVersion)})
		case *events.LabelClosed:
			closed[d.Label] = true
		}
	}
	for _, code := range sortedNames(blocks) {
		out.Blocks = append(out.Blocks, templates.Choice{Code: code, Name: blocks[code]})
	}
	for _, code := range sortedNames(stations) {
		out.Stations = append(out.Stations, templates.Choice{Code: code})
	}
	out.Labels = slices.DeleteFunc(out.Labels, func(c templates.Choice) bool { return closed[c.Code] })
	slices.SortStableFunc(out.Labels, func(a, b templates.Choice) int { return strings.Compare(a.Name, b.Name) })
	return out
}

func sortedNames[V any](m map[string]V) []string {
	out := make([]string, 0, len(m))
	for name := range m {
		out = append(out, name)
	}
	slices.Sort(out)
	return out
}
