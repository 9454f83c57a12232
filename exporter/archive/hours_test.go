package archive_test

import (
	"bytes"
	"log/slog"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"nestmon/exporter/archive"
	"nestmon/sensors"
)

// TestGraphAgreesWithADecodeOfEverything checks both ways a graph is made against the plain one.
func TestGraphAgreesWithADecodeOfEverything(t *testing.T) {
	dir := t.TempDir()
	probes := rabbitry(3)
	a := openAt(t, dir, archive.Options{Probes: probes})
	for i := range 5000 { // four days with a hole and a clock that goes back a quarter of an hour
		at := start.Add(time.Duration(i) * time.Minute)
		switch {
		case i > 1000 && i < 1300:
			continue
		case i >= 3000:
			at = at.Add(-15 * time.Minute)
		}
		commit(t, a, poll(probes, at, 20+15*math.Sin(float64(i)/200)))
		if i == 2500 {
			a = reopen(t, a, dir, archive.Options{Probes: probes}) // in the middle of an hour
		}
	}
	for _, row := range []struct {
		name    string
		to      time.Time
		buckets int
		step    float64 // hourly means are rounded to half a step
	}{
		{"minutes", start.Add(6 * time.Hour), 360, 0},
		{"odd width", start.Add(50 * time.Hour), 501, 0},
		{"hours", start.Add(80 * time.Hour), 80, 0.0051},
		{"days", start.Add(96 * time.Hour), 4, 0.0051},
	} {
		t.Run(row.name, func(t *testing.T) {
			got, err := a.Series("b0-air", sensors.Temperature, start, row.to, row.buckets)
			if err != nil {
				t.Fatal(err)
			}
			want := plainGraph(t, a, start, row.to, row.buckets)
			if len(got) != len(want) {
				t.Fatalf("%d points, want %d", len(got), len(want))
			}
			for i, g := range got {
				w := want[i]
				if !g.Time.Equal(w.Time) || g.N != w.N || g.Min != w.Min || g.Max != w.Max || math.Abs(g.Mean-w.Mean) > row.step+1e-9 {
					t.Errorf("point %d: %+v, want %+v", i, g, w)
				}
			}
		})
	}
}

func plainGraph(t *testing.T, a *archive.Archive, from, to time.Time, buckets int) []archive.Point {
	t.Helper()
	width := to.Sub(from).Milliseconds()
	all := make([]archive.Point, buckets)
	for _, p := range polls(t, a, 0) {
		if p.Time.Before(from) || !p.Time.Before(to) {
			continue
		}
		i := int64(buckets) - 1
		for from.UnixMilli()+width*i/int64(buckets) > p.Time.UnixMilli() {
			i--
		}
		for _, r := range p.Readings {
			if r.Probe != "b0-air" || r.Quantity != sensors.Temperature {
				continue
			}
			b := &all[i]
			if b.N == 0 {
				b.Time, b.Min, b.Max = time.UnixMilli(from.UnixMilli()+width*i/int64(buckets)).UTC(), r.Value, r.Value
			}
			b.Min, b.Max = min(b.Min, r.Value), max(b.Max, r.Value)
			b.Mean += r.Value
			b.N++
		}
	}
	var out []archive.Point
	for _, b := range all {
		if b.N > 0 {
			b.Mean /= float64(b.N)
			out = append(out, b)
		}
	}
	return out
}

