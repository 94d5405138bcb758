package app_test

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"latewood/events"
	"latewood/services/internal/app"
)

// peopleFarm is a folder with a farm that has people: P02 with a certificate, P03 without.
func peopleFarm(t *testing.T) (dir string, a *app.App) {
	t.Helper()
	dir = t.TempDir()
	a = reopened(t, dir, nil)
	call(t, a, "open", app.OpenRequest{Farm: "table", Name: "Table", Zone: "Pacific/Honolulu", Latitude: 10, Longitude: 10}, nil)
	name := "Ione Fernside"
	call(t, a, "person", app.PersonRequest{Name: &name, Certificates: []app.CertificateRequest{{Number: "EX-100"}}}, nil)
	name = "Tama Reef"
	call(t, a, "person", app.PersonRequest{Name: &name}, nil)
	return dir, a
}

// reopened closes a folder and opens it again.
func reopened(t *testing.T, dir string, a *app.App) *app.App {
	t.Helper()
	if a != nil {
		if err := a.Close(); err != nil {
			t.Fatal(err)
		}
	}
	a, err := app.Open(context.Background(), app.Options{Dir: dir})
	if err != nil {
		t.Fatal(err)
	}
	return a
}

func read[D any](t *testing.T, b []byte) (d D) {
	t.Helper()
	if err := events.ReadJSON(b, &d); err != nil {
		t.Fatal(err)
	}
	return d
}

func person(t *testing.T, a *app.App, who string) app.Person {
	t.Helper()
	return read[app.Person](t, call(t, a, "who", app.ShowPersonRequest{Who: who, Proof: true}, nil))
}

// stored reads the records of a kind.
func stored(t *testing.T, a *app.App, kind string) []string {
	t.Helper()
	var out []string
	_, exit, err := a.Call(context.Background(), "export", app.ExportRequest{Kinds: []string{kind}}, nil, func(b []byte) {
		for _, r := range read[app.Lines](t, b).Records {
			out = append(out, string(r))
		}
	})
	if exit != 0 || err != nil {
		t.Fatalf("export: %d, %v", exit, err)
	}
	return out
}

const spraySheet = `started,ended,block,target,product,applicator,by
2026-06-04T06:00,2026-06-04T08:00,north,mites,Invented A,%s,tama reef
2026-06-05T06:00,2026-06-05T08:00,north,mites,Invented B,%s,P03
`

func importSprays(t *testing.T, a *app.App, who string) app.Imported {
	t.Helper()
	file := &memFile{bytes.NewReader([]byte(fmt.Sprintf(spraySheet, who, who))), "sprays.csv"}
	doc, _, err := a.Call(context.Background(), "import", app.ImportRequest{Name: "sprays.csv", As: "sprays"}, file, nil)
	if err != nil {
		t.Fatal(err)
	}
	return read[app.Imported](t, doc)
}

// The same sheet gives the same records, whatever became of names and certificates since.
func TestSheetAgainAfterTheRegisterChanged(t *testing.T) {
	t.Parallel()
	dir, a := peopleFarm(t)
	defer func() { _ = a.Close() }()
	ione := person(t, a, "P02")
	if d := importSprays(t, a, "P02"); d.Recorded.Recorded != 2 || len(d.Refused) != 0 {
		t.Fatalf("first: %+v", d)
	}
	for _, r := range stored(t, a, "spray.applied") {
		for _, want := range []string{`"code":"` + ione.Pseudonym + `"`, `"commitment":"` + ione.Proofs[0].Commitment + `"`, `"by":"w_`} {
			if !strings.Contains(r, want) {
				t.Errorf("%s is not in %s", want, r)
			}
		}
	}
	until, renamed := "2028-12-31", "Ione Fernsyde"
	for _, step := range []struct {
		name string
		q    app.PersonRequest
		who  string
	}{
		{"unchanged", app.PersonRequest{Who: "P02"}, "p2"},
		{"renewed under its number", app.PersonRequest{Who: "P02", Certificates: []app.CertificateRequest{{Number: "EX-100", Expires: &until}}}, "P02"},
		{"a second certificate", app.PersonRequest{Who: "P02", Certificates: []app.CertificateRequest{{Number: "EX-200"}}}, "P02"},
		{"another name", app.PersonRequest{Who: "P02", Name: &renamed}, "Ione Fernsyde"},
		{"the first certificate gone", app.PersonRequest{Who: "P02", Drop: []string{"EX-100"}}, "P02"},
	} {
		call(t, a, "person", step.q, nil)
		if d := importSprays(t, a, step.who); d.Recorded.Recorded != 0 || d.Known != 2 || len(d.Refused) != 0 {
			t.Errorf("%s: %+v", step.name, d)
		}
	}
	// The proof of the records stands among the earlier ones.
	found := 0
	for _, p := range person(t, a, "P02").Proofs {
		if p.Commitment == ione.Proofs[0].Commitment {
			found = len(p.Records)
		}
	}
	if found != 2 {
		t.Errorf("%d records carry the first commitment, want 2", found)
	}
	a = reopened(t, dir, a)
	if d := importSprays(t, a, "P02"); d.Known != 2 {
		t.Errorf("after a restart: %+v", d)
	}
}

