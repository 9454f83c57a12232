package services_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/mqtt"
	"nestmon/sensors"
	"nestmon/sensors/broker/certtest"
	"nestmon/sensors/radio"
)

// TestMosquittoTLS has four listeners: one for everybody, one that asks for a client certificate, one whose own has expired, and one without TLS.
func TestMosquittoTLS(t *testing.T) {
	authority, stranger := certtest.New(t), certtest.New(t)
	now := time.Now()
	cert, key := authority.Sign(t, "broker", now.Add(certtest.Long))
	worn, wornKey := authority.Sign(t, "worn-broker", time.Date(2025, 3, 1, 12, 0, 0, 0, time.UTC))
	mine, mineKey := authority.Sign(t, "barn", now.Add(certtest.Long))
	old, oldKey := authority.Sign(t, "old-barn", time.Date(2025, 4, 1, 12, 0, 0, 0, time.UTC))
	strange, strangeKey := stranger.Sign(t, "strange-barn", now.Add(certtest.Long))
	asking, wornPort, open := freePort(t), freePort(t), freePort(t)
	b := startMosquitto(t, "allow_anonymous true", "cafile "+authority.CA, "certfile "+cert, "keyfile "+key,
		fmt.Sprintf("listener %d 127.0.0.1", asking), "allow_anonymous false", "require_certificate true", "use_identity_as_username true",
		"cafile "+authority.CA, "certfile "+cert, "keyfile "+key,
		fmt.Sprintf("listener %d 127.0.0.1", wornPort), "allow_anonymous true", "certfile "+worn, "keyfile "+wornKey,
		fmt.Sprintf("listener %d 127.0.0.1", open), "allow_anonymous true")
	_, port, _ := strings.Cut(b.addr, ":")
	askingURL := fmt.Sprintf("ssl://127.0.0.1:%d", asking)
	ca := func(c *mqtt.Config) { c.CAFile = authority.CA }
	with := func(cert, key string) func(*mqtt.Config) {
		return func(c *mqtt.Config) { c.CAFile, c.CertFile, c.KeyFile = authority.CA, cert, key }
	}
	for _, row := range []struct {
		name, url string
		change    func(*mqtt.Config)
		want      string // empty for none
		wrong     bool
	}{
		{"with its certificate", "ssl://" + b.addr, ca, "", false},
		{"with the system's", "ssl://" + b.addr, nil, "write the certificate that signed the broker's as ca_file", true},
		{"under another name", "ssl://localhost:" + port, ca, "as it stands in its certificate", true},
		{"whose certificate has expired", fmt.Sprintf("ssl://127.0.0.1:%d", wornPort), ca, "the broker's certificate expired on 2025-03-01", true},
		{"with a client certificate", askingURL, with(mine, mineKey), "", false},
		{"without a client certificate", askingURL, ca, "write it as cert_file and key_file", true},
		{"with one that has expired", askingURL, with(old, oldKey), "the certificate in " + old + " expired on 2025-04-01; have a new one signed", true},
		{"with one that somebody else signed", askingURL, with(strange, strangeKey), "have it signed by the one that the broker trusts", true},
		{"TLS on a port without", fmt.Sprintf("ssl://127.0.0.1:%d", open), ca, "write broker: tcp://HOST:PORT", false},
		{"no TLS on a port with", "tcp://" + b.addr, nil, "write broker: ssl://HOST:PORT", false},
	} {
		t.Run(row.name, func(t *testing.T) {
			config := mqtt.Config{Broker: row.url}
			if row.change != nil {
				row.change(&config)
			}
			eventually(t, "tried, it says "+row.want, func() bool { // the word of a broker may be lost when it closes the connection at once
				err := mqtt.Try(t.Context(), config)
				return (err == nil) == (row.want == "") && (err == nil || strings.Contains(err.Error(), row.want))
			})
			c := publisher(t, row.url, row.change)
			if row.want == "" {
				publishUntil(t, c, nests(38, 25))
				return
			}
			failure(t, c, row.want)
			if row.wrong {
				eventually(t, "an error that only a person can mend", func() bool { return exporter.IsMisconfigured(c.Publish(t.Context(), nests(38, 25))) })
			}
		})
	}
	t.Run("a wireless probe's", func(t *testing.T) {
		tune(t, askingURL, func(c *radio.Config) { c.CAFile, c.CertFile, c.KeyFile = authority.CA, mine, mineKey }, pile).hears(t, 1)
		s := tune(t, askingURL, func(c *radio.Config) { c.CAFile, c.CertFile, c.KeyFile = authority.CA, old, oldKey }, pile)
		s.silent(t, sensors.BusDown)
		eventually(t, "the words", func() bool { return strings.Contains(s.said(), "expired on 2025-04-01; have a new one signed") })
	})
}
