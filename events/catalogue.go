package events

import (
	"fmt"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"sync"

	"latewood/events/internal/legacy"
)

// A Kind is one sort of record: its name on the wire, its newest version, and the Go type of its data.
type Kind struct {
	Name    string // past tense, as spray.applied; never derived from a Go name
	Version int
	// TimeFrom names the data fields that give the record's time, the first that stands first; empty: none does, and a
	// record without `time` is refused except where somebody adds it by hand, who then means now.
	TimeFrom []string
	// Starts names the field that may not lie after the record's time.
	Starts string
	Shape  *Shape
	chain  chainRule
	typ    reflect.Type
	in     *Catalogue // that it stands in, for kinds whose rules lean on other kinds
}

// Type is the kind with its newest version, as it stands in the envelope's type.
func (k *Kind) Type() string { return k.Name + ".v" + strconv.Itoa(k.Version) }

// New returns a pointer to an empty data value of the kind's newest version.
func (k *Kind) New() any { return reflect.New(k.typ).Interface() }

// A Catalogue is the list of kinds that a reader knows, with the steps that make old versions readable.
type Catalogue struct {
	kinds []*Kind
	by    map[string]*Kind
	types map[reflect.Type]*Kind
	steps map[string][]Upcaster // by kind; step i leads from version i+1 to i+2
}

// An Upcaster makes data of one version of a kind into data of the next: pure, on raw JSON, so that the Go types of old
// versions need not live on.
type Upcaster func(data []byte) ([]byte, error)

// A Step is an Upcaster and where it stands: it leads from version From of Kind to From+1.
type Step struct {
	Kind string
	From int
	Up   Upcaster
}

// NewCatalogue checks and builds a catalogue: no kind and no data type twice, and from version 1 of every kind to its
// newest exactly one step each. It keeps copies of the kinds.
func NewCatalogue(kinds []*Kind, steps []Step) (*Catalogue, error) {
	c := &Catalogue{by: map[string]*Kind{}, types: map[reflect.Type]*Kind{}, steps: map[string][]Upcaster{}}
	for _, k := range kinds {
		own := *k // a kind may stand in two catalogues
		k = &own
		k.in = c
		if c.by[k.Name] != nil {
			return nil, fmt.Errorf("events: kind %s stands twice in the catalogue", k.Name)
		}
		if other := c.types[k.typ]; other != nil {
			return nil, fmt.Errorf("events: kinds %s and %s have one data type, %v", other.Name, k.Name, k.typ)
		}
		if k.Version < 1 {
			return nil, fmt.Errorf("events: kind %s has version %d", k.Name, k.Version)
		}
		c.kinds = append(c.kinds, k)
		c.by[k.Name] = k
		c.types[k.typ] = k
		c.steps[k.Name] = make([]Upcaster, k.Version-1)
	}
	for _, s := range steps {
		k := c.by[s.Kind]
		switch {
		case k == nil:
			return nil, fmt.Errorf("events: a step for %s, which is no kind", s.Kind)
		case s.From < 1 || s.From >= k.Version:
			return nil, fmt.Errorf("events: a step of %s from version %d, where the newest is %d", s.Kind, s.From, k.Version)
		case s.Up == nil || c.steps[s.Kind][s.From-1] != nil:
			return nil, fmt.Errorf("events: the step of %s from version %d is empty or stands twice", s.Kind, s.From)
		}
		c.steps[s.Kind][s.From-1] = s.Up
	}
	for _, k := range c.kinds {
		if i := slices.IndexFunc(c.steps[k.Name], func(u Upcaster) bool { return u == nil }); i >= 0 {
			return nil, fmt.Errorf("events: no step of %s from version %d", k.Name, i+1)
		}
	}
	slices.SortFunc(c.kinds, func(a, b *Kind) int { return strings.Compare(a.Name, b.Name) })
	return c, nil
}

// Standard is the catalogue of this version of the program.
var Standard = sync.OnceValue(func() *Catalogue {
	c, err := NewCatalogue(standardKinds(), standardSteps())
	if err != nil {
		panic(err) // the table below is wrong; the first test meets it
	}
	return c
})

// Steps lists the steps by kind and version: what another catalogue needs that holds these kinds and more.
func (c *Catalogue) Steps() []Step {
	var out []Step
	for _, k := range c.kinds {
		for i, up := range c.steps[k.Name] {
			out = append(out, Step{Kind: k.Name, From: i + 1, Up: up})
		}
	}
	return out
}

// Kinds lists the kinds by name.
func (c *Catalogue) Kinds() []*Kind { return c.kinds }

// Kind returns the kind called name, or nil.
func (c *Catalogue) Kind(name string) *Kind {
	if c == nil {
		return nil
	}
	return c.by[name]
}

// KindOf returns the kind whose data type is that of data (a struct or a pointer to one), or nil.
func (c *Catalogue) KindOf(data any) *Kind {
	t := reflect.TypeOf(data)
	if t != nil && t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	return c.types[t]
}

