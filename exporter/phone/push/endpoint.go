package push

import (
	"context"
	"crypto/ecdh"
	"crypto/tls"
	"crypto/x509"
	"encoding/base64"
	"errors"
	"net"
	"net/http"
	"net/netip"
	"net/url"
	"strings"
	"syscall"
	"time"

	"nestmon/exporter"
)

// Bounds of what a browser may send, in characters unless it says otherwise. Ours, no source: endpoints seen in public have under 600.
const (
	maxEndpoint = 1024
	maxLabel    = 40
	maxAgent    = 80
	authBytes   = 16 // RFC 8291, 3.2
)

// Net says where push services may be. The zero value is for the world outside.
type Net struct {
	Home  bool           // tests only: any port, and addresses of this machine and its own network
	Roots *x509.CertPool // nil for the machine's
}

var (
	errEndpoint = errors.New("the address of this browser's push service cannot be used; use another browser on this phone")
	errKeys     = errors.New("the browser's keys are not as they must be; load the page again and sign up again")
	errLabel    = errors.New("the phone has no name; write a short one, such as the first name of its owner")
)

// check refuses a subscription that cannot be used, or that would let whoever may sign up reach into the network at home.
func (n Net) check(s exporter.Subscription) error {
	text := s.Endpoint.Reveal()
	u, err := url.Parse(text)
	if err != nil || len(text) > maxEndpoint || u.Scheme != "https" || u.User != nil || u.Fragment != "" || u.Opaque != "" {
		return errEndpoint
	}
	if _, err := netip.ParseAddr(u.Hostname()); !n.Home && (err == nil || u.Port() != "" || !public(u.Hostname())) {
		return errEndpoint
	}
	if _, err := http.NewRequest(http.MethodPost, text, nil); err != nil { //nolint:noctx // it is never sent
		return errEndpoint
	}
	key, err := unbase64(s.P256dh)
	if err != nil {
		return errKeys
	}
	if _, err := ecdh.P256().NewPublicKey(key); err != nil { // on the curve, uncompressed
		return errKeys
	}
	if auth, err := unbase64(s.Auth.Reveal()); err != nil || len(auth) != authBytes {
		return errKeys
	}
	return nil
}

func unbase64(s string) ([]byte, error) {
	const longest = 200 // far more than a key has
	if len(s) > longest {
		return nil, errKeys
	}
	return base64.RawURLEncoding.DecodeString(strings.TrimRight(s, "="))
}

// errHome is what a connection ends with whose address is not out in the world.
var errHome = errors.New("the push service has an address that is not public")

// closed are networks beyond those that netip knows as private and such, in which a name from outside must not lead (IANA's special-purpose
// registries, from memory). The last two hold addresses of the old kind within.
var closed = []netip.Prefix{
	netip.MustParsePrefix("0.0.0.0/8"), netip.MustParsePrefix("100.64.0.0/10"), netip.MustParsePrefix("192.0.0.0/24"),
	netip.MustParsePrefix("192.0.2.0/24"), netip.MustParsePrefix("198.18.0.0/15"), netip.MustParsePrefix("198.51.100.0/24"),
	netip.MustParsePrefix("203.0.113.0/24"), netip.MustParsePrefix("240.0.0.0/4"), netip.MustParsePrefix("2001:db8::/32"),
	netip.MustParsePrefix("fec0::/10"), netip.MustParsePrefix("64:ff9b::/96"), netip.MustParsePrefix("2002::/16"),
}

// outside reports whether an address is one of the internet.
func outside(a netip.Addr) bool {
	a = a.Unmap()
	if !a.IsGlobalUnicast() || a.IsPrivate() {
		return false
	}
	for _, p := range closed {
		if p.Contains(a.WithZone("")) {
			return false
		}
	}
	return true
}

// client makes the connections. The name was checked when the phone signed up; the address is looked at when it is dialled, since a name may
// lead elsewhere by then. No proxy is used: it would look the name up itself.
func (n Net) client() *http.Client {
	dialer := net.Dialer{Timeout: deadline}
	if !n.Home {
		dialer.ControlContext = func(_ context.Context, _, address string, _ syscall.RawConn) error {
			at, err := netip.ParseAddrPort(address)
			if err != nil || at.Port() != 443 || !outside(at.Addr()) {
				return errHome
			}
			return nil
		}
	}
	return &http.Client{
		Transport: &http.Transport{
			DialContext: dialer.DialContext, TLSClientConfig: &tls.Config{RootCAs: n.Roots, MinVersion: tls.VersionTLS12}, ForceAttemptHTTP2: true,
			IdleConnTimeout: time.Minute, TLSHandshakeTimeout: deadline, MaxResponseHeaderBytes: maxAnswer,
		},
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
	}
}
