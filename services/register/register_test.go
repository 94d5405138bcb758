package register_test

import (
	"crypto/sha256"
	"encoding/base64"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"latewood/events"
	"latewood/events/civil"
	"latewood/services/register"
)

const owner = "w_00000000000000000000000000000001"

// tb is what *testing.T and *rapid.T share.
type tb interface {
	Helper()
	Fatal(args ...any)
	Errorf(format string, args ...any)
}

// The people of these tests are invented.
func open(t tb, dir string) *register.Register {
	t.Helper()
	r, err := register.Open(register.Config{Dir: dir, Owner: owner})
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func day(t tb, s string) civil.Date {
	t.Helper()
	d, err := civil.ParseDate(s)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func add(t tb, r *register.Register, n register.New) register.Person {
	t.Helper()
	p, err := r.Add(n, day(t, "2026-01-05"))
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func text(s string) *string { return &s }

// key gives the key of the sentence that says why an error is one.
func key(err error) string {
	var p events.Problem
	if !errors.As(err, &p) {
		return ""
	}
	return p.Why.Key
}

func TestOwner(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	r := open(t, dir)
	p, ok := r.ByTag("P01")
	if !ok || p.Pseudonym != owner || p.Role != register.Owner {
		t.Errorf("P01 is %+v, want the owner", p)
	}
	if files, _ := os.ReadDir(dir); len(files) != 0 {
		t.Errorf("opening wrote %v", files)
	}
	if got, err := register.OwnerOf(dir); got != "" || err != nil {
		t.Errorf("owner of an empty folder: %q, %v", got, err)
	}
	if _, err := r.Erase(owner, "why not", day(t, "2026-01-01"), "", true); key(err) != "people.erase-owner" {
		t.Errorf("erasing the owner: %v", err)
	}
	if _, err := r.Correct(owner, register.Correction{Name: text("Ione Fernside")}); err != nil {
		t.Fatal(err)
	}
	if _, err := r.Correct(owner, register.Correction{Name: text("")}); err != nil {
		t.Errorf("the owner's name taken away: %v", err)
	}
	if got, err := register.OwnerOf(dir); got != owner || err != nil {
		t.Errorf("owner: %q, %v", got, err)
	}
	// The file with the owner's pseudonym is lost and made anew: the register keeps the former owner as a person.
	other, err := register.Open(register.Config{Dir: dir, Owner: "w_00000000000000000000000000000002"})
	if err != nil {
		t.Fatal(err)
	}
	if p, ok := other.ByTag("P02"); !ok || p.Pseudonym != "w_00000000000000000000000000000002" {
		t.Errorf("the new owner: %+v", p)
	}
}

func TestTagsAndNames(t *testing.T) {
	t.Parallel()
	r := open(t, t.TempDir())
	a := add(t, r, register.New{Name: "  Ione   Fernside "})
	b := add(t, r, register.New{Name: "Bram Okahele", Role: "manager", Phone: "555 0100"})
	c := add(t, r, register.New{Name: "ione fernside"})
	d := add(t, r, register.New{Name: "Zoë Ålund"})
	if a.Name != "Ione Fernside" || a.Tag != "P02" || b.Tag != "P03" || c.Tag != "P04" || !events.IsPseudonym(a.Pseudonym) || a.Role != "crew" || a.Since != "2026-01-05" {
		t.Errorf("added: %+v %+v %+v", a, b, c)
	}
	for _, tc := range []struct{ text, want, why string }{
		{"P03", b.Pseudonym, ""}, {"p3", b.Pseudonym, ""}, {" P003 ", b.Pseudonym, ""}, {"bram okahele", b.Pseudonym, ""},
		{"BRAM  OKAHELE", b.Pseudonym, ""}, {b.Pseudonym, b.Pseudonym, ""}, {"Zoe\u0308 A\u030alund", d.Pseudonym, ""},
		{"P99", "", "people.unknown-tag"}, {"P0", "", "people.unknown-name"}, {"Nobody", "", "people.unknown-name"}, {"", "", "people.unknown-name"},
		{"Ione Fernside", "", "people.several"}, {"w_ffffffffffffffffffffffffffffffff", "", "people.unknown-pseudonym"},
	} {
		p, err := r.Find(tc.text)
		if p.Pseudonym != tc.want || key(err) != tc.why {
			t.Errorf("%q: got %q, %v; want %q, %q", tc.text, p.Pseudonym, err, tc.want, tc.why)
		}
	}
	if _, err := r.Find("Ione Fernside"); !strings.Contains(err.Error(), "P02, P04") {
		t.Errorf("two of one name: %v", err)
	}
	if n := len(r.ByName("ione FERNSIDE")); n != 2 {
		t.Errorf("%d of the name, want 2", n)
	}
	if n := len(r.List()); n != 5 {
		t.Errorf("%d in the list, want 5", n)
	}
}

func TestRefused(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	r := open(t, dir)
	p := add(t, r, register.New{Name: "Ione Fernside", Certificates: []register.Change{{Number: "EX-1"}}})
	before, err := os.ReadFile(filepath.Join(dir, "register.json"))
	if err != nil {
		t.Fatal(err)
	}
	for _, tc := range []struct {
		name string
		n    register.New
		why  string
	}{
		{"no name", register.New{Name: " "}, "people.name-missing"},
		{"a tag as name", register.New{Name: "P07"}, "people.name-is-tag"},
		{"a pseudonym as name", register.New{Name: owner}, "people.name-is-tag"},
		{"two lines", register.New{Name: "Ione\nFernside"}, "people.one-line"},
		{"not UTF-8", register.New{Name: "Ione\xff"}, "people.one-line"},
		{"too long", register.New{Name: strings.Repeat("n", 121)}, "people.too-long"},
		{"an unknown role", register.New{Name: "A", Role: "boss"}, "people.role"},
		{"a second owner", register.New{Name: "A", Role: "owner"}, "people.one-owner"},
		{"no day", register.New{Name: "A", KeepUntil: "next year"}, "people.day"},
		{"a certificate without number", register.New{Name: "A", Certificates: []register.Change{{Number: " "}}}, "people.number-missing"},
		{"a certificate that ends before it begins", register.New{Name: "A", Certificates: []register.Change{{Number: "1", From: text("2026-02-01"), Expires: text("2026-01-31")}}}, "people.expires-before"},
		{"a certificate's day", register.New{Name: "A", Certificates: []register.Change{{Number: "1", Expires: text("31/01/2026")}}}, "people.day"},
	} {
		if _, err := r.Add(tc.n, day(t, "2026-01-05")); key(err) != tc.why {
			t.Errorf("%s: %v, want %s", tc.name, err, tc.why)
		}
	}
	for _, tc := range []struct {
		name, who string
		c         register.Correction
		why       string
	}{
		{"nobody", "w_ffffffffffffffffffffffffffffffff", register.Correction{}, "people.unknown-pseudonym"},
		{"no name", p.Pseudonym, register.Correction{Name: text("")}, "people.name-missing"},
		{"to owner", p.Pseudonym, register.Correction{Role: text("owner")}, "people.one-owner"},
		{"the owner to crew", owner, register.Correction{Role: text("crew")}, "people.one-owner"},
		{"a certificate of nobody", owner, register.Correction{Certificates: []register.Change{{Number: "1"}}}, "people.name-for-certificate"},
		{"a certificate that is not there", p.Pseudonym, register.Correction{Name: text("Bram Okahele"), Drop: []string{"9"}}, "people.no-certificate"},
		{"good and bad at once", p.Pseudonym, register.Correction{Name: text("Bram Okahele"), Certificates: []register.Change{{Number: "2"}, {Number: ""}}}, "people.number-missing"},
	} {
		if _, err := r.Correct(tc.who, tc.c); key(err) != tc.why {
			t.Errorf("%s: %v, want %s", tc.name, err, tc.why)
		}
	}
	after, err := os.ReadFile(filepath.Join(dir, "register.json"))
	if err != nil || string(after) != string(before) {
		t.Errorf("what was refused changed the register (%v):\n%s\n%s", err, before, after)
	}
	if q, _ := r.Get(p.Pseudonym); q.Name != "Ione Fernside" || len(q.Certificates) != 1 || len(q.Earlier) != 0 {
		t.Errorf("what was refused changed %+v", q)
	}
	if q := add(t, r, register.New{Name: "Bram Okahele"}); q.Tag != "P03" {
		t.Errorf("refused persons took tags: the next is %s", q.Tag)
	}
}

// holds recomputes a commitment from what an inspector is shown, with nothing of ours.
func holds(p register.Proof) bool {
	salt, err := base64.StdEncoding.DecodeString(p.Salt)
	sum := sha256.Sum256(append(salt, `{"certificate":"`+p.Number+`","name":"`+p.Name+`"}`...))
	return err == nil && len(salt) == 32 && base64.StdEncoding.EncodeToString(sum[:]) == p.Commitment
}

func TestCertificates(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	r := open(t, dir)
	p := add(t, r, register.New{Name: "Ione Fernside", Certificates: []register.Change{
		{Number: "EX-100", Kind: text("private"), Expires: text("2026-12-31")},
		{Number: "EX-200", From: text("2026-07-01")},
	}})
	first, second := p.Certificates[0].Commitment, p.Certificates[1].Commitment
	if first == second || p.Certificates[0].Salt == p.Certificates[1].Salt {
		t.Error("two certificates share a salt")
	}
	for _, tc := range []struct{ on, want string }{
		{"2026-06-30", first}, {"2026-07-01", ""}, {"2026-12-31", ""}, {"2027-01-01", second},
	} {
		if got := p.On(day(t, tc.on)); got.Commitment != tc.want || got.Code != p.Pseudonym {
			t.Errorf("on %s: %+v, want %q", tc.on, got, tc.want)
		}
	}
	if got, err := r.Commit(p.Pseudonym, "ex-200"); err != nil || got.Commitment != second || got.Code != p.Pseudonym {
		t.Errorf("by number: %+v, %v", got, err)
	}
	if _, err := r.Commit(p.Pseudonym, "EX-300"); key(err) != "people.no-certificate" || !strings.Contains(err.Error(), "EX-100, EX-200") {
		t.Errorf("by a number that is none: %v", err)
	}
	if _, err := r.Commit(owner, "EX-300"); key(err) != "people.no-certificate" {
		t.Errorf("of somebody without any: %v", err)
	}
	if _, err := r.Commit("w_ffffffffffffffffffffffffffffffff", "EX-300"); key(err) != "people.unknown-pseudonym" {
		t.Errorf("of nobody: %v", err)
	}
	// A renewal under the same number keeps the commitment: the same sheet gives the same records.
	p, err := r.Correct(p.Pseudonym, register.Correction{Certificates: []register.Change{{Number: "EX-100", Expires: text("2028-12-31")}}})
	if err != nil || p.Certificates[0].Commitment != first || p.Certificates[0].Kind != "private" {
		t.Errorf("renewed: %+v, %v", p.Certificates, err)
	}
	// A name that is corrected has other commitments; the earlier ones can still be shown.
	p, err = r.Correct(p.Pseudonym, register.Correction{Name: text("Ione Fernsyde"), Drop: []string{"EX-200"}})
	if err != nil || len(p.Certificates) != 1 || p.Certificates[0].Commitment == first || len(p.Earlier) != 2 {
		t.Fatalf("renamed: %+v, %v", p, err)
	}
	proofs := open(t, dir).List()[1].Proofs()
	if len(proofs) != 3 || proofs[0].Name != "Ione Fernsyde" {
		t.Errorf("proofs: %+v", proofs)
	}
	shown := map[string]bool{}
	salts := map[string]bool{}
	for _, proof := range proofs {
		if !holds(proof) || proof.Claim != `{"certificate":"`+proof.Number+`","name":"`+proof.Name+`"}` {
			t.Errorf("a proof does not hold: %+v", proof)
		}
		shown[proof.Commitment], salts[proof.Salt] = true, true
	}
	if !shown[first] || !shown[second] || !shown[p.Certificates[0].Commitment] || len(salts) != 3 {
		t.Errorf("a commitment has no proof, or two share a salt: %v %v", shown, salts)
	}
}

func TestErase(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	r := open(t, dir)
	cert := []register.Change{{Number: "EX-100"}}
	kept := add(t, r, register.New{Name: "Ione Fernside", Phone: "555 0100", KeepUntil: "2028-06-30", Certificates: cert})
	unknown := add(t, r, register.New{Name: "Bram Okahele", Certificates: cert})
	picker := add(t, r, register.New{Name: "Tama Reef"})
	for _, tc := range []struct {
		name, who, reason, on string
		early                 bool
		why                   string
	}{
		{"too early", kept.Pseudonym, "left", "2028-06-30", false, "people.erase-early"},
		{"no date", unknown.Pseudonym, "left", "2040-01-01", false, "people.erase-unknown"},
		{"no reason", picker.Pseudonym, " ", "2026-01-01", true, "people.reason-missing"},
		{"a reason with the name", picker.Pseudonym, "reef has left", "2026-01-01", true, "people.reason-names"},
		{"nobody", "w_ffffffffffffffffffffffffffffffff", "left", "2026-01-01", true, "people.unknown-pseudonym"},
	} {
		if _, err := r.Erase(tc.who, tc.reason, day(t, tc.on), "id", tc.early); key(err) != tc.why {
			t.Errorf("%s: %v, want %s", tc.name, err, tc.why)
		}
	}
	if got := r.Expired(day(t, "2028-06-30")); len(got) != 0 {
		t.Errorf("expired on the last day: %v", got)
	}
	if got := r.Expired(day(t, "2028-07-01")); len(got) != 1 || got[0].Tag != kept.Tag {
		t.Errorf("expired the day after: %v", got)
	}
	for i, who := range []string{kept.Pseudonym, unknown.Pseudonym, picker.Pseudonym} {
		if _, err := r.Erase(who, "the date has gone by", day(t, "2028-07-01"), "id", i == 1); err != nil {
			t.Fatal(err)
		}
	}
	gone, ok := open(t, dir).ByTag(kept.Tag)
	if !ok || gone.Name != "" || gone.Phone != "" || len(gone.Certificates)+len(gone.Earlier) != 0 || gone.Pseudonym != kept.Pseudonym ||
		gone.Erased == nil || gone.Erased.On != "2028-07-01" {
		t.Errorf("the tombstone: %+v", gone)
	}
	wantNowhere(t, dir, "Ione", "Bram", "Tama", "555 0100", "EX-100", kept.Certificates[0].Salt)
	if _, err := r.Find(kept.Tag); key(err) != "people.erased" {
		t.Errorf("work under an erased tag: %v", err)
	}
	if p, err := r.Find(kept.Pseudonym); err != nil || p.Erased == nil {
		t.Errorf("an erased pseudonym: %+v, %v", p, err)
	}
	if _, err := r.Erase(kept.Pseudonym, "again", day(t, "2028-07-01"), "id", true); key(err) != "people.erased" {
		t.Errorf("erased twice: %v", err)
	}
	if _, err := r.Correct(kept.Pseudonym, register.Correction{Name: text("Ione Fernside")}); key(err) != "people.erased" {
		t.Errorf("corrected after the erasure: %v", err)
	}
	if p := add(t, r, register.New{Name: "Ione Fernside"}); p.Tag != "P05" {
		t.Errorf("a tag was given again: %s", p.Tag)
	}
}

// wantNowhere looks for texts in every file of a folder.
func wantNowhere(t tb, dir string, texts ...string) {
	t.Helper()
	files, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range files {
		b, err := os.ReadFile(filepath.Join(dir, f.Name()))
		if err != nil {
			t.Fatal(err)
		}
		for _, s := range texts {
			if strings.Contains(string(b), s) {
				t.Errorf("%s still has %q", f.Name(), s)
			}
		}
	}
}

func copyFile(t tb, from, to string) {
	t.Helper()
	b, err := os.ReadFile(from)
	if err == nil {
		err = os.WriteFile(to, b, 0o600)
	}
	if err != nil {
		t.Fatal(err)
	}
}

// A backup brings back names that were erased after it was made. Opening takes them away again: by the list where it was
// kept, by what the ledger says where it was not.
func TestErasedAgainAfterRestore(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		name string
		keep bool // the list of erasures was not overwritten by the backup
	}{{"the list is there", true}, {"only the ledger knows", false}} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			dir := t.TempDir()
			path, list := filepath.Join(dir, "register.json"), filepath.Join(dir, "erasures.json")
			r := open(t, dir)
			a := add(t, r, register.New{Name: "Ione Fernside"})
			copyFile(t, path, path+".backup")
			b := add(t, r, register.New{Name: "Bram Okahele"}) // came after the backup
			for _, who := range []string{a.Pseudonym, b.Pseudonym} {
				if _, err := r.Erase(who, "left", day(t, "2028-07-01"), "id", false); err != nil {
					t.Fatal(err)
				}
			}
			known := r.Erasures()
			copyFile(t, path+".backup", path)
			if !tc.keep {
				if err := os.Remove(list); err != nil {
					t.Fatal(err)
				}
			}
			if err := os.Remove(path + ".backup"); err != nil {
				t.Fatal(err)
			}
			r = open(t, dir)
			n, err := r.Reapply(known)
			if want := map[bool]int{true: 0, false: 1}[tc.keep]; n != want || err != nil {
				t.Errorf("reapplied %d, %v, want %d", n, err, want)
			}
			wantNowhere(t, dir, "Ione", "Bram")
			if p, _ := r.Get(a.Pseudonym); p.Erased == nil || p.Erased.On != "2028-07-01" {
				t.Errorf("after the restore: %+v", p)
			}
			if p := add(t, r, register.New{Name: "Tama Reef"}); tc.keep && p.Tag != "P04" {
				t.Errorf("a tag of somebody who came after the backup was given again: %s", p.Tag)
			}
			if n := len(open(t, dir).Erasures()); n == 0 {
				t.Error("the list is empty")
			}
		})
	}
}

