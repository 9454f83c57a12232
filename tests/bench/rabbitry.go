package main

import (
	"fmt"
	"math"
	"strings"
	"time"

	"nestmon/sensors"
	"nestmon/thresholds"
	"nestmon/thresholds/brood"
	"nestmon/thresholds/nest"
)

// The invented rabbitry: thirty nests, each with one probe in the cluster (temperature) and one in the air (temperature and
// humidity), 90 series in all.
const (
	nests = 30
	poll  = 30 * time.Second
)

func clusterID(n int) string { return fmt.Sprintf("n%d-cluster", n) }
func airID(n int) string     { return fmt.Sprintf("n%d-air", n) }

// swing is a slow change with some noise of its own, about mid and of the size by.
func swing(n, i int, mid, by float64) float64 {
	return mid + by*math.Sin(float64(i)/450+float64(n)) + 0.02*by*math.Sin(float64(i)*1.7+float64(3*n))
}

// readings appends one poll.
func readings(to []sensors.Reading, i int, at time.Time) []sensors.Reading {
	for n := range nests {
		to = append(to,
			sensors.Reading{Probe: clusterID(n), Quantity: sensors.Temperature, Time: at, Value: swing(n, i, 36.5, 0.8)},
			sensors.Reading{Probe: airID(n), Quantity: sensors.Temperature, Time: at, Value: swing(n, i, 22, 6)},
			sensors.Reading{Probe: airID(n), Quantity: sensors.Humidity, Time: at, Value: swing(n, i, 65, 12)},
		)
	}
	return to
}

// domain is the rabbitry as the decisions know it.
func domain() thresholds.Config {
	cfg := thresholds.Config{Location: time.UTC, Poll: poll, Limits: brood.DefaultTables()}
	add := func(id string, q ...sensors.Quantity) {
		cfg.Probes = append(cfg.Probes, sensors.Probe{ID: id, Quantities: q, Interval: poll, StaleAfter: sensors.DefaultStaleAfter(poll)})
	}
	for n := range nests {
		add(clusterID(n), sensors.Temperature)
		add(airID(n), sensors.Temperature, sensors.Humidity)
		cfg.Nests = append(cfg.Nests, nest.Config{
			ID: fmt.Sprintf("n%d", n), Kind: brood.WoodenBox, Floor: brood.SolidFloor, Cluster: []string{clusterID(n)}, Air: airID(n),
		})
	}
	return cfg
}

// configFile is the same rabbitry as a file. source writes a probe's own keys.
func configFile(head string, source func(id string) string) string {
	var b strings.Builder
	b.WriteString(head + "\nprobes:\n")
	for n := range nests {
		for _, id := range []string{clusterID(n), airID(n)} {
			fmt.Fprintf(&b, "  - {id: %s, %s}\n", id, source(id))
		}
	}
	b.WriteString("nests:\n")
	for n := range nests {
		fmt.Fprintf(&b, "  - {id: n%d, kind: wooden-box, cluster: %s, air: %s}\n", n, clusterID(n), airID(n))
	}
	return b.String()
}
