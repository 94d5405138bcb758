package events

import (
	"fmt"
	"strings"
	"time"

	"latewood/events/canon"
)

// A Draft is a record as somebody proposes it: nothing filled in yet. Empty texts are absent.
type Draft struct {
	ID         string
	Source     string
	Type       string // with or without version; without means the newest
	Time       string
	NotedTime  string
	DeviceTime string
	Actor      string
	Data       canon.Value
}

// A Door checks drafts for one farm. It is the only way in: what it lets through is strict, normal and canonical.
type Door struct {
	Catalogue *Catalogue
	Farm      string         // code
	Zone      *time.Location // the farm's zone, for times that bring no offset
}

// An Accepted is a draft that has no problem in itself. What other records have to say about it is for the recorder.
type Accepted struct {
	Kind    *Kind
	Version int
	ID      ID // zero: none given
	Time    time.Time
	Draft   Draft // with its texts in normal form
	Data    []byte

	newest canon.Value // Draft.Data as data of the kind's newest version, where Version is older
}

// OwnChains are the chains that the record stands in by its type and data alone (see Kind.OwnChains), whatever its version.
func (a *Accepted) OwnChains() []string {
	if a.Version < a.Kind.Version {
		return a.Kind.OwnChains(a.ID, a.newest)
	}
	return a.Kind.OwnChains(a.ID, a.Draft.Data)
}

// NeedsTime is what Check reports for a draft with no time and no field that gives one. A person's `add` then means
// now; everything else is refused.
const NeedsTime = "refuse.time-missing"

// Check reads a draft strictly. Either the problems are empty, or the Accepted is of no use. All problems of a draft
// are told at once.
//
// Check brings the draft into its normal form on the way: codes and names in NFC and without blanks around them, ids in
// small letters, times as the ledger writes them, a `where` of one part as an object. A draft in normal form comes out
// as it went in, so that a record which was taken out of a ledger can be put into another.
//
// That holds for old versions too: a full-envelope import may bring a water.withheld.v1, or a correction with such data.
// There is no grammar of old versions any more, so what the Upcasters make of the data is checked against the newest, and
// problems name the fields as the newest version calls them. If that is in its normal form, as it is for everything that
// ever went through a door, type and data stay as they came. If it is not, somebody wrote the old version by hand: then
// the record becomes one of the newest version.
func (d *Door) Check(draft Draft) (Accepted, Problems) {
	c := check{door: d, read: draft.Data}
	out := Accepted{Draft: draft}
	kind, version := c.kind(draft.Type)
	if kind == nil {
		return out, c.problems
	}
	out.Kind, out.Version = kind, version
	out.Draft.Type = kind.Name + ".v" + fmt.Sprint(version)
	if draft.ID != "" {
		out.ID = c.id("id", draft.ID)
		out.Draft.ID = strings.ToLower(draft.ID)
	}
	if draft.Actor != "" && !IsPseudonym(draft.Actor) {
		c.add("actor", draft.Actor, say("refuse.not.person"), say("refuse.form.person", "example", exampleOf(FormPerson)))
	}
	if draft.Source != "" && !isSource(draft.Source) {
		c.add("source", draft.Source, say("refuse.source"), say("refuse.source-instead", "farm", d.Farm))
	}
	out.Draft.NotedTime = c.instant("notedtime", draft.NotedTime)
	c.deviceTime(&out.Draft)
	if draft.Data.Kind == canon.Absent {
		c.add("data", nil, say("refuse.required"), wanted(kind.Shape))
		return out, c.problems
	}
	if version < kind.Version {
		var ok bool
		if c.read, ok = c.upcast(kind, version, draft.Data, "data"); !ok {
			return out, c.problems
		}
	}
	out.Draft.Data = c.read.Clone()
	data := &out.Draft.Data
	said := data.Get("time").Str // of a correction, before it is brought into its normal form
	if kind.Name == "record.corrected" {
		c.corrected(*data)
	}
	c.value(data, kind.Shape, "data")
	if c.rewritten {
		data.Set("type", canon.Text(c.inner.Type()))
	}
	c.time(&out)
	c.correctedTime(data, said)
	if len(c.problems) > 0 {
		return out, c.problems
	}
	out.Data = canon.Append(make([]byte, 0, 256), out.Draft.Data)
	if version < kind.Version {
		out.keep(draft.Data, c.read)
	}
	return out, nil
}

