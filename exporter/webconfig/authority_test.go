package webconfig_test

import (
	"crypto/ecdsa"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"encoding/pem"
	"net"
	"net/http"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"nestmon/exporter/webconfig"
)

// home is an authority, its files, and what it signed for a server.
type home struct {
	*webconfig.HomeAuthority
	dir, file string // file is the server's web configuration
	key       []byte // the server's
}

func newHome(t *testing.T, now time.Time, names ...string) *home {
	t.Helper()
	a, err := webconfig.NewAuthority("Invented", names, now)
	if err != nil {
		t.Fatal(err)
	}
	h := &home{HomeAuthority: a, dir: t.TempDir()}
	cert, key, err := a.Files()
	if err != nil {
		t.Fatal(err)
	}
	write(t, h.dir, "ca.pem", string(cert))
	write(t, h.dir, "ca.key", string(key))
	h.issue(t, now, names...)
	h.file = write(t, h.dir, "web.yml", "tls_server_config: {cert_file: srv.pem, key_file: srv.key}\n")
	return h
}

func (h *home) issue(t *testing.T, now time.Time, names ...string) {
	t.Helper()
	chain, key, err := h.Issue(names, h.key, now)
	if err != nil {
		t.Fatal(err)
	}
	h.key = key
	write(t, h.dir, "srv.pem", string(chain))
	write(t, h.dir, "srv.key", string(key))
}

// openssl asks another's implementation whether a certificate is good for a name or address.
func (h *home) openssl(t *testing.T, cert, as, name string) string {
	t.Helper()
	out, err := exec.Command("openssl", "verify", "-x509_strict", "-purpose", "sslserver", "-CAfile", filepath.Join(h.dir, "ca.pem"), "-verify_"+as, name, filepath.Join(h.dir, cert)).CombinedOutput()
	if err != nil && len(out) == 0 {
		t.Skipf("openssl: %v", err)
	}
	return string(out)
}

func TestAuthorityIsVerifiedByOthers(t *testing.T) {
	h := newHome(t, time.Now(), "nests.example", "192.168.1.20", "[fd00::20]", "Barn.local.", "192.168.1.20", "board")
	for _, row := range []struct{ as, name, want string }{
		{"hostname", "nests.example", "OK"},
		{"hostname", "barn.local", "OK"},
		{"hostname", "board", "OK"},
		{"ip", "192.168.1.20", "OK"},
		{"ip", "fd00::20", "OK"},
		{"hostname", "www.nests.example", "mismatch"},
		{"ip", "192.168.1.21", "mismatch"},
	} {
		if said := h.openssl(t, "srv.pem", row.as, row.name); !strings.Contains(said, row.want) {
			t.Errorf("%s: %s", row.name, said)
		}
	}
	only := newHome(t, time.Now(), "10.0.0.5") // whose subject could be taken for a name
	if said := only.openssl(t, "srv.pem", "ip", "10.0.0.5"); !strings.Contains(said, "OK") {
		t.Errorf("an address alone: %s", said)
	}
}

func TestAuthorityIsHeldToTheHome(t *testing.T) {
	h := newHome(t, time.Now(), "nests.example", "192.168.1.20")
	for name, want := range map[string]bool{
		"nests.example": true, "kits.nests.example": true, "shed.local": true, "10.1.2.3": true, "fe80::1": true, "127.0.0.1": true, // an address may change
		"bank.example": false, "example": false, "evil-nests.example": false, "8.8.8.8": false, "2001:db8::1": false,
		"": false, "a b": false, "*.nests.example": false, "nests_1.local": false, "0.0.0.0": false, "::": false, "https://nests.example": false, strings.Repeat("a.", 127) + "local": false,
	} {
		if _, _, err := h.Issue([]string{name}, nil, time.Now()); (err == nil) != want {
			t.Errorf("%.40q: %v", name, err)
		}
	}
	// Whoever steals the key is not held by our own refusal.
	text, keyText, err := h.Files()
	if err != nil {
		t.Fatal(err)
	}
	block, _ := pem.Decode(keyText)
	key, err := x509.ParsePKCS8PrivateKey(block.Bytes)
	if err != nil {
		t.Fatal(err)
	}
	forged := &x509.Certificate{DNSNames: []string{"bank.example"}, NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour), ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth}}
	der, err := x509.CreateCertificate(rand.Reader, forged, h.Certificate(), &key.(*ecdsa.PrivateKey).PublicKey, key)
	if err != nil {
		t.Fatal(err)
	}
	write(t, h.dir, "forged.pem", string(pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der})))
	if said := h.openssl(t, "forged.pem", "hostname", "bank.example"); !strings.Contains(said, "permitted subtree violation") {
		t.Errorf("forged: %s", said)
	}
	roots := x509.NewCertPool()
	roots.AppendCertsFromPEM(text)
	cert, err := x509.ParseCertificate(der)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := cert.Verify(x509.VerifyOptions{DNSName: "bank.example", Roots: roots}); err == nil {
		t.Error("a forged certificate is good")
	}
	if ca := h.Certificate(); !ca.IsCA || ca.MaxPathLen != 0 || !ca.MaxPathLenZero || ca.KeyUsage != x509.KeyUsageCertSign|x509.KeyUsageCRLSign {
		t.Errorf("the authority may do more than sign servers: %+v", ca)
	}
}

