package phone

import (
	"math"
	"strconv"
	"strings"
	"time"

	"nestmon/thresholds/alarm"
)

const (
	hoursUnit = "h" // the unit of events about a length of time

	// inMinutes is the length in hours under which one is written in minutes. Ours, no source.
	inMinutes = 2
)

// duration writes a length of time that is given in hours.
func duration(hours float64) string {
	minutes := math.Round(hours * 60)
	switch {
	case hours >= inMinutes:
		return strconv.FormatFloat(hours, 'f', 1, 64) + " h"
	case minutes < 1:
		return "under 1 min"
	}
	return strconv.FormatFloat(minutes, 'f', 0, 64) + " min"
}

// units writes values with their unit.
type units struct{ fahrenheitFirst bool }

func (u units) write(v float64, unit string) string {
	n := func(v float64, decimals int) string { return strconv.FormatFloat(v, 'f', decimals, 64) }
	switch unit {
	case "C":
		celsius, fahrenheit := n(v, 1)+" °C", n(v*9/5+32, 1)+" °F"
		if u.fahrenheitFirst {
			return fahrenheit + " (" + celsius + ")"
		}
		return celsius + " (" + fahrenheit + ")"
	case "%":
		return n(v, 0) + " %"
	case "ppm":
		return n(v, 0) + " ppm"
	case hoursUnit:
		return duration(v)
	case "g/m3":
		return n(v, 1) + " g/m³"
	}
	return strings.TrimSpace(n(v, 1) + " " + unit)
}

// valueOf names what has no unit: without that it reads like degrees.
func (u units) valueOf(e alarm.Event) string {
	value := u.write(e.Value, e.Unit)
	if e.Name == alarm.DoeHeat && e.Unit == "" {
		return "heat index " + value
	}
	return value
}

// clockTime is the time of day, with the date where it is another day than now.
func clockTime(t, now time.Time, loc *time.Location) string {
	t, now = t.In(loc), now.In(loc)
	if t.YearDay() == now.YearDay() && t.Year() == now.Year() {
		return t.Format("15:04")
	}
	return t.Format("Mon 2 Jan 15:04")
}
