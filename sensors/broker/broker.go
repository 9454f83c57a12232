// Package broker is how an MQTT broker is reached: what its address may be, by which certificates it is believed, and what to do when it
// refuses. Probes that speak over a broker and the sink that publishes to one have this in common, and nothing else: each has a
// connection of its own.
package broker

import (
	"crypto/x509"
	"errors"
	"fmt"
	"net/url"
	"os"
	"strings"

	"github.com/eclipse/paho.mqtt.golang/packets"
)

// Validate reports an address that cannot work, and a file of certificates that it has no use for, by key.
func Validate(address, caFile string, report func(path, problem string)) {
	u, err := url.Parse(address)
	switch {
	case address == "":
		report("broker", "is missing; write its address, such as tcp://localhost:1883 or ssl://broker.example:8883")
	case strings.Contains(address, "@"): // never quoted: what stands before the @ may be a password
		report("broker", "holds a user name or password; write them as username and password_file")
	case err != nil || (u.Scheme != "tcp" && u.Scheme != "ssl") || u.Hostname() == "" || u.Port() == "":
		report("broker", fmt.Sprintf("%q is not an address; write tcp://HOST:PORT or ssl://HOST:PORT", address))
	case u.Path != "" || u.RawQuery != "" || u.Fragment != "":
		report("broker", fmt.Sprintf("%q goes on after the port; write tcp://HOST:PORT or ssl://HOST:PORT", address))
	case u.Scheme == "tcp" && caFile != "":
		report("ca_file", "is of no use on a tcp:// connection; write broker: ssl://HOST:PORT")
	}
}

// Certificates reads the certificates a broker's own is checked against; nil, for no file, stands for the system's. An error names neither
// key nor broker.
func Certificates(file string) (*x509.CertPool, error) {
	if file == "" {
		return nil, nil
	}
	b, err := os.ReadFile(file)
	if err != nil {
		return nil, fmt.Errorf("%w; make the file readable for this user", err)
	}
	pool := x509.NewCertPool()
	if !pool.AppendCertsFromPEM(b) {
		return nil, fmt.Errorf("%s holds no PEM certificate; write the file that signed the broker's certificate", file)
	}
	return pool, nil
}

// Wrong is an error that stands until a person puts something right.
type Wrong struct{ Err error }

// Unwrap returns the error itself.
func (w Wrong) Unwrap() error { return w.Err }

// Error says what the error itself says.
func (w Wrong) Error() string { return w.Err.Error() }

// Misconfigured returns true.
func (Wrong) Misconfigured() bool { return true }

// Refusal puts why a connection could not be made into words with a remedy; who names the client and the broker: "mqtt localhost:1883".
// What only a person can mend comes as Wrong.
func Refusal(who string, err error) error {
	var unknown x509.UnknownAuthorityError
	var wrongName x509.HostnameError
	switch {
	case errors.Is(err, packets.ErrorRefusedNotAuthorised), errors.Is(err, packets.ErrorRefusedBadUsernameOrPassword):
		return Wrong{Err: fmt.Errorf("%s: the broker refused the user name or password (%w); check username and password_file", who, err)}
	case errors.Is(err, packets.ErrorRefusedIDRejected):
		return Wrong{Err: fmt.Errorf("%s: the broker refused the client id (%w); set client_id", who, err)}
	case errors.As(err, &unknown):
		return Wrong{Err: fmt.Errorf("%s: cannot connect: %w; write the certificate that signed the broker's as ca_file", who, err)}
	case errors.As(err, &wrongName):
		return Wrong{Err: fmt.Errorf("%s: cannot connect: %w; write the broker's name as it stands in its certificate", who, err)}
	}
	return fmt.Errorf("%s: cannot connect: %w; is the broker running and reachable?", who, err)
}
