package main

import (
	"errors"
	"math"
	"math/rand/v2"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/archive"
	"nestmon/sensors"
	"nestmon/tests/years/yearstest"
)

// measureHours writes what the probes of a story's whole time measured into a new archive, one poll an hour: an invented swing of days and years outside, and
// nests that are warmer by a few degrees.
func (r *rig) measureHours(dir string, story *yearstest.Story) (err error) {
	probes := []sensors.Probe{{ID: "outside", Interval: time.Hour, Quantities: []sensors.Quantity{sensors.Temperature}}}
	for _, n := range story.Nests {
		for _, role := range []string{"-air", "-cluster"} {
			probes = append(probes, sensors.Probe{ID: n.ID + role, Interval: time.Hour, Quantities: probes[0].Quantities})
		}
	}
	a, err := archive.Open(dir, archive.Options{Probes: probes})
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, a.Close()) }()
	noise := rand.New(rand.NewPCG(story.Seed, 1))
	from, until := yearstest.Day(0).Begins(r.loc), story.Days.Begins(r.loc)
	for at := from; !at.After(until); at = at.Add(time.Hour) {
		h := at.Sub(from).Hours()
		c := exporter.Commit{Time: at, Synced: true}
		for i, p := range probes {
			v := 12 + 10*math.Cos(h*2*math.Pi/(24*365)) + 5*math.Sin(h*2*math.Pi/24) + 0.1*float64(i) + noise.NormFloat64()
			c.Readings = append(c.Readings, sensors.Reading{Probe: p.ID, Quantity: sensors.Temperature, Time: at, Value: v})
		}
		if err := a.Commit(c); err != nil {
			return err
		}
	}
	return nil
}
