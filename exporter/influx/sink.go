package influx

import (
	"context"
	"net/http"
	"time"

	influxdb2 "github.com/influxdata/influxdb-client-go/v2"
	"github.com/influxdata/influxdb-client-go/v2/api"

	"nestmon/exporter"
)

var _ exporter.ReadingSink = (*Sink)(nil)

// maxLines is the batch size InfluxDB's documentation recommends.
const maxLines = 5000

// Sink writes to one bucket. It is used by one goroutine at a time.
type Sink struct {
	site     string
	places   map[string]Place // by probe
	secret   exporter.Secret
	bucket   string
	client   influxdb2.Client
	write    api.WriteAPIBlocking
	prefixes map[string]string // by probe: see series
	request  request
}

// New makes a sink for readings of a site whose probes are at places. It talks to nobody yet.
func New(c Config, site string, places map[string]Place) (*Sink, error) {
	secret, err := c.secret()
	if err != nil {
		return nil, err
	}
	httpClient, err := c.httpClient()
	if err != nil {
		return nil, err
	}
	options := influxdb2.DefaultOptions().SetPrecision(time.Second).SetHTTPClient(httpClient)
	client := influxdb2.NewClientWithOptions(c.URL, secret.Reveal(), options)
	return &Sink{
		site: site, places: places, secret: secret, bucket: c.Bucket,
		client: client, write: client.WriteAPIBlocking(c.Org, c.Bucket), prefixes: map[string]string{},
	}, nil
}

// Name returns influx.
func (s *Sink) Name() string { return "influx" }

// Close lets go of idle connections.
func (s *Sink) Close() { s.client.Close() }

// Deliver writes the polls. Lines the server will never take come back as exporter.PartlyRefused.
func (s *Sink) Deliver(ctx context.Context, polls []exporter.StoredPoll) error {
	defer s.request.done()
	var refused []exporter.RefusedPoll
	for len(polls) > 0 {
		polls = s.take(polls)
		if len(s.request.lines) == 0 {
			continue
		}
		bad, err := s.send(ctx, s.request.lines)
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

// Try asks whether the server would take readings, by writing none. Nothing is stored.
func (s *Sink) Try(ctx context.Context) error {
	err := s.write.WriteRecord(ctx, "")
	if err == nil {
		return nil
	}
	// A server may find fault with an empty write, but only one that has let it in.
	if a := s.read(ctx, err); a.wrong || a.status != http.StatusBadRequest && a.status != http.StatusUnprocessableEntity {
		return a
	}
	return nil
}

// send writes the lines, in halves where the server finds them too many or some of them bad. A server that says that it dropped every
// one of them is believed: the weeks that a bucket no longer keeps are refused in a few requests instead of two for each line.
func (s *Sink) send(ctx context.Context, lines []line) ([]exporter.RefusedPoll, error) {
	text := s.request.text[lines[0].begin:lines[len(lines)-1].end]
	err := s.write.WriteRecord(ctx, string(text))
	if err == nil {
		return nil, nil
	}
	a := s.read(ctx, err)
	verdict := a.status == http.StatusBadRequest || a.status == http.StatusUnprocessableEntity
	switch {
	case a.wrong || !verdict && a.status != http.StatusRequestEntityTooLarge:
		return nil, a
	case !verdict && len(lines) == 1:
		a.wrong, a.wait = true, misconfigured
		a.text += "; even one line is too large for it: raise the limit of the server, or of the proxy before it"
		return nil, a
	case len(lines) == 1 || verdict && a.dropped == len(lines):
		return refuse(lines, a.Error()), nil
	}
	first, err := s.send(ctx, lines[:len(lines)/2])
	if err != nil {
		return nil, err
	}
	second, err := s.send(ctx, lines[len(lines)/2:])
	return append(first, second...), err
}

// refuse makes the refused parts of the polls that the lines are of.
func refuse(lines []line, reason string) (all []exporter.RefusedPoll) {
	for _, l := range lines {
		if n := len(all); n == 0 || all[n-1].Key != l.poll.Key {
			all = append(all, exporter.RefusedPoll{StoredPoll: exporter.StoredPoll{Key: l.poll.Key, Time: l.poll.Time}, Reason: reason})
		}
		p := &all[len(all)-1]
		p.Readings = append(p.Readings, l.readings()...)
	}
	return all
}
