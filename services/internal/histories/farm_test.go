package histories

import (
	"encoding/binary"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"time"

	"latewood/events"
	"latewood/events/canon"
	"latewood/events/civil"
	"latewood/projections/settings"
)

// An entry is one record as its writer has it: the same whenever and however often it is sent.
type entry struct {
	id     events.ID
	kind   string
	draft  events.Draft
	device int
	// Of a correction or withdrawal.
	target, follows events.ID
	withdraws       bool
	// never says that it must be refused whenever it comes, with this reason.
	never string
}

// A device is a phone or the command line, with a clock of its own.
type device struct {
	name   string
	offset time.Duration // what has to be added to its clock to get the recorder's
	tells  bool          // it sends what its clock shows
}

var devices = []device{
	{"cli", 0, false},
	{"phone-a", 0, true},
	{"phone-b", 7 * time.Minute, true},
	{"phone-c", -12 * time.Minute, true},
	{"import", 0, false},
}

// A maker makes up a history.
type maker struct {
	*rand.Rand
	zone    *time.Location
	entries []*entry
	made    map[string][]events.ID // by kind
	// newest is the latest version of a record that its writers know of; gone, whether it is withdrawn.
	newest map[events.ID]events.ID
	gone   map[events.ID]bool
	latest map[events.ID]*entry // the entry of the record itself
	trees  []string
	moment []time.Time // a few moments that many records share
	forks  bool        // writers contradict each other
	n      int
}

var (
	zones    = []string{"Pacific/Honolulu", "America/New_York", "Australia/Lord_Howe", "Australia/Brisbane"}
	blocks   = []string{"north", "south", "east"}
	stations = []string{"mauka", "makai"}
	people   = []string{"w_00112233445566778899aabbccddeeff", "w_ffeeddccbbaa99887766554433221100"}
)

// makeHistory makes a history of about n records. The same seed makes the same history.
func makeHistory(seed uint64, n int) *maker {
	m := &maker{
		Rand: rand.New(rand.NewPCG(seed, 7)), made: map[string][]events.ID{}, newest: map[events.ID]events.ID{},
		gone: map[events.ID]bool{}, latest: map[events.ID]*entry{},
	}
	name := pick(m, zones...)
	zone, err := civil.Zone(name)
	if err != nil {
		panic(err)
	}
	m.zone = zone
	m.forks = m.IntN(3) == 0
	for range 30 {
		m.moment = append(m.moment, m.anyTime())
	}
	latitude := 19.6
	if strings.HasPrefix(name, "Australia") {
		latitude = -27.5
	}
	m.add("2008-01-01T00:00:00Z", &events.FarmOpened{Name: "Tern Hollow", Zone: name, Latitude: latitude, Longitude: -155.1})
	// A few kinds by turns, so that a handful of histories have them all.
	all := every()
	for i := range 4 {
		kind := all[(int(seed)*4+i)%len(all)]
		for range 1000 { // there may be nothing yet that it could speak of
			if data, at := m.data(kind); data != nil {
				e := m.addOf(events.Standard().Kind(kind), at, data)
				m.follow(e)
				break
			}
		}
	}
	for len(m.entries) < n {
		switch m.IntN(12) {
		case 0, 1, 2:
			m.correct()
		case 3:
			if m.IntN(2) == 0 {
				m.withdraw()
			}
		default:
			kind, data, at := m.any()
			if kind != "" {
				m.addOf(events.Standard().Kind(kind), at, data)
			}
		}
		if m.forks && m.IntN(25) == 0 {
			m.contradict()
		}
	}
	return m
}

func pick[T any](m *maker, from ...T) T { return from[m.IntN(len(from))] }

func (m *maker) chance(percent int) bool { return m.IntN(100) < percent }

