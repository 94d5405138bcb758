package main

import (
	"bytes"
	"crypto/tls"
	"crypto/x509"
	"fmt"
	"net"
	"regexp"
	"strings"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/rogpeppe/go-internal/testscript"
)

// freeport NAME puts an address of this machine on which nobody listens into the environment.
func freeport(ts *testscript.TestScript, _ bool, args []string) {
	if len(args) != 1 {
		ts.Fatalf("usage: freeport NAME")
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	ts.Check(err)
	ts.Setenv(args[0], l.Addr().String())
	ts.Check(l.Close())
}

// publish ADDR USER PASSWORD TOPIC FILE sends a file as a station does, with the client of others; over TLS where MQTT_CA
// names the certificate that it trusts. NOW and LATER in it are a minute ago and half a minute ago, BEFORE and EARLIER about a
// quarter and a third of an hour, as they were when the script first said so.
func publish(ts *testscript.TestScript, neg bool, args []string) {
	if len(args) != 5 {
		ts.Fatalf("usage: publish ADDR USER PASSWORD TOPIC FILE")
	}
	now := ts.Getenv("PUBLISHED")
	if now == "" {
		now = fmt.Sprint(time.Now().Add(-time.Minute).Unix())
		ts.Setenv("PUBLISHED", now)
	}
	var seconds int64
	fmt.Sscan(now, &seconds)
	body := strings.NewReplacer("NOW", now, "LATER", fmt.Sprint(seconds+30),
		"EARLIER", fmt.Sprint(seconds-20*60), "BEFORE", fmt.Sprint(seconds-15*60)).Replace(strings.TrimSpace(ts.ReadFile(args[4])))
	scheme, trusted := "tcp://", x509.NewCertPool()
	if ca := ts.Getenv("MQTT_CA"); ca != "" {
		if !trusted.AppendCertsFromPEM([]byte(ts.ReadFile(ca))) {
			ts.Fatalf("%s has no certificate", ca)
		}
		scheme = "ssl://"
	}
	o := mqtt.NewClientOptions().AddBroker(scheme + args[0]).SetTLSConfig(&tls.Config{RootCAs: trusted}).SetClientID("station-" + args[1]).SetUsername(args[1]).SetPassword(args[2]).
		SetAutoReconnect(false).SetConnectTimeout(10 * time.Second)
	c := mqtt.NewClient(o)
	token := c.Connect()
	ok := token.WaitTimeout(20*time.Second) && token.Error() == nil
	if ok {
		token = c.Publish(args[3], 1, false, body)
		ok = token.WaitTimeout(20*time.Second) && token.Error() == nil
		c.Disconnect(100)
	}
	if ok == neg {
		ts.Fatalf("published: %v (negated: %v), %v", ok, neg, token.Error())
	}
}

// eventually PATTERN PROGRAM ARGS... runs a program until its output fits the pattern.
func eventually(ts *testscript.TestScript, _ bool, args []string) {
	if len(args) < 2 {
		ts.Fatalf("usage: eventually PATTERN PROGRAM ARGS...")
	}
	pattern, err := regexp.Compile(args[0])
	ts.Check(err)
	var out bytes.Buffer
	for range 100 {
		out.Reset()
		if err := ts.Exec(args[1], args[2:]...); err == nil {
			out.WriteString(ts.ReadFile("stdout"))
		}
		if pattern.Match(out.Bytes()) {
			return
		}
		time.Sleep(100 * time.Millisecond) // another process takes it in; there is nothing here to wait on
	}
	ts.Fatalf("%s: the output never fits %q:\n%s", strings.Join(args[1:], " "), args[0], out.String())
}
