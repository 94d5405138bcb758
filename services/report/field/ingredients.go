package field

import (
	"cmp"
	"slices"
	"strings"

	"latewood/events"
	"latewood/events/civil"
	"latewood/events/units"
	"latewood/projections"
	"latewood/projections/elements"
	"latewood/projections/orchard"
	"latewood/services/report"
)

// an amount is what one block got of one active ingredient.
type amount struct {
	ingredient, group, block string
	uses                     int
	mg                       int64 // of the ingredient
	unknown                  int   // uses whose amount cannot be told
	area                     float64
	products                 []string
	last                     civil.Date
}

// Ingredients is a season by active ingredient: how often, how much, of which products, on which block. Without a season or
// days in the query it is of the crop year that the moment falls in.
func Ingredients(b *projections.Book, q Query, people People) *report.Report {
	d := newBuilder(b, q, people)
	day := civil.DateOf(q.At, d.zone)
	if q.Season == "" && q.Spray == "" && q.From.IsZero() && q.To.IsZero() {
		d.q.Season = civil.CropYear(day, b.Turn(day))
	}
	r := d.begin("ingredients", d.say.Say("sheet.ingredients-title"))
	r.Wide = true
	sprays, withdrawn, corrected := d.sprays()
	d.covers(r, len(sprays), withdrawn, corrected)
	var amounts []amount
	var unlisted []string
	for i := range sprays {
		s := &sprays[i]
		weights, codes := d.weights(s)
		for _, item := range s.Items {
			if item.Label == nil || len(item.Label.ActiveIngredients) == 0 {
				if item.Mix.IsActive() && item.Product != "" && !slices.Contains(unlisted, item.Product) {
					unlisted = append(unlisted, item.Product)
				}
				continue
			}
			for _, ai := range item.Label.ActiveIngredients {
				mg, known := activeMass(item.Mix, s.Data, ai)
				parts := units.ShareOut(mg, weights, codes)
				for n, p := range s.Places {
					if d.q.Block != "" && p.Block != d.q.Block {
						continue
					}
					amounts = add(amounts, ai, p.Block, item.Product, parts[n], known, civil.DateOf(s.Fact.Time, d.zone))
				}
			}
		}
	}
	slices.SortFunc(amounts, func(a, b amount) int {
		return cmp.Or(strings.Compare(strings.ToLower(a.ingredient), strings.ToLower(b.ingredient)), strings.Compare(a.ingredient, b.ingredient), strings.Compare(a.block, b.block))
	})
	for i := range amounts {
		amounts[i].area = projections.StateOf[orchard.State](b, orchard.Fold(), amounts[i].block).At(day).AreaM2
	}
	r.Sections = append(r.Sections, report.Section{Title: d.say.Say("sheet.by-ingredient"), Tables: []report.Table{d.byIngredient(amounts)}},
		report.Section{Title: d.say.Say("sheet.by-block"), Tables: []report.Table{d.byBlock(amounts)}})
	if len(unlisted) > 0 {
		r.Sections[0].Marks = []report.Mark{{Head: d.say.Say("sheet.unlisted"), Texts: unlisted}}
	}
	r.Foot.Method = []string{d.say.Say("sheet.ingredients-method"), d.say.Say("sheet.ingredients-share")}
	r.Data = []report.Table{d.byBlock(amounts), d.byIngredient(amounts)}
	return r
}

// weights is how a spray's amounts are shared over its blocks: by trees where all of them list trees, else by area.
func (d *builder) weights(s *elements.Spray) (weights []int64, codes []string) {
	listed := true
	for _, p := range s.Places {
		listed = listed && p.Trees > 0
		codes = append(codes, p.Block)
	}
	for _, p := range s.Places {
		if listed {
			weights = append(weights, int64(p.Trees))
			continue
		}
		state := projections.StateOf[orchard.State](d.b, orchard.Fold(), p.Block)
		weights = append(weights, int64(state.At(civil.DateOf(s.Fact.Time, d.zone)).AreaM2))
	}
	return weights, codes
}

// activeMass is how much of an active ingredient a spray brought out, in milligrams: the product's total, or its rate by area,
// times the share that the label states. A share by mass of a product that was measured by volume says nothing without a
// density, which no label here has.
func activeMass(m events.MixItem, s *events.SprayApplied, ai events.Ingredient) (mg int64, known bool) {
	if ai.Share == nil {
		return 0, false
	}
	kg, litres := amounts(m, s)
	share, err := 0.0, error(nil)
	sum := 0.0
	switch {
	case kg != nil:
		if share, err = units.Convert(ai.Share.Value, ai.Share.Unit, "%"); err != nil {
			if share, err = units.Convert(ai.Share.Value, ai.Share.Unit, "g/kg"); err != nil {
				return 0, false
			}
			share /= 10
		}
		sum = *kg * share / 100
	case litres != nil:
		if share, err = units.Convert(ai.Share.Value, ai.Share.Unit, "g/L"); err != nil {
			return 0, false
		}
		sum = *litres * share / 1000
	default:
		return 0, false
	}
	mg, err = units.Base(sum, "kg")
	return mg, err == nil
}

