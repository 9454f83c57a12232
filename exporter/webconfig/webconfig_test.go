package webconfig_test

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"errors"
	"fmt"
	"io"
	"math/big"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/webconfig"
)

// Invented passwords and their hashes, of the lowest cost so that the tests are quick.
const (
	password    = "willow-7741"
	hash        = "$2a$04$75K5oQdDChM.WRMK4URCaOPfAYjX/IW/wJiNeNWYtMN39UBkZzeHS"
	newPassword = "second-8852"
	newHash     = "$2a$04$yBw512Vg4Tb8LvPvjSabouTZBMD0RPKpxeul2Vyi1cxz0wmt6MSXm"
)

// keys makes a certificate for this machine that signs itself, as NAME.pem and NAME.key in dir.
func keys(t *testing.T, dir, name string, ends time.Time) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	cert := &x509.Certificate{
		SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: name}, NotBefore: ends.Add(-48 * time.Hour), NotAfter: ends,
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, IsCA: true, BasicConstraintsValid: true,
		KeyUsage: x509.KeyUsageCertSign | x509.KeyUsageDigitalSignature, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth, x509.ExtKeyUsageClientAuth},
	}
	der, err := x509.CreateCertificate(rand.Reader, cert, cert, &key.PublicKey, key)
	if err != nil {
		t.Fatal(err)
	}
	private, err := x509.MarshalECPrivateKey(key)
	if err != nil {
		t.Fatal(err)
	}
	write(t, dir, name+".pem", string(pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der})))
	write(t, dir, name+".key", string(pem.EncodeToMemory(&pem.Block{Type: "EC PRIVATE KEY", Bytes: private})))
}

func write(t *testing.T, dir, name, text string) string {
	t.Helper()
	file := filepath.Join(dir, name)
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return file
}

func inADay() time.Time { return time.Now().Add(24 * time.Hour) }

