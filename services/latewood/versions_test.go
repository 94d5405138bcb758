package main

import (
	"context"
	"encoding/base64"
	"io"
	"log/slog"
	"path/filepath"
	"strconv"
	"strings"

	"github.com/rogpeppe/go-internal/testscript"

	"latewood/events"
	"latewood/events/ledger"
	"latewood/events/ledger/jetlog"
	"latewood/services/internal/natsbox"
	"latewood/services/project"
)

// newer DIR FARM appends a record to a farm's ledger that is sound but of a version which no program writes yet.
// newer -size DIR FARM fails unless that record is still the last one.
func newer(ts *testscript.TestScript, _ bool, args []string) {
	look := len(args) == 3 && args[0] == "-size"
	if look {
		args = args[1:]
	}
	if len(args) != 2 {
		ts.Fatalf("usage: newer [-size] DIR FARM")
	}
	ctx := context.Background()
	box, err := natsbox.Start(ctx, natsbox.Options{Dir: filepath.Join(args[0], "broker"), Logger: slog.New(slog.NewTextHandler(io.Discard, nil))})
	ts.Check(err)
	defer box.Stop()
	nc, err := box.Ledger()
	ts.Check(err)
	log, err := jetlog.Open(ctx, nc, args[1], jetlog.Options{Health: box.Health})
	ts.Check(err)
	var last, inChain *events.Record
	place := 0
	for r, err := range project.Records(ctx, log, 1, 0) {
		ts.Check(err)
		last = r
		for link := range strings.SplitSeq(r.Envelope.Chains, ", ") {
			if parts := strings.Fields(link); parts[0] == "farm" {
				inChain = r
				place, err = strconv.Atoi(parts[1])
				ts.Check(err)
			}
		}
	}
	if look {
		if last.Envelope.Type != futureType {
			ts.Fatalf("the last record is %s at %d", last.Envelope.Type, last.Place)
		}
		return
	}
	e := last.Envelope
	leaf := inChain.Leaf()
	e.ID, e.Type, e.Batch, e.DeviceTime = "018f0000-0000-7000-8000-0000000000f9", futureType, "", ""
	e.Chains = "farm " + strconv.Itoa(place+1) + " " + base64.StdEncoding.EncodeToString(leaf[:])
	body := e.AppendCanonical(nil, []byte(`{"from":"2026-01-01","name":"count-rule","value":"elapsed"}`))
	ts.Check(log.Append(ctx, last.Place, []ledger.Entry{{Kind: "setting.adopted", Body: body}}))
}

const futureType = "setting.adopted.v9"