// SplitType takes a type apart: "spray.applied.v1" to "spray.applied" and 1.
func SplitType(t string) (kind string, version int, ok bool) {
	i := strings.LastIndex(t, ".v")
	if i <= 0 {
		return "", 0, false
	}
	digits := t[i+2:]
	version, err := strconv.Atoi(digits)
	if err != nil || version < 1 || digits[0] == '0' || digits[0] == '+' {
		return "", 0, false
	}
	return t[:i], version, true
}

// NewKind describes a kind; T is the type of its newest version's data.
func NewKind[T any](name string, version int, chain chainRule, starts string, timeFrom ...string) *Kind {
	t := reflect.TypeFor[T]()
	return &Kind{Name: name, Version: version, TimeFrom: timeFrom, Starts: starts, Shape: shapeOf(t), chain: chain, typ: t}
}

// standardKinds is the table: name, version, chain, the field that starts it, the fields that give its time.
func standardKinds() []*Kind {
	return []*Kind{
		NewKind[FarmOpened]("farm.opened", 1, chainFarm, ""),
		NewKind[SettingAdopted]("setting.adopted", 1, chainFarm, ""),
		NewKind[BlockEstablished]("block.established", 1, chainBlock("growth", "block"), ""),
		NewKind[BlockChanged]("block.changed", 1, chainBlock("growth", "block"), "", "from"),
		NewKind[BlockRedrawn]("block.redrawn", 1, chainRedrawn, "", "date"),
		NewKind[TreePlanted]("tree.planted", 1, chainBlock("growth", "block"), "", "planted"),
		NewKind[TreeSeen]("tree.seen", 1, chainWhere("growth"), ""),
		NewKind[TreeMeasured]("tree.measured", 1, chainWhere("growth"), ""),
		NewKind[TreeMoved]("tree.moved", 1, chainMoved, ""),
		NewKind[TreeTopworked]("tree.topworked", 1, chainWhere("growth"), ""),
		NewKind[TreeRemoved]("tree.removed", 1, chainWhere("growth"), ""),
		NewKind[StationSited]("station.sited", 1, chainBlock("station", "station"), ""),

		NewKind[TreePruned]("tree.pruned", 1, chainWhere("growth"), "started", "ended", "started"),
		NewKind[FlushSeen]("flush.seen", 1, chainWhere("growth"), ""),
		NewKind[BloomSeen]("bloom.seen", 1, chainWhere("growth"), ""),
		NewKind[FruitSet]("fruit.set", 1, chainWhere("growth"), ""),
		NewKind[CropAssessed]("crop.assessed", 1, chainWhere("growth"), ""),
		NewKind[CropThinned]("crop.thinned", 1, chainWhere("growth"), ""),
		NewKind[TreeGirdled]("tree.girdled", 1, chainWhere("growth"), ""),
		NewKind[ProtectionPlaced]("protection.placed", 1, chainWhere("growth"), ""),
		NewKind[ProtectionRemoved]("protection.removed", 1, chainWhere("growth"), ""),
		NewKind[HivesPlaced]("hives.placed", 1, chainWhere("growth"), ""),
		NewKind[HivesRemoved]("hives.removed", 1, chainWhere("growth"), ""),
		NewKind[DamageSeen]("damage.seen", 1, chainWhere("inputs"), "from", "until", "from"),
		NewKind[PestScouted]("pest.scouted", 1, chainWhere("inputs"), ""),
		NewKind[GroundWorked]("ground.worked", 1, chainWhere("inputs"), ""),
		NewKind[NutrientApplied]("nutrient.applied", 1, chainWhere("inputs"), ""),
		NewKind[WaterApplied]("water.applied", 1, chainWhere("inputs"), "from", "until", "from"),
		NewKind[WaterWithheld]("water.withheld", 2, chainWhere("inputs"), "from", "until", "from"),
		NewKind[SampleTested]("sample.tested", 1, chainEach(chainWhere("inputs"), chainCodes("lot", "lot")), "", "sampled"),

		NewKind[LabelFiled]("label.filed", 1, chainOwn("label"), ""),
		NewKind[LabelClosed]("label.closed", 1, chainNamed("label", "label"), ""),
		NewKind[SprayPlanned]("spray.planned", 1, chainSpray(true), ""),
		NewKind[SprayBegun]("spray.begun", 1, chainSpray(true, "plan"), "", "started"),
		NewKind[SprayCalledOff]("spray.called-off", 1, chainSpray(false, "plan", "begun"), ""),
		NewKind[SprayApplied]("spray.applied", 1, chainSpray(true, "plan", "begun"), "started", "ended"),
		NewKind[SprayPosted]("spray.posted", 1, chainNamed("spray", "spray"), "", "from"),
		NewKind[HoldJudged]("hold.judged", 1, chainSpray(false, "spray"), ""),
		NewKind[EntryMade]("entry.made", 1, chainWhere("inputs"), "from", "until", "from"),
		NewKind[ExposureReported]("exposure.reported", 1, chainWhere("inputs"), "", "when"),

		NewKind[FruitPicked]("fruit.picked", 1, chainWhere("picks"), ""),
		NewKind[HarvestClosed]("harvest.closed", 1, chainWhere("picks"), "", "date"),
		NewKind[FruitDelivered]("fruit.delivered", 1, chainCodes("delivery", "delivery"), "", "date"),
		NewKind[DeliveryAnswered]("delivery.answered", 1, chainCodes("delivery", "delivery"), ""),
		NewKind[PackoutReported]("packout.reported", 1, chainCodes("delivery", "deliveries"), ""),
		NewKind[FruitReceived]("fruit.received", 1, chainCodes("delivery", "delivery"), "", "date"),
		NewKind[PickCooled]("pick.cooled", 1, chainFarm, "", "date"),
		NewKind[BinEmptied]("bin.emptied", 1, chainCodes("lot", "into"), ""),
		NewKind[LotPacked]("lot.packed", 1, chainCodes("lot", "lot"), "", "date"),
		NewKind[LotRepacked]("lot.repacked", 1, chainCodes("lot", "lot", "inputs.lot"), "", "date"),
		NewKind[LotTreated]("lot.treated", 1, chainLotOrLoad, ""),
		NewKind[LotReceived]("lot.received", 1, chainCodes("lot", "lot"), "", "date"),
		NewKind[LotShipped]("lot.shipped", 1, chainCodes("lot", "lot"), "", "date"),
		NewKind[LotRejected]("lot.rejected", 1, chainCodes("lot", "lot", "lots"), "", "date"),
		NewKind[LotReturned]("lot.returned", 1, chainCodes("lot", "lot", "lots"), "", "date"),
		NewKind[LotRecalled]("lot.recalled", 1, chainCodes("lot", "lot", "lots"), "", "date"),
		NewKind[LotHeld]("lot.held", 1, chainLotOrLoad, ""),
		NewKind[LotReleased]("lot.released", 1, chainLotOrLoad, ""),
		NewKind[FruitSold]("fruit.sold", 1, chainEach(chainWhere("picks"), chainCodes("lot", "lot")), ""),
		NewKind[LotWrittenOff]("lot.written-off", 1, chainCodes("lot", "lot"), ""),
		NewKind[StockCounted]("stock.counted", 1, chainCodes("lot", "items.lot"), ""),

		NewKind[WeatherRead]("weather.read", 1, chainBlock("station", "station"), ""),
		NewKind[WeatherDoubted]("weather.doubted", 1, chainBlock("station", "station"), ""),

		NewKind[TrainingGiven]("training.given", 1, chainFarm, "", "date"),
		NewKind[WaterAssessed]("water.assessed", 1, chainFarm, ""),
		NewKind[ToolCleaned]("tool.cleaned", 1, chainWhere("inputs"), ""),
		NewKind[CheckMade]("check.made", 1, chainFarm, ""),
		NewKind[RoomRead]("room.read", 1, chainFarm, ""),
		NewKind[IncidentReported]("incident.reported", 1, chainEach(chainWhere("inputs"), chainCodes("lot", "lotsTouched")), "from", "until", "from"),
		NewKind[VisitMade]("visit.made", 1, chainFarm, "from", "until", "from"),
		NewKind[DocumentFiled]("document.filed", 1, chainFarm, ""),
		NewKind[ExemptionClaimed]("exemption.claimed", 1, chainFarm, ""),

		NewKind[RecordCorrected]("record.corrected", 1, nil, ""), // see OwnChains
		NewKind[RecordWithdrawn]("record.withdrawn", 1, nil, ""),
		NewKind[RecordsReviewed]("records.reviewed", 1, chainFarm, ""),
		NewKind[ImportMade]("import.made", 1, chainFarm, ""),
		NewKind[RuleAdopted]("rule.adopted", 1, chainFarm, ""),
		NewKind[SeasonNamed]("season.named", 1, chainFarm, ""),
		NewKind[ReportIssued]("report.issued", 1, chainFarm, ""),
		NewKind[DrillHeld]("drill.held", 1, chainFarm, "started", "ended"),
		NewKind[EvidenceGiven]("evidence.given", 1, chainHeads, ""),
		NewKind[KeyChanged]("key.changed", 1, chainFarm, ""),
		NewKind[LedgerRestored]("ledger.restored", 1, chainFarm, ""),
		NewKind[LedgerMoved]("ledger.moved", 1, chainFarm, ""),
		NewKind[AccessGranted]("access.granted", 1, chainFarm, ""),
		NewKind[AccessViewed]("access.viewed", 1, chainFarm, ""),
		NewKind[AccessEnded]("access.ended", 1, chainFarm, ""),
		NewKind[PersonForgotten]("person.forgotten", 1, chainFarm, ""),
	}
}

// standardSteps is how data of each retired version becomes data of the next.
func standardSteps() []Step {
	return []Step{
		{Kind: "water.withheld", From: 1, Up: legacy.WaterWithheld1},
	}
}
