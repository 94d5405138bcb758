package jetlog_test

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/nats-io/nats.go/jetstream"

	"latewood/events/ledger"
	"latewood/events/ledger/jetlog"
	"latewood/events/ledger/ledgertest"
)

// goodConfig is the stream of a ledger as Open makes it, written down a second time.
func goodConfig() jetstream.StreamConfig {
	return jetstream.StreamConfig{
		Name: "LATEWOOD_" + farm, Subjects: []string{"latewood." + farm + ".>"},
		Storage: jetstream.FileStorage, Discard: jetstream.DiscardNew,
		DenyDelete: true, DenyPurge: true, AllowAtomicPublish: true, AllowDirect: true,
		Duplicates: 100 * time.Millisecond,
	}
}

func TestOpenChecksConfiguration(t *testing.T) {
	t.Parallel()
	tests := []struct {
		field  string // "" for none
		change func(*jetstream.StreamConfig)
		o      jetlog.Options
	}{
		{"", func(*jetstream.StreamConfig) {}, jetlog.Options{}},
		{"", func(c *jetstream.StreamConfig) { c.Description = "said otherwise" }, jetlog.Options{Replicas: 1}},
		{"", func(c *jetstream.StreamConfig) { c.Metadata = map[string]string{"who": "operator"} }, jetlog.Options{}},
		{"num_replicas", func(*jetstream.StreamConfig) {}, jetlog.Options{Replicas: 3}},
		{"storage", func(c *jetstream.StreamConfig) { c.Storage = jetstream.MemoryStorage }, jetlog.Options{}},
		{"max_age", func(c *jetstream.StreamConfig) { c.MaxAge = time.Hour }, jetlog.Options{}},
		{"max_msgs", func(c *jetstream.StreamConfig) { c.MaxMsgs = 1_000_000 }, jetlog.Options{}},
		{"max_bytes", func(c *jetstream.StreamConfig) { c.MaxBytes = 1 << 20 }, jetlog.Options{}},
		{"max_msgs_per_subject", func(c *jetstream.StreamConfig) { c.MaxMsgsPerSubject = 9 }, jetlog.Options{}},
		{"max_msg_size", func(c *jetstream.StreamConfig) { c.MaxMsgSize = 1000 }, jetlog.Options{}},
		{"max_consumers", func(c *jetstream.StreamConfig) { c.MaxConsumers = 1 }, jetlog.Options{}},
		{"discard", func(c *jetstream.StreamConfig) { c.Discard = jetstream.DiscardOld }, jetlog.Options{}},
		{"deny_delete", func(c *jetstream.StreamConfig) { c.DenyDelete = false }, jetlog.Options{}},
		{"deny_purge", func(c *jetstream.StreamConfig) { c.DenyPurge = false }, jetlog.Options{}},
		{"allow_atomic", func(c *jetstream.StreamConfig) { c.AllowAtomicPublish = false }, jetlog.Options{}},
		{"allow_direct", func(c *jetstream.StreamConfig) { c.AllowDirect = false }, jetlog.Options{}},
		{"retention", func(c *jetstream.StreamConfig) { c.Retention = jetstream.WorkQueuePolicy }, jetlog.Options{}},
		{"persist_mode", func(c *jetstream.StreamConfig) {
			c.PersistMode, c.AllowAtomicPublish = jetstream.AsyncPersistMode, false
		}, jetlog.Options{}},
		{"duplicate_window", func(c *jetstream.StreamConfig) { c.Duplicates = time.Minute }, jetlog.Options{}},
		{"compression", func(c *jetstream.StreamConfig) { c.Compression = jetstream.S2Compression }, jetlog.Options{}},
		{"subjects", func(c *jetstream.StreamConfig) { c.Subjects = append(c.Subjects, "other.>") }, jetlog.Options{}},
		{"subjects", func(c *jetstream.StreamConfig) { c.Subjects = []string{"latewood." + farm + ".spray.>"} }, jetlog.Options{}},
		{"subject_transform", func(c *jetstream.StreamConfig) {
			c.SubjectTransform = &jetstream.SubjectTransformConfig{Source: ">", Destination: "x.>"}
		}, jetlog.Options{}},
		{"sources", func(c *jetstream.StreamConfig) { c.Sources = []*jetstream.StreamSource{{Name: "OTHER"}} }, jetlog.Options{}},
		{"republish", func(c *jetstream.StreamConfig) {
			c.RePublish = &jetstream.RePublish{Source: ">", Destination: "loud.>"}
		}, jetlog.Options{}},
		{"no_ack", func(c *jetstream.StreamConfig) { c.NoAck, c.AllowAtomicPublish = true, false }, jetlog.Options{}},
		{"allow_msg_ttl", func(c *jetstream.StreamConfig) { c.AllowMsgTTL = true }, jetlog.Options{}},
		{"allow_msg_schedules", func(c *jetstream.StreamConfig) { c.AllowMsgSchedules, c.Discard = true, jetstream.DiscardOld }, jetlog.Options{}},
		{"allow_batched", func(c *jetstream.StreamConfig) { c.AllowBatchPublish = true }, jetlog.Options{}},
		{"allow_rollup_hdrs", func(c *jetstream.StreamConfig) { c.AllowRollup, c.DenyPurge = true, false }, jetlog.Options{}},
		{"first_seq", func(c *jetstream.StreamConfig) { c.FirstSeq = 5 }, jetlog.Options{}},
	}
	for _, tt := range tests {
		t.Run(tt.field, func(t *testing.T) {
			t.Parallel()
			nc := startBroker(t).conn(t)
			js, err := jetstream.New(nc)
			if err != nil {
				t.Fatal(err)
			}
			config := goodConfig()
			tt.change(&config)
			if _, err := js.CreateStream(t.Context(), config); err != nil {
				t.Fatalf("the server does not take the case: %v", err)
			}
			_, err = jetlog.Open(t.Context(), nc, farm, tt.o)
			if tt.field == "" {
				if err != nil {
					t.Errorf("got %v, want it opened", err)
				}
				return
			}
			for _, found := range configErrors(err) {
				if found.Field == tt.field && found.Found != found.Want && strings.Contains(err.Error(), tt.field) {
					return
				}
			}
			t.Errorf("got %v, want a ConfigError about %s", err, tt.field)
		})
	}
}