func TestCheck(t *testing.T) {
	dir := t.TempDir()
	keys(t, dir, "srv", inADay())
	keys(t, dir, "other", inADay())
	const tlsPart = "tls_server_config: {cert_file: srv.pem, key_file: srv.key}\n"
	secrets := []string{password, hash, hash[:12], "EC PRIVATE KEY"}
	for _, row := range []struct{ name, text, want string }{
		{"nothing in it", "", ""},
		{"a comment", "# later\n", ""},
		{"a user", "basic_auth_users: {barn: '" + hash + "'}\n", ""},
		{"the documented keys", tlsPart + "http_server_config: {http2: true, headers: {X-Frame-Options: deny}}\nrate_limit: {interval: 1s, burst: 20}\nbasic_auth_users:\n  barn: " + hash + "\n", ""},
		{"TLS from 1.3 on, with clients' certificates", "tls_server_config: {cert_file: srv.pem, key_file: srv.key, min_version: TLS13, client_auth_type: RequireAndVerifyClientCert, client_ca_file: other.pem}\n", ""},
		{"a password in place of its hash", "basic_auth_users: {barn: " + password + "}\n", "for the user barn is no bcrypt hash; make one with `htpasswd -nBC 10 barn`"},
		{"a hash that was cut", "basic_auth_users: {barn: '" + hash[:50] + "'}\n", "for the user barn is no bcrypt hash"},
		{"a hash that lost a letter", "basic_auth_users: {barn: '" + hash[1:] + "'}\n", "for the user barn is no bcrypt hash"},
		{"a hash alone", "basic_auth_users: " + hash + "\n", "below basic_auth_users:"},
		{"a key that is not there", "basic_auth: {barn: '" + hash + "'}\n", "field basic_auth not found"},
		{"a hash where a switch stands", tlsPart + "http_server_config: {http2: '" + hash + "'}\n", "web configuration"},
		{"a password as an alias", "basic_auth_users: {barn: *" + password + "}\n", "is not YAML"},
		{"no YAML", "basic_auth_users: {barn: '" + hash + "'\n", "is not YAML"},
		{"no key", "tls_server_config: {cert_file: srv.pem}\n", "missing one of key or key_file"},
		{"no such certificate", "tls_server_config: {cert_file: away.pem, key_file: srv.key}\n", "away.pem"},
		{"a key of another", "tls_server_config: {cert_file: srv.pem, key_file: other.key}\n", "does not match"},
		{"a version nobody has", "tls_server_config: {cert_file: srv.pem, key_file: srv.key, min_version: TLS99}\n", "unknown TLS version"},
		{"a wish that is none", "tls_server_config: {cert_file: srv.pem, key_file: srv.key, client_auth_type: Sometimes}\n", "invalid ClientAuth"},
		{"no clients' certificates", "tls_server_config: {cert_file: srv.pem, key_file: srv.key, client_auth_type: RequireAndVerifyClientCert, client_ca_file: srv.key}\n", "srv.key holds no PEM certificate; copy"},
		{"no such clients' certificates", "tls_server_config: {cert_file: srv.pem, key_file: srv.key, client_auth_type: RequireAndVerifyClientCert, client_ca_file: gone.pem}\n", "name a file that the daemon's user can read"},
		{"a header that is not allowed", "http_server_config: {headers: {Server: x}}\n", "can not be configured"},
	} {
		t.Run(row.name, func(t *testing.T) {
			file := write(t, dir, "web.yml", row.text)
			err := webconfig.Check(file)
			if row.want == "" {
				if err != nil {
					t.Error(err)
				}
				return
			}
			if err == nil {
				t.Fatal("no error")
			}
			if !strings.Contains(err.Error(), row.want) || !strings.Contains(err.Error(), file) || !strings.Contains(err.Error(), "; ") || !exporter.IsMisconfigured(err) {
				t.Errorf("got %v, want the file, %q and what to do", err, row.want)
			}
			for _, s := range secrets {
				if strings.Contains(err.Error(), s) {
					t.Errorf("a secret is shown: %v", err)
				}
			}
		})
	}
	if err := webconfig.Check(filepath.Join(dir, "none.yml")); err == nil || !strings.Contains(err.Error(), "there is no file") {
		t.Errorf("no file: %v", err)
	}
	if err := webconfig.Check(""); err != nil {
		t.Errorf("nothing named: %v", err)
	}
}

func TestACertificateThatEnded(t *testing.T) {
	dir := t.TempDir()
	keys(t, dir, "srv", time.Now().Add(-time.Hour))
	file := write(t, dir, "web.yml", "tls_server_config: {cert_file: srv.pem, key_file: srv.key}\n")
	if err := webconfig.Check(file); err != nil {
		t.Errorf("it keeps the daemon from starting: %v", err)
	}
	if err := webconfig.Current(file, time.Now()); err == nil || !strings.Contains(err.Error(), "ended on") {
		t.Errorf("it is not told: %v", err)
	}
	if err := webconfig.Current(file, time.Now().Add(-2*time.Hour)); err != nil {
		t.Errorf("before its end: %v", err)
	}
}

// door is a server behind a file.
type door struct {
	url, file string
	client    *http.Client
}

func open(t *testing.T, file string) door {
	t.Helper()
	if err := webconfig.Check(file); err != nil {
		t.Fatal(err)
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	srv := &http.Server{Handler: http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { fmt.Fprint(w, "welcome") })}
	ended := make(chan error, 1)
	go func() { ended <- webconfig.Serve(l, srv, file) }()
	t.Cleanup(func() {
		_ = srv.Close()
		if err := <-ended; !errors.Is(err, http.ErrServerClosed) {
			t.Error(err)
		}
	})
	scheme := "http://"
	if webconfig.Secure(file) {
		scheme = "https://"
	}
	return door{scheme + l.Addr().String(), file, &http.Client{Transport: &http.Transport{DisableKeepAlives: true}}}
}

