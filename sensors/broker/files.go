package broker

import (
	"crypto/tls"
	"crypto/x509"
	"encoding/pem"
	"errors"
	"fmt"
	"os"
	"time"
)

// Files are what an ssl:// connection is made with, all PEM. Each may be empty.
type Files struct {
	CA   string // the certificates the broker's own is checked against; empty for the system's
	Cert string // our own certificate, for a broker that asks for one
	Key  string // its private key
}

// ErrFile marks what is wrong with a file that the configuration names.
var ErrFile = errors.New("cannot be used")

// Soon is how long before its end a certificate is spoken of: time enough to have another one signed. Ours, no source.
const Soon = 30 * 24 * time.Hour

type named struct{ key, path string }

func (f Files) named() (all []named) {
	for _, n := range []named{{"ca_file", f.CA}, {"cert_file", f.Cert}, {"key_file", f.Key}} {
		if n.path != "" {
			all = append(all, n)
		}
	}
	return all
}

// TLS reads the files. They are read for each connection, so that a certificate that was renewed is taken up without a restart.
func (f Files) TLS() (*tls.Config, error) {
	c := &tls.Config{MinVersion: tls.VersionTLS12}
	if f.CA != "" {
		text, err := os.ReadFile(f.CA)
		if err != nil {
			return nil, fmt.Errorf("ca_file %w: %w; make the file readable for this user", ErrFile, err)
		}
		c.RootCAs = x509.NewCertPool()
		if !c.RootCAs.AppendCertsFromPEM(text) {
			return nil, fmt.Errorf("ca_file %w: %s holds no PEM certificate; write the file that signed the broker's certificate", ErrFile, f.CA)
		}
	}
	if f.Cert != "" {
		own, err := f.pair()
		if err != nil {
			return nil, err
		}
		c.Certificates = []tls.Certificate{own}
	}
	return c, nil
}

// pair is our own certificate with its key. What stands in the key is never quoted.
func (f Files) pair() (tls.Certificate, error) {
	var texts [2][]byte
	for i, n := range []named{{"cert_file", f.Cert}, {"key_file", f.Key}} {
		var err error
		if texts[i], err = os.ReadFile(n.path); err != nil {
			return tls.Certificate{}, fmt.Errorf("%s %w: %w; make the file readable for this user", n.key, ErrFile, err)
		}
	}
	own, err := tls.X509KeyPair(texts[0], texts[1])
	if err != nil {
		return own, fmt.Errorf("cert_file %w: %s and %s are no pair (%w); write the PEM certificate and the key it was made for", ErrFile, f.Cert, f.Key, err)
	}
	return own, nil
}

// Check reports files that cannot be used and certificates that are not good at the time now or not for much longer, by key.
func (f Files) Check(now time.Time, report func(path, problem string)) {
	if f.Cert != "" {
		if _, err := f.pair(); err != nil {
			report("cert_file", err.Error())
			return
		}
	}
	for _, n := range f.named() {
		if n.key == "key_file" {
			continue
		}
		for _, c := range certificates(n.path) {
			if problem := worn(c, n, now); problem != "" {
				report(n.key, problem)
			}
		}
	}
}

// renewal is what to do about a certificate that has ended.
var renewal = map[string]string{
	"ca_file":   "copy the broker's new one there",
	"cert_file": "have a new one signed and write it there; it is taken up with the next connection",
}

// worn says when a certificate is good for no longer, or not yet, and what to do.
func worn(c *x509.Certificate, file named, now time.Time) string {
	switch {
	case now.After(c.NotAfter):
		return fmt.Sprintf("the certificate in %s expired on %s; %s", file.path, day(c.NotAfter), renewal[file.key])
	case now.Before(c.NotBefore):
		return fmt.Sprintf("the certificate in %s is good from %s on, and by this machine's clock it is %s; set the clock, or wait", file.path, day(c.NotBefore), day(now))
	case now.Add(Soon).After(c.NotAfter):
		return fmt.Sprintf("the certificate in %s expires on %s; %s", file.path, day(c.NotAfter), renewal[file.key])
	}
	return ""
}

// Expiring says when our own certificate ends, where that is soon or past; it says nothing of a file that cannot be read.
func (f Files) Expiring(now time.Time) string {
	for _, c := range certificates(f.Cert) {
		if now.Add(Soon).After(c.NotAfter) {
			return "cert_file: " + worn(c, named{"cert_file", f.Cert}, now)
		}
	}
	return ""
}

// expired is why a connection with our own certificate cannot be made, nil while it is good.
func (f Files) expired(now time.Time) error {
	for _, c := range certificates(f.Cert) {
		if now.After(c.NotAfter) {
			return errors.New("cert_file: " + worn(c, named{"cert_file", f.Cert}, now))
		}
	}
	return nil
}

// certificates reads those of a file, none where it cannot be read.
func certificates(path string) (all []*x509.Certificate) {
	if path == "" {
		return nil
	}
	text, err := os.ReadFile(path)
	if err != nil {
		return nil
	}
	for block, rest := pem.Decode(text); block != nil; block, rest = pem.Decode(rest) {
		if c, err := x509.ParseCertificate(block.Bytes); err == nil && block.Type == "CERTIFICATE" {
			all = append(all, c)
		}
	}
	return all
}

func day(t time.Time) string { return t.UTC().Format(time.DateOnly) }
