package broker

import (
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"io"
	"net"
	"strings"
	"syscall"
	"time"

	"github.com/eclipse/paho.mqtt.golang/packets"
)

// Refusal puts why a connection could not be made into words with a remedy; who names the client and the broker: "mqtt localhost:1883".
// What only a person can mend comes as Wrong.
func Refusal(who string, files Files, err error) error {
	switch {
	case errors.As(err, new(Wrong)):
		return err
	case errors.Is(err, ErrFile): // its remedy is in it
		return Wrong{Err: fmt.Errorf("%s: %w", who, err)}
	}
	what, remedy, wrong := diagnose(err)
	if said, vanished := refused(err); said || vanished {
		what, remedy, wrong = "", certificateRemedy(files), said
		if own := files.expired(time.Now()); own != nil {
			return Wrong{Err: fmt.Errorf("%s: cannot connect: %w (%w)", who, own, err)}
		}
	}
	out := fmt.Errorf("%s: cannot connect: %s (%w); %s", who, what, err, remedy)
	if what == "" {
		out = fmt.Errorf("%s: cannot connect: %w; %s", who, err, remedy)
	}
	if wrong {
		return Wrong{Err: out}
	}
	return out
}

// diagnose says what an error of a connection means and what to do, and whether only a person can.
func diagnose(err error) (what, remedy string, wrong bool) {
	var (
		unknown  x509.UnknownAuthorityError
		name     x509.HostnameError
		invalid  x509.CertificateInvalidError
		lookup   *net.DNSError
		stranger strangerError
		silent   silentError
		timeout  net.Error
	)
	switch {
	case errors.Is(err, packets.ErrorRefusedNotAuthorised), errors.Is(err, packets.ErrorRefusedBadUsernameOrPassword):
		return "the broker refused the user name or password", "check username and password_file", true
	case errors.Is(err, packets.ErrorRefusedIDRejected):
		return "the broker refused the client id", "set client_id", true
	case errors.As(err, &unknown):
		return "", "write the certificate that signed the broker's as ca_file", true
	case errors.As(err, &name):
		return "", "write the broker's name as it stands in its certificate", true
	case errors.As(err, &invalid) && invalid.Reason == x509.Expired:
		return diagnoseDates(invalid.Cert)
	case errors.As(err, &lookup) && lookup.IsNotFound:
		return "no machine has this name", "check the spelling of broker, or write the machine's IP address (a name that ends in .local is often found by its IP address alone)", true
	case errors.As(err, &lookup):
		return "cannot ask for the broker's address", "is the network up?", false
	case errors.As(err, new(tls.RecordHeaderError)):
		return "this port does not speak TLS", "write broker: tcp://HOST:PORT, or the broker's port for TLS, usually 8883", true
	case errors.As(err, &stranger) && stranger.first == tlsAlert:
		return "this port speaks TLS", "write broker: ssl://HOST:PORT, or the broker's port without TLS, usually 1883", true
	case errors.As(err, &stranger):
		return "what answers there is no MQTT broker", "check host and port of broker: usually 1883, with TLS 8883", true
	case errors.Is(err, syscall.ECONNREFUSED):
		return "nobody listens there", "is the broker running and reachable? Its port is usually 1883, with TLS 8883", false
	case errors.As(err, &timeout) && timeout.Timeout():
		return "no answer", "is the broker running and reachable, and are host and port right?", false
	case errors.As(err, new(handshakeError)) && gone(err):
		return "the connection was closed before TLS began", "if the port is one without TLS, write broker: tcp://HOST:PORT; if not, is the broker well?", false
	case errors.As(err, &silent) && !silent.secured && gone(err):
		return "the connection was closed without an answer", "if the port is one for TLS, write broker: ssl://HOST:PORT; if not, is an MQTT broker there, and is it well?", false
	}
	return "", "is the broker running and reachable?", false
}

// diagnoseDates is for a broker's certificate that is not good today. One that is not good yet means, most often, a board whose clock is
// not set, which ends by itself.
func diagnoseDates(c *x509.Certificate) (what, remedy string, wrong bool) {
	if c != nil && time.Now().Before(c.NotBefore) {
		return fmt.Sprintf("the broker's certificate is good from %s on", day(c.NotBefore)), "is this machine's clock set?", false
	}
	what = "the broker's certificate has expired"
	if c != nil {
		what = "the broker's certificate expired on " + day(c.NotAfter)
	}
	return what, "renew it on the broker; if it is good, set this machine's clock", true
}

// refused reports whether the broker said that it does not take our certificate, or misses one, or went away where it might have said so.
// It speaks after its own part of the handshake, and then the connection may be gone before its word is heard.
func refused(err error) (said, vanished bool) {
	var silent silentError
	var remote *net.OpError
	said = errors.As(err, &remote) && remote.Op == "remote error" && strings.Contains(err.Error(), "certificate")
	return said, errors.As(err, &silent) && silent.secured && gone(err)
}

func certificateRemedy(files Files) string {
	if files.Cert == "" {
		return "the broker may ask for a client certificate: have one signed, and write it as cert_file and key_file"
	}
	return fmt.Sprintf("the broker may not accept the client certificate in %s: have it signed by the one that the broker trusts", files.Cert)
}

// gone reports whether the other side ended the connection.
func gone(err error) bool {
	return errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, syscall.ECONNRESET) || errors.Is(err, syscall.EPIPE)
}