// amounts is how much of a product was applied, in kg or in litres.
func amounts(m events.MixItem, s *events.SprayApplied) (kg, litres *float64) {
	if m.Total != nil {
		if v, err := units.Convert(m.Total.Value, m.Total.Unit, "kg"); err == nil {
			return &v, nil
		}
		if v, err := units.Convert(m.Total.Value, m.Total.Unit, "L"); err == nil {
			return nil, &v
		}
	}
	if m.Rate == nil || s.AreaTreated == nil {
		return nil, nil
	}
	ha, err := units.Convert(s.AreaTreated.Value, s.AreaTreated.Unit, "har")
	if err != nil {
		return nil, nil
	}
	if v, err := units.Convert(m.Rate.Value, m.Rate.Unit, "kg/har"); err == nil {
		v *= ha
		return &v, nil
	}
	if v, err := units.Convert(m.Rate.Value, m.Rate.Unit, "L/har"); err == nil {
		v *= ha
		return nil, &v
	}
	return nil, nil
}

// add counts one use.
func add(list []amount, ai events.Ingredient, block, product string, mg int64, known bool, day civil.Date) []amount {
	i := slices.IndexFunc(list, func(a amount) bool { return strings.EqualFold(a.ingredient, ai.Name) && a.block == block })
	if i < 0 {
		i = len(list)
		one := amount{ingredient: ai.Name, block: block}
		if ai.MoA != nil {
			one.group = strings.TrimSpace(ai.MoA.Scheme + " " + ai.MoA.Group)
		}
		list = append(list, one)
	}
	a := &list[i]
	a.uses++
	if known {
		a.mg += mg
	} else {
		a.unknown++
	}
	if !slices.Contains(a.products, product) {
		a.products = append(a.products, product)
	}
	if day.After(a.last) {
		a.last = day
	}
	return list
}

// kg is the sum of an amount; where no use says how much, it is not known.
func (a *amount) kg() report.Cell {
	if a.uses == a.unknown {
		return report.Cell{}
	}
	return report.Number(units.FromBase(a.mg, "kg"), 3)
}

func (a *amount) perHa() report.Cell {
	if a.uses == a.unknown || a.area <= 0 {
		return report.Cell{}
	}
	return report.Number(units.FromBase(a.mg, "kg")/a.area*10_000, 3)
}

func (d *builder) ingredientColumns(keys ...string) (out []report.Column) {
	for _, key := range keys {
		numbers := key == "uses" || key == "unknown" || strings.HasPrefix(key, "kg")
		out = append(out, report.Column{Key: strings.ReplaceAll(key, "-", "_"), Heading: d.say.Say("sheet.col-" + key), Numbers: numbers})
	}
	return out
}

// byBlock is a row for each ingredient and block.
func (d *builder) byBlock(list []amount) report.Table {
	t := report.Table{Key: "by-block", Name: d.say.Say("sheet.by-block"), Empty: d.say.Say("sheet.ingredients-none"),
		Columns: d.ingredientColumns("ingredient", "moa", "block", "uses", "kg", "kg-ha", "unknown", "last-use", "products")}
	for i := range list {
		a := &list[i]
		t.Add(report.Text(a.ingredient), report.Text(a.group), report.Text(a.block), report.Count(a.uses), a.kg(), a.perHa(), report.Count(a.unknown), report.Day(a.last), report.Text(strings.Join(a.products, ", ")))
	}
	return t
}

// byIngredient is a row for each ingredient.
func (d *builder) byIngredient(list []amount) report.Table {
	t := report.Table{Key: "by-ingredient", Name: d.say.Say("sheet.by-ingredient"), Empty: d.say.Say("sheet.ingredients-none"),
		Columns: d.ingredientColumns("ingredient", "moa", "blocks", "uses", "kg", "unknown", "last-use", "products")}
	for i := 0; i < len(list); {
		sum := list[i]
		sum.products = slices.Clone(sum.products)
		blocks := []string{sum.block}
		j := i + 1
		for ; j < len(list) && strings.EqualFold(list[j].ingredient, sum.ingredient); j++ {
			a := &list[j]
			sum.uses, sum.mg, sum.unknown = sum.uses+a.uses, sum.mg+a.mg, sum.unknown+a.unknown
			if a.last.After(sum.last) {
				sum.last = a.last
			}
			blocks = append(blocks, a.block)
			for _, p := range a.products {
				if !slices.Contains(sum.products, p) {
					sum.products = append(sum.products, p)
				}
			}
		}
		i = j
		t.Add(report.Text(sum.ingredient), report.Text(sum.group), report.Text(strings.Join(blocks, ", ")), report.Count(sum.uses), sum.kg(), report.Count(sum.unknown), report.Day(sum.last), report.Text(strings.Join(sum.products, ", ")))
	}
	return t
}
