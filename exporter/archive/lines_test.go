package archive_test

import (
	"fmt"
	"math"
	"slices"
	"testing"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/archive"
	"nestmon/sensors"
	"nestmon/thresholds/alarm"
)

// sumHours is what the hours of a probe say of each bucket.
func sumHours(t *testing.T, a *archive.Archive, l archive.Line, edges []time.Time) (out []archive.Point) {
	t.Helper()
	from, to := edges[0], edges[len(edges)-1]
	hours, err := a.Series(l.Probe, l.Quantity, from, to, int(to.Sub(from).Hours()))
	must(t, err)
	for i, e := range edges[:len(edges)-1] {
		p := archive.Point{Time: e}
		sum := 0.0
		for _, h := range hours {
			if h.Time.Before(e) || !h.Time.Before(edges[i+1]) {
				continue
			}
			if p.N == 0 {
				p.Min, p.Max = h.Min, h.Max
			}
			p.Min, p.Max, p.N = min(p.Min, h.Min), max(p.Max, h.Max), p.N+h.N
			sum += h.Mean * float64(h.N)
		}
		if p.N > 0 {
			p.Mean = sum / float64(p.N)
			out = append(out, p)
		}
	}
	return out
}

func sameLines(t *testing.T, when string, a *archive.Archive, wanted []archive.Line, edges []time.Time) (points int) {
	t.Helper()
	got, err := a.Lines(wanted, edges)
	must(t, err)
	for i, l := range wanted {
		want := sumHours(t, a, l, edges)
		if !slices.EqualFunc(got[i], want, func(g, w archive.Point) bool {
			return g.Time.Equal(w.Time) && g.N == w.N && g.Min == w.Min && g.Max == w.Max && math.Abs(g.Mean-w.Mean) < 0.0051 // a day's mean is rounded to half a step too
		}) {
			t.Errorf("%s, %s: %v, want %v", when, l.Probe, got[i], want)
		}
		points += len(want)
	}
	return points
}

// Several lines in one pass say what each says alone, whether their days are kept in memory or not; and what is written into a day that is kept is
// seen.
func TestLinesOfDaysFollowWhatIsWritten(t *testing.T) {
	dir, probes := t.TempDir(), rabbitry(2)
	const days = 6
	now := start.AddDate(0, 0, days)
	a := openAt(t, dir, archive.Options{Probes: probes, Now: func() time.Time { return now }})
	wanted := []archive.Line{{"b0-air", sensors.Temperature}, {"nobody", sensors.Temperature}, {"a0-air", sensors.Humidity}, {"b0-air", sensors.Temperature}}
	put := func(from time.Time, n int) {
		for i := range n {
			commit(t, a, poll(probes, from.Add(time.Duration(i)*20*time.Minute), 20+15*math.Sin(float64(from.Unix()/600+int64(i))/20)))
		}
	}
	for d := range days {
		switch d {
		case 0: // it begins in the morning
			put(start.Add(6*time.Hour), 50)
		case 2: // a day without any
		default:
			put(start.AddDate(0, 0, d), 70)
		}
	}
	edges := func(from time.Time, step, n int) (all []time.Time) {
		for i := range n + 1 {
			all = append(all, from.AddDate(0, 0, i*step))
		}
		return all
	}
	all := edges(start.AddDate(0, 0, -4), 2, 6)
	for _, when := range []string{"at first", "again"} {
		if n := sameLines(t, when, a, wanted, all); n != 9 {
			t.Errorf("%d points", n)
		}
	}
	sameLines(t, "days that are only in part kept", a, wanted, edges(start.AddDate(0, 0, -1), 1, 9))
	put(start.AddDate(0, 0, 3).Add(23*time.Hour+40*time.Minute), 4) // the clock went back, into an hour that is written and one that is not
	put(now, 2)
	sameLines(t, "after the clock went back", a, wanted, all)
	var older []exporter.StoredPoll
	for i := range 30 {
		p := exporter.StoredPoll{Time: start.Add(time.Duration(i-27) * time.Hour)}
		p.Readings = []sensors.Reading{{Probe: "b0-air", Quantity: sensors.Temperature, Time: p.Time, Value: float64(i)}}
		older = append(older, p)
	}
	_, err := a.PutOlder(probes, each(older, nil))
	must(t, err)
	if n := sameLines(t, "with an older past", a, wanted, all); n != 14 {
		t.Errorf("%d points", n)
	}
	hours, fine, err := a.Kept()
	must(t, err)
	if !hours.Equal(older[0].Time) || !fine.Equal(older[0].Time) {
		t.Errorf("kept from %s and %s", hours, fine)
	}
	for name, bad := range map[string][]time.Time{"none": nil, "one": edges(start, 1, 0), "falling": {start, start.AddDate(0, 0, 2), start.AddDate(0, 0, 1)}, "too many": edges(start, 1, 10001)} {
		if _, err := a.Lines(wanted, bad); err == nil {
			t.Errorf("edges, %s: no error", name)
		}
	}
}