// TestOpenChecksMirror is apart because a mirror has no subjects of its own.
func TestOpenChecksMirror(t *testing.T) {
	t.Parallel()
	nc := startBroker(t).conn(t)
	js, err := jetstream.New(nc)
	if err != nil {
		t.Fatal(err)
	}
	origin := goodConfig()
	origin.Name = "ORIGIN"
	if _, err := js.CreateStream(t.Context(), origin); err != nil {
		t.Fatal(err)
	}
	_, err = js.CreateStream(t.Context(), jetstream.StreamConfig{
		Name: "LATEWOOD_" + farm, Mirror: &jetstream.StreamSource{Name: "ORIGIN"}, DenyDelete: true, DenyPurge: true,
	})
	if err != nil {
		t.Fatalf("the server does not take the case: %v", err)
	}
	_, err = jetlog.Open(t.Context(), nc, farm, jetlog.Options{})
	for _, found := range configErrors(err) {
		if found.Field == "mirror" {
			return
		}
	}
	t.Errorf("got %v, want a ConfigError about mirror", err)
}

// configErrors takes the ConfigErrors out of a joined error.
func configErrors(err error) []*jetlog.ConfigError {
	switch e := err.(type) {
	case nil:
		return nil
	case *jetlog.ConfigError:
		return []*jetlog.ConfigError{e}
	case interface{ Unwrap() []error }:
		var out []*jetlog.ConfigError
		for _, inner := range e.Unwrap() {
			out = append(out, configErrors(inner)...)
		}
		return out
	}
	return configErrors(errors.Unwrap(err))
}

// TestOpenAgainAfterChange changes a stream behind the ledger's back.
func TestOpenAgainAfterChange(t *testing.T) {
	t.Parallel()
	b := startBroker(t)
	mustAppend(t, b.open(t), 0, ledgertest.Entries("before", 3))
	js, err := jetstream.New(b.conn(t))
	if err != nil {
		t.Fatal(err)
	}
	config := goodConfig()
	config.MaxAge = 24 * time.Hour
	if _, err := js.UpdateStream(t.Context(), config); err != nil {
		t.Fatalf("the server refuses to let messages expire, so this check has become idle: %v", err)
	}
	_, err = jetlog.Open(t.Context(), b.conn(t), farm, jetlog.Options{Create: true})
	var found *jetlog.ConfigError
	if !errors.As(err, &found) || found.Field != "max_age" || found.Found != "86400000000000" || found.Want != "0" {
		t.Errorf("got %v, want a ConfigError about max_age", err)
	}
}

func TestOpenRefusesBadFarms(t *testing.T) {
	t.Parallel()
	nc := startBroker(t).conn(t)
	for _, bad := range []string{"", "-a", "a-", "A", "a.b", "a b", "a*", ">", strings.Repeat("a", 33)} {
		_, err := jetlog.Open(t.Context(), nc, bad, jetlog.Options{Create: true})
		if err == nil || errors.Is(err, ledger.ErrStore) {
			t.Errorf("farm %q: got %v, want it refused", bad, err)
		}
	}
}

// TestStreamReplaced deletes a stream and makes it anew under the same name.
func TestStreamReplaced(t *testing.T) {
	t.Parallel()
	b := startBroker(t)
	log := b.openWith(t, jetlog.Options{Create: true, Timeout: time.Second})
	mustAppend(t, log, 0, ledgertest.Entries("first", 3))
	follow := func() <-chan error {
		done := make(chan error, 1)
		seen := make(chan struct{}, 10)
		go func() {
			done <- log.Follow(context.Background(), 3, func([]ledger.Entry) error { seen <- struct{}{}; return nil })
		}()
		select {
		case <-seen:
		case err := <-done:
			done <- err
		}
		return done
	}
	waiting := follow()
	js, err := jetstream.New(b.conn(t))
	if err != nil {
		t.Fatal(err)
	}
	if err := js.DeleteStream(t.Context(), "LATEWOOD_"+farm); err != nil {
		t.Fatal(err)
	}
	if _, err := log.Last(t.Context()); !errors.Is(err, ledger.ErrStore) {
		t.Errorf("last of a deleted stream: got %v, want ErrStore", err)
	}
	if err := log.Append(t.Context(), 3, ledgertest.Entries("lost", 1)); !errors.Is(err, ledger.ErrStore) || errors.Is(err, ledger.ErrUnknownOutcome) {
		t.Errorf("append to a deleted stream: got %v, want ErrStore and a known outcome", err)
	}
	if err := <-waiting; !errors.Is(err, ledger.ErrStore) {
		t.Errorf("following a deleted stream: got %v, want ErrStore", err)
	}
	// Another of the same name, with other entries in the same places.
	mustAppend(t, b.open(t), 0, ledgertest.Entries("second", 5))
	if _, err := log.Last(t.Context()); !errors.Is(err, ledger.ErrStore) {
		t.Errorf("last of another stream of the same name: got %v, want ErrStore", err)
	}
	if err := <-follow(); !errors.Is(err, ledger.ErrStore) {
		t.Errorf("following another stream of the same name: got %v, want ErrStore", err)
	}
}