// Somebody without a certificate on the day leaves the commitment out; with two, the number behind the tag says which.
func TestWhichCertificate(t *testing.T) {
	t.Parallel()
	_, a := peopleFarm(t)
	defer func() { _ = a.Close() }()
	from := "2026-06-05"
	call(t, a, "person", app.PersonRequest{Who: "P03", Certificates: []app.CertificateRequest{{Number: "EX-300", From: &from}}}, nil)
	if d := importSprays(t, a, "P03"); d.Recorded.Recorded != 2 {
		t.Fatalf("%+v", d)
	}
	tama := person(t, a, "P03")
	records := stored(t, a, "spray.applied")
	if strings.Contains(records[0], "commitment") || !strings.Contains(records[1], tama.Proofs[0].Commitment) {
		t.Errorf("before and on the first day:\n%s\n%s", records[0], records[1])
	}
	call(t, a, "person", app.PersonRequest{Who: "P02", Certificates: []app.CertificateRequest{{Number: "EX-200"}}}, nil)
	if d := importSprays(t, a, "P02"); d.Recorded.Recorded != 2 {
		t.Fatalf("%+v", d)
	}
	if r := stored(t, a, "spray.applied")[2]; strings.Contains(r, "commitment") {
		t.Errorf("of two certificates one was chosen: %s", r)
	}
	if d := importSprays(t, a, "P02/ex-200"); d.Recorded.Recorded != 2 {
		t.Fatalf("%+v", d)
	}
	if r := stored(t, a, "spray.applied")[4]; !strings.Contains(r, person(t, a, "P02").Proofs[1].Commitment) {
		t.Errorf("the number behind the tag did not count: %s", r)
	}
	if d := importSprays(t, a, "P02/EX-999"); len(d.Refused) != 2 || d.Refused[0].Column != "applicator" || !strings.Contains(d.Refused[0].Instead, "EX-100, EX-200") {
		t.Errorf("a number that is none: %+v", d.Refused)
	}
}

func TestNobodyInASheet(t *testing.T) {
	t.Parallel()
	_, a := peopleFarm(t)
	defer func() { _ = a.Close() }()
	d := importSprays(t, a, "Bram Okahele")
	if d.RowsRefused != 2 || d.Recorded.Recorded != 0 || len(d.Refused) != 2 {
		t.Fatalf("%+v", d)
	}
	r := d.Refused[1]
	if r.Line != 3 || r.Field != "data.applicator.code" || r.Column != "applicator" || r.Value != "Bram Okahele" || !strings.Contains(r.Instead, "people add") {
		t.Errorf("%+v", r)
	}
}