func TestTheFirstEndOfEachAlarm(t *testing.T) {
	a := openAt(t, t.TempDir(), archive.Options{})
	put := func(nest, probe string, name alarm.Name, minute int, state alarm.State) {
		e := event(nest, start.Add(time.Duration(minute)*time.Minute), alarm.Warning)
		e.Name, e.State, e.Probe = name, state, probe
		must(t, a.Commit(exporter.Commit{Time: start, Events: []alarm.Event{e}}))
	}
	put("oak", "x", alarm.NestHeat, 1, alarm.Cleared)
	put("oak", "x", alarm.NestHeat, 5, alarm.Raised)
	put("oak", "y", alarm.NestHeat, 7, alarm.Cleared) // another of its probes decides
	put("oak", "x", alarm.NestHeat, 8, alarm.Cleared)
	put("oak", "x", alarm.DoeHeat, 9, alarm.Cleared)
	put("elm", "x", alarm.NestHeat, 6, alarm.Cleared)
	put("", "w1", alarm.BusFault, 4, alarm.Cleared)
	put("", "i2c", alarm.BusFault, 3, alarm.Cleared)
	put("", "i2c", alarm.BusFault, 6, alarm.Cleared)
	ends, err := a.EndsOf([]string{"oak", ""}, start.Add(2*time.Minute))
	must(t, err)
	var got []string
	for _, e := range ends {
		got = append(got, fmt.Sprintf("%s/%s %s %s", e.Nest, e.Probe, e.Name, e.Time.Sub(start)))
	}
	if want := []string{"/i2c bus-fault 3m0s", "/w1 bus-fault 4m0s", "oak/y nest-heat 7m0s", "oak/x doe-heat 9m0s"}; !slices.Equal(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
}

func TestTheWeightiestEventsStay(t *testing.T) {
	a := openAt(t, t.TempDir(), archive.Options{})
	put := func(nest string, name alarm.Name, minute int, s alarm.Severity) {
		e := event(nest, start.Add(time.Duration(minute)*time.Minute), s)
		e.Name = name
		must(t, a.Commit(exporter.Commit{Time: start, Events: []alarm.Event{e}}))
	}
	put("oak", alarm.NestHeat, 1, alarm.Urgent)
	put("oak", alarm.Inspection, 2, alarm.Notice)
	put("elm", alarm.NestHeat, 3, alarm.Urgent)
	put("oak", alarm.Visit, 4, alarm.Warning)
	put("", alarm.BusFault, 5, alarm.Warning)
	put("oak", alarm.Inspection, 6, alarm.Notice)
	for most, want := range map[int][]alarm.Name{
		9: {alarm.NestHeat, alarm.Inspection, alarm.Visit, alarm.BusFault, alarm.Inspection}, 3: {alarm.NestHeat, alarm.BusFault, alarm.Inspection}, 1: {alarm.NestHeat},
	} {
		events, all, err := a.WeightiestOf([]string{"oak", ""}, start, start.Add(time.Hour), most, alarm.Visit)
		must(t, err)
		var names []alarm.Name
		for _, e := range events {
			names = append(names, e.Name)
		}
		if all != 5 || !slices.Equal(names, want) || !slices.IsSortedFunc(events, func(a, b alarm.Event) int { return a.Time.Compare(b.Time) }) {
			t.Errorf("at most %d of %d: %v, want %v", most, all, names, want)
		}
	}
}
