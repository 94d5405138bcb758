package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"crypto/rand"

	"latewood/events"
	"latewood/events/civil"
	"latewood/events/words"
	"latewood/services/internal/app"
	"latewood/services/print"
	"latewood/services/seal"
	"latewood/services/serve"
)

// sealCommands are the commands about the ledger itself.
type sealCommands struct {
	Key        keyCommand        `cmd:"" help:"${cli_key}"`
	Checkpoint checkpointCommand `cmd:"" help:"${cli_checkpoint}"`
	Cosign     cosignCommand     `cmd:"" help:"${cli_cosign}"`
	Stamp      stampCommand      `cmd:"" help:"${cli_stamp}"`
	Audit      auditCommand      `cmd:"" help:"${cli_audit}"`
	Backup     backupCommand     `cmd:"" help:"${cli_backup}"`
	Restore    restoreCommand    `cmd:"" help:"${cli_restore}"`
}

type keyCommand struct {
	Show   keyShowCommand   `cmd:"" default:"withargs" help:"${cli_key_show}"`
	Rotate keyRotateCommand `cmd:"" help:"${cli_key_rotate}"`
}

type keyShowCommand struct {
	Output string `short:"o" help:"${cli_key_output}" placeholder:"FILE"`
}

// Run shows the key, with a code that a packer can take off the screen.
func (k *keyShowCommand) Run(ctx context.Context, t *terminal) (int, error) {
	var doc app.Key
	exit, err := ask(ctx, t, "key", app.KeyRequest{Farm: t.global.Farm}, func(d app.Key) {
		doc = d
		t.say("cli.key-origin", "origin", d.Origin)
		t.say("cli.key-vkey", "vkey", d.VKey)
		t.say("cli.key-print", "print", d.Fingerprint)
		for _, old := range d.Earlier {
			t.say("cli.key-earlier", "vkey", old)
		}
		if d.Size > 0 {
			t.root(d.Size, d.Root, true)
		}
		if !d.Signs {
			t.say("cli.key-unsigned")
		}
		fmt.Fprintln(t.out)
		if text, err := print.Text(d.VKey); err == nil {
			fmt.Fprint(t.out, text)
		}
		t.say("cli.key-hand")
	})
	if err != nil || k.Output == "" || doc.VKey == "" {
		return exit, err
	}
	var picture strings.Builder
	if err := print.Picture(&picture, doc.VKey); err != nil {
		return 1, err
	}
	if err := t.write(k.Output, picture.String()); err != nil {
		return 1, err
	}
	return exit, nil
}

type keyRotateCommand struct {
	Reason string `help:"${cli_key_reason}"`
	Lost   bool   `help:"${cli_key_lost}"`
}

func (k *keyRotateCommand) Run(ctx context.Context, t *terminal) (int, error) {
	return ask(ctx, t, "rotate", app.RotateRequest{Farm: t.global.Farm, Reason: k.Reason, Lost: k.Lost}, func(d app.Key) {
		t.say("cli.key-rotated", "place", d.Place)
		t.say("cli.key-origin", "origin", d.Origin)
		t.say("cli.key-vkey", "vkey", d.VKey)
		t.say("cli.key-print", "print", d.Fingerprint)
	})
}

type checkpointCommand struct {
	Since  string `help:"${cli_checkpoint_since}" placeholder:"FILE"`
	Growth string `help:"${cli_checkpoint_growth}" placeholder:"FILE"`
	Output string `short:"o" help:"${cli_output}" placeholder:"FILE"`
}

func (c *checkpointCommand) Run(ctx context.Context, t *terminal) (int, error) {
	q := app.CheckpointRequest{Farm: t.global.Farm}
	if c.Since != "" {
		b, err := readFile(c.Since)
		if err != nil {
			return 1, err
		}
		q.Since = string(b)
	}
	var werr error
	exit, err := ask(ctx, t, "checkpoint", q, func(d app.Checkpointed) {
		if werr = t.write(c.Output, d.Checkpoint); werr == nil && d.Growth != "" {
			werr = t.write(c.Growth, d.Growth)
		}
	})
	if err = firstError(err, werr); err != nil {
		return max(exit, 1), err
	}
	return exit, nil
}

