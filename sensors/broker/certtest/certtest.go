// Package certtest makes certificates for tests: an authority, and what it signs for brokers and clients.
package certtest

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"testing"
	"time"
)

// Long is a validity that no test outlives and nobody calls short.
const Long = 365 * 24 * time.Hour

// Authority signs certificates. CA is its own, as a PEM file.
type Authority struct {
	CA   string
	dir  string
	cert *x509.Certificate
	key  *ecdsa.PrivateKey
}

// New makes an authority in a folder of the test.
func New(t testing.TB) *Authority {
	t.Helper()
	a := &Authority{dir: t.TempDir(), key: newKey(t)}
	template := &x509.Certificate{
		SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "invented authority"}, NotBefore: time.Now().Add(-Long), NotAfter: time.Now().Add(Long),
		IsCA: true, BasicConstraintsValid: true, KeyUsage: x509.KeyUsageCertSign | x509.KeyUsageDigitalSignature,
	}
	der, err := x509.CreateCertificate(rand.Reader, template, template, &a.key.PublicKey, a.key)
	if err != nil {
		t.Fatal(err)
	}
	if a.cert, err = x509.ParseCertificate(der); err != nil {
		t.Fatal(err)
	}
	a.CA = a.write(t, "ca.pem", "CERTIFICATE", der)
	return a
}

// Sign writes a certificate for name, of 127.0.0.1, and its key. It is good for both sides of a connection, from a year ago until an instant
// that may be past.
func (a *Authority) Sign(t testing.TB, name string, until time.Time) (cert, key string) {
	t.Helper()
	private := newKey(t)
	template := &x509.Certificate{
		SerialNumber: big.NewInt(time.Now().UnixNano()), Subject: pkix.Name{CommonName: name}, NotBefore: time.Now().Add(-Long), NotAfter: until,
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, KeyUsage: x509.KeyUsageDigitalSignature,
		ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth, x509.ExtKeyUsageClientAuth},
	}
	der, err := x509.CreateCertificate(rand.Reader, template, a.cert, &private.PublicKey, a.key)
	if err != nil {
		t.Fatal(err)
	}
	text, err := x509.MarshalPKCS8PrivateKey(private)
	if err != nil {
		t.Fatal(err)
	}
	return a.write(t, name+".pem", "CERTIFICATE", der), a.write(t, name+".key", "PRIVATE KEY", text)
}

func newKey(t testing.TB) *ecdsa.PrivateKey {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	return key
}

func (a *Authority) write(t testing.TB, name, kind string, der []byte) string {
	t.Helper()
	path := filepath.Join(a.dir, name)
	if err := os.WriteFile(path, pem.EncodeToMemory(&pem.Block{Type: kind, Bytes: der}), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}
