package influx

import (
	"math"
	"strings"
	"time"

	"github.com/influxdata/influxdb-client-go/v2/api/write"

	"nestmon/exporter"
	"nestmon/sensors"
	"nestmon/thresholds"
)

const measurement = "nestmon"

// Place is where a probe is: a nest, or none for outside, and what it is for there.
type Place struct {
	Nest string
	Role thresholds.Role
}

// line is one line of protocol and the readings in it.
type line struct {
	text string
	poll exporter.StoredPoll // only the readings of this line
}

// encode makes the lines of one poll: one for each probe and second, in the order of the readings.
func (s *Sink) encode(poll exporter.StoredPoll) []line {
	type key struct {
		probe string
		unix  int64
	}
	var order []key
	readings := map[key][]sensors.Reading{}
	for _, r := range poll.Readings {
		if !r.OK() || r.Unsynced || math.IsNaN(r.Value) || math.IsInf(r.Value, 0) {
			continue
		}
		k := key{r.Probe, r.Time.Unix()}
		if readings[k] == nil {
			order = append(order, k)
		}
		readings[k] = append(readings[k], r)
	}
	lines := make([]line, len(order))
	for i, k := range order {
		tags := map[string]string{"probe": k.probe}
		for name, value := range map[string]string{"site": s.site, "nest": s.places[k.probe].Nest, "role": string(s.places[k.probe].Role)} {
			if value != "" {
				tags[name] = value
			}
		}
		fields := map[string]any{}
		for _, r := range readings[k] {
			fields[r.Quantity.String()] = r.Value // a float64, so 37 stays a float
		}
		// NewPoint sorts tags and fields.
		p := write.NewPoint(measurement, tags, fields, time.Unix(k.unix, 0))
		lines[i] = line{
			text: strings.TrimSuffix(write.PointToLineProtocol(p, time.Second), "\n"),
			poll: exporter.StoredPoll{Key: poll.Key, Time: poll.Time, Readings: readings[k]},
		}
	}
	return lines
}
