// Package natsbox is the broker in a box: a nats-server inside this process, or a connection to one elsewhere. It is the
// only package that knows nats-server.
//
// # What the box holds
//
// Three accounts that cannot see each other. NATS accounts share no subjects, so what is published in one does not
// exist in another, the JetStream API included, but for what one exports and another imports by name.
//
//   - LEDGER holds the farms' ledgers, and JetStream for them. Its one user has a secret of 256 random bits, made at
//     start, kept in memory, given to nobody, and good only for connections from inside this process.
//   - SENSORS holds what weather stations send. Its users may publish to wx.> and do nothing else: not subscribe, not
//     ask JetStream for anything. A second kind of user, again inside this process only, may read wx.>. What MQTT keeps for
//     the sensors (sessions, retained messages) is counted to this account and bounded.
//   - RAW holds the raw stream: all that is published on wx.>, which is the one thing that it imports from SENSORS. It is an
//     account of its own because a sensor can fill the room of SENSORS with retained messages, and JetStream then stores
//     nothing more in that account; readings would be acknowledged and lost. Its one user lives in this process, too.
//
// This is not caution for its own sake: on a server without accounts, an anonymous MQTT client can publish a record
// into the ledger's subjects, and delete the stream in spite of its deny flags. The test of this package tries both.
//
// # What it promises
//
// Every append is synced before it is acknowledged (SyncAlways). There is no port for NATS clients; the one port
// that can be opened is MQTT, for stations, with TLS where a certificate is given. One process uses a folder at a time; a second one gets ErrInUse. JetStream
// may fill the disk up to a reserve and then refuses appends in words, before the disk itself is full; a write that
// fails all the same stops the ledger, and Health says so.
package natsbox