// write puts a text into a file, whole or not at all, or on the terminal where none is named.
func (t *terminal) write(path, text string) error {
	out, done, err := t.output(path)
	if err != nil {
		return err
	}
	_, err = fmt.Fprint(out, text)
	return firstError(err, done(err == nil))
}

func readFile(path string) ([]byte, error) {
	b, err := os.ReadFile(path)
	if err != nil {
		return nil, &serve.Fault{Exit: 1, Text: words.Say("cli.no-file", "file", path), Err: err}
	}
	return b, nil
}

type cosignCommand struct {
	File   string `arg:"" help:"${cli_cosign_file}"`
	Key    string `required:"" help:"${cli_cosign_key}" placeholder:"FILE"`
	New    string `help:"${cli_cosign_new}" placeholder:"NAME"`
	Log    string `required:"" help:"${cli_cosign_log}" placeholder:"VKEY"`
	Growth string `help:"${cli_cosign_growth}" placeholder:"FILE"`
	Output string `short:"o" help:"${cli_output}" placeholder:"FILE"`
}

// Cosigned is what cosign says under --json.
type Cosigned struct {
	File    string `json:"file"`
	Witness string `json:"witness"`
	Size    uint64 `json:"size"`
	Root    string `json:"root"`
	Time    string `json:"time"`
}

// Run signs a checkpoint as somebody outside. It needs no folder.
func (c *cosignCommand) Run(_ context.Context, t *terminal) (int, error) {
	checkpoint, err := readFile(c.File)
	if err != nil {
		return 1, err
	}
	log, err := seal.ReadKey(c.Log)
	if err != nil {
		return 2, &serve.Fault{Exit: 2, Text: words.Say("cli.vkey-bad", "text", c.Log)}
	}
	var growth []byte
	if c.Growth != "" {
		if growth, err = readFile(c.Growth); err != nil {
			return 1, err
		}
	}
	w, made, err := seal.OpenWitness(c.Key, c.New, rand.Reader)
	if err != nil {
		return 1, &serve.Fault{Exit: 1, Text: words.Say("cli.cosign-key-bad", "file", c.Key, "why", err)}
	}
	if made {
		t.tell("cli.cosign-made", "file", c.Key, "vkey", w.Key().String())
	}
	now := time.Now()
	out, s, err := w.Cosign(checkpoint, log, growth, now.Unix())
	if err != nil {
		return cosignFault(c.File, s.Size, err)
	}
	to := c.Output
	if to == "" {
		to = c.File
	}
	if err := t.write(to, string(out)); err != nil {
		return 1, err
	}
	if t.json {
		return 0, t.document(Cosigned{to, w.Key().String(), s.Size, s.Root.String(), civil.FormatTime(now.UTC().Truncate(time.Second))})
	}
	t.say("cli.cosign-done", "name", w.Key().Name(), "size", s.Size, "root", s.Root.String(), "file", to)
	return 0, nil
}

// cosignFault says why a checkpoint was not signed: 3 where something was found against the ledger.
func cosignFault(file string, size uint64, err error) (int, error) {
	why := seal.Refusal(err)
	exit, text := 1, words.Say("cli.cosign-bad", "file", file, "why", err)
	switch why.What {
	case seal.Older:
		text = words.Say("cli.cosign-older", "size", size, "seen", why.Seen)
	case seal.NoGrowth:
		text = words.Say("cli.cosign-no-growth", "size", size, "why", err)
	case seal.Split:
		exit, text = 3, words.Say("cli.cosign-split", "why", err)
	}
	return exit, &serve.Fault{Exit: exit, Text: text}
}

