package natsbox

import (
	"crypto/rand"
	"crypto/tls"
	"encoding/hex"
	"fmt"
	"maps"
	"net"
	"slices"
	"strconv"
	"time"

	"github.com/nats-io/nats-server/v2/server"
)

// Names inside the box. They are seen in the store's folders and in the server's log.
const (
	serverName     = "latewood"
	ledgerAccount  = "LEDGER"
	sensorsAccount = "SENSORS"
	rawAccount     = "RAW"
	ledgerUser     = "ledger"
	readingsUser   = "readings"
	rawUser        = "raw"
	warderUser     = "warder" // bounds what MQTT keeps for the sensors
)

// sensorStore limits what the MQTT part may keep for the stations' sessions, in bytes. Their last messages and
// subscriptions need a few kilobytes each.
const sensorStore = 64 << 20

// handshake is how long a station may take to agree on TLS: small processors need seconds for it.
const handshake = 10 * time.Second

// logins are the secrets of the users that live in this process. They are never written down or sent anywhere but
// through the in-process pipe.
type logins struct {
	ledger, readings, raw, warder string
}

func newLogins() (logins, error) {
	secret := func() (string, error) {
		var b [32]byte
		if _, err := rand.Read(b[:]); err != nil {
			return "", fmt.Errorf("natsbox: no randomness for a secret: %w", err)
		}
		return hex.EncodeToString(b[:]), nil
	}
	var (
		l   logins
		err error
	)
	if l.ledger, err = secret(); err != nil {
		return logins{}, err
	}
	if l.readings, err = secret(); err != nil {
		return logins{}, err
	}
	if l.raw, err = secret(); err != nil {
		return logins{}, err
	}
	if l.warder, err = secret(); err != nil {
		return logins{}, err
	}
	return l, nil
}

// serverOptions are the whole configuration of the embedded server.
func serverOptions(dir string, maxStore int64, l logins, o Options) (*server.Options, error) {
	so := &server.Options{
		ServerName:        serverName, // MQTT asks for one
		DontListen:        true,       // no port for NATS clients
		NoSigs:            true,       // signals are the program's, not the server's
		JetStream:         true,
		StoreDir:          dir,
		SyncAlways:        true, // an acknowledgement is a promise about the disk
		JetStreamMaxStore: maxStore,
	}
	sensorRoom := ""
	if o.MQTT != "" {
		host, port, err := net.SplitHostPort(o.MQTT)
		if err != nil {
			return nil, fmt.Errorf("natsbox: MQTT address %q: want host:port, as 0.0.0.0:1883: %w", o.MQTT, err)
		}
		so.MQTT.Host = host
		if so.MQTT.Port, err = strconv.Atoi(port); err != nil || so.MQTT.Port < 1 || so.MQTT.Port > 65535 {
			return nil, fmt.Errorf("natsbox: MQTT address %q: want a port from 1 to 65535, as 0.0.0.0:1883", o.MQTT)
		}
		if o.Certificate != nil {
			so.MQTT.TLSConfig = &tls.Config{Certificates: []tls.Certificate{*o.Certificate}, MinVersion: tls.VersionTLS12}
			so.MQTT.TLSTimeout = handshake.Seconds()
		}
		// The MQTT part of the server keeps sessions in streams of the users' account.
		sensorRoom = fmt.Sprintf("jetstream: {max_file: %d, max_mem: %d}", sensorStore, sensorStore)
	}
	// The account's JetStream limits can be set by configuration text only, so that JetStream is on in the account
	// before the store is recovered. The text holds nothing from outside: the secrets are hex digits of our own.
	//words:data configuration, read by the server
	text := fmt.Sprintf(`accounts {
		%s {
			jetstream: enabled
			users: [{user: %s, password: "%s", allowed_connection_types: ["IN_PROCESS"]}]
		}
		%s {
			%s
			exports: [{stream: "wx.>", accounts: ["%s"]}]
			users: [{user: %s, password: "%s", allowed_connection_types: ["IN_PROCESS"],
				permissions: {publish: {deny: ">"}, subscribe: {allow: ["wx.>"]}}},
				{user: %s, password: "%s", allowed_connection_types: ["IN_PROCESS"],
				permissions: {publish: {allow: ["$JS.API.STREAM.>"]}, subscribe: {allow: ["_INBOX.>"]}}}]
		}
		%s {
			jetstream: enabled
			imports: [{stream: {account: "%s", subject: "wx.>"}}]
			users: [{user: %s, password: "%s", allowed_connection_types: ["IN_PROCESS"]}]
		}
	}`, ledgerAccount, ledgerUser, l.ledger, sensorsAccount, sensorRoom, rawAccount, readingsUser, l.readings,
		warderUser, l.warder, rawAccount, sensorsAccount, rawUser, l.raw)
	if err := so.ProcessConfigString(text); err != nil {
		return nil, fmt.Errorf("natsbox: configuring accounts: %w", err)
	}
	for _, a := range so.Accounts {
		if a.Name != sensorsAccount {
			continue
		}
		for _, name := range slices.Sorted(maps.Keys(o.Sensors)) {
			if name == ledgerUser || name == readingsUser || name == rawUser || name == warderUser || name == "" {
				return nil, fmt.Errorf("natsbox: a sensor cannot be called %q: the name is taken; give it another", name)
			}
			so.Users = append(so.Users, &server.User{
				Username: name,
				Password: o.Sensors[name],
				Account:  a,
				Permissions: &server.Permissions{
					Publish:   &server.SubjectPermission{Allow: []string{"wx.>"}},
					Subscribe: &server.SubjectPermission{Deny: []string{">"}},
				},
				AllowedConnectionTypes: map[string]struct{}{"IN_PROCESS": {}, "MQTT": {}},
			})
		}
	}
	return so, nil
}
