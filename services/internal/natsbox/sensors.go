package natsbox

import (
	"context"
	"fmt"
	"time"

	"github.com/nats-io/nats.go/jetstream"
)

// sensorStreams are the streams in which the MQTT part of the server keeps what belongs to the stations, as it makes them
// itself (nats-server 2.15.2, mqtt.go, mqttCreateAccountSessionManager), but bounded. Without bounds one station can fill the
// account with retained messages, and then no station can so much as connect: its session cannot be stored. Measured, with
// 80 MB of them and some small ones.
//
// What is beyond a bound goes by age. That costs a station its retained message, which nobody reads here, or a session that
// it has not used for long, which then begins anew.
var sensorStreams = []jetstream.StreamConfig{
	{Name: "$MQTT_sess", Subjects: []string{"$MQTT.sess.>"}, MaxMsgsPerSubject: 1, MaxBytes: 8 << 20},
	{Name: "$MQTT_rmsgs", Subjects: []string{"$MQTT.rmsgs.>"}, MaxMsgsPerSubject: 1, MaxBytes: 8 << 20},
	// Messages of quality of service 2 between their two acknowledgements. The server wants new ones discarded here, so they
	// are bounded by age too.
	{
		Name: "$MQTT_qos2in", Subjects: []string{"$MQTT.qos2.in.>"}, MaxMsgsPerSubject: 1, MaxBytes: 8 << 20,
		Discard: jetstream.DiscardNew, DiscardNewPerSubject: true, MaxAge: 10 * time.Minute,
	},
}

// boundSensors makes the streams, or bounds those that are there.
func (b *Box) boundSensors(ctx context.Context) error {
	nc, err := b.connect(warderUser, b.logins.warder)
	if err != nil {
		return err
	}
	defer nc.Close()
	js, err := jetstream.New(nc)
	if err != nil {
		return fmt.Errorf("natsbox: bounding what MQTT keeps: %w", err)
	}
	for _, c := range sensorStreams {
		c.Storage = jetstream.FileStorage
		if _, err := js.CreateOrUpdateStream(ctx, c); err != nil {
			return fmt.Errorf("natsbox: bounding what MQTT keeps: %s: %w", c.Name, err)
		}
	}
	return nil
}
