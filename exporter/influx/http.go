package influx

import (
	"bytes"
	"compress/gzip"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"strings"
	"time"
)

// httpClient makes a client that follows nothing and believes only 204. Deadlines come with each call's context.
func (c Config) httpClient() (*http.Client, error) {
	t := http.DefaultTransport.(*http.Transport).Clone()
	t.MaxIdleConnsPerHost = 1
	t.IdleConnTimeout = 90 * time.Second
	if c.CAFile != "" {
		text, err := os.ReadFile(c.CAFile)
		if err != nil {
			return nil, fmt.Errorf("publish.influxdb.ca_file: %w; make the file readable for this user", err)
		}
		pool := x509.NewCertPool()
		if !pool.AppendCertsFromPEM(text) {
			return nil, fmt.Errorf("publish.influxdb.ca_file: %s holds no PEM certificate; write the file that signed the server's certificate", c.CAFile)
		}
		t.TLSClientConfig = &tls.Config{RootCAs: pool, MinVersion: tls.VersionTLS12}
	}
	return &http.Client{
		Transport:     &strict{next: t},
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
	}, nil
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

// strict packs what is sent, and lets 204 and plain errors through. Any other answer below 400 becomes an error, which the library
// would call a success. It is used by one goroutine at a time.
type strict struct {
	next http.RoundTripper
	zip  *gzip.Writer // nil before the first; made once, for it is large
}

// RoundTrip sends one request.
func (s *strict) RoundTrip(req *http.Request) (*http.Response, error) {
	req, err := s.packed(req)
	if err != nil {
		return nil, err
	}
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

// packed is the request with its body compressed: lines of one probe differ little, a tenth is left of them. The library would
// do it too, with a new compressor of a megabyte for each request, and three times as slowly.
func (s *strict) packed(req *http.Request) (*http.Request, error) {
	var body bytes.Buffer
	if s.zip == nil {
		zip, err := gzip.NewWriterLevel(&body, gzip.BestSpeed)
		if err != nil {
			return nil, err
		}
		s.zip = zip
	} else {
		s.zip.Reset(&body)
	}
	_, err := io.Copy(s.zip, req.Body)
	if err = errors.Join(err, req.Body.Close(), s.zip.Close()); err != nil {
		return nil, err
	}
	packed := req.Clone(req.Context())
	packed.Header.Set("Content-Encoding", "gzip")
	packed.ContentLength = int64(body.Len())
	packed.GetBody = func() (io.ReadCloser, error) { return io.NopCloser(bytes.NewReader(body.Bytes())), nil }
	packed.Body, err = packed.GetBody()
	return packed, err
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
