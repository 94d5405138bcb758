// Package sense takes in what weather stations send. A station publishes packs of SenML (RFC 8428) over MQTT 3.1.1 on a
// topic that begins with wx/STATION; the broker keeps every message in a raw stream, as it came; this package reads that
// stream, checks each message, and hands readings to the recorder. It knows neither the broker nor the ledger: both come in
// as an interface, Source and Recorder.
//
// # What becomes of a message
//
//   - It is taken: its readings are recorded, one for each moment that it speaks of.
//   - It is a repeat: all that it says is known. MQTT sends messages twice, and retained ones again and again; the ids of
//     readings follow from what they say, so that nothing is recorded twice.
//   - It is refused: it is no SenML, or its clock is suspect, or the recorder has something against it. It stays in the raw
//     stream and in the list of Refused, with the reason, until it is taken in after all (Retake), dismissed, or so old that
//     the raw stream has dropped it.
//
// A message is done in the raw stream only after its readings are recorded and the list of the refused is on the disk. If we
// crash before, it is read again, and what was recorded already is then known.
//
// # One reading a moment
//
// Of two readings for one station and time one counts (events.WeatherRead). Stations that send each element on a topic of
// its own would lose all but one. So messages that come in within a short time (Rules.Settle) are looked at together, and
// what they say of one moment becomes one reading. Where such a stretch begins and ends depends on the raw stream alone: read
// again after a crash it gives the same readings, and the same ids.
//
// # Clocks
//
// A reading of a wrong hour is worse than none. A message is refused as clock-suspect if its times lie ahead of our clock, or
// in the years to which a clock falls back that has lost its battery, or far behind what the station sent before, or if they
// lag behind our clock by an amount that stays the same. Late is not suspect: what a station kept while the network was down
// comes in order, and its lag shrinks. Facts and limits: see Rules.
//
// Which clock was wrong is for people to find out. Retake takes a message in with its times moved by so much, or as it is,
// once our own clock has been put right.
//
// # What a hostile sensor can do
//
// Publish on wx/..., which is all that its login lets it do. It can invent readings of stations that the farm has sited; they
// carry the device mqtt-STATION and can be doubted (weather.doubted). It cannot make more than Rules.PerHour of them for any
// hour, nor for other hours than the present, whatever it sends. It can fill the raw stream and so drive out old messages,
// among them refused ones that nobody has looked at.
package sense
