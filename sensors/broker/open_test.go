package broker_test

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"io"
	"net"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/eclipse/paho.mqtt.golang/packets"

	"nestmon/sensors/broker"
	"nestmon/sensors/broker/certtest"
)

// serve answers every connection by conduct until the test ends, and returns its host:port.
func serve(t *testing.T, conduct func(net.Conn)) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = l.Close() })
	go func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			go func() {
				defer c.Close()
				conduct(c)
			}()
		}
	}()
	return l.Addr().String()
}

// says reads what comes first and answers.
func says(answer string) func(net.Conn) {
	return func(c net.Conn) {
		_, _ = c.Read(make([]byte, 1<<16)) // all of it, or the answer would be thrown away
		_, _ = io.WriteString(c, answer)
	}
}

// inside speaks TLS first.
func inside(t *testing.T, cert, key string, then func(net.Conn)) func(net.Conn) {
	t.Helper()
	pair, err := tls.LoadX509KeyPair(cert, key)
	if err != nil {
		t.Fatal(err)
	}
	return func(c net.Conn) { then(tls.Server(c, &tls.Config{Certificates: []tls.Certificate{pair}})) }
}

const patience = 20 * time.Second

// meet connects as a client does: it opens, sends a first packet and reads the answer.
func meet(t *testing.T, address string, files broker.Files, patience time.Duration) error {
	t.Helper()
	u, err := url.Parse(address)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(t.Context(), patience)
	defer cancel()
	conn, err := broker.Open(ctx, u, files)
	if err != nil {
		return broker.Refusal("mqtt "+u.Host, files, fmt.Errorf("network Error : %w", err)) // as the library wraps it
	}
	defer conn.Close()
	_ = conn.SetDeadline(time.Now().Add(patience))
	hello := packets.NewControlPacket(packets.Connect).(*packets.ConnectPacket)
	hello.ProtocolName, hello.ProtocolVersion, hello.ClientIdentifier = "MQTT", 4, "somebody"
	if err = hello.Write(conn); err == nil {
		_, err = packets.ReadPacket(conn)
	}
	if err != nil {
		return broker.Refusal("mqtt "+u.Host, files, fmt.Errorf("network Error : %w", err))
	}
	return nil
}

func TestWhatAnswersIsTold(t *testing.T) {
	authority, now := certtest.New(t), time.Now()
	good, goodKey := authority.Sign(t, "good", now.Add(certtest.Long))
	old, oldKey := authority.Sign(t, "old", time.Date(2025, 3, 1, 0, 0, 0, 0, time.UTC))
	ca := broker.Files{CA: authority.CA}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	nobody := l.Addr().String()
	l.Close()
	const accepted = "\x20\x02\x00\x00"
	for _, row := range []struct {
		name, address string
		files         broker.Files
		want          string // empty for no error
		wrong         bool
		patience      time.Duration
	}{
		{"a broker", "tcp://" + serve(t, says(accepted)), broker.Files{}, "", false, patience},
		{"a broker with TLS", "ssl://" + serve(t, inside(t, good, goodKey, says(accepted))), ca, "", false, patience},
		{"nobody", "tcp://" + nobody, broker.Files{}, "nobody listens there", false, patience},
		{"a misspelt name", "tcp://broker.invalid:1883", broker.Files{}, "broker.invalid", true, patience},
		{"TLS on a plain port", "ssl://" + serve(t, says("SSH-2.0-invented\r\n")), ca, "this port does not speak TLS", true, patience},
		{"TLS on a plain port that hangs up", "ssl://" + serve(t, says("")), ca, "if the port is one without TLS, write broker: tcp://", false, patience},
		{"no TLS on a port for it", "tcp://" + serve(t, says("\x15\x03\x01\x00\x02\x02\x46")), broker.Files{}, "this port speaks TLS (network Error : an answer that is not MQTT, beginning with 0x15); write", true, patience},
		{"no TLS on a port that hangs up", "tcp://" + serve(t, says("")), broker.Files{}, "if the port is one for TLS, write broker: ssl://", false, patience},
		{"a web server", "tcp://" + serve(t, says("HTTP/1.1 400 Bad Request\r\n\r\n")), broker.Files{}, "what answers there is no MQTT broker", true, patience},
		{"a server of another kind", "tcp://" + serve(t, says("\x00\x01")), broker.Files{}, "beginning with 0x00", true, patience},
		{"a mute server", "tcp://" + serve(t, func(c net.Conn) { _, _ = io.Copy(io.Discard, c) }), broker.Files{}, "no answer", false, 50 * time.Millisecond},
		{"the broker's certificate has expired", "ssl://" + serve(t, inside(t, old, oldKey, says(accepted))), ca, "the broker's certificate expired on 2025-03-01", true, patience},
		{"signed by somebody else", "ssl://" + serve(t, inside(t, good, goodKey, says(accepted))), broker.Files{}, "write the certificate that signed the broker's as ca_file", true, patience},
		{"a file that is gone", "ssl://" + nobody, broker.Files{CA: authority.CA + ".no"}, "ca_file cannot be used", true, patience},
	} {
		t.Run(row.name, func(t *testing.T) {
			err := meet(t, row.address, row.files, row.patience)
			if row.want == "" {
				if err != nil {
					t.Error(err)
				}
				return
			}
			if err == nil || !strings.Contains(err.Error(), row.want) || !strings.Contains(err.Error(), "; ") {
				t.Fatalf("error %v, want one with %q and a remedy", err, row.want)
			}
			if strings.Contains(row.address, "invalid") && !errors.As(err, new(broker.Wrong)) {
				t.Skipf("names cannot be looked up here: %v", err)
			}
			if wrong := errors.As(err, new(broker.Wrong)); wrong != row.wrong {
				t.Errorf("only a person can mend it: %v, want %v: %v", wrong, row.wrong, err)
			}
		})
	}
}

