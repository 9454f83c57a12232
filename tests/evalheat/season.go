package main

import (
	"fmt"
	"io"
	"text/tabwriter"
	"time"

	"nestmon/sensors"
	"nestmon/sensors/simulated"
	"nestmon/thresholds"
	"nestmon/thresholds/brood"
)

// seasonPoll is the spacing of the outside air's readings in the simulated years.
const seasonPoll = 10 * time.Minute

// Exposed days: the weather is dangerous and the set-up is not the one for it.
const (
	freezeBelow = -2.0 // °C, a day's minimum
	heatOver    = 32.0 // °C, a day's maximum
	plainWinter = 3.0  // °C, a day's minimum
	plainSummer = 28.0 // °C, a day's maximum
)

// yearScore is how a way to choose the set-up got through years.
type yearScore struct{ switches, freezes, heats int }

func (y *yearScore) day(was, is brood.Season, low, high float64) {
	if was != is {
		y.switches++
	}
	if low < freezeBelow && is != brood.Winter {
		y.freezes++
	}
	if high > heatOver && is != brood.Summer {
		y.heats++
	}
}

// plainSeason is a set-up by the day's own extremes.
func plainSeason(low, high float64) brood.Season {
	switch {
	case low < plainWinter:
		return brood.Winter
	case high > plainSummer:
		return brood.Summer
	}
	return brood.Mild
}

// seasons lets the decisions go through whole years of outside air alone.
func liveYears(first uint64, years int) (smooth, byDay yearScore, err error) {
	for i := range years {
		weather := simulated.NewYear(first + uint64(i))
		probes := []sensors.Probe{{ID: outID, Quantities: []sensors.Quantity{sensors.Temperature}, Interval: seasonPoll, StaleAfter: 3 * seasonPoll}}
		r, err := thresholds.New(thresholds.Config{Location: time.UTC, Poll: seasonPoll, Outside: outID, Probes: probes, Limits: brood.DefaultTables()})
		if err != nil {
			return smooth, byDay, err
		}
		start := time.Date(2031, 4, 1, 0, 0, 0, 0, time.UTC)
		was, wasPlain := brood.Mild, brood.Mild
		for d := range 365 {
			low, high := 100.0, -100.0
			for m := time.Duration(0); m < day; m += seasonPoll {
				t := start.AddDate(0, 0, d).Add(m)
				v := weather.At(t).Temperature
				low, high = min(low, v), max(high, v)
				r.Observe(t, []sensors.Reading{{Probe: outID, Quantity: sensors.Temperature, Time: t, Value: v}})
			}
			is, isPlain := r.Snapshot().Season, plainSeason(low, high)
			smooth.day(was, is, low, high)
			byDay.day(wasPlain, isPlain, low, high)
			was, wasPlain = is, isPlain
		}
	}
	return smooth, byDay, nil
}

func seasonTable(w io.Writer, first uint64, years int) error {
	smooth, byDay, err := liveYears(first, years)
	if err != nil {
		return err
	}
	fmt.Fprintf(w, "\n== Season\n   SIMULATED, weather of seeds %d-%d, %d years of outside air\n   Exposed days, by a day's end: a minimum under %g C outside the winter set-up, a maximum over %g C outside the summer one.\n", first, first+uint64(years)-1, years, freezeBelow, heatOver)
	tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(tw, "rule\tswitches /year\texposed to frost, days /year\texposed to heat, days /year")
	for _, row := range []struct {
		name string
		y    yearScore
	}{{"by the day's own extremes", byDay}, {"as decided", smooth}} {
		n := float64(years)
		fmt.Fprintf(tw, "%s\t%.1f\t%.2f\t%.2f\n", row.name, float64(row.y.switches)/n, float64(row.y.freezes)/n, float64(row.y.heats)/n)
	}
	return tw.Flush()
}
