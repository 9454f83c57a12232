package main

import (
	"errors"
	"fmt"
	"io"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/archive"
	"nestmon/sensors"
)

// archiveGraph prints how long a week's graph of one probe among 90 series takes, beside decoding every value of the week.
func archiveGraph(w io.Writer) error {
	_, err := inFolder(func(dir string) (written, error) { return written{}, graphWeek(w, dir) })
	return err
}

func graphWeek(w io.Writer, dir string) (err error) {
	probes, start := archiveProbes(manySeries), time.Now().Truncate(time.Hour).AddDate(0, 0, -7)
	a, err := archive.Open(dir, archive.Options{Probes: probes})
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, a.Close()) }()
	for i := range pollsAWeek {
		if err := a.Commit(archiveCommit(probes, start, i)); err != nil {
			return err
		}
	}
	end, probe := start.AddDate(0, 0, 7), probes[len(probes)/2].ID
	var points int
	graph := func(buckets int) func() error {
		return func() error {
			p, err := a.Series(probe, sensors.Temperature, start, end, buckets)
			points = len(p)
			return err
		}
	}
	decode := func() error {
		n := 0
		err := a.PollsBetween(start, end, func(p exporter.StoredPoll) error {
			for _, r := range p.Readings {
				if r.Probe == probe && r.Quantity == sensors.Temperature {
					n++
				}
			}
			return nil
		})
		if err == nil && n != pollsAWeek {
			err = fmt.Errorf("%d values of %d", n, pollsAWeek)
		}
		return err
	}
	full, err := timed(3, decode)
	if err != nil {
		return err
	}
	for _, buckets := range []int{168, graphBuckets, 2 * graphBuckets} {
		took, err := timed(15, graph(buckets))
		if err != nil {
			return err
		}
		fmt.Fprintf(w, "week's graph of one probe among %d series, %4d points: %.1f ms median, %.1f ms best; decoding every value %.0f ms (%.0fx)\n",
			manySeries, points, ms(took.median), ms(took.best), ms(full.median), float64(full.median)/float64(took.median))
	}
	alone, err := timed(9, func() error {
		for _, l := range nestLines(probes) {
			if _, err := a.Series(l.Probe, l.Quantity, start, end, graphBuckets); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	together, err := timed(9, lines(a, probes, start, end, end.Sub(start)/graphBuckets))
	if err != nil {
		return err
	}
	fmt.Fprintf(w, "four lines of it: %.1f ms in one pass, %.1f ms one after the other (%.1fx)\n", ms(together.median), ms(alone.median), float64(alone.median)/float64(together.median))
	return nil
}

// nestLines are what a nest's graph shows: of 90 series of 30 nests, four that do not lie side by side.
func nestLines(probes []sensors.Probe) []archive.Line {
	return []archive.Line{{Probe: probes[0].ID}, {Probe: probes[20].ID}, {Probe: probes[20].ID, Quantity: sensors.Humidity}, {Probe: probes[44].ID}}
}

// lines asks for them in buckets of that width.
func lines(a *archive.Archive, probes []sensors.Probe, from, to time.Time, width time.Duration) func() error {
	edges := []time.Time{from}
	for at := from; at.Before(to); {
		at = at.Add(width)
		edges = append(edges, at)
	}
	return func() error {
		got, err := a.Lines(nestLines(probes), edges)
		if err == nil && len(got[3]) == 0 {
			err = errors.New("no values")
		}
		return err
	}
}

// archiveYears prints how long two years of hourly rows take as a graph of four lines: read row by row, and by the days that are kept in memory
// after the first time.
func archiveYears(w io.Writer) error {
	_, err := inFolder(func(dir string) (written, error) { return written{}, graphYears(w, dir) })
	return err
}

func graphYears(w io.Writer, dir string) (err error) {
	const days = 730
	probes, start := archiveProbes(manySeries), time.Now().UTC().Truncate(24*time.Hour).AddDate(0, 0, -days)
	a, err := archive.Open(dir, archive.Options{Probes: probes})
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, a.Close()) }()
	hours := func(yield func(exporter.StoredPoll, error) bool) {
		for i := range days * 24 {
			c := archiveCommit(probes, start, i)
			c.Time = start.Add(time.Duration(i) * time.Hour)
			if !yield(exporter.StoredPoll{Time: c.Time, Readings: c.Readings}, nil) {
				return
			}
		}
	}
	if _, err := a.PutOlder(probes, hours); err != nil {
		return err
	}
	end := start.AddDate(0, 0, days)
	byHour, err := timed(5, lines(a, probes, start.Add(time.Hour), end, 48*time.Hour)) // edges that are no midnights
	if err != nil {
		return err
	}
	byDay := lines(a, probes, start, end, 48*time.Hour)
	first, err := timed(1, byDay)
	if err != nil {
		return err
	}
	again, err := timed(15, byDay)
	if err != nil {
		return err
	}
	fmt.Fprintf(w, "two years' graph of four lines among %d series: %.1f ms from hourly rows, %.1f ms at first by days, %.2f ms again (%.0fx)\n",
		manySeries, ms(byHour.median), ms(first.median), ms(again.median), float64(byHour.median)/float64(again.median))
	return nil
}
