package yields

import (
	"maps"
	"slices"
	"strings"
	"time"

	"latewood/events"
	"latewood/events/civil"
	"latewood/events/units"
	"latewood/projections"
	"latewood/projections/settings"
)

// State is what one block bore.
type State struct {
	Seasons []Season `json:"seasons"` // by season; only those with a pick, or a crop assessed as none
}

// A Sum is the mass of some picks.
type Sum struct {
	MG      int64 `json:"mg"`
	Picks   int   `json:"picks"`
	Without int   `json:"without,omitempty"` // of the picks, those whose mass is not known: MG is then a lower bound
	Basis   Basis `json:"basis"`             // the weakest
}

// A Season is one crop of the block.
type Season struct {
	Season civil.Season `json:"season"`
	On     civil.Date   `json:"on"` // the day of its last pick, else of the last assessment
	Sum
	// Unassigned is the part of MG that no tree of the ledger takes, in milligrams.
	Unassigned int64      `json:"unassigned,omitempty"`
	Bearing    int        `json:"bearing"`          // trees of bearing age on that day, or as many as are stated
	Area       int64      `json:"area,omitempty"`   // mm2 on that day; 0: not known
	Trees      []Tree     `json:"trees,omitempty"`  // by code
	Groups     []Cultivar `json:"groups,omitempty"` // by cultivar
	NoMass     []NoMass   `json:"noMass,omitempty"` // by time and id
}

// A Tree is one tree's season.
type Tree struct {
	Tree     string `json:"tree"`
	Cultivar string `json:"cultivar,omitempty"` // at its last pick
	Age      *int   `json:"age,omitempty"`      // full years on the season's day
	Sum
}

// A Cultivar is what the trees of one cultivar bore; "" where no tree of the ledger took the mass.
type Cultivar struct {
	Cultivar string `json:"cultivar"`
	Sum
	// Across are the picks among Picks that other blocks count as well.
	Across []Across `json:"across,omitempty"`
}

// Across is a pick that lies in several blocks.
type Across struct {
	Pick    string `json:"pick"`
	Without bool   `json:"without,omitempty"` // its mass is not known
}

// NoMass is a pick whose mass is not known, because some of its containers have no mass in the settings.
type NoMass struct {
	Pick  string   `json:"pick"`
	Kinds []string `json:"kinds"`
}

// Fold computes the State of each block.
func Fold() *projections.Fold { return projections.NewFold("yields", 1, projections.Block, fold) }

// folder is one run over a block.
type folder struct {
	view    *projections.View
	block   string
	crops   *projections.Seasons
	seasons map[civil.Season]*season
	ages    map[civil.Date]int // bearing age in months by day
	singles map[string]int     // trees with a record of their own, by block
}

// season is a Season while it is put together.
type season struct {
	Season
	trees      map[string]*Tree
	groups     map[string]*Cultivar
	standing   map[string]projections.Standing // as last seen by a pick or an assessment
	lastPick   time.Time
	lastLook   time.Time
	looks      map[string]look // by tree: the last that was said of its crop
	blockLook  look            // and of a block whose trees are not listed
	namesTrees bool            // all picks so far name trees
}

type look struct {
	crop  string
	bears bool
}

func fold(v *projections.View) *State {
	f := &folder{
		view: v, block: v.Key.Code, crops: v.Seasons(), seasons: map[civil.Season]*season{},
		ages: map[civil.Date]int{}, singles: map[string]int{},
	}
	for _, fact := range v.Standing() {
		switch d := fact.Data().(type) {
		case *events.FruitPicked:
			f.pick(fact, d)
		case *events.CropAssessed:
			f.assess(fact, d)
		}
	}
	out := &State{Seasons: []Season{}}
	for _, s := range f.seasons {
		if f.close(s) {
			out.Seasons = append(out.Seasons, s.Season)
		}
	}
	slices.SortFunc(out.Seasons, func(a, b Season) int { return compareSeasons(a.Season, b.Season) })
	return out
}

