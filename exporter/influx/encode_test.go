package influx

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/influxdata/influxdb-client-go/v2/api/write"

	"nestmon/exporter"
	"nestmon/sensors"
	"nestmon/thresholds"
)

// Every line is, byte for byte, what the client library makes of the same point: whatever was written by it before is overwritten
// and not doubled.
func TestLinesAreThoseOfTheLibrary(t *testing.T) {
	random := rand.New(rand.NewPCG(7, 11))
	places := map[string]Place{"a1-air": {Nest: "a1", Role: thresholds.Air}, "odd, name=x y": {Nest: "b 2,=", Role: thresholds.Cluster}, "outside": {}}
	s, err := New(Config{URL: "http://127.0.0.1:1", Bucket: "nest"}, "willow bend", places)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	values := []float64{0, math.Copysign(0, -1), 37, -0.01, 327.67, -327.67, 32767, 1e-4, 9.9e-5, 1e20, 1e21, 123456789.123, math.MaxFloat64, 5e-324}
	for range 2000 {
		values = append(values, float64(random.IntN(65536)-32768)/100)
	}
	for i, v := range values {
		at := time.Unix(random.Int64N(4e9)-1e9, random.Int64N(1e9))
		for probe, place := range places {
			some := map[sensors.Quantity]float64{sensors.Quantities[i%len(sensors.Quantities)]: v}
			for _, q := range sensors.Quantities {
				if random.IntN(2) == 0 {
					some[q] = v / 2
				}
			}
			poll := exporter.StoredPoll{Key: 1, Time: at}
			fields := map[string]any{}
			for _, q := range sensors.Quantities {
				if v, ok := some[q]; ok {
					fields[q.String()] = v
					poll.Readings = append(poll.Readings, sensors.Reading{Probe: probe, Quantity: q, Time: at, Value: v})
				}
			}
			random.Shuffle(len(poll.Readings), func(i, j int) {
				poll.Readings[i], poll.Readings[j] = poll.Readings[j], poll.Readings[i]
			})
			tags := map[string]string{"site": "willow bend", "probe": probe}
			if place.Nest != "" {
				tags["nest"] = place.Nest
			}
			if place.Role != "" {
				tags["role"] = string(place.Role)
			}
			want := strings.TrimSuffix(write.PointToLineProtocol(write.NewPoint(measurement, tags, fields, at), time.Second), "\n")
			s.take([]exporter.StoredPoll{poll})
			if got := string(s.request.text); got != want {
				t.Fatalf("\n%q, want\n%q", got, want)
			}
			if l := s.request.lines; len(l) != 1 || !slices.Equal(l[0].readings(), poll.Readings) {
				t.Fatalf("%+v does not lead back to %+v", l, poll.Readings)
			}
		}
	}
}
