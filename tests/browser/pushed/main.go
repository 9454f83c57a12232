// Command pushed serves the page over TLS with a channel on which phones sign up, for the test of Web Push. It makes a certificate for localhost,
// which is also the one its push services must have, and prints where all is as one line of JSON. Then it takes messages from
// standard input, one JSON value a line, sends each, and answers each with a line of JSON.
package main

import (
	"bufio"
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/sha256"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/base64"
	"encoding/json"
	"encoding/pem"
	"fmt"
	"log/slog"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/phone/push"
	"nestmon/exporter/web"
	"nestmon/thresholds"
	"nestmon/thresholds/alarm"
)

func main() {
	if err := run(os.Args[1]); err != nil {
		fmt.Fprintln(os.Stderr, "pushed:", err)
		os.Exit(1)
	}
}

// password is the page's.
const password = "four invented words here"

// memory is what the archive's meta is to the channel.
type memory map[string]string

func (m memory) Meta(key string) (string, error) { return m[key], nil }
func (m memory) SetMeta(key, value string) error { m[key] = value; return nil }

func run(dir string) error {
	cert, spki, err := certify(dir)
	if err != nil {
		return err
	}
	roots := x509.NewCertPool()
	roots.AddCert(cert)
	channel, err := push.New(push.Options{
		Name: "board", Level: alarm.Warning, Config: push.Config{Contact: "mailto:keeper@willow-bend.example"}, Store: memory{},
		Net: push.Net{Home: true, Roots: roots},
	})
	if err != nil {
		return err
	}
	conf := filepath.Join(dir, "web.yml")
	if err := os.WriteFile(conf, []byte("tls_server_config: {cert_file: cert.pem, key_file: key.pem}\n"), 0o600); err != nil {
		return err
	}
	line, err := web.HashPassword(password)
	if err != nil {
		return err
	}
	file := filepath.Join(dir, "page.password")
	if err := os.WriteFile(file, []byte(line+"\n"), 0o600); err != nil {
		return err
	}
	srv := web.New(web.Config{Listen: "127.0.0.1:0", WebConfigFile: conf, PasswordFile: file}, web.Site{Name: "Willow Bend", Poll: time.Minute}, web.History{}, slog.New(slog.DiscardHandler))
	srv.SignUp(channel)
	if err := srv.Start(); err != nil {
		return err
	}
	ctx := context.Background()
	if err := srv.Publish(ctx, &exporter.State{Snapshot: thresholds.Snapshot{Time: time.Now()}, Synced: true}); err != nil {
		return err
	}
	_, port, err := net.SplitHostPort(srv.Addr())
	if err != nil {
		return err
	}
	out := json.NewEncoder(os.Stdout)
	if err := out.Encode(map[string]string{
		"password": password, "page": "https://localhost:" + port + "/", "cert": filepath.Join(dir, "cert.pem"), "key": filepath.Join(dir, "key.pem"), "spki": spki,
	}); err != nil {
		return err
	}
	for lines := bufio.NewScanner(os.Stdin); lines.Scan(); {
		var m exporter.Message
		if err := json.Unmarshal(lines.Bytes(), &m); err != nil {
			return err
		}
		if err := out.Encode(result(channel.Send(ctx, m), channel.Complaint())); err != nil {
			return err
		}
	}
	return srv.Close(ctx)
}

func result(sent, complaint error) map[string]any {
	text := func(err error) string {
		if err == nil {
			return ""
		}
		return err.Error()
	}
	return map[string]any{"error": text(sent), "misconfigured": exporter.IsMisconfigured(sent), "complaint": text(complaint)}
}

// certify makes a key and a certificate for localhost that signs itself, and the hash by which a browser can be told to trust it.
func certify(dir string) (cert *x509.Certificate, spki string, err error) {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return nil, "", err
	}
	template := &x509.Certificate{
		SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "localhost"}, DNSNames: []string{"localhost"}, IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)},
		NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(24 * time.Hour), IsCA: true, BasicConstraintsValid: true,
		KeyUsage: x509.KeyUsageDigitalSignature | x509.KeyUsageCertSign, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth},
	}
	der, err := x509.CreateCertificate(rand.Reader, template, template, &key.PublicKey, key)
	if err != nil {
		return nil, "", err
	}
	if cert, err = x509.ParseCertificate(der); err != nil {
		return nil, "", err
	}
	private, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		return nil, "", err
	}
	for name, block := range map[string]*pem.Block{"cert.pem": {Type: "CERTIFICATE", Bytes: der}, "key.pem": {Type: "PRIVATE KEY", Bytes: private}} {
		if err := os.WriteFile(filepath.Join(dir, name), pem.EncodeToMemory(block), 0o600); err != nil {
			return nil, "", err
		}
	}
	sum := sha256.Sum256(cert.RawSubjectPublicKeyInfo)
	return cert, base64.StdEncoding.EncodeToString(sum[:]), nil
}
