package elements

import (
	"slices"
	"strings"
	"time"

	"latewood/events"
	"latewood/events/civil"
	"latewood/events/units"
	"latewood/projections"
	"latewood/projections/holds"
	"latewood/projections/orchard"
)

// A Spray is what rules look at of one spray.applied, put together from its record, the labels that it names, the blocks and
// trees that it covered, and what was posted about it.
type Spray struct {
	Fact    *projections.Fact
	Data    *events.SprayApplied
	Started events.Moment
	Ended   events.Moment // the latest of the parts
	Places  []Place       // by the order of the record
	Items   []Item
	// Crops are the species that stood there, by name; where no tree is listed, the crop that the labels list as grown here.
	Crops     []string
	Cultivars []string
	// Reentry is what the labels say together, with the moment from which it is open.
	Reentry Reentry
	Posted  []*projections.Fact // spray.posted about it, standing, in order
	Missing []Missing           // in the order of Table, a product's own elements by its place in the mix
	// Sets are the rules that were looked at, in the order of Table.
	Sets []Set
}

// A Place is a block that a spray covered, and its parts.
type Place struct {
	Block string
	Name  string // what people call it; empty where the ledger does not describe it
	Parts []events.Part
	Trees int // that stood in the parts, where trees are listed
}

// An Item is one product of a mix.
type Item struct {
	Product      string
	Registration string
	Label        *events.LabelFiled // nil: typed, or the label is not there
	LabelFact    *projections.Fact
	Mix          events.MixItem
}

// A Reentry is the re-entry interval of a spray over all its products.
type Reentry struct {
	Hours  *float64 // the longest that is stated in hours
	Words  []string // what labels say in words
	Double bool     // a label wants signs and an oral warning
	// Opens is the first instant at which no recorded re-entry interval of this spray runs; zero where that is not known.
	Opens time.Time
	// Read says that a label must be read by a person: an interval is not stated in hours.
	Read bool
}

// Named reports whether the register knows the name of a pseudonym. A nil Named knows all.
type Named func(code string) bool

// Sprays gathers every standing spray.applied of a Book, in order of time and id.
func Sprays(b *projections.Book, named Named) []Spray {
	r := newReader(b, named)
	var out []Spray
	for _, f := range b.Facts() {
		if _, ok := f.Data().(*events.SprayApplied); ok && f.Stands() {
			out = append(out, r.spray(f))
		}
	}
	return out
}

// OfSpray gathers one spray.applied, and what is missing in it.
func OfSpray(b *projections.Book, f *projections.Fact, named Named) Spray {
	return newReader(b, named).spray(f)
}

// A reader keeps what many sprays ask for.
type reader struct {
	b     *projections.Book
	named Named
	rows  map[string]Element
	// closes is what each spray closes, by block and id of the spray.
	closes map[string]map[string]holds.Interval
}

func newReader(b *projections.Book, named Named) *reader {
	if named == nil {
		named = func(string) bool { return true }
	}
	return &reader{b: b, named: named, rows: table(), closes: map[string]map[string]holds.Interval{}}
}

func (r *reader) interval(block, spray string) (holds.Interval, bool) {
	if r.closes[block] == nil {
		r.closes[block] = map[string]holds.Interval{}
		for _, in := range holds.Of(r.b, block).Intervals(r.b.Zone()) {
			r.closes[block][in.Spray] = in
		}
	}
	in, ok := r.closes[block][spray]
	return in, ok
}

func (r *reader) spray(f *projections.Fact) Spray {
	b := r.b
	d := f.Data().(*events.SprayApplied)
	zone := b.Zone()
	s := Spray{Fact: f, Data: d}
	s.Started, _ = events.ParseMoment(d.Started, zone)
	s.Ended, _ = events.ParseMoment(d.Ended, zone)
	for _, p := range d.Where {
		if m, err := events.ParseMoment(p.Ended, zone); err == nil && m.Latest(zone).After(s.Ended.Latest(zone)) {
			s.Ended = m
		}
	}
	s.places(b)
	s.items(b)
	if len(s.Crops) == 0 {
		for _, i := range s.Items {
			if i.Label != nil && i.Label.CropListed != nil && *i.Label.CropListed && !slices.Contains(s.Crops, i.Label.Crop) && i.Label.Crop != "" {
				s.Crops = append(s.Crops, i.Label.Crop)
			}
		}
	}
	s.reentry(r)
	for _, about := range b.View(projections.FarmKey).About(f.ID) {
		if _, ok := about.Data().(*events.SprayPosted); ok {
			s.Posted = append(s.Posted, about)
		}
	}
	s.look(r)
	return s
}

