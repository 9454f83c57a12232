package influx

import (
	"cmp"
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"net"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"syscall"
	"time"

	apihttp "github.com/influxdata/influxdb-client-go/v2/api/http"
)

// misconfigured is how often to try again where a person must put something right first; ours, no source.
const misconfigured = 5 * time.Minute

// answer is what came back instead of 204.
type answer struct {
	status  int  // 0 when there was no usable answer
	wrong   bool // a person must put something right
	dropped int  // lines the server says it dropped
	text    string
	wait    time.Duration
	cause   error
}

// Error says what came back and what to do.
func (a *answer) Error() string { return a.text }

// Misconfigured reports whether a person must put something right.
func (a *answer) Misconfigured() bool { return a.wrong }

// Unwrap returns the error of the connection, if that was it.
func (a *answer) Unwrap() error { return a.cause }

// RetryAfter returns how long to wait, 0 when it does not matter.
func (a *answer) RetryAfter() time.Duration { return a.wait }

// read makes an answer of the client's error. The status decides; the text is for people, and never holds the token.
func (s *Sink) read(ctx context.Context, err error) *answer {
	a := &answer{}
	var said *apihttp.Error
	var strange *notWritten
	switch {
	case errors.As(err, &strange):
		a.text = "influx: " + strange.Error()
		return a
	case !errors.As(err, &said) || said.StatusCode == 0:
		return s.unanswered(ctx, err)
	}
	a.status = said.StatusCode
	a.wait = time.Duration(said.RetryAfter) * time.Second
	var words string
	words, a.dropped = withoutCount(strings.TrimSpace(said.Message))
	words = strings.TrimPrefix(s.tidy(words), strconv.Itoa(a.status)+" ") // "404 page not found"
	a.text = fmt.Sprintf("influx: %d %s", a.status, cmp.Or(words, http.StatusText(a.status)))
	if hint := s.hint(a.status, said.Header); hint != "" {
		a.text += "; " + hint
		a.wrong, a.wait = true, misconfigured
	}
	return a
}

// speaksInflux tells the answer of a time-series server from that of a proxy, or of a port that expects TLS. Those answer plain text
// or a page; servers of this protocol say what they are or answer JSON.
func speaksInflux(h http.Header) bool {
	return h.Get("X-Influxdb-Version") != "" || h.Get("X-Influxdb-Build") != "" || isJSON(h)
}

func isJSON(h http.Header) bool { return strings.HasPrefix(h.Get("Content-Type"), "application/json") }

// withoutCount cuts the number of dropped points off the end of a server's words, which are otherwise the same for the same fault.
func withoutCount(text string) (words string, dropped int) {
	words, count, found := strings.Cut(text, " dropped=")
	n, err := strconv.Atoi(count)
	if !found || err != nil {
		return text, 0
	}
	return words, n
}

// hint says what to put right, for the answers that call for a person.
func (s *Sink) hint(status int, head http.Header) string {
	const strange = "this does not look like a server for time series"
	switch status {
	case http.StatusUnauthorized, http.StatusForbidden:
		return fmt.Sprintf("check the token (publish.influxdb.token or token_file; for InfluxDB 1.8 it is user:password) and its right to write to bucket %q", s.bucket)
	case http.StatusNotFound:
		if isJSON(head) { // the same server answers a wrong path in plain text
			return fmt.Sprintf("check publish.influxdb.url, org and bucket %q: a bucket is not made by writing to it, make it first", s.bucket)
		}
		return "check publish.influxdb.url: nothing there takes readings; write the server's address alone, without a path of its pages"
	case http.StatusBadRequest, http.StatusUnprocessableEntity:
		if speaksInflux(head) {
			return ""
		}
		return "check publish.influxdb.url: " + strange + "; is it one that wants https://?"
	case http.StatusRequestEntityTooLarge, http.StatusRequestTimeout, http.StatusTooManyRequests:
		return ""
	}
	if status >= 400 && status < 500 {
		return "check publish.influxdb.url: " + strange
	}
	return ""
}

// unanswered is a connection that could not be made, or that brought nothing.
func (s *Sink) unanswered(ctx context.Context, err error) *answer {
	inner := err
	if u := (*url.Error)(nil); errors.As(err, &u) {
		inner = u.Err // without the address, which the reader has written
	}
	a := &answer{text: "influx: no answer: " + s.tidy(inner.Error()), cause: ctx.Err()}
	if errors.Is(err, context.DeadlineExceeded) {
		a.cause = context.DeadlineExceeded
	}
	var remedy string
	if remedy, a.wrong = remedyFor(err); remedy != "" {
		a.text += "; " + remedy
	}
	return a
}

// remedyFor says what to do about a connection that could not be made, and whether waiting cannot help.
func remedyFor(err error) (remedy string, wrong bool) {
	var unknown x509.UnknownAuthorityError
	var invalid x509.CertificateInvalidError
	var name x509.HostnameError
	var host *net.DNSError
	switch {
	case errors.As(err, &unknown):
		return "write the certificate that signed the server's as publish.influxdb.ca_file", true
	case errors.As(err, &name):
		return "write the server's name in publish.influxdb.url as it stands in its certificate", true
	case errors.As(err, &invalid) && invalid.Reason == x509.Expired && invalid.Cert != nil && time.Now().Before(invalid.Cert.NotBefore):
		return "the certificate is not valid yet: is the board's clock set?", false
	case errors.As(err, &invalid) && invalid.Reason == x509.Expired:
		return "renew the server's certificate: it has expired", true
	case errors.As(err, &invalid):
		return "give the server another certificate", true
	case errors.Is(err, http.ErrSchemeMismatch), errors.As(err, new(tls.RecordHeaderError)):
		return "the server speaks no TLS on this port: write http:// in publish.influxdb.url, or the port that does", true
	case errors.As(err, &host) && host.IsNotFound:
		return "check the host's name in publish.influxdb.url", true
	case errors.Is(err, syscall.ECONNREFUSED):
		return "is the server running, and are host and port of publish.influxdb.url right?", false
	}
	return "", false
}
