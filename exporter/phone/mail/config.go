package mail

import (
	"cmp"
	"fmt"
	"net"
	netmail "net/mail"
	"os"
	"strconv"
	"strings"

	"nestmon/exporter"
)

// Config says which server takes the mail, and for whom it is.
type Config struct {
	Server       string   `yaml:"server"` // host or host:port
	TLS          string   `yaml:"tls"`    // starttls (empty), tls, or none
	Username     string   `yaml:"username"`
	PasswordFile string   `yaml:"password_file"` // one line
	From         string   `yaml:"from"`
	To           []string `yaml:"to"`
	CAFile       string   `yaml:"ca_file"` // PEM certificates the server's own is checked against; empty for the system's
}

// How a connection is encrypted.
const (
	startTLS = "starttls" // after a first word in the open
	fromTLS  = "tls"      // from the first byte
	noTLS    = "none"
)

// ports are those of submission: RFC 6409, 3.1 for STARTTLS, RFC 8314, 3.3 for TLS from the first byte, RFC 5321, 4.5.4.2 for none.
var ports = map[string]string{startTLS: "587", fromTLS: "465", noTLS: "25"}

func (c Config) tls() string { return cmp.Or(c.TLS, startTLS) }

// endpoint is where the server listens.
func (c Config) endpoint() (host, port string) {
	host, port, err := net.SplitHostPort(c.Server)
	if err != nil {
		host, port = strings.TrimSuffix(strings.TrimPrefix(c.Server, "["), "]"), ports[c.tls()]
	}
	return host, port
}

// Secured says where the server shows its certificate, and whether with the first byte; secure is false where it shows none.
func (c Config) Secured() (address string, first, secure bool) {
	return c.address(), c.tls() == fromTLS, c.tls() != noTLS
}

// address is endpoint in one text.
func (c Config) address() string { return net.JoinHostPort(c.endpoint()) }

// Validate reports every setting that cannot work. It never quotes what may hold a password.
func (c Config) Validate(report func(path, problem string)) {
	c.validateServer(report)
	switch {
	case c.Username != "" && c.PasswordFile == "":
		report("password_file", "is missing; write the name of a file that holds the password of username, one line")
	case c.Username == "" && c.PasswordFile != "":
		report("username", "is missing; a password needs one")
	}
	if c.From == "" {
		report("from", "is missing; write the address that the server lets you send as, such as barn@example.org")
	} else if _, err := parse(c.From); err != nil {
		report("from", err.Error())
	}
	if len(c.To) == 0 {
		report("to", "is missing; write whom to tell, such as keeper@example.org")
	}
	seen := map[string]bool{}
	for i, text := range c.To {
		at := fmt.Sprintf("to[%d]", i)
		a, err := parse(text)
		switch {
		case err != nil:
			report(at, err.Error())
		case seen[a.Address]:
			report(at, fmt.Sprintf("%s is written twice; write it once", a.Address))
		default:
			seen[a.Address] = true
		}
	}
}

func (c Config) validateServer(report func(path, problem string)) {
	if _, known := ports[c.tls()]; !known {
		report("tls", fmt.Sprintf("%q is unknown; write starttls, tls or none", c.TLS))
		return
	}
	host, port := c.endpoint()
	number, err := strconv.ParseUint(port, 10, 16)
	switch {
	case c.Server == "":
		report("server", "is missing; write the host of your mail service, such as mail.example.org or mail.example.org:587")
	case strings.Contains(c.Server, "@"): // never quoted: what stands before the @ may be a password
		report("server", "holds a user name or password; write them as username and password_file")
	case host == "" || strings.ContainsAny(host, "/ ") || net.ParseIP(host) == nil && strings.Contains(host, ":") || err != nil || number == 0:
		report("server", fmt.Sprintf("%q is not a server's address; write HOST or HOST:PORT, such as mail.example.org:587", c.Server))
	case port == ports[fromTLS] && c.tls() == startTLS: // both sides would wait for the other's first word
		report("tls", "is starttls, and port 465 is encrypted from the first byte; write tls: tls, or the port for STARTTLS, usually 587")
	case c.tls() == noTLS && !loopback(host):
		report("tls", "is none, and passwords and alarms would cross the network in the open; write starttls or tls, none only for a server on this machine")
	case c.tls() == noTLS && c.CAFile != "":
		report("ca_file", "is of no use without TLS; write tls: starttls or tls: tls")
	}
}

func loopback(host string) bool {
	ip := net.ParseIP(host)
	return host == "localhost" || ip != nil && ip.IsLoopback()
}

// parse reads one address (RFC 5322, 3.4). Others than ASCII need SMTPUTF8 at every server on the way, and few have it.
func parse(text string) (*netmail.Address, error) {
	a, err := netmail.ParseAddress(text)
	if err != nil {
		return nil, fmt.Errorf("%q is not one mail address; write one such as keeper@example.org or Keeper <keeper@example.org>", text)
	}
	for _, r := range a.Address {
		if r > '~' {
			return nil, fmt.Errorf("%q has letters that many mail servers refuse; write an address of ASCII letters, a domain in its xn-- form", a.Address)
		}
	}
	return a, nil
}

// password reads the password from its file.
func (c Config) password() (exporter.Secret, error) {
	if c.PasswordFile == "" {
		return exporter.Secret{}, nil
	}
	b, err := os.ReadFile(c.PasswordFile)
	if err != nil {
		return exporter.Secret{}, fmt.Errorf("password_file: %w; the file must be there, with one line, and readable for this user", err)
	}
	s := exporter.NewSecret(strings.TrimRight(string(b), "\r\n"))
	if !s.IsSet() || strings.ContainsAny(s.Reveal(), "\r\n") {
		return exporter.Secret{}, fmt.Errorf("password_file: %s does not hold one line; write the password and nothing else into it", c.PasswordFile)
	}
	return s, nil
}