// places gathers the blocks, and what grew there.
func (s *Spray) places(b *projections.Book) {
	for _, p := range s.Data.Where {
		i := slices.IndexFunc(s.Places, func(o Place) bool { return o.Block == p.Block })
		if i < 0 {
			i = len(s.Places)
			s.Places = append(s.Places, Place{Block: p.Block, Name: projections.StateOf[orchard.State](b, orchard.Fold(), p.Block).Name})
		}
		s.Places[i].Parts = append(s.Places[i].Parts, p.Part)
	}
	for i := range s.Places {
		place := &s.Places[i]
		standing := b.View(projections.Key{Class: projections.Block, Code: place.Block}).Ground().Resolve(place.Parts, s.Fact.Time)
		place.Trees = len(standing)
		for _, t := range standing {
			if !slices.Contains(s.Crops, t.Species) {
				s.Crops = append(s.Crops, t.Species)
			}
			if t.Cultivar != "" && !slices.Contains(s.Cultivars, t.Cultivar) {
				s.Cultivars = append(s.Cultivars, t.Cultivar)
			}
		}
	}
	slices.Sort(s.Crops)
	slices.Sort(s.Cultivars)
}

// items gathers the products with their labels.
func (s *Spray) items(b *projections.Book) {
	v := b.View(projections.FarmKey)
	for _, m := range s.Data.Mix {
		i := Item{Product: m.Product, Registration: m.Registration, Mix: m}
		if m.Label != "" {
			i.LabelFact, i.Label = v.Label(m.Label)
		}
		if i.Label != nil {
			i.Product = i.Label.Product
			if i.Label.Registration != "" {
				i.Registration = i.Label.Registration
			}
		}
		s.Items = append(s.Items, i)
	}
}

// covered reports whether a product is one whose label can hold people and fruit back under the rules about pesticides: an
// adjuvant or nutrient is not, nor what its label calls minimum-risk or other.
func (i Item) covered() bool {
	if !i.Mix.IsActive() {
		return false
	}
	if i.Label == nil {
		return true
	}
	switch i.Label.Material {
	case "pesticide", "growth-regulator", "biological":
		return true
	}
	return false
}

// restricted says whether the label restricts the use: yes, no, or that it does not say.
func (i Item) restricted() (yes, doubt bool) {
	switch {
	case !i.covered():
		return false, false
	case i.Label == nil || i.Label.RestrictedUse == nil:
		return true, true
	}
	return *i.Label.RestrictedUse, false
}

// reentry puts the labels' re-entry together; when it is open is for package holds to say.
func (s *Spray) reentry(r *reader) {
	for _, i := range s.Items {
		if !i.Mix.IsActive() || i.Label == nil {
			continue
		}
		for _, line := range i.Label.Reentry {
			if line.Hours != nil && (s.Reentry.Hours == nil || *line.Hours > *s.Reentry.Hours) {
				h := *line.Hours
				s.Reentry.Hours = &h
			}
			if line.Words != "" && !slices.Contains(s.Reentry.Words, line.Words) {
				s.Reentry.Words = append(s.Reentry.Words, line.Words)
			}
			s.Reentry.Double = s.Reentry.Double || line.DoubleNotification != nil && *line.DoubleNotification
		}
	}
	id := s.Fact.ID.String()
	for _, p := range s.Places {
		in, ok := r.interval(p.Block, id)
		if !ok {
			continue
		}
		s.Reentry.Read = s.Reentry.Read || in.ReadEnter
		if at, err := time.Parse(time.RFC3339, in.Enter); err == nil && at.After(s.Reentry.Opens) {
			s.Reentry.Opens = at.In(r.b.Zone())
		}
	}
	if s.Reentry.Read {
		s.Reentry.Opens = time.Time{}
	}
}

// look finds what is missing.
func (s *Spray) look(r *reader) {
	b, named, rows := r.b, r.named, r.rows
	gone := func(id, product, doubt string) {
		s.Missing = append(s.Missing, Missing{Record: s.Fact.ID.String(), Element: id, Rule: rows[id].Source, Product: product, Doubt: doubt})
	}
	s.restricted(b, named, gone)
	s.commercial(b, named, gone)
	s.display(gone)
	s.warnings(gone)
}

// products names what each product lacks that a test picks out: its name, its registration, its total.
func (s *Spray) products(prefix string, which func(Item) (yes bool, doubt string), gone func(id, product, doubt string), total bool) {
	for _, i := range s.Items {
		yes, doubt := which(i)
		if !yes {
			continue
		}
		if i.Product == "" {
			gone(prefix+".product", "", doubt)
		}
		if i.Registration == "" {
			gone(prefix+".registration", i.Product, doubt)
		}
		if total && i.Mix.Total == nil {
			gone(prefix+".total", i.Product, doubt)
		}
	}
}

