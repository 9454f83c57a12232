package phone

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"strings"
	"time"

	"nestmon/exporter"
)

const (
	// deadline is how long one request may take; a healthy service answers in a second or two. Ours, no source.
	deadline = 15 * time.Second
	// slowly is the wait after an answer that only the user can cure. Ours, no source.
	slowly = 5 * time.Minute
	// maxAnswer is how much of an answer is read, so that the connection can be used again, in bytes. Ours, no source.
	maxAnswer = 64 * 1024
)

// Webhook sends messages to one address. It may be used by any number of goroutines.
type Webhook struct {
	channel   Channel
	url       exporter.Secret
	templates templates
	client    *http.Client
	now       func() time.Time
}

var _ exporter.MessageSink = (*Webhook)(nil)

// New prepares a channel. It fails only when the configuration or the file it names cannot be used.
func New(c Channel) (*Webhook, error) {
	c.Format = orText(c.Format, "text")
	f, ok := formats[c.Format]
	if !ok {
		return nil, fmt.Errorf("phone %s: format %q is unknown; write text or json", c.Name, c.Format)
	}
	c.Method = orText(c.Method, http.MethodPost)
	c.ContentType = orText(c.ContentType, f.contentType)
	address, err := c.address()
	if err != nil {
		return nil, fmt.Errorf("phone %s: %w", c.Name, err)
	}
	t, err := c.templates()
	if err != nil {
		return nil, fmt.Errorf("phone %s: %w", c.Name, err)
	}
	return &Webhook{channel: c, url: address, templates: t, now: time.Now, client: newClient()}, nil
}

// newClient follows no redirect: where it leads to is nobody the user named.
func newClient() *http.Client {
	transport := &http.Transport{
		Proxy:       http.ProxyFromEnvironment,
		DialContext: (&net.Dialer{Timeout: deadline}).DialContext,
		// Requests are minutes or hours apart; a connection kept open would be dead by then.
		DisableKeepAlives: true,
	}
	return &http.Client{Transport: transport, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
}

// Name is the channel's.
func (w *Webhook) Name() string { return w.channel.Name }

// Send delivers one message. What is below the channel's level counts as delivered: it is not for this phone.
func (w *Webhook) Send(ctx context.Context, m exporter.Message) error {
	if err := ctx.Err(); err != nil {
		return fmt.Errorf("phone %s: %w", w.Name(), err)
	}
	if !m.Carried(w.channel.Level()) {
		return nil
	}
	ctx, cancel := context.WithTimeout(ctx, deadline)
	defer cancel()
	req, err := w.request(ctx, m)
	if err != nil {
		return err
	}
	resp, err := w.client.Do(req)
	if err != nil {
		return fmt.Errorf("phone %s: %s", w.Name(), unsent(w.url, err))
	}
	defer func() { _ = resp.Body.Close() }()
	_, _ = io.Copy(io.Discard, io.LimitReader(resp.Body, maxAnswer)) // the status alone decides
	return w.judge(resp)
}

func (w *Webhook) request(ctx context.Context, m exporter.Message) (*http.Request, error) {
	body, err := execute(w.templates.body, m)
	if err != nil {
		return nil, exporter.Permanent(fmt.Errorf("phone %s: %w", w.Name(), err))
	}
	req, err := http.NewRequestWithContext(ctx, w.channel.Method, w.url.Reveal(), strings.NewReader(body))
	if err != nil { // err holds the address
		return nil, exporter.Permanent(fmt.Errorf("phone %s: the address or the method cannot be used; write https://HOST/PATH", w.Name()))
	}
	req.Header.Set("User-Agent", "nestmon")
	req.Header.Set("Content-Type", w.channel.ContentType)
	req.Header.Set("Idempotency-Key", m.ID)
	for name, t := range w.templates.headers {
		text, err := execute(t, m)
		if err != nil {
			return nil, exporter.Permanent(fmt.Errorf("phone %s: the template of header %s cannot be used", w.Name(), name))
		}
		req.Header.Set(name, strings.Join(strings.Fields(text), " "))
	}
	return req, nil
}

// judge turns the status into delivered, refused for good, or to be tried again.
func (w *Webhook) judge(resp *http.Response) error {
	code := resp.StatusCode
	said := fmt.Sprintf("phone %s: the service answered %d %s", w.Name(), code, http.StatusText(code))
	later := exporter.RetryAfter(resp.Header.Get("Retry-After"), w.now())
	switch {
	case code >= 200 && code < 300:
		return nil
	case code >= 300 && code < 400:
		return &retryError{said + ", which points elsewhere and is not followed; write the final address as url", max(later, slowly)}
	case code == http.StatusUnauthorized, code == http.StatusForbidden:
		return &retryError{said + "; check the key in url and headers; tried again slowly, nothing is lost", max(later, slowly)}
	case code == http.StatusNotFound:
		return &retryError{said + "; check the path in url; tried again slowly, nothing is lost", max(later, slowly)}
	case code == http.StatusRequestTimeout, code == http.StatusTooEarly, code == http.StatusTooManyRequests, code >= 500:
		return &retryError{said, later}
	case code >= 400:
		return exporter.Permanent(fmt.Errorf("%s, which refuses this message for good", said))
	}
	return &retryError{said, later}
}

// retryError is an error that another try may cure, and when to try.
type retryError struct {
	text  string
	after time.Duration
}

func (e *retryError) Error() string { return e.text }

// RetryAfter is how long to wait, 0 when the other side did not say.
func (e *retryError) RetryAfter() time.Duration { return e.after }

// unsent puts a transport's error into words without the address, which url.Error quotes whole.
func unsent(address exporter.Secret, err error) string {
	var outer *url.Error
	if errors.As(err, &outer) {
		if outer.Timeout() {
			return "no answer in time"
		}
		err = outer.Err
	}
	text := err.Error()
	if u, bad := url.Parse(address.Reveal()); bad == nil {
		password, _ := u.User.Password()
		for _, secret := range []string{address.Reveal(), u.Host, u.Hostname(), u.RequestURI(), u.Path, u.RawQuery, u.User.Username(), password} {
			if len(secret) > 1 { // a bare / is in no need of hiding
				text = strings.ReplaceAll(text, secret, "(secret)")
			}
		}
	}
	return text
}
