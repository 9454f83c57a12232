package influx

import (
	"fmt"
	"io"
	"net/http"
	"strings"
	"time"
)

// newHTTPClient makes a client that follows nothing and believes only 204. Deadlines come with each call's context.
func newHTTPClient() *http.Client {
	t := http.DefaultTransport.(*http.Transport).Clone()
	t.MaxIdleConnsPerHost = 1
	t.IdleConnTimeout = 90 * time.Second
	return &http.Client{
		Transport:     strict{t},
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
	}
}

// notWritten is an answer that promises nothing, such as a captive portal's page.
type notWritten struct {
	status int
	kind   string // content type
}

func (n *notWritten) Error() string {
	return fmt.Sprintf("answer %d (%s) instead of 204; check publish.influxdb.url and whether a login page stands between", n.status, n.kind)
}

// answerLimit is enough of any error message; ours, no source.
const answerLimit = 64 << 10

// strict lets 204 and plain errors through. Any other answer below 400 becomes an error, which the library would call a success.
type strict struct{ next http.RoundTripper }

// RoundTrip sends one request.
func (s strict) RoundTrip(req *http.Request) (*http.Response, error) {
	resp, err := s.next.RoundTrip(req)
	if err != nil || resp.StatusCode == http.StatusNoContent {
		return resp, err
	}
	if resp.StatusCode < 400 {
		kind := resp.Header.Get("Content-Type")
		_ = resp.Body.Close()
		return nil, &notWritten{resp.StatusCode, kind}
	}
	resp.Body = struct {
		io.Reader
		io.Closer
	}{io.LimitReader(resp.Body, answerLimit), resp.Body}
	return resp, nil
}

// textLimit keeps an error on a line or two.
const textLimit = 200

// tidy makes a server's words fit for a log: one line, short, without the token.
func (s *Sink) tidy(text string) string {
	if s.secret.IsSet() {
		text = strings.ReplaceAll(text, s.secret.Reveal(), s.secret.String())
		if _, password, ok := strings.Cut(s.secret.Reveal(), ":"); ok && password != "" { // InfluxDB 1.8: user:password
			text = strings.ReplaceAll(text, password, s.secret.String())
		}
	}
	text = strings.Join(strings.Fields(text), " ")
	if len(text) > textLimit {
		text = strings.ToValidUTF8(text[:textLimit], "") + "…"
	}
	return text
}
