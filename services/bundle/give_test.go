package bundle_test

import (
	"encoding/base64"
	"fmt"
	"html"
	"slices"
	"strings"
	"testing"

	"latewood/events"
	"latewood/events/ledger/evidence"
	"latewood/events/ledger/proof"
	"latewood/services/bundle"
)

const (
	pseudonym = "w_00112233445566778899aabbccddeeff"
	sprayed   = `{"where":{"block":%q},"started":"2026-05-02T07:00:00Z","ended":"2026-05-02T08:00:00Z","mix":[{"label":%q}],"applicator":{"code":"` + pseudonym + `","commitment":%q}}`
	picked    = `{"mass":{"unit":"kg","value":%d},"where":{"block":%q}}`
	packed    = `{"inputs":[{"pick":%q,"mass":{"unit":"kg","value":9}}],"lot":%q,"product":"lychee","date":"2026-05-04","packed":{"count":1,"kind":"carton","netMass":{"unit":"kg","value":9}},"location":{"name":"Tern Hollow"}}`
)

// hollow is an invented farm with two lots and a load.
func hollow(t testing.TB) *rig {
	r := newRig(t)
	salt := [32]byte{7}
	c := events.Commitment(salt, "PA-1", "Ira Sund")
	r.names[c] = evidence.Name{Pseudonym: pseudonym, Name: "Ira Sund", Certificate: "PA-1", Salt: base64.StdEncoding.EncodeToString(salt[:]), Commitment: c}
	r.add("farm.opened", `{"name":"Tern Hollow","zone":"Pacific/Honolulu","latitude":19.6,"longitude":-155.1}`)
	r.add("block.established", `{"block":"north","name":"North","area":{"unit":"har","value":1}}`)
	r.add("block.established", `{"block":"south","name":"South","area":{"unit":"har","value":1}}`)
	label := r.add("label.filed", `{"product":"Fern <Oil>","material":"pesticide","readBy":"`+pseudonym+`","withholding":{"kind":"numeric","value":2,"unit":"d","countRule":"date"},"reentry":{"hours":12}}`)
	r.add("spray.applied", fmt.Sprintf(sprayed, "north", label, c))
	r.add("spray.applied", fmt.Sprintf(sprayed, "south", label, c))
	a := r.add("fruit.picked", fmt.Sprintf(picked, 410, "north"))
	b := r.add("fruit.picked", fmt.Sprintf(picked, 99, "south"))
	r.add("record.corrected", fmt.Sprintf(`{"data":%s,"follows":%q,"reason":"read the scale again","record":%q,"type":"fruit.picked.v1"}`, fmt.Sprintf(picked, 401, "north"), a, a), "picks/north")
	r.add("lot.packed", fmt.Sprintf(packed, a, "L17"))
	r.add("lot.packed", fmt.Sprintf(packed, b, "L18"))
	r.add("fruit.delivered", fmt.Sprintf(`{"delivery":"L18","picks":[{"pick":%q,"mass":{"unit":"kg","value":9}}],"recipient":{"name":"Harrow Packing"},"date":"2026-05-04"}`, b))
	return r
}

func TestGive(t *testing.T) {
	t.Parallel()
	r := hollow(t)
	r.seal()
	g, rep := r.give(bundle.Request{Of: "L17", Recipient: "Harrow Packing"})
	if g.For != "lot/L17" || g.Place != 13 || g.Size != 13 || g.Records != rep.Records || g.Suggested != "lot-L17.evidence.zip" || len(g.Continues) != 0 {
		t.Errorf("given: %+v", g)
	}
	if rep.Recipient != "Harrow Packing" || len(rep.Names) != 0 || rep.AsOf != 13 {
		t.Errorf("the report: %+v", rep)
	}
	page := html.UnescapeString(part(t, g.File, "first-page.html"))
	for _, want := range []string{
		"Evidence for lot L17", "Tern Hollow, for Harrow Packing", "Nothing that was recorded for lot L17", "401 kg", "Fern <Oil>", "2 d",
		"read the scale again", "place 13 of the ledger", "half of them within 60 minutes", rep.Root, r.key.Key().Fingerprint(), "No record came from a phone",
	} {
		if !strings.Contains(page, want) {
			t.Errorf("the first page does not say %q", want)
		}
	}
	if n := strings.Count(page, "401 kg"); n != 1 {
		t.Errorf("the pick stands %d times in the page", n)
	}
	if !strings.Contains(part(t, g.File, "first-page.html"), "Fern &lt;Oil&gt;") {
		t.Error("a name from a record stands in the page as it is, not as text")
	}
	if strings.Contains(page, "⟦") || strings.Contains(part(t, g.File, "README.txt"), "⟦") || strings.Contains(page, "99 kg") || strings.Contains(page, "Ira Sund") {
		t.Errorf("the first page says too much:\n%s", page)
	}
	// The next one continues the first.
	g, rep = r.give(bundle.Request{Of: "lot:L18", Names: true, Recipient: "Harrow Packing", Seen: [][]byte{r.notes[0], r.notes[1]}})
	if !slices.Equal(g.Continues, []uint64{12, 13}) || rep.Seen != 2 || g.Names != 1 || len(rep.Names) != 1 || rep.Names[0].Name != "Ira Sund" {
		t.Errorf("given: %+v\nthe report: %+v", g, rep)
	}
	if kind := r.entries[g.Place-2].Kind; kind != "access.granted" {
		t.Errorf("before the evidence stands %s, want access.granted", kind)
	}
	if !strings.Contains(part(t, g.File, "first-page.html"), "Ira Sund") {
		t.Error("the first page does not say who was named")
	}
	// A name that was erased is missing, and said to be.
	r.names = map[string]evidence.Name{}
	if g, _ = r.give(bundle.Request{Of: "delivery:L18", Names: true, Recipient: "Harrow Packing"}); g.Names != 0 || g.NamesGone != 1 {
		t.Errorf("with an erased name: %+v", g)
	}
	for of, want := range map[string]string{"north/2026": "block/north 2026", "block:south/2025/26": "block/south 2025/26"} {
		if g, _ = r.give(bundle.Request{Of: of}); g.For != want {
			t.Errorf("%s: for %q, want %q", of, g.For, want)
		}
	}
	spray, _ := events.ParseRecord(5, r.entries[4].Body)
	if g, _ = r.give(bundle.Request{Of: spray.ID.String()}); g.For != "spray/"+spray.ID.String() || !strings.Contains(part(t, g.File, "first-page.html"), "the spray of 2026-05-") {
		t.Errorf("spray: %+v", g)
	}
}

