// Package webconfig lets the servers of this program answer over TLS and to people with a password only, as a file says in the format
// that Prometheus's exporters share (exporter-toolkit, "web configuration"): tls_server_config, basic_auth_users with bcrypt hashes,
// http_server_config with headers, rate_limit.
//
// The library does the work and reads the file anew for every request, so a new certificate or password needs no restart; only
// whether there is TLS at all is settled at the start. A file that went bad afterwards refuses every request: Check says why, and
// never quotes what may be a password, a hash or a key.
//
// A certificate that phones trust must be signed by somebody whom they trust. HomeAuthority is a home's own: its certificate goes onto each
// phone once, and what it signs for the server can be renewed for ten years without touching a phone again. The server shows it at the end
// of its chain, which is where Authority finds it.
package webconfig

import (
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"maps"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"time"

	"github.com/goccy/go-yaml"
	"github.com/prometheus/exporter-toolkit/web"
)

// problem is what is wrong with a file. Only a person can put it right.
type problem string

func (p problem) Error() string     { return string(p) }
func (problem) Misconfigured() bool { return true }

// bcryptHash is what htpasswd -B and the like write.
var bcryptHash = regexp.MustCompile(`^\$2[abxy]\$(0[4-9]|[12][0-9]|3[01])\$[./A-Za-z0-9]{53}$`)

// excerpt is a piece of the file in one of the library's messages.
var excerpt = regexp.MustCompile("[ ]*(`.*`|'.*'|\".*\")")

// Check reads the file and what it names. The error names the file and what to do. No file is no error.
func Check(file string) error {
	if file == "" {
		return nil
	}
	text, err := os.ReadFile(file)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return problem("there is no file " + file + "; write one in the format of exporter-toolkit's web configuration, or take the key out")
	case err != nil:
		return problem(file + " cannot be read; give it to the daemon's user: sudo chown nestmon " + file)
	}
	var p parts
	if err := yaml.Unmarshal(text, &p); err != nil {
		return problem(file + " is not YAML in the format of exporter-toolkit's web configuration; write `name: hash` on lines of their own below basic_auth_users:, the hash in quotes")
	}
	if err := p.check(file); err != nil {
		return err
	}
	if err := web.Validate(file); err != nil {
		// The library and the YAML reader quote what they do not understand.
		said := excerpt.ReplaceAllString(strings.Join(strings.Fields(err.Error()), " "), " …")
		return problem(fmt.Sprintf("%s: %s; see the web configuration of Prometheus's exporter-toolkit for what may stand there", file, said))
	}
	return nil
}

// parts are what is looked at here beside the library: it quotes hashes in pieces, lets a file without certificates pass as client_ca_file,
// and never looks whether a certificate has ended.
type parts struct {
	Users map[string]string `yaml:"basic_auth_users"`
	TLS   struct {
		Cert         string `yaml:"cert"`
		Key          string `yaml:"key"`
		CertFile     string `yaml:"cert_file"`
		KeyFile      string `yaml:"key_file"`
		ClientCAFile string `yaml:"client_ca_file"`
	} `yaml:"tls_server_config"`
}

func (p parts) check(file string) error {
	for _, user := range slices.Sorted(maps.Keys(p.Users)) {
		if !bcryptHash.MatchString(p.Users[user]) {
			return problem(fmt.Sprintf("%s: what stands for the user %s is no bcrypt hash; make one with `htpasswd -nBC 10 %[2]s` and write what follows the colon, in quotes", file, user))
		}
	}
	if ca := p.TLS.ClientCAFile; ca != "" {
		text, err := os.ReadFile(beside(file, ca))
		if err != nil {
			return problem(fmt.Sprintf("%s: client_ca_file: %v; name a file that the daemon's user can read", file, err))
		}
		if !x509.NewCertPool().AppendCertsFromPEM(text) {
			return problem(fmt.Sprintf("%s: client_ca_file: %s holds no PEM certificate; copy the one that signs your clients' there", file, ca))
		}
	}
	return nil
}

// certificate is the one shown to clients; without one there is no TLS.
func (p parts) certificate(file string) (cert tls.Certificate, err error) {
	t := p.TLS
	if t.Cert != "" && t.Key != "" {
		return tls.X509KeyPair([]byte(t.Cert), []byte(t.Key))
	}
	return tls.LoadX509KeyPair(beside(file, t.CertFile), beside(file, t.KeyFile))
}

// beside is a name in the file as seen from here.
func beside(file, name string) string {
	if filepath.IsAbs(name) {
		return name
	}
	return filepath.Join(filepath.Dir(file), name)
}

// Current is Check, and also says when the certificate has ended. That keeps no daemon from starting: nests come first.
func Current(file string, now time.Time) error {
	if err := Check(file); err != nil || file == "" {
		return err
	}
	if cert, ok := shown(file); ok && cert.Leaf != nil && now.After(cert.Leaf.NotAfter) {
		return problem(fmt.Sprintf("the certificate of %s ended on %s; put a new one in its place", file, cert.Leaf.NotAfter.Format(time.DateOnly)))
	}
	return nil
}

// Secure reports whether the file asks for TLS.
func Secure(file string) bool {
	_, ok := shown(file)
	return ok
}

func shown(file string) (cert tls.Certificate, ok bool) {
	text, err := os.ReadFile(file)
	var p parts
	if err == nil {
		err = yaml.Unmarshal(text, &p)
	}
	if err == nil {
		cert, err = p.certificate(file)
	}
	return cert, err == nil
}

// Serve answers at l by the file, or plainly where none is named, until srv is shut down. Call Check first.
func Serve(l net.Listener, srv *http.Server, file string) error {
	if file == "" {
		return srv.Serve(l)
	}
	return web.Serve(l, srv, &web.FlagConfig{WebConfigFile: &file}, slog.New(slog.DiscardHandler)) // its log quotes the file
}
