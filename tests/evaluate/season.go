package main

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"text/tabwriter"
	"time"

	"nestmon/sensors"
	"nestmon/sensors/simulated"
	"nestmon/thresholds"
	"nestmon/thresholds/brood"
)

// seasonPoll is the spacing of the outside air's readings in the simulated years.
const seasonPoll = 10 * time.Minute

// The weather is dangerous where the make-up is not the one for it. A spell is new after some days without.
const (
	freezeBelow = -2.0 // °C
	heatOver    = 32.0 // °C
	spellApart  = 5 * day
)

// yearScore is how a way to choose the make-up got through years.
type yearScore struct {
	years        float64
	was          brood.Season
	changed      time.Time
	switches     int
	frost, heat  dangerous
	wrongSeasons int // days over 26 °C in the winter make-up, or under 3 in the summer one
}

// dangerous is one danger: days on which the make-up was wrong at the day's end, and whether it was asked for before a spell began.
type dangerous struct {
	days, spells, told int
	last               time.Time
	leads              []float64 // h
}

func (d *dangerous) at(t time.Time, danger, ready bool, changed time.Time) {
	if !danger {
		return
	}
	if d.last.IsZero() || t.Sub(d.last) > spellApart {
		d.spells++
		if ready && changed.Before(t) {
			d.told++
			d.leads = append(d.leads, t.Sub(changed).Hours())
		}
	}
	d.last = t
}

func (y *yearScore) see(t time.Time, v float64, is brood.Season) {
	if is != y.was {
		y.switches++
		y.was, y.changed = is, t
	}
	y.frost.at(t, v < freezeBelow, is == brood.Winter, y.changed)
	y.heat.at(t, v > heatOver, is == brood.Summer, y.changed)
}

func (y *yearScore) day(low, high float64) {
	if low < freezeBelow && y.was != brood.Winter {
		y.frost.days++
	}
	if high > heatOver && y.was != brood.Summer {
		y.heat.days++
	}
	if high > 26 && y.was == brood.Winter || low < 3 && y.was == brood.Summer {
		y.wrongSeasons++
	}
}

// seasonRule decides the make-up at the end of a day.
type seasonRule func(low, high float64) brood.Season

// plainSeason is a make-up by the day's own extremes.
func plainSeason(low, high float64) brood.Season {
	switch {
	case low < 3:
		return brood.Winter
	case high > 28:
		return brood.Summer
	}
	return brood.Mild
}

// smoothedSeason is the rule to beat: means of five days, 3 and 7 °C of minima, 28 and 24 of maxima, four days between two changes,
// and at once below -5 or above 35.
func smoothedSeason() seasonRule {
	now, since, low, high, known := brood.Mild, 99, 0.0, 0.0, false
	weight := 1 - math.Exp(-1.0/5)
	return func(l, h float64) brood.Season {
		if !known {
			low, high, known = l, h, true
		}
		low, high, since = low+(l-low)*weight, high+(h-high)*weight, since+1
		to := now
		switch {
		case l < -5:
			to = brood.Winter
		case h > 35:
			to = brood.Summer
		case since < 4:
		case now == brood.Winter && low > 7, now == brood.Summer && high < 24:
			to = brood.Mild
		case low < 3 && now != brood.Summer:
			to = brood.Winter
		case high > 28 && now != brood.Winter:
			to = brood.Summer
		}
		if to != now {
			now, since = to, 0
		}
		return now
	}
}

// weatherYear is air outside at an even spacing; NaN where it is not known.
type weatherYear struct {
	from    time.Time
	spacing time.Duration
	air     []float64
}

// seasonScores are the ways to choose, in the order of the table.
type seasonScores [3]yearScore

var seasonNames = [len(seasonScores{})]string{"by the day's own extremes", "smoothed, at once at a day's end", "as decided"}

// live lets the ways to choose go through a year of outside air alone.
func (s *seasonScores) live(y weatherYear) error {
	probes := []sensors.Probe{{ID: outID, Quantities: []sensors.Quantity{sensors.Temperature}, Interval: y.spacing, StaleAfter: 3 * y.spacing}}
	r, err := thresholds.New(thresholds.Config{Location: time.UTC, Poll: y.spacing, Outside: outID, Probes: probes, Limits: brood.DefaultTables()})
	if err != nil {
		return err
	}
	for i := range s {
		s[i].years += float64(len(y.air)) * y.spacing.Hours() / 24 / 365
		s[i].was, s[i].changed, s[i].frost.last, s[i].heat.last = brood.Mild, time.Time{}, time.Time{}, time.Time{}
	}
	byDay := [len(s) - 1]seasonRule{plainSeason, smoothedSeason()}
	held := [len(s) - 1]brood.Season{brood.Mild, brood.Mild}
	low, high := math.Inf(1), math.Inf(-1)
	for i, v := range y.air {
		t := y.from.Add(time.Duration(i) * y.spacing)
		if !math.IsNaN(v) {
			r.Observe(t, []sensors.Reading{{Probe: outID, Quantity: sensors.Temperature, Time: t, Value: v}})
			low, high = min(low, v), max(high, v)
			for k := range held {
				s[k].see(t, v, held[k])
			}
			s[len(held)].see(t, v, r.Snapshot().Season)
		}
		if t.Add(y.spacing).Sub(y.from)%day != 0 || low > high {
			continue
		}
		for k := range held {
			held[k] = byDay[k](low, high)
			s[k].see(t, (freezeBelow+heatOver)/2, held[k])
		}
		for k := range s {
			s[k].day(low, high)
		}
		low, high = math.Inf(1), math.Inf(-1)
	}
	return nil
}