type stampCommand struct {
	File  string `arg:"" help:"${cli_stamp_file}"`
	Query string `help:"${cli_stamp_query}" placeholder:"FILE"`
	Reply string `help:"${cli_stamp_reply}" placeholder:"FILE"`
}

// Stamped is what stamp says under --json.
type Stamped struct {
	File  string `json:"file"`
	Query string `json:"query,omitempty"`
	Reply string `json:"reply,omitempty"`
	Time  string `json:"time,omitempty"` // as the answer says, unchecked
}

// Run writes a question for a time authority, or keeps its answer. It needs no folder and no network.
func (s *stampCommand) Run(_ context.Context, t *terminal) (int, error) {
	if (s.Query == "") == (s.Reply == "") {
		return 2, &serve.Fault{Exit: 2, Text: words.Say("cli.stamp-one")}
	}
	data, err := readFile(s.File)
	if err != nil {
		return 1, err
	}
	if s.Query != "" {
		query, err := seal.StampQuery(data, rand.Reader)
		if err != nil {
			return 1, err
		}
		if err := t.write(s.Query, string(query)); err != nil {
			return 1, err
		}
		if t.json {
			return 0, t.document(Stamped{File: s.File, Query: s.Query})
		}
		t.say("cli.stamp-asked", "query", s.Query)
		return 0, nil
	}
	reply, err := readFile(s.Reply)
	if err != nil {
		return 1, err
	}
	at, over, err := seal.ReadStamp(reply, data)
	switch {
	case err != nil:
		return 1, &serve.Fault{Exit: 1, Text: words.Say("cli.stamp-bad", "file", s.Reply, "why", err)}
	case !over:
		return 3, &serve.Fault{Exit: 3, Text: words.Say("cli.stamp-other", "reply", s.Reply, "file", s.File)}
	}
	kept := s.File + ".tsr"
	if filepath.Clean(kept) != filepath.Clean(s.Reply) {
		if err := t.write(kept, string(reply)); err != nil {
			return 1, err
		}
	}
	when := civil.FormatTime(at)
	if t.json {
		return 0, t.document(Stamped{File: s.File, Reply: kept, Time: when})
	}
	t.say("cli.stamp-kept", "at", when, "file", kept, "data", s.File)
	return 0, nil
}

// document prints one document under --json.
func (t *terminal) document(d any) error {
	b, err := events.WriteJSON(d)
	if err == nil {
		_, err = fmt.Fprintf(t.out, "%s\n", b)
	}
	return err
}

type auditCommand struct {
	From  string   `help:"${cli_audit_from}" placeholder:"URL"`
	Key   string   `help:"${cli_audit_key}" placeholder:"VKEY|FILE"`
	Token string   `help:"${cli_audit_token}" env:"LATEWOOD_TOKEN" placeholder:"TOKEN"`
	Seen  []string `help:"${cli_audit_seen}" placeholder:"FILE" sep:"none"`
}

func (a *auditCommand) Run(ctx context.Context, t *terminal) (int, error) {
	switch {
	case a.From != "":
		return a.from(ctx, t)
	case a.Key != "" || len(a.Seen) > 0:
		return 2, &serve.Fault{Exit: 2, Text: words.Say("cli.audit-without-from")}
	}
	exit, err := ask(ctx, t, "audit", app.AuditRequest{Farm: t.global.Farm}, t.audit)
	// A folder that is too damaged to be opened is what this command is for.
	var d *app.Damage
	if !errors.As(err, &d) {
		return exit, err
	}
	doc := app.DamageAudit(d)
	if t.json {
		return 3, t.document(doc)
	}
	t.audit(doc)
	return 3, nil
}