// compareSeasons orders seasons by the year that they end in. Names that a farm made up have none and go by their text.
func compareSeasons(a, b civil.Season) int {
	if c := a.Compare(b); c != 0 {
		return c
	}
	return strings.Compare(string(a), string(b))
}

func (f *folder) season(name civil.Season) *season {
	s := f.seasons[name]
	if s == nil {
		s = &season{
			Season: Season{Season: name}, trees: map[string]*Tree{}, groups: map[string]*Cultivar{},
			standing: map[string]projections.Standing{}, looks: map[string]look{}, namesTrees: true,
		}
		f.seasons[name] = s
	}
	return s
}

// pick books one pick's shares.
func (f *folder) pick(fact *projections.Fact, d *events.FruitPicked) {
	s := f.season(f.crops.Of(fact.Kind, fact.Time))
	day := civil.DateOf(fact.Time, f.view.Zone)
	mg, missing := f.mass(d, day)
	one := Sum{Picks: 1, Basis: basisOf(d)}
	if len(missing) > 0 {
		one.Without, one.Basis = 1, weaker(one.Basis, Counted)
		s.NoMass = append(s.NoMass, NoMass{fact.ID.String(), missing})
	}
	s.lastPick = fact.Time // facts come in the order of time
	items, blocks := f.pool(d.Where, fact.Time, day)
	total := one
	byGroup := map[string]Sum{}
	for i, share := range items.share(mg) {
		it := items[i]
		if it.block != f.block || it.weight == 0 {
			continue
		}
		part := one
		part.MG = share
		total.MG += share
		if it.tree.Tree == "" {
			s.Unassigned += share
		} else {
			s.tree(it.tree).add(part)
		}
		g := byGroup[it.tree.Cultivar]
		part.MG += g.MG
		byGroup[it.tree.Cultivar] = part
	}
	for _, p := range f.view.Parts(fact) {
		s.namesTrees = s.namesTrees && len(p.Trees) > 0 && len(p.Rows) == 0
	}
	s.add(total)
	for _, cultivar := range slices.Sorted(maps.Keys(byGroup)) {
		g := s.group(cultivar)
		g.add(byGroup[cultivar])
		if len(blocks) > 1 {
			g.Across = append(g.Across, Across{fact.ID.String(), one.Without > 0})
		}
	}
}

// assess keeps the last that was said of each tree's crop.
func (f *folder) assess(fact *projections.Fact, d *events.CropAssessed) {
	s := f.season(f.crops.Of(fact.Kind, fact.Time))
	day := civil.DateOf(fact.Time, f.view.Zone)
	s.lastLook = fact.Time
	for _, p := range f.view.Parts(fact) {
		if len(p.Rows) == 0 && len(p.Trees) == 0 {
			s.blockLook = look{d.Crop, true}
		}
	}
	for _, tree := range f.view.Ground().Resolve(f.view.Parts(fact), fact.Time) {
		s.looks[tree.Tree] = look{d.Crop, f.bears(tree, day)}
		s.standing[tree.Tree] = tree
	}
}

// mass is a pick's mass in milligrams, or the kinds of containers that have none in the settings of the day.
func (f *folder) mass(d *events.FruitPicked, day civil.Date) (mg int64, missing []string) {
	if d.Mass != nil {
		mg, err := units.Base(d.Mass.Value, d.Mass.Unit)
		if err == nil {
			return mg, nil
		}
	}
	kinds := map[string]float64{}
	for _, c := range d.Containers {
		n := 1
		if c.Count != nil {
			n = max(*c.Count, 0)
		}
		kinds[c.Kind] += float64(n)
	}
	for _, kind := range slices.Sorted(maps.Keys(kinds)) {
		value, ok := f.view.Number(settings.ContainerMassStem+kind, day)
		all, err := units.Base(value*kinds[kind], "kg")
		if !ok || err != nil || mg > units.MaxBase-all {
			missing = append(missing, kind)
			continue
		}
		mg += all
	}
	if len(missing) > 0 {
		return 0, missing
	}
	return mg, nil
}