// id makes a version 7 id as a writer would.
func (m *maker) id() events.ID {
	m.n++
	var tail [10]byte
	binary.BigEndian.PutUint64(tail[2:], m.Uint64())
	return events.NewID(time.Date(2024, 1, 1, 0, 0, 0, 0, time.UTC).UnixMilli()+int64(m.IntN(1e9)), tail)
}

// anyTime is a moment of three years, often on the hour.
func (m *maker) anyTime() time.Time {
	day := time.Date(2022, 1, 1+m.IntN(1100), 0, 0, 0, 0, m.zone)
	switch m.IntN(4) {
	case 0:
		return day
	case 1:
		return day.Add(time.Duration(m.IntN(24)) * time.Hour)
	default:
		return day.Add(time.Duration(m.IntN(24*3600)) * time.Second)
	}
}

// when is a moment, often one that other records have too.
func (m *maker) when() time.Time {
	if m.chance(60) {
		return pick(m, m.moment...)
	}
	return m.anyTime()
}

func stamp(t time.Time) string { return civil.FormatTime(t) }

func (m *maker) date() string { return civil.DateOf(m.when(), m.zone).String() }

// mom is a time, or only a day.
func (m *maker) mom(t time.Time) string {
	if m.chance(25) {
		return civil.DateOf(t, m.zone).String()
	}
	return stamp(t)
}

// add makes an entry. at may be empty where the data tells the time.
func (m *maker) add(at string, data any) *entry {
	return m.addOf(events.Standard().KindOf(data), at, data)
}

func (m *maker) addOf(k *events.Kind, at string, data any) *entry {
	e := &entry{id: m.id(), kind: k.Name, device: m.IntN(len(devices))}
	e.draft = events.Draft{ID: e.id.String(), Type: k.Type(), Time: at, Data: value(data)}
	if m.chance(70) {
		e.draft.Actor = pick(m, people...)
	}
	m.entries = append(m.entries, e)
	if k.Name == "record.corrected" {
		m.made[k.Name] = append(m.made[k.Name], e.id)
	}
	if k.Name != "record.corrected" && k.Name != "record.withdrawn" {
		m.made[k.Name] = append(m.made[k.Name], e.id)
		m.newest[e.id], m.latest[e.id] = e.id, e
	}
	return e
}

// some is the id of a record of a kind, "" if there is none; now and then of one that never comes.
func (m *maker) some(kind string) string {
	if m.chance(4) {
		return m.id().String()
	}
	ids := m.made[kind]
	if len(ids) == 0 {
		return ""
	}
	return pick(m, ids...).String()
}

// target is a record that can be corrected, or withdrawn.
func (m *maker) target(able func(string) bool) (*entry, bool) {
	for range 10 {
		e := pick(m, m.entries...)
		if base := m.latest[e.id]; base != nil && !m.gone[e.id] && able(e.kind) {
			return e, true
		}
	}
	return nil, false
}

// correct gives a record other data of its kind; what is corrected once is often corrected again.
func (m *maker) correct() {
	e, ok := m.target(events.Correctable)
	if !ok {
		return
	}
	m.correctOf(e, m.newest[e.id])
}

func (m *maker) correctOf(e *entry, follows events.ID) *entry {
	data, at := m.data(e.kind)
	if data == nil {
		return nil
	}
	c := &events.RecordCorrected{
		Record: e.id.String(), Follows: follows.String(), Type: events.Standard().Kind(e.kind).Type(), Reason: "typed wrong",
		Data: canon.Bytes(value(data)),
	}
	if m.chance(40) && at != "" {
		c.Time = at
	}
	out := m.add(stamp(m.when()), c)
	out.target, out.follows = e.id, follows
	m.newest[e.id] = out.id
	return out
}