// described reports whether the ledger describes every block that was sprayed.
func (s *Spray) described() bool {
	return !slices.ContainsFunc(s.Places, func(p Place) bool { return p.Name == "" })
}

func word(doubt bool) string {
	if doubt {
		return "restricted"
	}
	return ""
}

// restricted looks at 7 CFR 110.3(a), and (b) for a spot.
func (s *Spray) restricted(b *projections.Book, named Named, gone func(id, product, doubt string)) {
	applies, doubt := false, true
	for _, i := range s.Items {
		yes, unsure := i.restricted()
		applies = applies || yes
		doubt = doubt && (!yes || unsure)
	}
	if !applies {
		return
	}
	s.Sets = append(s.Sets, Restricted)
	spot := s.Data.Spot != nil && *s.Data.Spot && spotArea(b, s.Fact) < tenthOfAnAcre
	prefix := "rup"
	if spot {
		prefix = "spot"
		s.Sets = append(s.Sets, Spot)
	}
	s.products(prefix, func(i Item) (bool, string) {
		yes, unsure := i.restricted()
		return yes, word(unsure)
	}, gone, true)
	unsure := word(doubt)
	switch {
	case spot && slices.ContainsFunc(s.Places, func(p Place) bool { return p.whole() }):
		gone("spot.place", "", unsure)
	case !spot && !s.described():
		gone("rup.location", "", unsure)
	}
	if s.Data.AreaTreated == nil && !spot {
		gone("rup.area", "", unsure)
	}
	if len(s.Crops) == 0 {
		gone("rup.crop", "", unsure)
	}
	s.certified("rup", unsure, named, gone)
}

// certified looks at who is certified: who supervised, else who applied.
func (s *Spray) certified(prefix, doubt string, named Named, gone func(id, product, doubt string)) {
	who := s.Certified()
	if who == nil || !named(who.Code) {
		gone(prefix+".applicator", "", doubt)
	}
	if who == nil || who.Commitment == "" {
		gone(prefix+".certificate", "", doubt)
	}
}

// Certified is who answers for the spray: who supervised it, else who applied it.
func (s *Spray) Certified() *events.Person {
	if s.Data.SupervisedBy != nil {
		return s.Data.SupervisedBy
	}
	return s.Data.Applicator
}

// Uncertified is the pseudonym of who applied under supervision, "" where nobody is named or nobody supervised.
func (s *Spray) Uncertified() string {
	switch {
	case s.Data.NoncertifiedApplicator != "":
		return s.Data.NoncertifiedApplicator
	case s.Data.SupervisedBy != nil && s.Data.Applicator != nil && s.Data.Applicator.Code != s.Data.SupervisedBy.Code:
		return s.Data.Applicator.Code
	}
	return ""
}

// Hired reports whether somebody was hired to spray, or sprayed for a customer.
func (s *Spray) Hired() bool { return s.Data.Contractor != nil || s.Data.Customer != nil }

// Customer is for whom a hired applicator sprayed: the customer that the record names, else the farm as its first record has
// it; nil where neither is known.
func (s *Spray) Customer(b *projections.Book) *events.Party {
	if s.Data.Customer != nil {
		return s.Data.Customer
	}
	if o := b.Opened(); o != nil {
		p := events.Party{Name: o.Name}
		if o.Contact != nil {
			p = *o.Contact
			if p.Name == "" {
				p.Name = o.Name
			}
		}
		return &p
	}
	return nil
}

// commercial looks at 40 CFR 171.303(b)(7).
func (s *Spray) commercial(b *projections.Book, named Named, gone func(id, product, doubt string)) {
	if !s.Hired() {
		return
	}
	s.Sets = append(s.Sets, Commercial)
	customer := s.Customer(b)
	if customer == nil || customer.Name == "" && customer.Code == "" {
		gone("com.customer", "", "")
	}
	if customer == nil || customer.Address == "" {
		gone("com.address", "", "")
	}
	if !s.described() {
		gone("com.location", "", "")
	}
	if s.Data.AreaTreated == nil {
		gone("com.area", "", "")
	}
	if len(s.Crops) == 0 {
		gone("com.crop", "", "")
	}
	if s.Started.Only || s.Ended.Only {
		gone("com.time", "", "")
	}
	s.products("com", func(i Item) (bool, string) { return i.covered(), "" }, gone, true)
	s.certified("com", "", named, gone)
	if s.Data.SupervisedBy != nil {
		if who := s.Uncertified(); who == "" || !named(who) {
			gone("com.noncertified", "", "")
		}
	}
}