func TestRefuses(t *testing.T) {
	t.Parallel()
	r := hollow(t)
	r.seal()
	other, err := proof.Checkpoint{Origin: r.key.Key().Name(), Tree: proof.Tree{Size: 5}}.Sign(r.key)
	if err != nil {
		t.Fatal(err)
	}
	newer, err := proof.Checkpoint{Origin: r.key.Key().Name(), Tree: proof.Tree{Size: 500}}.Sign(r.key)
	if err != nil {
		t.Fatal(err)
	}
	before := len(r.entries)
	for _, tc := range []struct {
		q    bundle.Request
		want string
	}{
		{bundle.Request{}, "Say what the evidence is for"},
		{bundle.Request{Of: "L99"}, "no lot, load or block called L99"},
		{bundle.Request{Of: "l17"}, "Was it one of these: L17"},
		{bundle.Request{Of: "L71"}, "Was it one of these: L17"},
		{bundle.Request{Of: "north"}, "Say for which season: north/2026"},
		{bundle.Request{Of: "north/soon"}, "soon is not a season"},
		{bundle.Request{Of: "L18"}, "lot:L18, delivery:L18"},
		{bundle.Request{Of: "spray:L18"}, "no lot, load or block"},
		{bundle.Request{Of: "017f22e2-79b0-7cc3-98c4-dc0c0c07398f"}, "no spray with the id"},
		{bundle.Request{Of: "L17", Names: true}, "say for whom"},
		{bundle.Request{Of: "L17", Seen: [][]byte{[]byte("x")}}, "not signed with a key of this ledger"},
		{bundle.Request{Of: "L17", Seen: [][]byte{other}}, "not of its history"},
		{bundle.Request{Of: "L17", Seen: [][]byte{newer}}, "an old copy"},
	} {
		r.refused(tc.q, tc.want)
	}
	if len(r.entries) != before {
		t.Errorf("what was refused appended %d records", len(r.entries)-before)
	}
	r.add("lot.packed", fmt.Sprintf(packed, "017f22e2-79b0-7cc3-98c4-dc0c0c07398f", "L20"))
	r.refused(bundle.Request{Of: "L20"}, "names the fruit.picked 017f22e2-79b0-7cc3-98c4-dc0c0c07398f, which is not recorded")
	r.stuck = errStuck
	r.refused(bundle.Request{Of: "L17"}, "no file was written")
	r.stuck = nil
	if g, _ := r.give(bundle.Request{Of: "L17"}); g.Place != uint64(len(r.entries)) {
		t.Errorf("given again at place %d of %d", g.Place, len(r.entries))
	}
}

// Records that come while evidence is given: those in its chains belong to it, those that lead to further chains make it be
// given once more, and a ledger that never holds still is told.
func TestBetween(t *testing.T) {
	t.Parallel()
	r := hollow(t)
	r.between = func() { r.add("water.applied", `{"where":{"block":"north"}}`) }
	g, _ := r.give(bundle.Request{Of: "L17"})
	if g.Place != 14 {
		t.Errorf("given at place %d, want 14", g.Place)
	}
	if part(t, g.File, "records/0000000013.json") == "" {
		t.Error("what came between is not in the file")
	}
	once := true
	r.between = func() {
		if once {
			once = false
			r.add("lot.packed", fmt.Sprintf(packed, r.id(8), "L17"), "lot/L17")
		}
	}
	g, _ = r.give(bundle.Request{Of: "L17", Names: true, Recipient: "Harrow Packing"})
	if !slices.Contains(g.Chains, "inputs/south") {
		t.Errorf("chains %v, want inputs/south among them", g.Chains)
	}
	granted := 0
	for _, e := range r.entries {
		if e.Kind == "access.granted" {
			granted++
		}
	}
	if granted != 1 {
		t.Errorf("granted %d times, want once", granted)
	}
	n := 0
	r.between = func() {
		n++
		l := r.add("label.filed", `{"product":"Oil"}`)
		r.add("spray.applied", fmt.Sprintf(sprayed, "north", l, ""))
	}
	r.refused(bundle.Request{Of: "L17"}, "Try again")
	if n < 2 {
		t.Errorf("tried %d times", n)
	}
}

// id is the id of the record at a place.
func (r *rig) id(place uint64) string {
	rec, err := events.ParseRecord(place, r.entries[place-1].Body)
	if err != nil {
		r.t.Fatal(err)
	}
	return rec.ID.String()
}
