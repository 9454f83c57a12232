package archive_test

import (
	"context"
	"errors"
	"math"
	"slices"
	"testing"
	"time"

	"nestmon/exporter/archive"
	"nestmon/sensors"
)

// TestSamplesAgreeWithADecodeOfEverything compares polls and hours with the plain reading of both.
func TestSamplesAgreeWithADecodeOfEverything(t *testing.T) {
	dir := t.TempDir()
	probes := rabbitry(2)
	opts := archive.Options{Probes: probes, RawFor: 600 * 30 * time.Second} // of 2000 polls, 600 stay
	lived := map[time.Time]bool{}
	a := openAt(t, dir, opts)
	for i := range 2000 {
		at := start.Add(time.Duration(i) * time.Minute)
		switch {
		case i > 1000 && i < 1300:
			continue
		case i >= 1500:
			at = at.Add(-15 * time.Minute)
		}
		c := poll(probes, at, 20+15*math.Sin(float64(i)/200))
		if i%7 == 0 {
			c.Readings = c.Readings[1:] // a0-air has no temperature
		}
		commit(t, a, c)
		lived[at.Truncate(time.Hour)] = true
	}
	cols := []archive.Column{{Probe: "co2", Quantity: sensors.CO2}, {Probe: "a0-air", Quantity: sensors.Temperature}}
	read := func(span archive.Span) (rows []archive.Row) {
		must(t, a.Samples(t.Context(), cols, span, func(r archive.Row) error {
			r.Values = slices.Clone(r.Values)
			rows = append(rows, r)
			return nil
		}))
		return rows
	}
	end := start.Add(48 * time.Hour)

	kept := polls(t, a, 0)
	border := kept[0].Time.Truncate(time.Hour)
	if len(kept) > 1000 || border.Equal(start) {
		t.Fatalf("%d polls are kept, from %s: none was removed", len(kept), kept[0].Time)
	}
	want := map[int64][2]float64{}
	for _, p := range kept {
		at, v := p.Time.UnixMilli(), [2]float64{math.NaN(), math.NaN()}
		for _, r := range p.Readings {
			for i, c := range cols {
				if c == (archive.Column{Probe: r.Probe, Quantity: r.Quantity}) {
					v[i] = r.Value
				}
			}
		}
		if _, taken := want[at]; !taken && at != border.UnixMilli() {
			want[at] = v
		}
	}
	same := func(a, b float64) bool { return a == b || math.IsNaN(a) && math.IsNaN(b) }
	all, hours, last := read(archive.Span{From: start, To: end}), 0, int64(0)
	for _, r := range all {
		w, known := want[r.At]
		switch {
		case r.At <= last:
			t.Fatalf("%d comes after %d", r.At, last)
		case r.Hour:
			hours++
			continue
		case !known || !same(w[0], r.Values[0]) || !same(w[1], r.Values[1]):
			t.Fatalf("poll at %d: %v, want %v (known: %v)", r.At, r.Values, w, known)
		}
		last = r.At
	}
	whole := 0
	for h := range lived {
		if h.Before(border) {
			whole++
		}
	}
	if len(all)-hours != len(want) || hours != whole {
		t.Errorf("%d polls and %d hours, want %d and %d", len(all)-hours, hours, len(want), whole)
	}

	for _, row := range []struct {
		name string
		of   archive.Figure
		pick func(archive.Point) float64
		off  float64 // hourly means are rounded to half a step
	}{
		{"mean", archive.MeanOfHour, func(p archive.Point) float64 { return p.Mean }, 0.0051},
		{"least", archive.MinOfHour, func(p archive.Point) float64 { return p.Min }, 0},
		{"most", archive.MaxOfHour, func(p archive.Point) float64 { return p.Max }, 0},
	} {
		t.Run(row.name, func(t *testing.T) {
			got := map[int64]float64{}
			for _, r := range read(archive.Span{From: start, To: end, Hourly: true, Figure: row.of}) {
				if r.Hour {
					got[r.At] = r.Values[1]
				}
			}
			points, err := a.Series("a0-air", sensors.Temperature, start, end, 48)
			must(t, err)
			if len(got) < 25 || len(points)-len(got) > 1 { // of the last hour there is no row yet
				t.Fatalf("%d hours and %d points", len(got), len(points))
			}
			for _, p := range points[:len(got)] {
				if v, ok := got[p.Time.Add(time.Hour).UnixMilli()]; !ok || math.Abs(v-row.pick(p)) > row.off+1e-9 {
					t.Errorf("hour %s: %v, want %v", p.Time, v, row.pick(p))
				}
			}
		})
	}

	t.Run("bounds", func(t *testing.T) {
		from, to := border.Add(2*time.Hour), border.Add(3*time.Hour)
		rows := read(archive.Span{From: from, To: to})
		if n := len(rows); n == 0 || rows[0].At < from.UnixMilli() || rows[n-1].At >= to.UnixMilli() {
			t.Errorf("%d rows of [%s, %s)", n, from, to)
		}
		rows = read(archive.Span{From: start.Add(2 * time.Hour), To: start.Add(4 * time.Hour), Hourly: true})
		if len(rows) != 2 || rows[0].At != start.Add(2*time.Hour).UnixMilli() || rows[1].At != start.Add(3*time.Hour).UnixMilli() {
			t.Errorf("hours that end from 2 on and before 4: %v", rows)
		}
	})
	t.Run("ends early", func(t *testing.T) {
		n, enough := 0, errors.New("enough")
		err := a.Samples(t.Context(), cols, archive.Span{From: start, To: end}, func(archive.Row) error { n++; return enough })
		if n != 1 || !errors.Is(err, enough) {
			t.Errorf("%d rows, %v", n, err)
		}
		ctx, cancel := context.WithCancel(t.Context())
		cancel()
		if err := a.Samples(ctx, cols, archive.Span{From: start, To: end}, func(archive.Row) error { return nil }); !errors.Is(err, context.Canceled) {
			t.Errorf("after the caller has gone: %v", err)
		}
	})
	t.Run("columns", func(t *testing.T) {
		a = reopen(t, a, dir, archive.Options{Probes: append(rabbitry(2)[:1:1], probe("bank", sensors.Voltage))})
		commit(t, a, poll([]sensors.Probe{probe("bank", sensors.Voltage)}, end, 12.5))
		later := archive.Column{Probe: "bank", Quantity: sensors.Voltage}
		if early := a.Columns(start, start.Add(time.Hour)); len(early) != 5 || slices.Contains(early, later) {
			t.Errorf("on the first day: %v", early)
		}
		if now := a.Columns(end, end.Add(time.Hour)); !slices.Contains(now, later) || slices.Contains(now, cols[0]) {
			t.Errorf("at the end: %v", now)
		}
		if all := a.Columns(time.Time{}, end.Add(time.Hour)); len(all) != 6 {
			t.Errorf("in all: %v", all)
		}
	})
}