// A crash may leave half a line of an erasure, which then did not happen, or the whole line and a register that still has the
// name.
func TestCrashWhileErasing(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	path, list := filepath.Join(dir, "register.json"), filepath.Join(dir, "erasures.json")
	r := open(t, dir)
	a, b := add(t, r, register.New{Name: "Ione Fernside"}), add(t, r, register.New{Name: "Bram Okahele"})
	copyFile(t, path, path+".before")
	if _, err := r.Erase(a.Pseudonym, "left", day(t, "2028-07-01"), "first", false); err != nil {
		t.Fatal(err)
	}
	whole, err := os.ReadFile(list)
	if err != nil {
		t.Fatal(err)
	}
	for cut := range len(whole) + 1 {
		copyFile(t, path+".before", path)
		if err := os.WriteFile(list, whole[:cut], 0o600); err != nil {
			t.Fatal(err)
		}
		r := open(t, dir)
		p, _ := r.Get(a.Pseudonym)
		if got, want := p.Erased != nil, cut == len(whole); got != want {
			t.Fatalf("%d of %d bytes: erased %v, want %v", cut, len(whole), got, want)
		}
		if _, err := r.Erase(b.Pseudonym, "left", day(t, "2028-07-02"), "second", false); err != nil {
			t.Fatalf("after %d bytes: %v", cut, err)
		}
		if list := open(t, dir).Erasures(); list[len(list)-1].Record != "second" {
			t.Fatalf("after %d bytes the list is %v", cut, list)
		}
	}
	t.Logf("counts: %d places of a crash", len(whole)+1)
}