type check struct {
	door     *Door
	problems Problems
	read     canon.Value // the data as it was read
	// inner is the kind of a correction's inner data, where its type is known, and innerVersion the version of that.
	inner        *Kind
	innerVersion int
	// innerRead and innerData are the inner data as data of the newest version, before and after it was brought into its
	// normal form, where innerVersion is older.
	innerRead, innerData canon.Value
	rewritten            bool // the inner data became that of the newest version
}

func (c *check) add(field string, value any, why, instead Sentence) {
	field = strings.ToValidUTF8(field, "\uFFFD")
	if s, ok := value.(string); ok {
		value = strings.ToValidUTF8(s, "\uFFFD") // it will be shown as JSON
	}
	c.problems = append(c.problems, Problem{Field: field, Value: value, Why: why, Instead: instead})
}

func (c *check) kind(text string) (*Kind, int) {
	if text == "" {
		c.add("type", nil, say("refuse.required"), say("refuse.form.type", "example", exampleOf(FormType)))
		return nil, 0
	}
	name, version, ok := SplitType(text)
	if !ok {
		name, version = text, 0
	}
	k := c.door.Catalogue.Kind(name)
	if k == nil {
		instead := say("refuse.kind-instead")
		if near := nearest(name, c.door.Catalogue.names()); near != "" {
			instead = say("refuse.did-you-mean", "near", near)
		}
		c.add("type", text, say("refuse.kind-unknown"), instead)
		return nil, 0
	}
	if version == 0 {
		version = k.Version
	}
	if version > k.Version {
		c.add("type", text, say("refuse.version", "kind", name, "version", version), say("refuse.write", "text", k.Type()))
		return nil, 0
	}
	return k, version
}

func (c *Catalogue) names() []string {
	out := make([]string, len(c.kinds))
	for i, k := range c.kinds {
		out[i] = k.Name
	}
	return out
}

func (c *check) id(field, text string) ID {
	id, err := ParseID(strings.ToLower(text))
	if err != nil || id.Version() != 7 && id.Version() != 8 || id[8]>>6 != 2 {
		c.add(field, text, say("refuse.not.id"), say("refuse.id-instead"))
	}
	return id
}

// deviceTime checks the pair "WRITTEN SENT".
func (c *check) deviceTime(d *Draft) {
	if d.DeviceTime == "" {
		return
	}
	written, sent, ok := strings.Cut(d.DeviceTime, " ")
	if !ok || written == "" || sent == "" || strings.Contains(sent, " ") {
		c.add("devicetime", d.DeviceTime, say("refuse.devicetime"), say("refuse.devicetime-instead"))
		return
	}
	written, sent = c.instant("devicetime", written), c.instant("devicetime", sent)
	d.DeviceTime = written + " " + sent
}

// corrected finds the kind of the data inside a correction, and refuses types that cannot be corrected.
func (c *check) corrected(data canon.Value) {
	t := data.Get("type")
	name, version, _ := SplitType(t.Str)
	k := c.door.Catalogue.Kind(name)
	switch {
	case k == nil:
		// told by the general check
	case !Correctable(name):
		c.add("data.type", t.Str, say("refuse.not-correctable", "kind", name), say("refuse.not-correctable-instead"))
	case version > k.Version:
		c.add("data.type", t.Str, say("refuse.version", "kind", name, "version", version), say("refuse.write", "text", k.Type()))
	default:
		c.inner, c.innerVersion = k, version
	}
}

// Correctable reports whether records of a kind can be corrected. Of the ledger's own kinds only rules and named seasons
// can; everything that happened on the farm can, and so can farm.opened and setting.adopted.
func Correctable(kind string) bool {
	switch kind {
	case "record.corrected", "record.withdrawn", "records.reviewed", "import.made", "report.issued", "drill.held",
		"evidence.given", "key.changed", "ledger.restored", "ledger.moved", "access.granted", "access.viewed",
		"access.ended", "person.forgotten":
		return false
	}
	return true
}

// Withdrawable reports whether records of a kind can be withdrawn.
func Withdrawable(kind string) bool {
	switch kind {
	case "farm.opened", "setting.adopted", "rule.adopted", "season.named":
		return false
	}
	return Correctable(kind)
}