// follow lets a record of a kind that has its turn be corrected, and another one withdrawn, where its kind may be.
func (m *maker) follow(e *entry) {
	for range 100 { // it may find nothing to speak of
		if !events.Correctable(e.kind) || m.correctOf(e, m.newest[e.id]) != nil {
			break
		}
	}
	if !events.Withdrawable(e.kind) {
		return
	}
	for range 100 {
		if data, at := m.data(e.kind); data != nil {
			other := m.addOf(events.Standard().Kind(e.kind), at, data)
			m.withdrawOf(other, other.id)
			return
		}
	}
}

func (m *maker) withdraw() {
	e, ok := m.target(events.Withdrawable)
	if !ok {
		return
	}
	m.withdrawOf(e, m.newest[e.id])
}

func (m *maker) withdrawOf(e *entry, follows events.ID) {
	w := m.add(stamp(m.when()), &events.RecordWithdrawn{Record: e.id.String(), Follows: follows.String(), Reason: "never happened"})
	w.target, w.follows, w.withdraws = e.id, follows, true
	m.gone[e.id] = true
}

// contradict lets two writers say different things, or one write what cannot be.
func (m *maker) contradict() {
	switch m.IntN(4) {
	case 0: // two corrections of one version
		if e, ok := m.target(events.Correctable); ok {
			follows := m.newest[e.id]
			m.correctOf(e, follows)
			m.correctOf(e, follows)
		}
	case 1: // corrected by one, withdrawn by another
		if e, ok := m.target(events.Withdrawable); ok {
			follows := m.newest[e.id]
			m.correctOf(e, follows)
			m.withdrawOf(e, follows)
		}
	case 2: // one id, two contents
		e := m.add(stamp(m.when()), m.flush())
		other := *e
		other.draft.Data = events.Encode(m.flush())
		m.entries = append(m.entries, &other)
	case 3: // not happened yet
		e := m.add("2090-01-01T00:00:00Z", m.flush())
		e.never = "refuse.future"
		delete(m.latest, e.id) // nobody corrects it
		m.made[e.kind] = m.made[e.kind][:len(m.made[e.kind])-1]
	}
}

// kinds are those that happen on a farm, some more often than others.
var kinds = strings.Fields(`
	block.established block.changed block.redrawn
	tree.planted tree.planted tree.planted tree.planted tree.moved tree.removed tree.topworked tree.seen tree.measured
	station.sited
	tree.pruned tree.pruned flush.seen bloom.seen crop.assessed
	label.filed label.filed label.closed
	spray.planned spray.begun spray.called-off spray.applied spray.applied spray.applied hold.judged
	fruit.picked fruit.picked fruit.picked harvest.closed
	weather.read weather.read weather.read weather.read weather.read weather.read weather.doubted
	setting.adopted season.named rule.adopted records.reviewed report.issued import.made
`)

// every lists each kind once.
func every() []string {
	out := slices.Clone(kinds)
	for _, k := range others() {
		out = append(out, k.Name)
	}
	slices.Sort(out)
	return slices.Compact(out)
}

func (m *maker) any() (kind string, data any, at string) {
	kind = pick(m, kinds...)
	if more := others(); m.IntN(len(kinds)+len(more)) >= len(kinds) {
		kind = pick(m, more...).Name
	}
	data, at = m.data(kind)
	if data == nil {
		return "", nil, ""
	}
	return kind, data, at
}

