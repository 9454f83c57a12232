package archive_test

import (
	"math"
	"path/filepath"
	"testing"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/archive"
	"nestmon/sensors"
)

// What is packed by the week says the same as the hours: while probes come and go, after a clock that went back into a week that was packed, and when hours
// have grown too old.
func TestWeeksSayWhatTheirHoursSay(t *testing.T) {
	dir := t.TempDir()
	probes := rabbitry(2)
	const days = 30
	opts := archive.Options{Probes: probes, HoursFor: days * 24 * time.Hour, Now: func() time.Time { return start.AddDate(0, 0, 1) }}
	a := openAt(t, dir, opts)
	end := start.AddDate(0, 0, days)
	hourly := func(from time.Time, hours int) {
		for i := range hours {
			c := poll(probes, from.Add(time.Duration(i)*time.Hour), 20+15*math.Sin(float64(i)/20))
			if i%50 > 40 {
				c.Readings = c.Readings[2:] // without the first probe
			}
			commit(t, a, c)
		}
	}
	agree := func(when string, from time.Time, want int) {
		t.Helper()
		ids := []string{"b0-air", "a0-air"}
		hours := map[int64][2]float64{}
		must(t, a.Means(from, end.AddDate(1, 0, 0), ids, func(hour time.Time, means []float64) { hours[hour.Unix()] = [2]float64(means) }))
		for i, id := range ids {
			points, err := a.Series(id, sensors.Temperature, from, from.AddDate(0, 0, 9*7), 9*weekHours) // by the hour
			must(t, err)
			n := 0
			for _, m := range hours {
				if !math.IsNaN(m[i]) {
					n++
				}
			}
			off := 0
			for _, p := range points {
				if m, there := hours[p.Time.Unix()]; there && math.Abs(m[i]-p.Mean) > 1e-9 {
					off++
				}
			}
			if off > 0 || n < len(points)-1 || n > len(points) { // the newest hour is not whole
				t.Errorf("%s, %s: %d hours of %d are others, in weeks and hours %d", when, id, off, len(points), n)
			}
		}
		if len(hours) < want {
			t.Errorf("%s: %d hours, want %d", when, len(hours), want)
		}
	}
	packed := func(least, most int) {
		t.Helper()
		must(t, a.Close())
		if n := count(t, filepath.Join(dir, "readings.db"), "SELECT count(*) FROM weeks"); n < least || n > most {
			t.Errorf("%d weeks are packed, want %d to %d", n, least, most)
		}
		a = openAt(t, dir, opts)
	}
	hourly(start.Add(time.Hour), days*24)
	packed(3, 4)
	agree("packed", start.Add(30*time.Hour), (days-2)*24)

	commit(t, a, poll(probes, start.AddDate(0, 0, 12).Add(30*time.Minute), 39)) // the clock went back, and on again
	commit(t, a, poll(probes, end.Add(2*time.Hour), 20))
	packed(2, 3)
	agree("after the clock went back", start.Add(30*time.Hour), (days-2)*24)
	hourly(end.Add(3*time.Hour), 2)
	packed(3, 4)

	hourly(end.Add(5*time.Hour), 10*24)
	packed(3, 4)
	agree("grown old", start.AddDate(0, 0, 12), (days-3)*24)
	must(t, a.Means(start, start.AddDate(0, 0, 9), []string{"b0-air"}, func(hour time.Time, _ []float64) { t.Errorf("%v is gone, and told", hour) }))

	dir, opts.HoursFor = t.TempDir(), 0
	a = openAt(t, dir, opts)
	hourly(start.AddDate(0, 0, days-10), 8*24)
	packed(1, 1)
	var older []exporter.StoredPoll
	for at := start.Add(time.Hour); at.Before(start.AddDate(0, 0, days-10)); at = at.Add(time.Hour) {
		older = append(older, exporter.StoredPoll{Time: at, Readings: poll(probes, at, 5).Readings})
	}
	opts.Now = func() time.Time { return end }
	a = reopen(t, a, dir, opts)
	if done, err := a.PutOlder(probes, each(older, nil)); err != nil || done.Polls != len(older) {
		t.Fatalf("%+v, %v", done, err)
	}
	agree("imported", start, (days-3)*24)
	hourly(start.AddDate(0, 0, days-2), 2)
	packed(3, 4)
	agree("imported and packed", start, (days-3)*24)
}

const weekHours = 7 * 24