// trust makes the client know the server's certificate, and show its own where one is named.
func (d door) trust(t *testing.T, dir, server, own string) door {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(dir, server+".pem"))
	if err != nil {
		t.Fatal(err)
	}
	c := &tls.Config{RootCAs: x509.NewCertPool()}
	c.RootCAs.AppendCertsFromPEM(text)
	if own != "" {
		pair, err := tls.LoadX509KeyPair(filepath.Join(dir, own+".pem"), filepath.Join(dir, own+".key"))
		if err != nil {
			t.Fatal(err)
		}
		c.Certificates = []tls.Certificate{pair}
	}
	d.client = &http.Client{Transport: &http.Transport{TLSClientConfig: c, DisableKeepAlives: true}}
	return d
}

// knock returns the status and the headers, 0 when there is no answer.
func (d door) knock(t *testing.T, user, password string) (int, http.Header) {
	t.Helper()
	req, err := http.NewRequestWithContext(t.Context(), http.MethodGet, d.url, http.NoBody)
	if err != nil {
		t.Fatal(err)
	}
	if user != "" {
		req.SetBasicAuth(user, password)
	}
	resp, err := d.client.Do(req)
	if err != nil {
		return 0, nil
	}
	defer resp.Body.Close()
	text, _ := io.ReadAll(resp.Body)
	if resp.StatusCode == http.StatusOK && string(text) != "welcome" {
		t.Errorf("answer: %s", text)
	}
	return resp.StatusCode, resp.Header
}

func (d door) want(t *testing.T, what, user, password string, status int) {
	t.Helper()
	if got, _ := d.knock(t, user, password); got != status {
		t.Errorf("%s: %d, want %d", what, got, status)
	}
}

func TestServePasswords(t *testing.T) {
	dir := t.TempDir()
	users := func(hash string) string {
		return write(t, dir, "web.yml", "basic_auth_users: {barn: '"+hash+"'}\nhttp_server_config: {headers: {X-Frame-Options: deny}}\n")
	}
	d := open(t, users(hash))
	d.want(t, "nobody", "", "", http.StatusUnauthorized)
	d.want(t, "a wrong password", "barn", newPassword, http.StatusUnauthorized)
	d.want(t, "another user", "farm", password, http.StatusUnauthorized)
	d.want(t, "the user", "barn", password, http.StatusOK)
	if _, h := d.knock(t, "barn", password); h.Get("X-Frame-Options") != "deny" {
		t.Errorf("headers: %v", h)
	}
	// The file is read anew for every request.
	users(newHash)
	d.want(t, "the old password", "barn", password, http.StatusUnauthorized)
	d.want(t, "the new password", "barn", newPassword, http.StatusOK)
	write(t, dir, "web.yml", "basic_auth_users: [")
	d.want(t, "a file that went bad", "barn", newPassword, http.StatusInternalServerError)
	users(newHash)
	d.want(t, "and was put right", "barn", newPassword, http.StatusOK)
}

func TestServeTLS(t *testing.T) {
	dir := t.TempDir()
	keys(t, dir, "srv", inADay())
	keys(t, dir, "scraper", inADay())
	keys(t, dir, "stranger", inADay())
	d := open(t, write(t, dir, "web.yml", "tls_server_config: {cert_file: srv.pem, key_file: srv.key, client_auth_type: RequireAndVerifyClientCert, client_ca_file: scraper.pem}\n"))
	d.trust(t, dir, "srv", "scraper").want(t, "the scraper", "", "", http.StatusOK)
	d.trust(t, dir, "srv", "stranger").want(t, "a stranger's certificate", "", "", 0)
	d.trust(t, dir, "srv", "").want(t, "no certificate", "", "", 0)
	d.trust(t, dir, "scraper", "scraper").want(t, "who does not know the server", "", "", 0)
	plain := d
	plain.url = strings.Replace(d.url, "https://", "http://", 1)
	plain.want(t, "without TLS", "", "", http.StatusBadRequest)
	keys(t, dir, "srv", inADay()) // a renewed certificate needs no restart
	d.trust(t, dir, "srv", "scraper").want(t, "with the new certificate", "", "", http.StatusOK)
}