// simulatedYear begins in April, so that a winter is whole.
func simulatedYear(seed uint64) weatherYear {
	weather := simulated.NewYear(seed)
	y := weatherYear{from: time.Date(2031, 4, 1, 0, 0, 0, 0, time.UTC), spacing: seasonPoll}
	for i := range int(365 * day / seasonPoll) {
		y.air = append(y.air, weather.At(y.from.Add(time.Duration(i)*seasonPoll)).Temperature)
	}
	return y
}

// realYears are the hourly years in the folder that NESTMON_WEATHER names.
var realYears = []struct {
	file, name string
	zone       time.Duration // east of Greenwich
}{
	{"beijing_2010_year.csv", "Beijing 2010", 8 * time.Hour},
	{"nyc_ewr_2013_year.csv", "Newark 2013", -5 * time.Hour},
}

// readYear reads an hourly year, its days local.
func readYear(path string, zone time.Duration) (weatherYear, error) {
	f, err := os.Open(path)
	if err != nil {
		return weatherYear{}, err
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		return weatherYear{}, fmt.Errorf("%s: %w", path, err)
	}
	y := weatherYear{spacing: time.Hour}
	for _, row := range rows[1:] {
		at, err := time.Parse(time.RFC3339, row[0])
		if err != nil {
			return weatherYear{}, fmt.Errorf("%s: %w", path, err)
		}
		at = at.UTC().Add(zone)
		if y.from.IsZero() {
			if at.Hour() != 0 {
				continue
			}
			y.from = at
		}
		for y.from.Add(time.Duration(len(y.air)) * time.Hour).Before(at) {
			y.air = append(y.air, math.NaN())
		}
		v, err := strconv.ParseFloat(row[1], 64)
		if err != nil {
			v = math.NaN()
		}
		y.air = append(y.air, v)
	}
	return y, nil
}

func seasonTable(w io.Writer, first uint64, years int) error {
	var s seasonScores
	for i := range years {
		if err := s.live(simulatedYear(first + uint64(i))); err != nil {
			return err
		}
	}
	heading := fmt.Sprintf("SIMULATED, weather of seeds %d-%d, %d years of outside air", first, first+uint64(years)-1, years)
	if err := s.print(w, heading); err != nil {
		return err
	}
	folder := os.Getenv("NESTMON_WEATHER")
	for _, a := range realYears {
		y, err := readYear(filepath.Join(folder, a.file), a.zone)
		switch {
		case folder == "":
			fmt.Fprintf(w, "\n%s: NESTMON_WEATHER names no folder of real weather, so it is not looked at\n", a.name)
			continue
		case errors.Is(err, os.ErrNotExist):
			fmt.Fprintf(w, "\n%s: %s is not there\n", a.name, a.file)
			continue
		case err != nil:
			return err
		}
		var s seasonScores
		if err := s.live(y); err != nil {
			return err
		}
		if err := s.print(w, a.name+", real hourly weather, one year of outside air"); err != nil {
			return err
		}
	}
	return nil
}

func (s *seasonScores) print(w io.Writer, heading string) error {
	fmt.Fprintf(w, "\n== Season\n   %s\n   Exposed days, by a day's end: a minimum under %g C outside the winter make-up, a maximum over %g C outside the summer one. Told: the make-up was asked for before the first such air of a spell; lead h p10/50 of those.\n   Wrong way: days over 26 C in the winter make-up or under 3 C in the summer one.\n", heading, freezeBelow, heatOver)
	tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(tw, "rule\tswitches /year\texposed to frost, days /year\tto heat\tfrosts told\tlead\theats told\tlead\twrong way, days /year")
	for i, y := range s {
		fmt.Fprintf(tw, "%s\t%.1f\t%.2f\t%.2f\t%s\t%s\t%s\t%s\t%.2f\n", seasonNames[i], float64(y.switches)/y.years, float64(y.frost.days)/y.years, float64(y.heat.days)/y.years,
			y.frost.toldOf(), y.frost.lead(), y.heat.toldOf(), y.heat.lead(), float64(y.wrongSeasons)/y.years)
	}
	return tw.Flush()
}

func (d *dangerous) toldOf() string { return fmt.Sprintf("%d of %d", d.told, d.spells) }

func (d *dangerous) lead() string {
	slices.Sort(d.leads)
	return fmt.Sprintf("%s/%s", hours(quantile(d.leads, 0.1)), hours(quantile(d.leads, 0.5)))
}
