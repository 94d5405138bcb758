package main

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"latewood/events/words"
	"latewood/services/bundle"
	"latewood/services/serve"
)

type verifyCommand struct {
	File    string   `arg:"" help:"${cli_verify_file}"`
	Key     string   `help:"${cli_verify_key}" placeholder:"VKEY|FILE"`
	Seen    []string `help:"${cli_verify_seen}" placeholder:"CHECKPOINT" sep:"none"`
	Witness []string `help:"${cli_verify_witness}" placeholder:"VKEY|FILE" sep:"none"`
}

// Run checks a file of evidence. It opens no folder and asks nobody.
func (v *verifyCommand) Run(_ context.Context, t *terminal) (int, error) {
	r, err := bundle.Check(bundle.CheckRequest{File: v.File, Key: v.Key, Seen: v.Seen, Witnesses: v.Witness})
	var bad *bundle.CheckError
	if errors.As(err, &bad) {
		return 1, &serve.Fault{Exit: 1, Text: bad.Text, Err: bad.Err}
	}
	if err != nil {
		return 1, err
	}
	exit := 0
	if !r.OK {
		exit = 3
	}
	if t.json {
		return exit, t.document(r)
	}
	for _, s := range r.Sentences {
		fmt.Fprintln(t.out, s)
	}
	for _, p := range r.Problems {
		fmt.Fprintln(t.out, "  "+p.What)
	}
	if !r.OK {
		return exit, nil
	}
	fmt.Fprintln(t.out)
	late := ""
	if r.Late != nil {
		late = words.Say("verify.late", "median", bundle.Span(r.Late.MedianSeconds), "worst", bundle.Span(r.Late.WorstSeconds))
	}
	t.pairs("for", r.For, "recipient", r.Recipient, "ledger", r.Log, "key", words.Say("verify.key-from", "key", strings.Join(r.SignedBy, ", "), "from", r.KeyFrom),
		"records", words.Say("verify.records", "records", r.Records, "size", r.Size), "root", r.Root, "late", late)
	if len(v.Seen) > 0 {
		t.say("verify.continues", "n", r.Seen)
	}
	var rows [][]string
	for _, c := range r.Chains {
		rows = append(rows, []string{c.Chain, fmt.Sprint(c.Records)})
	}
	fmt.Fprintln(t.out)
	t.table(heads("chain", "records"), rows)
	for _, n := range r.Names {
		t.say("verify.opened", "name", n.Name, "certificate", dash(n.Certificate), "records", n.Records)
	}
	return exit, nil
}