// A crash between the erasure and its record, and a backup that brings a name back: the next start sets both right, once.
func TestErasuresAreSettled(t *testing.T) {
	t.Parallel()
	dir, a := peopleFarm(t)
	defer func() { _ = a.Close() }()
	people := filepath.Join(dir, "farms", "table", "people")
	register, list := filepath.Join(people, "register.json"), filepath.Join(people, "erasures.json")
	ione, tama := person(t, a, "P02"), person(t, a, "P03")
	backup, err := os.ReadFile(register)
	if err != nil {
		t.Fatal(err)
	}
	// Killed just after the line was synced.
	id := "019f0000-0000-7000-8000-000000000001"
	line := fmt.Sprintf(`{"pseudonym":%q,"tag":"P02","on":"2026-07-01","reason":"left","record":%q}`+"\n", ione.Pseudonym, id)
	if err := a.Close(); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(list, []byte(line), 0o600); err != nil {
		t.Fatal(err)
	}
	for range 2 {
		a = reopened(t, dir, nil)
		if p := person(t, a, "P02"); p.Name != "" || p.Erased == nil {
			t.Errorf("after the crash: %+v", p)
		}
		if got := stored(t, a, "person.forgotten"); len(got) != 1 || !strings.Contains(got[0], id) || !strings.Contains(got[0], ione.Pseudonym) {
			t.Errorf("forgotten: %v", got)
		}
		if err := a.Close(); err != nil {
			t.Fatal(err)
		}
	}
	// The whole folder of people from the backup: the ledger remembers.
	a = reopened(t, dir, nil)
	call(t, a, "erase", app.EraseRequest{Who: tama.Tag, Reason: "has left"}, nil)
	if err := a.Close(); err != nil {
		t.Fatal(err)
	}
	if err := os.Remove(list); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(register, backup, 0o600); err != nil {
		t.Fatal(err)
	}
	a = reopened(t, dir, nil)
	for _, tag := range []string{"P02", "P03"} {
		if p := person(t, a, tag); p.Name != "" || p.Erased == nil {
			t.Errorf("after the restore: %+v", p)
		}
	}
	if got := stored(t, a, "person.forgotten"); len(got) != 2 {
		t.Errorf("forgotten: %v", got)
	}
	b, err := os.ReadFile(register)
	if err != nil || bytes.Contains(b, []byte("Ione")) || bytes.Contains(b, []byte("Tama")) {
		t.Errorf("the register still has names (%v): %s", err, b)
	}
}

// The file with the owner's pseudonym is lost: the register knows it. A register that others can read keeps the farm shut.
func TestFilesOfThePeople(t *testing.T) {
	t.Parallel()
	dir, a := peopleFarm(t)
	owner := person(t, a, "P01").Pseudonym
	people := filepath.Join(dir, "farms", "table", "people")
	if err := os.Remove(filepath.Join(people, "owner.json")); err != nil {
		t.Fatal(err)
	}
	a = reopened(t, dir, a)
	if got := person(t, a, "P01").Pseudonym; got != owner {
		t.Errorf("the owner is %s, was %s", got, owner)
	}
	if err := a.Close(); err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(filepath.Join(people, "register.json"), 0o644); err != nil {
		t.Fatal(err)
	}
	a = reopened(t, dir, nil)
	defer func() { _ = a.Close() }()
	if _, exit, err := a.Call(context.Background(), "people", app.PeopleRequest{}, nil, nil); exit != 1 || err == nil || !strings.Contains(err.Error(), "chmod 600") {
		t.Errorf("names that others can read: %d, %v", exit, err)
	}
}

// A correction takes a tag, and a new applicator does not keep the commitment of the one before.
func TestCorrectThePerson(t *testing.T) {
	t.Parallel()
	_, a := peopleFarm(t)
	defer func() { _ = a.Close() }()
	ione, tama := person(t, a, "P02"), person(t, a, "P03")
	added := read[app.Recorded](t, call(t, a, "add", app.AddRequest{Kind: "spray.applied", Data: `{"where":{"block":"north"},"started":"2026-06-04T06:00:00-10:00","ended":"2026-06-04T08:00:00-10:00","target":"mites","applicator":{"code":"P02"},"mix":[{"product":"Invented"}]}`}, nil))
	if len(added.IDs) != 1 {
		t.Fatalf("%+v", added)
	}
	call(t, a, "correct", app.CorrectRequest{ID: added.IDs[0], Set: []string{"applicator.code=P03", "ended=2026-06-04T09:00:00-10:00"}, Reason: "it was somebody else"}, nil)
	records := stored(t, a, "record.corrected")
	if len(records) != 1 || !strings.Contains(records[0], tama.Pseudonym) || strings.Contains(records[0], ione.Proofs[0].Commitment) || !strings.Contains(records[0], `"time":"2026-06-04T09:00:00-10:00"`) {
		t.Errorf("corrected: %v", records)
	}
	doc, exit, err := a.Call(context.Background(), "correct", app.CorrectRequest{ID: added.IDs[0], Set: []string{"by=P77"}, Reason: "x"}, nil, nil)
	if err != nil || exit != 1 || !strings.Contains(string(doc), `"field":"data.data.by"`) || !strings.Contains(string(doc), "nobody in the register has this tag") {
		t.Errorf("nobody: %d, %v, %s", exit, err, doc)
	}
}
