package thresholds

import (
	"testing"
	"time"

	"nestmon/sensors"
	"nestmon/thresholds/brood"
	"nestmon/thresholds/keep/keeptest"
	"nestmon/thresholds/nest"
)

// wiring is what New makes and nothing changes, and what is worked out anew before it is used. A field that is neither here nor in a
// list of keep.go would be forgotten by a restart.
var wiring = map[string]string{
	"thresholds.Rabbitry.cfg":    "the configuration",
	"thresholds.Rabbitry.events": "made by each Observe",
	"nest.Channel.Probe":         "the configuration",
	"nest.Channel.Quantity":      "the configuration",
	"nest.Channel.stale":         "the configuration",
	"nest.Channels.last":         "where the last reading went, found again",
	"nest.Channels.lastID":       "where the last reading went, found again",
	"nest.Site.loc":              "the configuration",
	"nest.Site.nests":            "the configuration",
	"nest.battery.volts":         "the configuration",
	"nest.battery.amps":          "the configuration",
	"nest.battery.low":           "the configuration",
	"nest.Site.plan":             "the configuration",
	"nest.Watch.cfg":             "the configuration",
	"nest.Watch.plan":            "the configuration",
	"nest.Watch.loc":             "the configuration",
	"nest.Watch.tables":          "the configuration",
	"nest.pile.probe":            "found anew by each step before it is used",
}

// A rabbitry with every kind of probe: all pointers lead somewhere.
func furnished(t *testing.T) *Rabbitry {
	t.Helper()
	var probes []sensors.Probe
	for _, id := range []string{"shade", "air", "one", "two", "co2", "cage", "bank"} {
		probes = append(probes, sensors.Probe{ID: id, Quantities: sensors.Quantities[:], Interval: time.Minute, StaleAfter: 3 * time.Minute})
	}
	r, err := New(Config{
		Poll: time.Minute, Outside: "shade", Battery: "bank", Probes: probes, Limits: brood.DefaultTables(),
		Nests: []nest.Config{{ID: "oak", Kind: brood.BuriedTote, Cluster: []string{"one", "two"}, Air: "air", CO2: "co2", Cage: "cage"}},
	})
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func TestNothingIsLeftOutOfTheState(t *testing.T) {
	r := furnished(t)
	for _, complaint := range keeptest.Forgotten(r, r.state(), wiring) {
		t.Error(complaint)
	}
}