// data makes data of a kind, and when it happened; nil where there is nothing to speak of yet.
func (m *maker) data(kind string) (data any, at string) {
	at = stamp(m.when())
	if m.chance(5) {
		at = m.date() // the start of a day
	}
	switch kind {
	case "farm.opened": // only the first has a zone of its own: see doc of TestOrders
		return &events.FarmOpened{Name: pick(m, "Tern Hollow", "Tern Hollow Orchard"), Zone: m.zone.String(), Latitude: 19.5, Longitude: -155, Elevation: q(float64(m.IntN(900)), "m")}, ""
	case "block.established":
		b := &events.BlockEstablished{Block: pick(m, blocks...), Name: "Block", Area: *q(float64(1+m.IntN(30))/10, "har")}
		if m.chance(40) {
			b.Trees = count(m.IntN(40))
		}
		return b, at
	case "block.changed":
		b := &events.BlockChanged{Block: pick(m, blocks...), From: m.date()}
		if m.chance(50) {
			b.Trees = count(m.IntN(40))
		} else {
			b.Area = q(float64(1+m.IntN(30))/10, "har")
		}
		return b, ""
	case "block.redrawn":
		return &events.BlockRedrawn{From: []string{pick(m, blocks...)}, Into: []events.DrawnBlock{{Block: pick(m, blocks...)}, {Block: "west", Rows: []string{"1"}}}, Date: m.date()}, ""
	case "tree.planted":
		return m.planted(), ""
	case "tree.moved":
		moves := []events.Move{{Tree: m.tree(), Block: pick(m, blocks...), Row: m.row(), Position: "9"}}
		if m.chance(50) {
			moves[0].From = pick(m, blocks...)
		}
		if m.chance(30) {
			moves = append(moves, events.Move{Tree: m.tree(), Block: pick(m, blocks...)})
		}
		return &events.TreeMoved{Moves: moves, Reason: pick(m, "transplanted", "renumbered", "")}, at
	case "tree.removed":
		return &events.TreeRemoved{Where: m.someTrees()}, at
	case "tree.topworked":
		return &events.TreeTopworked{Where: m.where(), Cultivar: pick(m, "Kaimana", "Brewster", "Bosworth 3")}, at
	case "tree.seen":
		return &events.TreeSeen{Where: m.where(), Condition: pick(m, "thriving", "weak", "failing", "dead-standing", "missing")}, at
	case "tree.measured":
		return &events.TreeMeasured{Where: m.where(), Height: q(float64(m.IntN(90))/10, "m")}, at
	case "station.sited":
		return &events.StationSited{Station: pick(m, stations...), Latitude: 19, Longitude: -155, Blocks: []string{pick(m, blocks...)}}, at
	case "tree.pruned":
		return m.pruned()
	case "flush.seen":
		return m.flush(), at
	case "bloom.seen":
		b := &events.BloomSeen{Where: m.where(), Stage: pick(m, "panicles-out", "male-1", "female", "male-2", "over", "none")}
		if m.chance(50) {
			b.TerminalsCounted, b.LeaflessPanicle = count(20), count(m.IntN(20))
		}
		return b, at
	case "crop.assessed":
		return &events.CropAssessed{Where: m.where(), Crop: pick(m, "none", "light", "fair", "heavy", "failed", "left-unpicked"), Method: pick(m, "count", "sample", "eye"), MassExpected: q(float64(m.IntN(900)), "kg")}, at
	case "weather.read":
		return m.reading()
	case "weather.doubted":
		from := m.when()
		d := &events.WeatherDoubted{Station: pick(m, stations...), From: stamp(from), To: stamp(from.Add(time.Duration(1+m.IntN(96)) * time.Hour)), Reason: "a leaf in the funnel"}
		if m.chance(50) {
			d.Elements = []string{pick(m, "airTemperature", "rain")}
		}
		return d, at
	case "setting.adopted":
		return m.setting(), at
	case "season.named":
		from := m.when()
		s := &events.SeasonNamed{Season: pick(m, "2022", "2023", "2024", "2022/23"), From: civil.DateOf(from, m.zone).String(), To: civil.DateOf(from.AddDate(0, 0, m.IntN(300)), m.zone).String()}
		if m.chance(50) {
			s.Blocks = []string{pick(m, blocks...)}
		} else if m.chance(30) {
			s.Species = pick(m, events.DefaultSpecies, "Mangifera indica")
		}
		return s, at
	case "rule.adopted":
		return &events.RuleAdopted{Name: "pruning", Rule: "text", Hash: strings.Repeat("0", 64), From: m.date()}, at
	case "records.reviewed":
		r := &events.RecordsReviewed{Reviewer: pick(m, people...)}
		for range 1 + m.IntN(3) {
			r.Records = append(r.Records, pick(m, m.entries...).id.String())
		}
		return r, at
	case "report.issued":
		return &events.ReportIssued{Kind: "yield", Hash: strings.Repeat("0", 64), Root: "47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU="}, at
	case "import.made":
		return &events.ImportMade{File: events.ImportedFile{Name: "a.csv", SHA256: strings.Repeat("0", 64)}}, at
	}
	if slices.Contains(kinds, kind) {
		return m.inputs(kind, at)
	}
	return m.shaped(events.Standard().Kind(kind))
}