func TestCheckOfFiles(t *testing.T) {
	authority, other, now := certtest.New(t), certtest.New(t), time.Now()
	cert, key := authority.Sign(t, "good", now.Add(certtest.Long))
	old, oldKey := authority.Sign(t, "old", now.Add(-24*time.Hour))
	soon, soonKey := authority.Sign(t, "soon", now.Add(broker.Soon-time.Hour))
	_, strange := other.Sign(t, "strange", now.Add(certtest.Long))
	empty := filepath.Join(t.TempDir(), "empty")
	if err := os.WriteFile(empty, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	for _, row := range []struct {
		name  string
		files broker.Files
		now   time.Time
		want  string // the only report, empty for none
	}{
		{"all good", broker.Files{CA: authority.CA, Cert: cert, Key: key}, now, ""},
		{"expired", broker.Files{CA: authority.CA, Cert: old, Key: oldKey}, now, "cert_file: the certificate in " + old + " expired on " + now.Add(-24*time.Hour).UTC().Format(time.DateOnly) + "; have a new one signed"},
		{"soon to expire", broker.Files{Cert: soon, Key: soonKey}, now, "cert_file: the certificate in " + soon + " expires on "},
		{"no pair", broker.Files{Cert: cert, Key: strange}, now, "cert_file: cert_file cannot be used: " + cert + " and " + strange + " are no pair"},
		{"no certificate", broker.Files{Cert: empty, Key: key}, now, "cert_file: cert_file cannot be used: "},
		{"no key", broker.Files{Cert: cert, Key: key + ".no"}, now, "cert_file: key_file cannot be used: "},
		{"an authority that has ended", broker.Files{CA: authority.CA}, now.Add(2 * certtest.Long), "ca_file: the certificate in " + authority.CA + " expired on "},
		{"a clock that is not set", broker.Files{Cert: cert, Key: key}, time.Unix(0, 0), "cert_file: the certificate in " + cert + " is good from "},
	} {
		t.Run(row.name, func(t *testing.T) {
			var got []string
			row.files.Check(row.now, func(path, problem string) { got = append(got, path+": "+problem) })
			switch {
			case row.want == "" && len(got) > 0:
				t.Errorf("reported %q", got)
			case row.want != "" && (len(got) != 1 || !strings.HasPrefix(got[0], row.want) || !strings.Contains(got[0], "; ")):
				t.Errorf("reported %q, want %q and a remedy", got, row.want)
			}
			if told := row.files.Expiring(row.now); (told != "") != (row.files.Cert == old || row.files.Cert == soon) {
				t.Errorf("the log is told %q", told)
			}
		})
	}
}
