package app

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"latewood/events"
	"latewood/events/ledger"
	"latewood/events/ledger/archive"
	"latewood/events/ledger/disk"
	"latewood/events/words"
	"latewood/services/internal/natsbox"
	"latewood/services/record"
	"latewood/services/seal"
	"latewood/services/serve"
)

// A Finding is one thing that is not as it was sealed, or as it must be.
type Finding struct {
	What   string `json:"what"` // a sentence
	Place  uint64 `json:"place,omitempty"`
	File   string `json:"file,omitempty"`
	Record string `json:"record,omitempty"`
}

// Damage says that a farm's stores do not hold what they should. Nothing was served from them, and nothing was written.
type Damage struct {
	Farm     string
	Findings []Finding
}

func (d *Damage) Error() string {
	var b strings.Builder
	for i, f := range d.Findings {
		if i > 0 {
			b.WriteString("; ")
		}
		if i == 4 {
			b.WriteString(words.Say("seal.more", "n", len(d.Findings)-i))
			break
		}
		b.WriteString(f.What)
	}
	return b.String()
}

func damage(farm string, findings ...Finding) error {
	return &serve.Fault{Exit: 3, Text: words.Say("seal.damage", "farm", farm), Err: &Damage{farm, findings}}
}

func (f *farm) found(findings ...Finding) error { return damage(f.code, findings...) }

// damaged says in a sentence that the ledger's bytes are not what they should be.
func (f *farm) damaged(err error) error {
	if findings := findingsOf(err); len(findings) > 0 {
		return f.found(findings...)
	}
	if errors.Is(err, events.ErrNewerVersion) {
		return &serve.Fault{Exit: 1, Text: words.Say("app.newer", "farm", f.code), Err: err}
	}
	return err
}

// findingsOf makes findings of errors that speak of damage; none of others.
func findingsOf(err error) []Finding {
	var already *Damage
	var files *archive.DamageError
	var hole *ledger.HoleError
	switch {
	case errors.As(err, &already):
		return already.Findings
	case errors.As(err, &files):
		out := make([]Finding, 0, len(files.Findings))
		for _, f := range files.Findings {
			out = append(out, archiveFinding(f))
		}
		if len(out) == 0 {
			out = append(out, Finding{What: words.Say("archive.damaged", "file", "tail")})
		}
		return out
	case errors.As(err, &hole):
		return []Finding{{What: words.Say("seal.hole", "place", hole.Want), Place: hole.Want}}
	case errors.Is(err, record.ErrChain):
		return []Finding{{What: words.Say("seal.chain", "why", err)}}
	case errors.Is(err, events.ErrNotARecord):
		return []Finding{{What: words.Say("seal.no-record", "why", err)}}
	case errors.Is(err, archive.ErrOrder):
		return []Finding{{What: words.Say("seal.order", "why", err)}}
	}
	return nil
}

func archiveFinding(f archive.Finding) Finding {
	out := Finding{What: f.Say(), File: "archive/" + f.File}
	if len(f.Places) > 0 {
		out.Place = f.Places[0].First
	}
	return out
}

// check looks at every farm of the folder before the broker opens it: opening a damaged store can destroy what is left of
// it. It reads only; what a power cut left half written at the end of a stream, and the broker is about to cut off, is copied
// aside first.
func (a *App) check(ctx context.Context) error {
	codes, err := a.Codes()
	if err != nil {
		return err
	}
	for _, code := range codes {
		findings, err := a.checkFarm(ctx, code)
		if err != nil {
			return err
		}
		if len(findings) > 0 {
			return damage(code, findings...)
		}
	}
	return nil
}

// checkFarm holds what is not sealed yet, in both stores, against each other.
func (a *App) checkFarm(ctx context.Context, code string) ([]Finding, error) {
	dir := filepath.Join(a.o.Dir, "farms", code)
	keys, err := seal.PublicKeys(filepath.Join(dir, "keys"))
	if err != nil {
		return nil, keyFault(err)
	}
	var g archive.Glance
	if len(keys) > 0 {
		if g, err = archive.Look(filepath.Join(dir, "archive"), archive.Options{Origin: keys[0].Name(), Keys: keys}); err != nil {
			if findings := findingsOf(err); len(findings) > 0 {
				return findings, nil
			}
			return nil, folderFault(a.o.Dir, err)
		}
	}
	var findings []Finding
	sealed := g.Newest.Size
	look, err := natsbox.LookAt(ctx, filepath.Join(a.o.Dir, "broker"), code, sealed, func(e ledger.Entry) error {
		if i := e.Place - sealed - 1; i < uint64(len(g.Unsealed)) && ledger.LeafHash(g.Unsealed[i].Body) != ledger.LeafHash(e.Body) {
			findings = append(findings, Finding{What: words.Say("seal.differs", "place", e.Place), Place: e.Place})
		}
		return nil
	})
	if err != nil {
		return nil, folderFault(a.o.Dir, err)
	}
	if !look.There {
		if g.Size() > 0 {
			findings = append(findings, Finding{What: words.Say("seal.stream-gone", "size", g.Size()), Place: 1})
		}
		return findings, nil // without an archive the opening says that the ledger is gone
	}
	if found := lookFindings(look); sealed > 0 || len(keys) > 0 || look.Records > 0 {
		findings = append(findings, found...)
	}
	if len(findings) == 0 && look.Last < g.Size() {
		findings = append(findings, Finding{What: words.Say("seal.stream-short", "last", look.Last, "size", g.Size()), Place: look.Last + 1})
	}
	if len(findings) > 0 {
		return findings, nil
	}
	for _, s := range look.Spots {
		if err := a.copyAside(dir, s); err != nil {
			return nil, folderFault(a.o.Dir, err)
		}
		//words:data a line of the log
		a.o.Logger.Warn("the stream ends in half a record, as a power cut leaves it; it was copied aside", "farm", code, "file", s.File, "after", s.After)
	}
	return nil, nil
}

// lookFindings says what a look at the broker's files found, apart from a torn end.
func lookFindings(look natsbox.Look) (out []Finding) {
	if !look.Settings {
		out = append(out, Finding{What: words.Say("seal.settings")})
	}
	for _, s := range look.Spots {
		if !s.Torn {
			out = append(out, Finding{What: words.Say("seal.block", "file", filepath.Base(s.File), "offset", s.Offset, "place", s.After+1), Place: s.After + 1, File: s.File})
		}
	}
	for _, g := range look.Gaps {
		if !slices.ContainsFunc(out, func(f Finding) bool { return f.Place == g[0] }) {
			out = append(out, Finding{What: words.Say("seal.gap", "first", g[0], "last", g[1]), Place: g[0]})
		}
	}
	return out
}

// copyAside keeps a copy of a block file that the broker is about to cut. A second start makes the same copy again.
func (a *App) copyAside(dir string, s natsbox.Spot) error {
	aside := filepath.Join(dir, "aside")
	if err := os.MkdirAll(aside, 0o700); err != nil {
		return err
	}
	content, err := os.ReadFile(s.File)
	if err != nil {
		return err
	}
	return disk.WriteFile(filepath.Join(aside, fmt.Sprintf("%s-torn-at-%d", filepath.Base(s.File), s.Offset)), func(w io.Writer) error {
		_, err := w.Write(content)
		return err
	})
}