func TestFilesThatMustNotBe(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		name, file, content string
		mode                os.FileMode
		want                error
	}{
		{"names that others can read", "register.json", `{"version":1,"persons":[]}`, 0o644, register.ErrExposed},
		{"names that the group can read", "register.json", `{"version":1,"persons":[]}`, 0o640, register.ErrExposed},
		{"erasures that others can read", "erasures.json", "", 0o604, register.ErrExposed},
		{"not JSON", "register.json", `{"version":1,`, 0o600, register.ErrDamaged},
		{"empty", "register.json", ``, 0o600, register.ErrDamaged},
		{"of a newer program", "register.json", `{"version":2,"persons":[]}`, 0o600, register.ErrDamaged},
		{"two with one tag", "register.json", `{"version":1,"persons":[{"pseudonym":"w_00000000000000000000000000000005","tag":"P02"},{"pseudonym":"w_00000000000000000000000000000006","tag":"P02"}]}`, 0o600, register.ErrDamaged},
		{"a tag beyond all", "register.json", `{"version":1,"persons":[],"lastTag":99999999999}`, 0o600, register.ErrDamaged},
		{"no pseudonym", "register.json", `{"version":1,"persons":[{"pseudonym":"Ione","tag":"P02"}]}`, 0o600, register.ErrDamaged},
		{"a line of the list that is none", "erasures.json", "{}\n", 0o600, register.ErrDamaged},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			dir := t.TempDir()
			path := filepath.Join(dir, tc.file)
			if err := os.WriteFile(path, []byte(tc.content), 0o600); err != nil {
				t.Fatal(err)
			}
			if err := os.Chmod(path, tc.mode); err != nil {
				t.Fatal(err)
			}
			_, err := register.Open(register.Config{Dir: dir, Owner: owner})
			var file *register.FileError
			if !errors.Is(err, tc.want) || !errors.As(err, &file) || file.Path != path {
				t.Errorf("got %v, want %v of %s", err, tc.want, path)
			}
		})
	}
}

func TestMentions(t *testing.T) {
	t.Parallel()
	r := open(t, t.TempDir())
	ione := add(t, r, register.New{Name: "Ione O'Fernside"})
	add(t, r, register.New{Name: "Rose"})
	mentions := r.Mentions()
	for text, want := range map[string]string{
		"":                                 "",
		"told by ione o'fernside, at noon": ione.Tag,
		"IONE  O’FERNSIDE":                 ione.Tag,
		"Ione O'Fernsides":                 "",
		"Ione said, and Fernside too":      "",
		"the rose is in bloom":             "",
	} {
		if tag, ok := mentions(text); tag != want || ok != (want != "") {
			t.Errorf("%q: got %q, %v, want %q", text, tag, ok, want)
		}
	}
}