func TestAuthorityIsReadBack(t *testing.T) {
	h := newHome(t, time.Now(), "board")
	cert, key, err := h.Files()
	if err != nil {
		t.Fatal(err)
	}
	if _, err := webconfig.ReadAuthority(cert, key); err != nil {
		t.Error(err)
	}
	for name, files := range map[string][2][]byte{
		"another's key": {cert, h.key}, "no key": {cert, nil}, "no certificate": {nil, key}, "exchanged": {key, cert}, "no PEM": {[]byte("x"), []byte("willow-7741")},
	} {
		if _, err := webconfig.ReadAuthority(files[0], files[1]); err == nil || strings.Contains(err.Error(), "willow") {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, _, err := h.Issue([]string{"board"}, []byte("willow-7741"), time.Now()); err == nil || strings.Contains(err.Error(), "willow") {
		t.Errorf("a server's key that is none: %v", err)
	}
	if _, _, err := h.Issue([]string{"board"}, nil, time.Now().AddDate(11, 0, 0)); err == nil || !strings.Contains(err.Error(), "make another authority") {
		t.Errorf("after its end: %v", err)
	}
	chain, _, err := h.Issue([]string{"board"}, nil, time.Now().AddDate(9, 11, 0))
	if err != nil {
		t.Fatal(err)
	}
	block, _ := pem.Decode(chain)
	if late, err := x509.ParseCertificate(block.Bytes); err != nil || late.NotAfter.After(h.Certificate().NotAfter) {
		t.Errorf("it signs for longer than it lives: %v", err)
	}
}

// A phone that trusts the authority opens the page, and goes on opening it when the certificate is renewed under the running server.
func TestServerIsRenewedWhileItRuns(t *testing.T) {
	h := newHome(t, time.Now().Add(-300*24*time.Hour), "127.0.0.1")
	d := open(t, h.file).trust(t, h.dir, "ca", "")
	number := func() string {
		t.Helper()
		d.want(t, "who trusts the authority", "", "", http.StatusOK)
		c, err := tls.DialWithDialer(&net.Dialer{Timeout: time.Minute}, "tcp", strings.TrimPrefix(d.url, "https://"), d.client.Transport.(*http.Transport).TLSClientConfig)
		if err != nil {
			t.Fatal(err)
		}
		defer c.Close()
		leaf := c.ConnectionState().PeerCertificates[0]
		if life := leaf.NotAfter.Sub(leaf.NotBefore); life > 398*24*time.Hour {
			t.Errorf("it is good for %v", life)
		}
		return leaf.SerialNumber.String()
	}
	before := number()
	key := string(h.key)
	h.issue(t, time.Now(), "127.0.0.1")
	if number() == before {
		t.Error("the old certificate is shown")
	}
	if key != string(h.key) {
		t.Error("the key is another: certificate and key would not fit together for an instant")
	}
	if ca, ok := webconfig.Authority(h.file); !ok || !ca.Equal(h.Certificate()) {
		t.Error("the authority is not found in what the server shows")
	}
	if said := webconfig.Fingerprint(h.Certificate()); len(said) != 32*3-1 || strings.Trim(said, "0123456789ABCDEF:") != "" {
		t.Errorf("fingerprint %s", said)
	}
}

func TestEndingIsToldAMonthBefore(t *testing.T) {
	now := time.Now()
	h := newHome(t, now, "board")
	const days = 24 * time.Hour
	for _, row := range []struct {
		in   time.Duration
		want string
	}{
		{0, ""}, {365 * days, ""}, {367 * days, "ends on"}, {395 * days, "sudo nestmon certificate renew"}, {397 * days, "ended on"},
	} {
		if err := webconfig.Ending(h.file, now.Add(row.in)); (err == nil) != (row.want == "") || err != nil && !strings.Contains(err.Error(), row.want) {
			t.Errorf("after %v: %v", row.in, err)
		}
	}
	h.issue(t, now.AddDate(9, 11, 0), "board") // as long as the authority
	if err := webconfig.Ending(h.file, now.AddDate(9, 11, 20)); err == nil || !strings.Contains(err.Error(), "put that on every phone") {
		t.Errorf("when the authority ends: %v", err)
	}
	keys(t, h.dir, "srv", now.Add(10*days)) // one that signs itself
	if err := webconfig.Ending(h.file, now); err == nil || !strings.Contains(err.Error(), "put a new one in its place") {
		t.Errorf("one from elsewhere: %v", err)
	}
	if _, ok := webconfig.Authority(h.file); ok {
		t.Error("a certificate that signs itself is taken for an authority")
	}
	plain := write(t, h.dir, "web.yml", "basic_auth_users: {barn: '"+hash+"'}\n")
	if err := webconfig.Ending(plain, now); err != nil {
		t.Errorf("without TLS: %v", err)
	}
}
