package influx

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"time"

	influxdb2 "github.com/influxdata/influxdb-client-go/v2"
	"github.com/influxdata/influxdb-client-go/v2/api"
	apihttp "github.com/influxdata/influxdb-client-go/v2/api/http"

	"nestmon/exporter"
)

var _ exporter.ReadingSink = (*Sink)(nil)

// maxLines is the batch size InfluxDB's documentation recommends.
const maxLines = 5000

// Sink writes to one bucket.
type Sink struct {
	site   string
	places map[string]Place // by probe
	secret exporter.Secret
	bucket string
	client influxdb2.Client
	write  api.WriteAPIBlocking
}

// New makes a sink for readings of a site whose probes are at places. It talks to nobody yet.
func New(c Config, site string, places map[string]Place) (*Sink, error) {
	secret, err := c.secret()
	if err != nil {
		return nil, err
	}
	options := influxdb2.DefaultOptions().SetPrecision(time.Second).SetUseGZip(true).SetHTTPClient(newHTTPClient())
	client := influxdb2.NewClientWithOptions(c.URL, secret.Reveal(), options)
	return &Sink{
		site: site, places: places, secret: secret, bucket: c.Bucket,
		client: client, write: client.WriteAPIBlocking(c.Org, c.Bucket),
	}, nil
}

// Name returns influx.
func (s *Sink) Name() string { return "influx" }

// Close lets go of idle connections.
func (s *Sink) Close() { s.client.Close() }

// Deliver writes the polls. Lines the server will never take come back as exporter.PartlyRefused.
func (s *Sink) Deliver(ctx context.Context, polls []exporter.StoredPoll) error {
	var lines []line
	for _, p := range polls {
		lines = append(lines, s.encode(p)...)
	}
	var refused []exporter.RefusedPoll
	for part := range slices.Chunk(lines, maxLines) {
		bad, err := s.send(ctx, part)
		if err != nil {
			return err
		}
		refused = append(refused, bad...)
	}
	if len(refused) > 0 {
		return &exporter.PartlyRefused{Polls: refused}
	}
	return nil
}

// send writes the lines, in halves where the server finds them too many or some of them bad.
func (s *Sink) send(ctx context.Context, lines []line) ([]exporter.RefusedPoll, error) {
	texts := make([]string, len(lines))
	for i, l := range lines {
		texts[i] = l.text
	}
	err := s.write.WriteRecord(ctx, texts...)
	if err == nil {
		return nil, nil
	}
	answer := s.read(ctx, err)
	switch answer.status {
	case http.StatusBadRequest, http.StatusUnprocessableEntity, http.StatusRequestEntityTooLarge:
	default:
		return nil, answer
	}
	if len(lines) == 1 {
		return []exporter.RefusedPoll{{StoredPoll: lines[0].poll, Reason: answer.Error()}}, nil
	}
	first, err := s.send(ctx, lines[:len(lines)/2])
	if err != nil {
		return nil, err
	}
	second, err := s.send(ctx, lines[len(lines)/2:])
	return append(first, second...), err
}

// misconfigured is how often to try again where a person must put something right first; ours, no source.
const misconfigured = 5 * time.Minute

// answer is what came back instead of 204.
type answer struct {
	status int  // 0 when there was no usable answer
	wrong  bool // a person must put something right
	text   string
	wait   time.Duration
	cause  error
}

// Error says what came back and what to do.
func (a *answer) Error() string { return a.text }

// Misconfigured reports whether a person must put something right.
func (a *answer) Misconfigured() bool { return a.wrong }

// Unwrap returns the error of the connection, if that was it.
func (a *answer) Unwrap() error { return a.cause }

// RetryAfter returns how long to wait, 0 when it does not matter.
func (a *answer) RetryAfter() time.Duration { return a.wait }

// read makes an answer of the client's error. Only the status decides; the text is for people, and never holds the token.
func (s *Sink) read(ctx context.Context, err error) *answer {
	a := &answer{}
	var said *apihttp.Error
	var strange *notWritten
	switch {
	case errors.As(err, &strange):
		a.text = "influx: " + strange.Error()
		return a
	case errors.As(err, &said) && said.StatusCode != 0:
		a.status = said.StatusCode
		a.wait = time.Duration(said.RetryAfter) * time.Second
		a.text = fmt.Sprintf("influx: %d %s", said.StatusCode, cmp.Or(s.tidy(said.Message), http.StatusText(said.StatusCode)))
	default:
		a.text = "influx: no answer: " + s.tidy(err.Error())
		a.cause = ctx.Err()
		if errors.Is(err, context.DeadlineExceeded) {
			a.cause = context.DeadlineExceeded
		}
		return a
	}
	if hint, known := s.hint(a.status); known {
		a.text += "; " + hint
		a.wrong, a.wait = true, misconfigured
	}
	return a
}

// hint says what to put right, for the answers that call for a person.
func (s *Sink) hint(status int) (hint string, known bool) {
	switch status {
	case http.StatusUnauthorized, http.StatusForbidden:
		return fmt.Sprintf("check publish.influxdb.token and its right to write to bucket %q", s.bucket), true
	case http.StatusNotFound:
		return fmt.Sprintf("check publish.influxdb.url, org and bucket %q: a bucket is not made by writing to it", s.bucket), true
	case http.StatusBadRequest, http.StatusUnprocessableEntity, http.StatusRequestEntityTooLarge,
		http.StatusRequestTimeout, http.StatusTooManyRequests:
		return "", false
	}
	if status >= 400 && status < 500 {
		return "check publish.influxdb.url: this does not look like a server for time series", true
	}
	return "", false
}
