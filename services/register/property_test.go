package register_test

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"latewood/services/register"
)

// Whatever is done to a register, with restores of old copies in between: a tag means one person, a name that was erased
// stands in no file, and every commitment that was handed out for a person who is not erased can be shown. (A restore takes
// back what came after the copy; what is erased stays erased.)
func TestRegisterProperty(t *testing.T) {
	t.Parallel()
	steps := 0
	rapid.Check(t, func(rt *rapid.T) {
		dir, err := os.MkdirTemp(t.TempDir(), "")
		if err != nil {
			rt.Fatal(err)
		}
		path := filepath.Join(dir, "register.json")
		r := open(rt, dir)
		var backup []byte                      // of register.json
		tags := map[string]string{}            // tag: pseudonym
		handed := map[string]map[string]bool{} // pseudonym: commitments
		erased := map[string][]string{}        // pseudonym: what must be gone
		n := 0
		name := func() string { n++; return fmt.Sprintf("Person-%d-of-this-test", n) }
		living := func() []register.Person {
			return slices.DeleteFunc(r.List(), func(p register.Person) bool { return p.Erased != nil || p.Role == register.Owner })
		}
		pick := func(rt *rapid.T) (register.Person, bool) {
			l := living()
			if len(l) == 0 {
				return register.Person{}, false
			}
			return l[rapid.IntRange(0, len(l)-1).Draw(rt, "who")], true
		}
		hand := func(p register.Person) {
			if handed[p.Pseudonym] == nil {
				handed[p.Pseudonym] = map[string]bool{}
			}
			for _, c := range p.Certificates {
				handed[p.Pseudonym][c.Commitment] = true
			}
		}
		rt.Repeat(map[string]func(*rapid.T){
			"add": func(rt *rapid.T) {
				var certificates []register.Change
				for i := range rapid.IntRange(0, 2).Draw(rt, "certificates") {
					certificates = append(certificates, register.Change{Number: fmt.Sprintf("N-%d-%d", n, i)})
				}
				p, err := r.Add(register.New{Name: name(), Certificates: certificates}, day(rt, "2026-01-01"))
				if err != nil {
					rt.Fatal(err)
				}
				hand(p)
			},
			"correct": func(rt *rapid.T) {
				p, ok := pick(rt)
				if !ok {
					return
				}
				c := register.Correction{}
				if rapid.Bool().Draw(rt, "name") {
					c.Name = text(name())
				}
				if rapid.Bool().Draw(rt, "drop") && len(p.Certificates) > 0 {
					c.Drop = []string{p.Certificates[0].Number}
				}
				if rapid.Bool().Draw(rt, "certificate") {
					c.Certificates = []register.Change{{Number: fmt.Sprintf("C-%d", rapid.IntRange(0, 3).Draw(rt, "number"))}}
				}
				p, err := r.Correct(p.Pseudonym, c)
				if err != nil {
					rt.Fatal(err)
				}
				hand(p)
			},
			"erase": func(rt *rapid.T) {
				p, ok := pick(rt)
				if !ok {
					return
				}
				gone := []string{p.Name}
				for _, proof := range p.Proofs() {
					gone = append(gone, proof.Name, proof.Salt)
				}
				if _, err := r.Erase(p.Pseudonym, "left", day(rt, "2030-01-01"), "id", true); err != nil {
					rt.Fatal(err)
				}
				erased[p.Pseudonym] = gone
				delete(handed, p.Pseudonym)
			},
			"open": func(*rapid.T) { r = open(rt, dir) },
			"back up": func(rt *rapid.T) {
				if b, err := os.ReadFile(path); err == nil {
					backup = b
				}
			},
			"restore": func(rt *rapid.T) {
				if backup == nil {
					return
				}
				if err := os.WriteFile(path, backup, 0o600); err != nil {
					rt.Fatal(err)
				}
				r = open(rt, dir)
				clear(tags)
				clear(handed)
				for _, p := range living() {
					hand(p)
				}
			},
			"": func(rt *rapid.T) {
				steps++
				for _, p := range r.List() {
					if was, ok := tags[p.Tag]; ok && was != p.Pseudonym {
						rt.Fatalf("%s was %s and is %s", p.Tag, was, p.Pseudonym)
					}
					tags[p.Tag] = p.Pseudonym
					if (p.Erased != nil) != (erased[p.Pseudonym] != nil) {
						rt.Fatalf("%s: erased %v", p.Tag, p.Erased)
					}
					can := map[string]bool{}
					for _, proof := range p.Proofs() {
						can[proof.Commitment] = true
						if !holds(proof) {
							rt.Fatalf("%s: %+v does not hold", p.Tag, proof)
						}
					}
					for c := range handed[p.Pseudonym] {
						if !can[c] {
							rt.Fatalf("%s: a commitment that was handed out cannot be shown", p.Tag)
						}
					}
				}
				for who, gone := range erased {
					if _, ok := r.Get(who); !ok {
						rt.Fatalf("the tombstone of %s is gone", who)
					}
					wantNowhere(rt, dir, gone...)
				}
			},
		})
	})
	t.Logf("counts: %d steps on registers", steps)
}
