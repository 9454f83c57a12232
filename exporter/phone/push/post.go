package push

import (
	"context"
	"crypto/x509"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"strings"
	"sync"
	"time"

	webpush "github.com/SherClockHolmes/webpush-go"

	"nestmon/exporter"
)

const (
	// deadline is how long one phone's push service may take. It is under the time a whole message has. Ours, no source.
	deadline = 15 * time.Second
	// slowly is the wait after an answer that only a person can cure. Ours, no source.
	slowly = 5 * time.Minute
	// longestWait caps what a push service may ask for, so that a wrong header cannot silence a phone for days. Ours, no source.
	longestWait = time.Hour
	// maxAnswer is how much of an answer is read, in bytes. Ours, no source.
	maxAnswer = 64 << 10
)

// outcome is what became of one message for one phone.
type outcome struct {
	phone phone
	took  bool
	gone  bool
	why   string // where neither
	wrong bool   // waiting does not help
	after time.Duration
}

// courier takes messages to push services.
type courier struct {
	contact string
	client  *http.Client
	tokens  tokens
	now     func() time.Time
}

// post sends m to one phone. Of an error it tells only what kind of error it is: the text may hold the endpoint.
func (c *courier) post(ctx context.Context, private, public string, p phone, m exporter.Message) outcome {
	ctx, cancel := context.WithTimeout(ctx, deadline)
	defer cancel()
	out := outcome{phone: p}
	how := careOf(m)
	for i, size := range sizes {
		text, err := payload(m, size-overhead)
		if err != nil {
			return outcome{phone: p, why: "the message cannot be written: " + err.Error(), wrong: true}
		}
		resp, err := webpush.SendNotificationWithContext(ctx, text, &webpush.Subscription{
			Endpoint: p.Endpoint, Keys: webpush.Keys{P256dh: p.P256dh, Auth: p.Auth},
		}, &webpush.Options{
			HTTPClient: doer{c}, RecordSize: uint32(size), TTL: int(how.ttl / time.Second), Urgency: how.urgency, //nolint:gosec // sizes are small
			Topic: topic(private, subject(m)), Subscriber: strings.TrimPrefix(c.contact, "mailto:"), VAPIDPublicKey: public, VAPIDPrivateKey: private,
		})
		if err != nil {
			out.why = unsent(err)
			return out
		}
		_, _ = io.Copy(io.Discard, io.LimitReader(resp.Body, maxAnswer)) // the status alone decides
		_ = resp.Body.Close()
		if resp.StatusCode == http.StatusRequestEntityTooLarge && i < len(sizes)-1 {
			continue
		}
		c.judge(&out, resp)
		break
	}
	return out
}

// judge reads the status (RFC 8030, 5 and 7; RFC 8292, 4.2).
func (c *courier) judge(out *outcome, resp *http.Response) {
	code := resp.StatusCode
	said := fmt.Sprintf("its push service answered %d %s", code, http.StatusText(code))
	out.after = min(exporter.RetryAfter(resp.Header.Get("Retry-After"), c.now()), longestWait)
	switch {
	case code >= 200 && code < 300:
		out.took = true
	case code == http.StatusNotFound, code == http.StatusGone:
		out.gone = true
	case code == http.StatusBadRequest, code == http.StatusUnauthorized, code == http.StatusForbidden:
		c.tokens.forget()
		out.wrong, out.after = true, max(out.after, slowly)
		out.why = said + ": it does not let this nestmon in; look at the board's clock and at contact, then take this phone off on the page and sign it up again"
	case code == http.StatusRequestTimeout, code == http.StatusTooEarly, code == http.StatusTooManyRequests, code >= 500:
		out.why = said
	default: // nothing is dropped for an answer that nobody expects
		out.wrong, out.after = true, max(out.after, slowly)
		out.why = said + ", which it should not; use another browser on this phone"
	}
}

// unsent says why a request did not get an answer.
func unsent(err error) string {
	var (
		slow    net.Error
		name    *net.DNSError
		trust   x509.UnknownAuthorityError
		host    x509.HostnameError
		invalid x509.CertificateInvalidError
	)
	switch {
	case errors.As(err, &slow) && slow.Timeout(), errors.Is(err, context.DeadlineExceeded), errors.Is(err, context.Canceled):
		return "no answer in time"
	case errors.Is(err, errHome):
		return errHome.Error() + "; take this phone off on the page, and find out who signed it up"
	case errors.As(err, &name):
		return "no such host: its push service's name cannot be looked up; is there a way to the internet?"
	case errors.As(err, &trust), errors.As(err, &host), errors.As(err, &invalid):
		return "x509: its push service's certificate is not trusted; look at the board's clock, and who answers in its place"
	}
	return "cannot connect to its push service; is there a way to the internet?"
}

// tokenLife is how long a token is used. The library makes each good for 12 h, and a new one for every request; one push service wants
// no more than one an hour, as its documentation is quoted publicly. At the end of its use a token is still good for 6 h. Ours, no source.
const tokenLife = 6 * time.Hour

// tokens keeps the header Authorization that the library made, for each push service.
type tokens struct {
	now func() time.Time
	mu  sync.Mutex
	got map[string]token
}

type token struct {
	header string
	made   time.Time // without a monotonic reading: the token's own times are of the board's clock, which may jump
}

// use is the header for this host: an earlier one, or fresh.
func (t *tokens) use(host, fresh string) string {
	t.mu.Lock()
	defer t.mu.Unlock()
	now := t.now().Round(0)
	if old, ok := t.got[host]; ok {
		if age := now.Sub(old.made); age >= 0 && age < tokenLife {
			return old.header
		}
	}
	if t.got == nil {
		t.got = map[string]token{}
	}
	t.got[host] = token{fresh, now}
	return fresh
}

func (t *tokens) forget() {
	t.mu.Lock()
	defer t.mu.Unlock()
	clear(t.got)
}

// doer is the library's way out.
type doer struct{ *courier }

func (d doer) Do(r *http.Request) (*http.Response, error) {
	r.Header.Set("Authorization", d.tokens.use(r.URL.Host, r.Header.Get("Authorization")))
	r.Header.Set("User-Agent", "nestmon")
	return d.client.Do(r)
}
