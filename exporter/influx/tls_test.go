package influx_test

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"io"
	"log"
	"math/big"
	"net"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/influx"
)

// authority signs certificates for tests.
type authority struct {
	t    *testing.T
	cert *x509.Certificate
	key  *ecdsa.PrivateKey
	file string // its certificate
}

func newAuthority(t *testing.T) authority {
	t.Helper()
	a := authority{t: t, file: filepath.Join(t.TempDir(), "ca.pem")}
	template := &x509.Certificate{
		SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "barn authority"}, IsCA: true, BasicConstraintsValid: true,
		NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour), KeyUsage: x509.KeyUsageCertSign,
	}
	var der []byte
	a.key, der = a.sign(template, template, nil)
	cert, err := x509.ParseCertificate(der)
	if err != nil {
		t.Fatal(err)
	}
	a.cert = cert
	text := pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der})
	if err := os.WriteFile(a.file, text, 0o600); err != nil {
		t.Fatal(err)
	}
	return a
}

func (a authority) sign(template, parent *x509.Certificate, by *ecdsa.PrivateKey) (*ecdsa.PrivateKey, []byte) {
	a.t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		a.t.Fatal(err)
	}
	if by == nil {
		by = key
	}
	der, err := x509.CreateCertificate(rand.Reader, template, parent, &key.PublicKey, by)
	if err != nil {
		a.t.Fatal(err)
	}
	return key, der
}

// serve puts the stub behind a certificate for 127.0.0.1, or for a name that is not its own.
func (a authority) serve(far *stub, name string, from, to time.Duration) string {
	a.t.Helper()
	template := &x509.Certificate{
		SerialNumber: big.NewInt(2), Subject: pkix.Name{CommonName: "far"},
		NotBefore: time.Now().Add(from), NotAfter: time.Now().Add(to),
	}
	if template.IPAddresses = []net.IP{net.IPv4(127, 0, 0, 1)}; name != "" {
		template.IPAddresses, template.DNSNames = nil, []string{name}
	}
	key, der := a.sign(template, a.cert, a.key)
	server := httptest.NewUnstartedServer(far)
	server.TLS = &tls.Config{Certificates: []tls.Certificate{{Certificate: [][]byte{der}, PrivateKey: key}}, MinVersion: tls.VersionTLS12}
	server.Config.ErrorLog = log.New(io.Discard, "", 0)
	server.StartTLS()
	a.t.Cleanup(server.Close)
	return server.URL
}

func TestTLS(t *testing.T) {
	ours, other := newAuthority(t), newAuthority(t)
	const hour = time.Hour
	far := newStub(t)
	for _, row := range []struct {
		name, url, ca string
		wrong         bool
		want          string
	}{
		{"our own authority", ours.serve(far, "", -hour, hour), ours.file, false, ""},
		{"an authority nobody knows", ours.serve(far, "", -hour, hour), "", true, "write the certificate that signed the server's as publish.influxdb.ca_file"},
		{"another authority", ours.serve(far, "", -hour, hour), other.file, true, "ca_file"},
		{"another name", ours.serve(far, "influx.example", -hour, hour), ours.file, true, "write the server's name in publish.influxdb.url as it stands in its certificate"},
		{"expired", ours.serve(far, "", -2*hour, -hour), ours.file, true, "renew the server's certificate: it has expired"},
		{"not valid yet", ours.serve(far, "", hour, 2*hour), ours.file, false, "is the board's clock set?"},
		{"https to a plain port", strings.Replace(far.url(), "http:", "https:", 1), ours.file, true, "write http:// in publish.influxdb.url"},
		{"http to a port that wants TLS", strings.Replace(ours.serve(far, "", -hour, hour), "https:", "http:", 1), "", true, "is it one that wants https://?"},
	} {
		t.Run(row.name, func(t *testing.T) {
			sink, err := influx.New(influx.Config{URL: row.url, Bucket: "nest", Token: exporter.NewSecret(token), CAFile: row.ca}, "barn", places)
			if err != nil {
				t.Fatal(err)
			}
			defer sink.Close()
			err = sink.Deliver(t.Context(), polls(3))
			if row.want == "" {
				if err != nil || len(far.arrivals()) != 3 {
					t.Errorf("%v; %d arrived, want 3", err, len(far.arrivals()))
				}
				return
			}
			if err == nil || exporter.IsPermanent(err) || exporter.IsMisconfigured(err) != row.wrong || !strings.Contains(err.Error(), row.want) || len(err.Error()) > 400 {
				t.Errorf("got %v, misconfigured %v; want %v and %q", err, exporter.IsMisconfigured(err), row.wrong, row.want)
			}
		})
	}
}

func TestCertificateFile(t *testing.T) {
	empty := filepath.Join(t.TempDir(), "ca.pem")
	if err := os.WriteFile(empty, []byte("this is none"), 0o600); err != nil {
		t.Fatal(err)
	}
	for file, want := range map[string]string{empty: "holds no PEM certificate", empty + "-absent": "make the file readable"} {
		if _, err := influx.New(influx.Config{URL: "https://192.168.1.5:8086", Bucket: "nest", CAFile: file}, "barn", nil); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%v, want %q", err, want)
		}
	}
}