func TestOldPollsGoAndHoursStay(t *testing.T) {
	dir := t.TempDir()
	probes := rabbitry(1)
	var log bytes.Buffer
	opts := archive.Options{Probes: probes, RawFor: 2 * time.Hour, Log: slog.New(slog.NewTextHandler(&log, nil))}
	a := openAt(t, dir, opts)
	if _, err := a.Cursor("influx"); err != nil {
		t.Fatal(err)
	}
	const hours = 12
	for i := range hours * 120 {
		commit(t, a, poll(probes, start.Add(time.Duration(i)*30*time.Second), float64(i/120)))
		if i == 130 {
			if err := a.SetCursor("influx", start.Add(time.Hour).Unix()); err != nil {
				t.Fatal(err)
			}
		}
	}
	left := polls(t, a, 0)
	if n := len(left); n < 240 || n > 240+121 {
		t.Errorf("%d polls are left, want those of 2 to 3 hours", n)
	}
	c := a.Counts()
	if want := uint64(hours*120 - len(left)); c.Pruned != want {
		t.Errorf("pruned %d, want %d", c.Pruned, want)
	}
	// 121 polls, those of the first hour and its end, were delivered in time.
	if want := c.Pruned - 121; a.Pruned("influx") != want {
		t.Errorf("pruned before delivery %d, want %d", a.Pruned("influx"), want)
	}
	if !strings.Contains(log.String(), "before they were delivered") {
		t.Error("nothing was said about it")
	}
	for _, buckets := range []int{hours, 10 * hours} {
		points, err := a.Series("a0-air", sensors.Temperature, start, start.Add(hours*time.Hour), buckets)
		if err != nil {
			t.Fatal(err)
		}
		n := 0
		for _, p := range points {
			n += p.N
			if want := math.Floor(p.Time.Sub(start).Hours()); p.Min != want || p.Max != want || p.Mean != want {
				t.Errorf("%d buckets: %+v, want %v", buckets, p, want)
			}
		}
		if n < hours*120-120 || n > hours*120 { // the hour that is half pruned may lack some in fine buckets
			t.Errorf("%d buckets hold %d values of %d", buckets, n, hours*120)
		}
	}
}

func TestLeapingClockEmptiesNothing(t *testing.T) {
	probes := rabbitry(1)
	a := openAt(t, t.TempDir(), archive.Options{Probes: probes})
	for i := range 300 {
		at := start.Add(time.Duration(i) * 30 * time.Second)
		switch {
		case i < 50:
			at = time.Unix(int64(30*i), 0) // no clock yet
		case i >= 200:
			at = at.AddDate(10, 0, 0)
		}
		commit(t, a, poll(probes, at, 20))
	}
	if n := len(polls(t, a, 0)); n != 300 {
		t.Errorf("%d polls are left of 300", n)
	}
}

func TestGraphQuestionsThatMakeNoSense(t *testing.T) {
	a := openAt(t, t.TempDir(), archive.Options{})
	for _, row := range []struct {
		name    string
		to      time.Time
		buckets int
	}{{"no buckets", start.Add(time.Hour), 0}, {"too many", start.Add(time.Hour), 1 << 20}, {"no span", start, 10}, {"backwards", start.Add(-time.Hour), 10}} {
		if _, err := a.Series("x", sensors.Humidity, start, row.to, row.buckets); err == nil {
			t.Errorf("%s: no error", row.name)
		}
	}
}

// TestMeansAreThoseOfTheGraph asks for the hours of several probes at once, across a change of a probe's place in the rows.
func TestMeansAreThoseOfTheGraph(t *testing.T) {
	dir := t.TempDir()
	probes := rabbitry(3)
	a := openAt(t, dir, archive.Options{Probes: probes})
	const hours = 30
	for i := range hours * 60 {
		if i == 700 { // in the middle of an hour
			must(t, a.Close())
			probes = probes[1:]
			a = openAt(t, dir, archive.Options{Probes: probes})
		}
		commit(t, a, poll(probes, start.Add(time.Duration(i)*time.Minute), 20+15*math.Sin(float64(i)/200)))
	}
	ids := []string{"b0-air", "nobody", "a0-air"}
	seen := map[int64][]float64{}
	must(t, a.Means(start.Add(time.Hour), start.Add(100*time.Hour), ids, func(hour time.Time, means []float64) { seen[hour.Unix()] = slices.Clone(means) }))
	if len(seen) != hours-2 { // without the first, and the last is not whole yet
		t.Fatalf("%d hours", len(seen))
	}
	for i, id := range ids {
		points, err := a.Series(id, sensors.Temperature, start, start.Add(hours*time.Hour), hours)
		if err != nil || len(points) != []int{hours, 0, 12}[i] {
			t.Fatalf("%s: %d points, %v", id, len(points), err)
		}
		want := map[int64]float64{}
		for _, p := range points {
			want[p.Time.Unix()] = p.Mean
		}
		for hour, means := range seen {
			if w, ok := want[hour]; ok != !math.IsNaN(means[i]) || ok && math.Abs(means[i]-w) > 1e-9 {
				t.Errorf("%s at %v: %v, want %v", id, time.Unix(hour, 0).UTC(), means[i], w)
			}
		}
	}
}
