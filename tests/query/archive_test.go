// Package query_test asks the read API by Prometheus's own client library: a real page's server over a real archive.
//
// What needs the query engine is built with -tags promql only:
//
//	go test -tags promql ./tests/query
//
// Everything in the archive is invented.
package query_test

import (
	"context"
	"log/slog"
	"math"
	"net/http"
	"testing"
	"time"

	"github.com/prometheus/client_golang/api"
	v1 "github.com/prometheus/client_golang/api/prometheus/v1"

	"nestmon/exporter"
	"nestmon/exporter/archive"
	"nestmon/exporter/query"
	"nestmon/exporter/web"
	"nestmon/sensors"
	"nestmon/thresholds"
)

const (
	pollEvery = 30 * time.Second
	polled    = 3 * 24 * time.Hour // how long polls were stored
	kept      = 35 * time.Hour     // how long they stay
)

// begin is when the archive begins.
var begin = time.Date(2031, 1, 8, 0, 0, 0, 0, time.UTC)

var probes = []sensors.Probe{
	{ID: "a1-air", Quantities: []sensors.Quantity{sensors.Temperature, sensors.Humidity}, Interval: pollEvery, StaleAfter: 90 * time.Second},
	{ID: "a1-cluster", Quantities: []sensors.Quantity{sensors.Temperature}, Interval: pollEvery, StaleAfter: 90 * time.Second},
	{ID: "b2-air", Quantities: []sensors.Quantity{sensors.Temperature, sensors.CO2}, Interval: pollEvery, StaleAfter: 90 * time.Second},
	{ID: "far", Quantities: []sensors.Quantity{sensors.Temperature}, Interval: 10 * time.Minute, StaleAfter: 30 * time.Minute}, // by radio
	{ID: "gone", Quantities: []sensors.Quantity{sensors.Temperature}, Interval: pollEvery},                                     // no longer configured
}

var config = query.Config{
	Site: "willow-bend", Version: "test", Probes: probes[:4], Places: map[string]query.Place{
		"a1-air": {Nest: "a1", Role: thresholds.Air}, "a1-cluster": {Nest: "a1", Role: thresholds.Cluster},
		"b2-air": {Nest: "b2", Role: thresholds.Air}, "far": {Role: thresholds.Outside},
	},
}

// The holes in it, in hours from the beginning.
var (
	blind = [2]float64{60, 60.2}   // a1-air gives no value: 12 minutes
	off   = [2]float64{64, 64.75}  // nothing is polled
	early = [2]float64{20, 22.999} // nothing was polled for three hours of which only hourly rows are left
)

func in(hole [2]float64, at time.Time) bool {
	h := at.Sub(begin).Hours()
	return h >= hole[0] && h < hole[1]
}

// value is what the i-th probe says.
func value(i int, q sensors.Quantity, at time.Time) float64 {
	turn := at.Sub(begin).Hours()/24*2*math.Pi + float64(i)
	switch q {
	case sensors.Humidity:
		return q.Quantise(60 + 20*math.Sin(turn))
	case sensors.CO2:
		return q.Quantise(900 + 300*math.Sin(turn*5))
	}
	return q.Quantise(20 + 12*math.Sin(turn) + 3*math.Sin(turn*17))
}

// stored is one archive for all tests, which only read.
var stored struct {
	archive *archive.Archive
	polls   []exporter.StoredPoll // those that are still kept
	client  v1.API
	url     string
}

func TestMain(m *testing.M) { tested(m) }

func setUp(dir string) (down func(), err error) {
	var polls []exporter.StoredPoll
	for at := begin; at.Before(begin.Add(polled)); at = at.Add(pollEvery) {
		if in(off, at) || in(early, at) {
			continue
		}
		p := exporter.StoredPoll{Time: at}
		for i, probe := range probes {
			if probe.ID == "far" && at.Sub(begin)%probe.Interval != 0 || probe.ID == "a1-air" && in(blind, at) {
				continue
			}
			for _, q := range probe.Quantities {
				p.Readings = append(p.Readings, sensors.Reading{Probe: probe.ID, Quantity: q, Time: at, Value: value(i, q, at)})
			}
		}
		polls = append(polls, p)
	}
	end := begin.Add(polled)
	a, err := archive.Open(dir, archive.Options{Probes: probes, RawFor: kept, Now: func() time.Time { return end }})
	if err != nil {
		return nil, err
	}
	if _, err := a.PutOlder(probes, func(yield func(exporter.StoredPoll, error) bool) {
		for _, p := range polls {
			if !yield(p, nil) {
				return
			}
		}
	}); err != nil {
		return nil, err
	}
	for i := range 6 { // with each a thousand go, by the hour
		at := end.Add(time.Duration(i) * time.Hour)
		r := sensors.Reading{Probe: "far", Quantity: sensors.Temperature, Time: at, Value: value(3, sensors.Temperature, at)}
		if err := a.Commit(exporter.Commit{Time: at, Synced: true, Readings: []sensors.Reading{r}}); err != nil {
			return nil, err
		}
	}
	stored.archive = a
	if stored.polls, err = a.Polls(0, math.MaxInt32); err != nil {
		return nil, err
	}
	s, err := serve(a)
	if err != nil {
		return nil, err
	}
	stored.url = "http://" + s.Addr()
	client, err := api.NewClient(api.Config{Address: stored.url})
	stored.client = v1.NewAPI(client)
	return func() {
		_ = s.Close(context.Background())
		_ = a.Close()
	}, err
}

// serve runs a page whose API is that of the daemon.
func serve(a *archive.Archive) (*web.Server, error) {
	log := slog.New(slog.DiscardHandler)
	s := web.New(web.Config{Listen: "127.0.0.1:0"}, web.Site{}, web.History{}, log)
	s.Options.Queries = handler(a)
	return s, s.Start()
}

func handler(a *archive.Archive) http.Handler {
	q := query.New(config, a, slog.New(slog.DiscardHandler))
	q.Now = func() time.Time { return begin.Add(polled) }
	return q
}
