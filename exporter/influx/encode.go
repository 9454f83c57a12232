package influx

import (
	"math"
	"strconv"
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

// fieldOrder is the quantities as the line protocol wants its fields: sorted by name.
var fieldOrder = [...]sensors.Quantity{sensors.CO2, sensors.Current, sensors.Humidity, sensors.Temperature, sensors.Voltage}

// request is the text of one write and what its lines hold. It is used again for the next.
type request struct {
	text  []byte
	lines []line
}

// line is one line of protocol.
type line struct {
	begin, end int // in the text, without the newline
	poll       *exporter.StoredPoll
	probe      string
	unix       int64
}

// keptLines is how many lines' room is kept from one write to the next: some polls of a large rabbitry. What took more was an outage's backlog, and a board
// should not hold a megabyte for that until the next. Ours, no source.
const keptLines = 500

// done lets go of the polls of the last write, and of the room that only a backlog needs.
func (r *request) done() {
	if cap(r.lines) > keptLines {
		*r = request{}
	}
	clear(r.lines[:cap(r.lines)])
	r.text, r.lines = r.text[:0], r.lines[:0]
}

// take fills the request with as many polls as it may hold and returns the rest.
func (s *Sink) take(polls []exporter.StoredPoll) (rest []exporter.StoredPoll) {
	s.request.text, s.request.lines = s.request.text[:0], s.request.lines[:0]
	for i := range polls {
		if n := len(s.request.lines); n > 0 && n+len(polls[i].Readings) > maxLines {
			return polls[i:]
		}
		s.encode(&polls[i])
	}
	return nil
}

// encode adds the lines of one poll: one for each probe and second, in the order of the readings. The readings of a probe follow each
// other in a poll; where they do not, they make two lines, which a server puts together.
func (s *Sink) encode(poll *exporter.StoredPoll) {
	var values [len(sensors.Quantities)]float64
	var has [len(sensors.Quantities)]bool
	some := false
	for i, r := range poll.Readings {
		if sendable(r) {
			values[r.Quantity], has[r.Quantity], some = r.Value, true, true
		}
		if i+1 < len(poll.Readings) && poll.Readings[i+1].Probe == r.Probe && poll.Readings[i+1].Time.Unix() == r.Time.Unix() {
			continue
		}
		if some {
			s.add(line{poll: poll, probe: r.Probe, unix: r.Time.Unix()}, values, has)
		}
		has, some = [len(sensors.Quantities)]bool{}, false
	}
}

// sendable reports whether a reading becomes a field.
func sendable(r sensors.Reading) bool {
	return r.OK() && !r.Unsynced && !math.IsNaN(r.Value) && !math.IsInf(r.Value, 0)
}

func (s *Sink) add(l line, values [len(sensors.Quantities)]float64, has [len(sensors.Quantities)]bool) {
	b := s.request.text
	if len(b) > 0 {
		b = append(b, '\n')
	}
	l.begin = len(b)
	b = append(b, s.series(l.probe)...)
	first := true
	for _, q := range fieldOrder {
		if !has[q] {
			continue
		}
		if !first {
			b = append(b, ',')
		}
		first = false
		b = append(b, q.String()...)
		b = append(b, '=')
		b = strconv.AppendFloat(b, values[q], 'g', -1, 64) // a float even when whole: the protocol marks integers with an i
	}
	b = append(b, ' ')
	b = strconv.AppendInt(b, l.unix, 10)
	l.end = len(b)
	s.request.text, s.request.lines = b, append(s.request.lines, l)
}

// series is what comes before the fields in every line of a probe, as the client library escapes and sorts it.
func (s *Sink) series(probe string) string {
	if known, ok := s.prefixes[probe]; ok {
		return known
	}
	tags := map[string]string{"probe": probe}
	for name, value := range map[string]string{"site": s.site, "nest": s.places[probe].Nest, "role": string(s.places[probe].Role)} {
		if value != "" {
			tags[name] = value
		}
	}
	const field = "v=0"
	p := write.NewPoint(measurement, tags, map[string]any{"v": 0.0}, time.Time{})
	s.prefixes[probe] = strings.TrimSuffix(write.PointToLineProtocol(p, time.Second), field+"\n")
	return s.prefixes[probe]
}

// readings of the line.
func (l line) readings() (all []sensors.Reading) {
	for _, r := range l.poll.Readings {
		if r.Probe == l.probe && r.Time.Unix() == l.unix && sendable(r) {
			all = append(all, r)
		}
	}
	return all
}