// display looks at 40 CFR 170.311(b)(1), for the covered products.
func (s *Spray) display(gone func(id, product, doubt string)) {
	if !slices.ContainsFunc(s.Items, Item.covered) {
		return
	}
	s.Sets = append(s.Sets, Display)
	sheet := slices.ContainsFunc(s.Posted, func(f *projections.Fact) bool {
		d := f.Data().(*events.SprayPosted)
		return d.SafetyDataSheetThere != nil && *d.SafetyDataSheetThere
	})
	for _, i := range s.Items {
		if !i.covered() {
			continue
		}
		if !sheet && (i.Label == nil || i.Label.SafetyDataSheet == "") {
			gone("wps.sheet", i.Product, "")
		}
	}
	s.products("wps", func(i Item) (bool, string) { return i.covered(), "" }, gone, false)
	for _, i := range s.Items {
		if i.covered() && (i.Label == nil || len(i.Label.ActiveIngredients) == 0) {
			gone("wps.ingredients", i.Product, "")
		}
	}
	if len(s.Crops) == 0 {
		gone("wps.crop", "", "")
	}
	if !s.described() {
		gone("wps.location", "", "")
	}
	if s.Started.Only || s.Ended.Only {
		gone("wps.times", "", "")
	}
	for _, i := range s.Items {
		if i.covered() && (i.Label == nil || len(i.Label.Reentry) == 0) {
			gone("wps.interval", i.Product, "")
		}
	}
}

// SignHours is the re-entry interval above which signs are wanted outdoors (40 CFR 170.409(a), from memory).
const SignHours = 48

// Warnings says what 40 CFR 170.409(a) wants for an interval: signs, an oral warning, or one of the two. All are false where
// no interval in hours is known.
func (r Reentry) Warnings() (signs, oral, either bool) {
	if r.Hours == nil || *r.Hours <= 0 {
		return r.Double, r.Double, false
	}
	signs, oral = *r.Hours > SignHours || r.Double, r.Double
	return signs, oral, !signs && !oral
}

// warnings looks at 40 CFR 170.409(a).
func (s *Spray) warnings(gone func(id, product, doubt string)) {
	signs, oral, either := s.Reentry.Warnings()
	if !slices.ContainsFunc(s.Items, Item.covered) || !signs && !oral && !either {
		return
	}
	s.Sets = append(s.Sets, Warning)
	w := s.Data.Warning
	if w == nil {
		w = &events.Warning{}
	}
	switch {
	case either && w.SignsUp == "" && w.Oral == "":
		gone("notice.either", "", "")
	case signs && w.SignsUp == "":
		gone("notice.signs", "", "")
	}
	if oral && w.Oral == "" {
		gone("notice.oral", "", "")
	}
}

// whole reports whether the record names no part of the block.
func (p Place) whole() bool {
	return slices.ContainsFunc(p.Parts, events.Part.Whole)
}

// tenthOfAnAcre is the limit of 7 CFR 110.3(b) (from memory), in square metres: an acre is 4,046.8564224 m2.
const tenthOfAnAcre = 404.68564224

// spotArea is the area in square metres of all sprays on the day of a spray that are marked as spots: as recorded, else the
// block's own area by its share of trees. Where one of them says neither, the area is unknown and as large as can be.
func spotArea(b *projections.Book, f *projections.Fact) float64 {
	const unknown = 1e18
	sum := 0.0
	day := civil.DateOf(f.Time, b.Zone())
	for _, other := range b.Facts() {
		d, ok := other.Data().(*events.SprayApplied)
		if !ok || !other.Stands() || d.Spot == nil || !*d.Spot || civil.DateOf(other.Time, b.Zone()) != day {
			continue
		}
		if d.AreaTreated != nil {
			m2, err := units.Convert(d.AreaTreated.Value, d.AreaTreated.Unit, "m2")
			if err != nil {
				return unknown
			}
			sum += m2
			continue
		}
		for _, p := range projections.PartsOf(d) {
			ground := b.View(projections.Key{Class: projections.Block, Code: p.Block}).Ground()
			all, some := len(ground.At(other.Time)), len(ground.Resolve([]events.Part{p}, other.Time))
			area := projections.StateOf[orchard.State](b, orchard.Fold(), p.Block).At(day).AreaM2
			if area <= 0 || all == 0 {
				return unknown
			}
			sum += area * float64(some) / float64(all)
		}
	}
	return sum
}

// Short is a product list in few words.
func (s *Spray) Short() string {
	var names []string
	for _, i := range s.Items {
		if i.Product != "" {
			names = append(names, i.Product)
		}
	}
	return strings.Join(names, ", ")
}
