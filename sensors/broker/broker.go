// Package broker is how an MQTT broker is reached: what its address may be, by which certificates each side believes the other, how the
// connection is opened, and what to do when it comes to nothing. Probes that speak over a broker and the sink that publishes to one have
// this in common, and nothing else: each has a connection of its own.
package broker

import (
	"fmt"
	"net/url"
	"strings"
)

// The schemes of an address.
const (
	plain   = "tcp"
	secured = "ssl"
)

// Validate reports an address that cannot work, and files that it has no use for, by key.
func Validate(address string, files Files, report func(path, problem string)) {
	u, err := url.Parse(address)
	switch {
	case address == "":
		report("broker", "is missing; write its address, such as tcp://localhost:1883 or ssl://broker.example:8883")
	case strings.Contains(address, "@"): // never quoted: what stands before the @ may be a password
		report("broker", "holds a user name or password; write them as username and password_file")
	case err != nil || (u.Scheme != plain && u.Scheme != secured) || u.Hostname() == "" || u.Port() == "":
		report("broker", fmt.Sprintf("%q is not an address; write tcp://HOST:PORT or ssl://HOST:PORT", address))
	case u.Path != "" || u.RawQuery != "" || u.Fragment != "":
		report("broker", fmt.Sprintf("%q goes on after the port; write tcp://HOST:PORT or ssl://HOST:PORT", address))
	case u.Scheme == plain:
		for _, f := range files.named() {
			report(f.key, "is of no use on a tcp:// connection; write broker: ssl://HOST:PORT")
		}
	}
	switch {
	case files.Cert != "" && files.Key == "":
		report("key_file", "is missing; write the private key that belongs to cert_file")
	case files.Cert == "" && files.Key != "":
		report("cert_file", "is missing; write the certificate that belongs to key_file")
	}
}

// Wrong is an error that stands until a person puts something right.
type Wrong struct{ Err error }

// Unwrap returns the error itself.
func (w Wrong) Unwrap() error { return w.Err }

// Error says what the error itself says.
func (w Wrong) Error() string { return w.Err.Error() }

// Misconfigured returns true.
func (Wrong) Misconfigured() bool { return true }
