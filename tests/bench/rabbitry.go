package main

import (
	"fmt"
	"math"
	"strings"
	"time"

	"nestmon/sensors"
	"nestmon/sensors/screen"
	"nestmon/thresholds"
	"nestmon/thresholds/brood"
	"nestmon/thresholds/litter"
	"nestmon/thresholds/nest"
)

// The invented rabbitry: thirty nests, each with one probe in the cluster (temperature) and one in the air (temperature and
// humidity), 90 series in all. The decisions are measured with the air outside beside them, and again with a second cluster probe in
// each nest.
const (
	nests     = 30
	poll      = 30 * time.Second
	outsideID = "shade"
)

func clusterID(n int) string { return fmt.Sprintf("n%d-cluster", n) }
func secondID(n int) string  { return fmt.Sprintf("n%d-second", n) }
func airID(n int) string     { return fmt.Sprintf("n%d-air", n) }

// swing is a slow change with some noise of its own, about mid and of the size by.
func swing(n, i int, mid, by float64) float64 {
	return mid + by*math.Sin(float64(i)/450+float64(n)) + 0.02*by*math.Sin(float64(i)*1.7+float64(3*n))
}

// readings appends one poll.
func readings(to []sensors.Reading, second bool, i int, at time.Time) []sensors.Reading {
	add := func(probe string, q sensors.Quantity, v float64) {
		to = append(to, sensors.Reading{Probe: probe, Quantity: q, Time: at, Value: v})
	}
	add(outsideID, sensors.Temperature, swing(nests, i, 12, 8))
	add(outsideID, sensors.Humidity, swing(nests, i, 70, 15))
	for n := range nests {
		add(clusterID(n), sensors.Temperature, swing(n, i, 36.5, 0.8))
		if second {
			add(secondID(n), sensors.Temperature, swing(n, i, 35.5, 0.8))
		}
		add(airID(n), sensors.Temperature, swing(n, i, 22, 6))
		add(airID(n), sensors.Humidity, swing(n, i, 65, 12))
	}
	return to
}

// domain is the rabbitry as the decisions know it.
func domain(second bool) thresholds.Config {
	cfg := thresholds.Config{Location: time.UTC, Poll: poll, Outside: outsideID, Limits: brood.DefaultTables()}
	add := func(id string, q ...sensors.Quantity) {
		cfg.Probes = append(cfg.Probes, sensors.Probe{ID: id, Quantities: q, Interval: poll, StaleAfter: sensors.DefaultStaleAfter(poll)})
	}
	add(outsideID, sensors.Temperature, sensors.Humidity)
	for n := range nests {
		clusters := []string{clusterID(n)}
		if second {
			clusters = append(clusters, secondID(n))
		}
		for _, id := range clusters {
			add(id, sensors.Temperature)
		}
		add(airID(n), sensors.Temperature, sensors.Humidity)
		cfg.Nests = append(cfg.Nests, nest.Config{ID: fmt.Sprintf("n%d", n), Kind: brood.WoodenBox, Floor: brood.SolidFloor, Cluster: clusters, Air: airID(n)})
	}
	return cfg
}

// litters has kits a day old in every nest.
func litters(cfg thresholds.Config) (book []litter.Litter) {
	for _, n := range cfg.Nests {
		book = append(book, litter.Litter{Nest: n.ID, Bred: start().AddDate(0, 0, -32), Kindled: start().AddDate(0, 0, -1), Born: 8})
	}
	return book
}

// newScreen watches for stuck probes as the daemon does.
func newScreen(cfg thresholds.Config) *screen.Screen {
	watches := []screen.Watch{{Probes: []string{cfg.Outside}, Outside: true}}
	for _, n := range cfg.Nests {
		watches = append(watches, screen.Watch{Probes: append([]string{n.Air}, n.Cluster...)})
	}
	return screen.New(cfg.Probes, watches...)
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
