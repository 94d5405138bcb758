package jetlog

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"reflect"
	"slices"
	"time"

	"github.com/nats-io/nats.go/jetstream"
)

// ErrAbsent says that the broker has no ledger of this farm.
var ErrAbsent = errors.New("jetlog: the broker has no ledger of this farm")

// A ConfigError is a setting of a stream under which it could lose or change records, or let others do so. Open may return
// several of them, joined.
type ConfigError struct {
	Stream string
	Field  string // the server's own name for it, as in "max_age"
	Found  string // JSON
	Want   string // JSON
}

func (e *ConfigError) Error() string {
	return fmt.Sprintf("jetlog: stream %s has %s = %s, want %s", e.Stream, e.Field, e.Found, e.Want)
}

// duplicatesWindow is the shortest that the server takes (nats-server, stream.go, checkStreamCfg: "duplicates window
// can not be less then 100ms"). At start the server loads every message younger than this.
const duplicatesWindow = 100 * time.Millisecond

// newConfig is the stream of a new ledger.
func (l *Log) newConfig(replicas int) jetstream.StreamConfig {
	return jetstream.StreamConfig{
		Name: l.stream,
		//words:data read in the broker's own tools only
		Description:        "Ledger of a farm. Its sequence numbers are places: nothing may ever be taken out.",
		Subjects:           []string{l.prefix + ">"},
		Retention:          jetstream.LimitsPolicy,
		MaxConsumers:       -1,
		MaxMsgs:            -1,
		MaxBytes:           -1,
		MaxMsgsPerSubject:  -1,
		MaxMsgSize:         -1,
		Discard:            jetstream.DiscardNew,
		Storage:            jetstream.FileStorage,
		Replicas:           max(replicas, 1),
		Duplicates:         duplicatesWindow,
		AllowDirect:        true,
		DenyDelete:         true,
		DenyPurge:          true,
		AllowAtomicPublish: true,
	}
}

// wantConfig is what the server must say of a ledger's stream, in its own field names. A field that is neither here nor
// in freeConfig must be absent, false, zero or empty: so a setting that a later server brings is refused when it is
// used, not when it exists.
func (l *Log) wantConfig() map[string]any {
	return map[string]any{
		"name":                 l.stream,
		"subjects":             []any{l.prefix + ">"},
		"retention":            "limits", // the others drop what consumers have seen
		"max_consumers":        -1.0,
		"max_msgs":             -1.0,
		"max_bytes":            -1.0,
		"max_msgs_per_subject": -1.0,
		"max_msg_size":         -1.0,
		"max_age":              0.0, // nanoseconds; anything else expires records
		"discard":              "new",
		"storage":              "file",
		"compression":          "none", // a compressed store cannot be looked at before it is opened
		"duplicate_window":     float64(duplicatesWindow),
		"allow_direct":         true,
		"deny_delete":          true,
		"deny_purge":           true,
		"allow_atomic":         true,
	}
}

// freeConfig are the fields that say nothing about what is kept. The replicas are checked apart.
var freeConfig = []string{"description", "metadata", "placement", "num_replicas"}

// checkConfig holds a configuration, as the server gave it, against what a ledger needs. replicas is not checked if 0.
func (l *Log) checkConfig(found map[string]any, replicas int) error {
	want := l.wantConfig()
	if replicas > 0 {
		want["num_replicas"] = float64(replicas)
	}
	var errs []*ConfigError
	add := func(field string, found, want any) {
		errs = append(errs, &ConfigError{l.stream, field, jsonText(found), jsonText(want)})
	}
	for field, w := range want {
		if f := found[field]; !reflect.DeepEqual(f, w) && !(isZero(f) && isZero(w)) {
			add(field, f, w)
		}
	}
	for field, f := range found {
		if _, known := want[field]; known || slices.Contains(freeConfig, field) {
			continue
		}
		// A ledger begins at place 1; 1 and nothing are the same to the server.
		if field == "first_seq" && f == 1.0 {
			continue
		}
		if !isZero(f) {
			add(field, f, nil)
		}
	}
	slices.SortFunc(errs, func(a, b *ConfigError) int { return cmp.Compare(a.Field, b.Field) })
	joined := make([]error, len(errs))
	for i, e := range errs {
		joined[i] = e
	}
	return errors.Join(joined...)
}

// isZero says whether a JSON value says nothing: null, false, 0, "", an empty list, or an object of such values.
func isZero(v any) bool {
	switch v := v.(type) {
	case nil:
		return true
	case bool:
		return !v
	case float64:
		return v == 0
	case string:
		return v == ""
	case []any:
		return len(v) == 0
	case map[string]any:
		for _, inner := range v {
			if !isZero(inner) {
				return false
			}
		}
		return true
	}
	return false
}

func jsonText(v any) string {
	b, err := json.Marshal(v)
	if err != nil {
		return fmt.Sprint(v)
	}
	return string(b)
}

// serverConfig asks the server for the stream's configuration in the server's own words: the client's type would leave
// out what it does not know.
func (l *Log) serverConfig(ctx context.Context) (map[string]any, error) {
	reply, err := l.nc.RequestWithContext(ctx, jetstream.DefaultAPIPrefix+"STREAM.INFO."+l.stream, nil)
	if err != nil {
		return nil, err
	}
	var info struct {
		Error  *jetstream.APIError `json:"error"`
		Config map[string]any      `json:"config"`
	}
	if err := json.Unmarshal(reply.Data, &info); err != nil {
		return nil, err
	}
	if info.Error != nil {
		return nil, info.Error
	}
	return info.Config, nil
}