// from audits a ledger whose archive another process serves. It opens no folder.
func (a *auditCommand) from(ctx context.Context, t *terminal) (int, error) {
	if a.Key == "" {
		return 2, &serve.Fault{Exit: 2, Text: words.Say("cli.audit-no-key")}
	}
	var seen [][]byte
	for _, path := range a.Seen {
		b, err := readFile(path)
		if err != nil {
			return 1, err
		}
		seen = append(seen, b)
	}
	doc, exit, err := app.AuditFrom(ctx, a.From, a.Key, a.Token, seen)
	if err != nil {
		return exit, err
	}
	if t.json {
		return exit, t.document(doc)
	}
	if doc.OK {
		t.say("cli.audit-from-ok", "records", doc.Records, "origin", doc.Origin)
		if len(seen) > 0 {
			t.say("cli.audit-from-seen", "n", len(seen))
		}
		t.root(doc.Records, doc.Root, true)
		return exit, nil
	}
	t.audit(doc)
	return exit, nil
}

func (t *terminal) audit(d app.Audit) {
	if d.OK {
		t.say("cli.audit-ok", "records", d.Records, "checkpoints", d.Checkpoints, "stream", d.Stream, "chains", d.Chains, "folds", len(d.Folds))
		t.root(d.Records, d.Root, true)
		return
	}
	t.say("cli.audit-found", "n", len(d.Problems))
	for _, p := range d.Problems {
		fmt.Fprintln(t.out, "  "+p.What)
	}
}

type backupCommand struct {
	File  string `arg:"" help:"${cli_backup_file}"`
	NoKey bool   `help:"${cli_backup_no_key}"`
}

func (b *backupCommand) Run(ctx context.Context, t *terminal) (int, error) {
	file, err := filepath.Abs(b.File) // the process that has the folder open may stand elsewhere
	if err != nil {
		return 1, err
	}
	return ask(ctx, t, "backup", app.BackupRequest{File: file, NoKey: b.NoKey}, func(d app.BackedUp) {
		t.say("cli.backup-done", "farms", d.Farms, "records", d.Records, "bytes", d.Bytes, "file", d.File)
		keys := 0
		if !d.Keys {
			keys = 1
		}
		t.say("cli.backup-holds", "keys", keys)
	})
}

type restoreCommand struct {
	File        string `arg:"" optional:"" help:"${cli_restore_file}"`
	FromArchive bool   `help:"${cli_restore_from_archive}"`
	Erasures    string `help:"${cli_restore_erasures}" placeholder:"FILE"`
}

// Run works on a folder that nothing has open.
func (r *restoreCommand) Run(ctx context.Context, t *terminal) (int, error) {
	if (r.File == "") == !r.FromArchive {
		return 2, &serve.Fault{Exit: 2, Text: words.Say("cli.restore-one")}
	}
	dir, err := t.dir()
	if err != nil {
		return 1, err
	}
	var doc app.Restores
	o := app.Options{Dir: dir, Logger: t.logger()}
	if r.FromArchive {
		doc, err = app.RestoreFromArchive(ctx, o, t.global.Farm)
	} else {
		doc, err = app.RestoreBackup(ctx, o, app.RestoreRequest{File: r.File, Erasures: r.Erasures})
	}
	if err != nil {
		return 1, err
	}
	if t.json {
		return 0, t.document(doc)
	}
	for _, f := range doc.Farms {
		t.restored(f, r.FromArchive)
	}
	return 0, nil
}

func (t *terminal) restored(f app.Restored, fromArchive bool) {
	if f.Mended > 0 {
		t.say("cli.restored-mended", "farm", f.Farm, "n", f.Mended)
	}
	if fromArchive && !f.Rebuilt {
		if f.Mended == 0 {
			t.say("cli.restored-nothing", "farm", f.Farm)
		}
		return
	}
	t.say("cli.restored", "farm", f.Farm, "sealed", f.Sealed, "salvaged", f.Salvaged, "lost", f.Lost, "size", f.Size, "root", f.Root)
	if f.Aside != "" {
		t.say("cli.restored-aside", "dir", f.Aside)
	}
	if f.Unlinked != "" {
		t.say("cli.restored-lost-file", "file", f.Unlinked)
	}
}