func q(value float64, unit string) *events.Quantity {
	return &events.Quantity{Value: value, Unit: unit}
}

func count(n int) *int { return &n }

func truth(b bool) *bool { return &b }

func (m *maker) setting() *events.SettingAdopted {
	s := &events.SettingAdopted{From: m.date()}
	switch m.IntN(4) {
	case 0:
		s.Name, s.Value, s.Unit = settings.ClockTolerance, events.Raw(fmt.Sprint(1+m.IntN(20))), "min"
	case 1:
		s.Name, s.Value = settings.CountRule, events.Raw(pick(m, `"date"`, `"elapsed"`, `"full-days"`))
	case 2:
		s.Name, s.Value = settings.SeasonTurn, events.Raw(pick(m, `"01-01"`, `"10-01"`, `"04-01"`))
	default:
		s.Name, s.Value, s.Unit = settings.MostKgPerTree, events.Raw(fmt.Sprint(10+m.IntN(200))), "kg"
	}
	return s
}

func (m *maker) row() string { return pick(m, "1", "2", "2a", "10") }

// planted makes a tree, now and then with a code that stands already.
func (m *maker) planted() *events.TreePlanted {
	p := &events.TreePlanted{Block: pick(m, blocks...), Row: m.row(), Position: fmt.Sprint(1 + m.IntN(4)), Cultivar: pick(m, "Kaimana", "Brewster"), Planted: pick(m, "2010", "2015-03", m.date(), m.date())}
	if m.chance(20) {
		p.Species = "Mangifera indica"
	}
	p.Tree = fmt.Sprintf("%s-%s-%s", p.Block, p.Row, p.Position)
	if m.chance(10) && len(m.trees) > 0 {
		p.Tree = pick(m, m.trees...)
	}
	m.trees = append(m.trees, p.Tree)
	return p
}

// tree is the code of a tree, now and then of one that nobody planted.
func (m *maker) tree() string {
	if len(m.trees) == 0 || m.chance(5) {
		return "nobodys-tree"
	}
	return pick(m, m.trees...)
}

// part names a block or a piece of one.
func (m *maker) part() events.Part {
	p := events.Part{Block: pick(m, blocks...)}
	switch m.IntN(6) {
	case 0:
		p.Rows = []string{m.row()}
	case 1, 2:
		p.Trees = []string{m.tree()}
		if m.chance(30) {
			p.Trees = append(p.Trees, m.tree())
		}
	case 3:
		p.Except = []string{m.tree()}
	case 4:
		if m.chance(30) {
			p.Side = "north"
		}
	}
	if m.chance(5) {
		p.Share = q(float64(1+m.IntN(100)), "%")
	}
	return p
}

func (m *maker) where() events.Where {
	w := events.Where{m.part()}
	for m.chance(20) && len(w) < 3 {
		w = append(w, m.part())
	}
	return w
}

// someTrees leaves whole blocks standing.
func (m *maker) someTrees() events.Where {
	return events.Where{{Block: pick(m, blocks...), Trees: []string{m.tree()}}}
}

func (m *maker) flush() *events.FlushSeen {
	return &events.FlushSeen{Where: m.where(), Stage: pick(m, "no-movement", "bud-break", "elongating", "expanding", "hardened", "dormant")}
}