// close turns what was gathered into a Season; false if nothing is known of its mass.
func (f *folder) close(s *season) bool {
	at := s.lastPick
	if s.Picks == 0 {
		at = s.lastLook
	}
	s.On = civil.DateOf(at, f.view.Zone)
	ground := f.view.Ground()
	s.zeros(f, ground.At(at))
	if s.Picks == 0 {
		if len(s.trees) == 0 && (f.listed(ground, s.On) || s.blockLook.crop != "none") {
			return false
		}
		s.Basis = Assessed
	}
	if f.listed(ground, s.On) {
		for _, tree := range ground.At(at) {
			if f.bears(tree, s.On) {
				s.Bearing++
			}
		}
	} else {
		s.Bearing, _ = ground.Counted(s.On)
	}
	s.Area = f.area(s.On)
	for _, code := range slices.Sorted(maps.Keys(s.trees)) {
		t := s.trees[code]
		t.Age = age(s.standing[code], s.On)
		s.Trees = append(s.Trees, *t)
	}
	for _, cultivar := range slices.Sorted(maps.Keys(s.groups)) {
		s.Groups = append(s.Groups, *s.groups[cultivar])
	}
	return true
}

// zeros books the trees that are known to have borne nothing.
func (s *season) zeros(f *folder, there []projections.Standing) {
	zero := func(tree projections.Standing, basis Basis) {
		s.tree(tree).Basis = basis
		if g := s.group(tree.Cultivar); g.Picks == 0 {
			g.Basis = weaker(g.Basis, basis)
		}
	}
	for _, code := range slices.Sorted(maps.Keys(s.looks)) {
		if l := s.looks[code]; s.trees[code] == nil && l.bears && l.crop == "none" {
			zero(s.standing[code], Assessed)
		}
	}
	if s.Picks == 0 || !s.namesTrees {
		return
	}
	for _, tree := range there {
		if s.trees[tree.Tree] == nil && f.bears(tree, s.On) {
			zero(tree, WeighedTree)
		}
	}
}

func (s *season) tree(standing projections.Standing) *Tree {
	t := s.trees[standing.Tree]
	if t == nil {
		t = &Tree{Tree: standing.Tree}
		s.trees[standing.Tree] = t
	}
	t.Cultivar = standing.Cultivar
	s.standing[standing.Tree] = standing
	return t
}

func (s *season) group(cultivar string) *Cultivar {
	g := s.groups[cultivar]
	if g == nil {
		g = &Cultivar{Cultivar: cultivar}
		s.groups[cultivar] = g
	}
	return g
}

func (s *Sum) add(o Sum) {
	s.MG += o.MG
	s.Picks += o.Picks
	s.Without += o.Without
	s.Basis = weaker(s.Basis, o.Basis)
}

// area is the block's area on a day in mm2, 0 where nothing says it.
func (f *folder) area(on civil.Date) int64 {
	var out int64
	var since civil.Date
	set := func(q *events.Quantity, from civil.Date) {
		if q == nil || from.After(on) || from.Before(since) {
			return
		}
		if mm2, err := units.Base(q.Value, q.Unit); err == nil {
			out, since = mm2, from
		}
	}
	for _, fact := range f.view.Standing() {
		switch d := fact.Data().(type) {
		case *events.BlockEstablished:
			set(&d.Area, civil.Date{}) // land is older than papers
		case *events.BlockChanged:
			if from, err := civil.ParseDate(d.From); err == nil {
				set(d.Area, from)
			}
		case *events.BlockRedrawn:
			from, err := civil.ParseDate(d.Date)
			for i := range d.Into {
				if err == nil && d.Into[i].Block == f.block {
					set(d.Into[i].Area, from)
				}
			}
		}
	}
	return out
}
