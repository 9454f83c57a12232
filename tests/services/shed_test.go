package services_test

import (
	"fmt"
	"math"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/archive"
	"nestmon/sensors"
)

// shed is an invented rabbitry of that many nests, each with a probe in the cluster and one in the air: three series a nest. No board has
// its probes, so a daemon that watches it adds nothing to its archive.
type shed struct {
	nests int
	dir   string
}

func (s shed) probes() (all []sensors.Probe) {
	for n := range s.nests {
		all = append(all,
			sensors.Probe{ID: fmt.Sprintf("n%d-cluster", n), Quantities: []sensors.Quantity{sensors.Temperature}},
			sensors.Probe{ID: fmt.Sprintf("n%d-air", n), Quantities: []sensors.Quantity{sensors.Temperature, sensors.Humidity}})
	}
	return all
}

// config writes the configuration of a daemon; publish is what stands below publish.
func (s shed) config(t *testing.T, publish string) string {
	t.Helper()
	var b strings.Builder
	fmt.Fprintf(&b, "site: {id: barn}\ndata: %s\npoll: 5s\npublish:\n%s\nprobes:\n", s.data(), publish)
	for n := range s.nests {
		fmt.Fprintf(&b, "  - {id: n%d-cluster, source: w1, rom: 28-%012x}\n  - {id: n%d-air, source: kernel, device: /sys/bus/i2c/devices/1-%04x, chip: sht4x}\n", n, 0x0316a2790000+n, n, 0x44+n)
	}
	b.WriteString("nests:\n")
	for n := range s.nests {
		fmt.Fprintf(&b, "  - {id: n%d, kind: wooden-box, cluster: n%d-cluster, air: n%d-air}\n", n, n, n)
	}
	return write(t, filepath.Join(s.dir, "nestmon.yaml"), b.String())
}

func (s shed) data() string { return filepath.Join(s.dir, "data") }

const spacing = 30 * time.Second

// fill stores that many polls, the first at from. Values swing slowly and differ everywhere.
func (s shed) fill(t *testing.T, polls int, from time.Time) {
	t.Helper()
	probes := s.probes()
	a, err := archive.Open(s.data(), archive.Options{Probes: probes})
	if err != nil {
		t.Fatal(err)
	}
	for i := range polls {
		c := exporter.Commit{Time: from.Add(time.Duration(i) * spacing), Synced: true}
		for _, p := range probes {
			for _, q := range p.Quantities {
				n := float64(len(c.Readings))
				v := 25 + 8*math.Sin(float64(i)/450+n) + 0.2*math.Sin(float64(i)*1.7+3*n)
				c.Readings = append(c.Readings, sensors.Reading{Probe: p.ID, Quantity: q, Time: c.Time, Value: q.Quantise(v)})
			}
		}
		if err := a.Commit(c); err != nil {
			t.Fatal(err)
		}
	}
	if err := a.Close(); err != nil {
		t.Fatal(err)
	}
}

// each reads every poll of the archive; no daemon may be running.
func (s shed) each(t *testing.T, do func(exporter.StoredPoll)) {
	t.Helper()
	a, err := archive.ReadOnly(s.data(), archive.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer a.Close()
	if err := a.PollsBetween(time.Time{}, time.Now().Add(time.Hour), func(p exporter.StoredPoll) error { do(p); return nil }); err != nil {
		t.Fatal(err)
	}
}
