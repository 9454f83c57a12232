package archive_test

import (
	"math"
	"path/filepath"
	"reflect"
	"testing"
	"testing/synctest"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/archive"
	"nestmon/sensors"
)

var start = time.Date(2026, 1, 10, 0, 0, 0, 0, time.UTC)

// rabbitry is invented: n probes with temperature and humidity, and one with CO2.
func rabbitry(n int) []sensors.Probe {
	var out []sensors.Probe
	for i := range n {
		out = append(out, probe(string(rune('a'+i%26))+string(rune('0'+i/26))+"-air", sensors.Temperature, sensors.Humidity))
	}
	return append(out, probe("co2", sensors.CO2))
}

func probe(id string, q ...sensors.Quantity) sensors.Probe {
	return sensors.Probe{ID: id, Quantities: q, Interval: 30 * time.Second}
}

func openAt(t testing.TB, dir string, opts archive.Options) *archive.Archive {
	t.Helper()
	if opts.Now == nil {
		opts.Now = func() time.Time { return start }
	}
	a, err := archive.Open(dir, opts)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := a.Close(); err != nil {
			t.Error(err)
		}
	})
	return a
}

func reopen(t testing.TB, a *archive.Archive, dir string, opts archive.Options) *archive.Archive {
	t.Helper()
	if err := a.Close(); err != nil {
		t.Fatal(err)
	}
	return openAt(t, dir, opts)
}

// poll gives every quantity of every probe the value f.
func poll(probes []sensors.Probe, at time.Time, f float64) exporter.Commit {
	c := exporter.Commit{Time: at, Synced: true}
	for _, p := range probes {
		for _, q := range p.Quantities {
			c.Readings = append(c.Readings, sensors.Reading{Probe: p.ID, Quantity: q, Time: at.Add(-2 * time.Second), Value: f})
		}
	}
	return c
}

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

func commit(t testing.TB, a *archive.Archive, c exporter.Commit) {
	t.Helper()
	if err := a.Commit(c); err != nil {
		t.Fatal(err)
	}
}

func polls(t testing.TB, a *archive.Archive, after int64) []exporter.StoredPoll {
	t.Helper()
	p, err := a.Polls(after, 1<<30)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func TestValuesComeBackAsQuantised(t *testing.T) {
	for _, row := range []struct {
		name  string
		q     sensors.Quantity
		v     float64
		kept  bool
		unfit uint64
	}{
		{"naked kit", sensors.Temperature, 37.81, true, 0},
		{"rounds half up", sensors.Temperature, 0.125, true, 0},
		{"frost", sensors.Temperature, -25.06, true, 0},
		{"no float dust", sensors.Temperature, 37.55, true, 0},
		{"highest step", sensors.Temperature, 327.67, true, 0},
		{"one step too high", sensors.Temperature, 327.68, false, 1},
		{"lowest step", sensors.Temperature, -327.67, true, 0},
		{"the number that means absent", sensors.Temperature, -327.68, false, 1},
		{"would wrap to 10.00 in 16 bits", sensors.Temperature, 665.36, false, 1},
		{"not a number", sensors.Temperature, math.NaN(), false, 1},
		{"endless", sensors.Humidity, math.Inf(1), false, 1},
		{"saturated", sensors.Humidity, 100, true, 0},
		{"closed box", sensors.CO2, 4210, true, 0},
		{"CO2 beyond any nest", sensors.CO2, 40000, false, 1},
		{"full battery", sensors.Voltage, 12.68, true, 0},
		{"small load", sensors.Current, -0.15, true, 0},
	} {
		t.Run(row.name, func(t *testing.T) {
			dir := t.TempDir()
			probes := []sensors.Probe{probe("p", row.q), probe("other", sensors.Temperature)}
			a := openAt(t, dir, archive.Options{Probes: probes})
			c := poll(probes, start, 20)
			c.Readings[0].Value = row.v
			commit(t, a, c)
			a = reopen(t, a, dir, archive.Options{Probes: probes})
			got := polls(t, a, 0)[0].Readings
			want := []sensors.Reading{{Probe: "other", Quantity: sensors.Temperature, Time: start, Value: 20}}
			if row.kept {
				want = append([]sensors.Reading{{Probe: "p", Quantity: row.q, Time: start, Value: row.q.Quantise(row.v)}}, want...)
			}
			if !reflect.DeepEqual(got, want) {
				t.Errorf("got %v, want %v", got, want)
			}
		})
	}
}

// A battery that is fitted later changes nothing of what was stored before, and is known of from then on.
func TestABatteryMayComeLater(t *testing.T) {
	dir := t.TempDir()
	before := []sensors.Probe{probe("a1", sensors.Temperature, sensors.Humidity, sensors.CO2)}
	after := append(before[:1:1], probe("bank", sensors.Voltage, sensors.Current))
	a := openAt(t, dir, archive.Options{Probes: before})
	commit(t, a, poll(before, start, 20))
	if a.Has(sensors.Voltage) {
		t.Error("a battery before there was one")
	}
	a = reopen(t, a, dir, archive.Options{Probes: after})
	commit(t, a, poll(after, start.Add(time.Minute), 12))
	a = reopen(t, a, dir, archive.Options{Probes: before}) // and taken away again
	stored := polls(t, a, 0)
	if len(stored) != 2 || len(stored[0].Readings) != 3 || len(stored[1].Readings) != 5 || !a.Has(sensors.Voltage) || !a.Has(sensors.Current) {
		t.Errorf("got %v", stored)
	}
}

func TestUnfitValuesAreCounted(t *testing.T) {
	probes := rabbitry(1)
	a := openAt(t, t.TempDir(), archive.Options{Probes: probes})
	c := poll(probes, start, 20)
	c.Readings[0].Value = 400
	c.Readings = append(c.Readings, sensors.Reading{Probe: "stranger", Time: start, Value: 1})
	commit(t, a, c)
	if got := a.Counts(); got.Unfit != 1 || got.Unknown != 1 {
		t.Errorf("counts %+v, want one unfit and one unknown", got)
	}
}

func TestAbsenceStaysAbsence(t *testing.T) {
	probes := rabbitry(1)
	a := openAt(t, t.TempDir(), archive.Options{Probes: probes})
	c := poll(probes, start, 0) // zero is a value
	c.Readings[1].Fault = sensors.NoAnswer
	c.Readings[1].Value = 55
	commit(t, a, c)
	c = poll(probes, start.Add(time.Minute), 20)
	for i := range c.Readings {
		c.Readings[i].Fault = sensors.BusDown
	}
	commit(t, a, c)
	commit(t, a, exporter.Commit{Time: start.Add(2 * time.Minute)})
	got := polls(t, a, 0)
	if len(got) != 1 || len(got[0].Readings) != 2 || got[0].Readings[0].Value != 0 || got[0].Readings[1].Probe != "co2" {
		t.Errorf("got %v, want one poll with the first and the last series", got)
	}
	points, err := a.Series("a0-air", sensors.Humidity, start, start.Add(time.Hour), 10)
	if err != nil || len(points) != 0 {
		t.Errorf("series of an absent value: %v, %v", points, err)
	}
}

func TestHeldAndStaleValuesAreNotStoredTwice(t *testing.T) {
	dir := t.TempDir()
	probes := []sensors.Probe{probe("slow", sensors.Temperature), probe("fast", sensors.Temperature)}
	a := openAt(t, dir, archive.Options{Probes: probes})
	held := start.Add(-time.Second)
	at := func(seconds int, slow time.Time) exporter.Commit {
		c := poll(probes, start.Add(time.Duration(seconds)*time.Second), 20)
		c.Readings[0].Time = slow
		return c
	}
	commit(t, a, at(0, held))
	commit(t, a, at(30, held))                      // the same measurement again
	commit(t, a, at(60, start.Add(59*time.Second))) // a new one
	commit(t, a, at(600, start.Add(2*time.Minute))) // new to us, but eight minutes old
	a = reopen(t, a, dir, archive.Options{Probes: probes})
	commit(t, a, at(630, start.Add(59*time.Second))) // held over the restart
	commit(t, a, at(660, start.Add(659*time.Second)))
	want := []int{2, 1, 2, 1, 1, 2}
	for i, p := range polls(t, a, 0) {
		if len(p.Readings) != want[i] {
			t.Errorf("poll %d holds %d values, want %d", i, len(p.Readings), want[i])
		}
	}
}

func TestUnsyncedIsKept(t *testing.T) {
	probes := rabbitry(1)
	a := openAt(t, t.TempDir(), archive.Options{Probes: probes})
	c := poll(probes, time.Unix(42, 0), 20)
	c.Synced = false
	commit(t, a, c)
	commit(t, a, poll(probes, start, 20))
	got := polls(t, a, 0)
	if !got[0].Readings[0].Unsynced || got[1].Readings[0].Unsynced {
		t.Errorf("unsynced flags are wrong: %v", got)
	}
}

func TestKeysRiseWhenTheClockGoesBack(t *testing.T) {
	dir := t.TempDir()
	probes := rabbitry(1)
	opts := archive.Options{Probes: probes}
	a := openAt(t, dir, opts)
	times := []time.Time{
		start, start.Add(30 * time.Second), start.Add(30*time.Second + 400*time.Millisecond),
		start.AddDate(-10, 0, 0), start.AddDate(-10, 0, 0).Add(30 * time.Second), // a board without a battery
		start.AddDate(10, 0, 0), // and one that leaps ahead
		start.Add(time.Minute), start.Add(90 * time.Second),
	}
	for i, at := range times {
		commit(t, a, poll(probes, at, float64(i)))
		a = reopen(t, a, dir, opts)
	}
	got := polls(t, a, 0)
	if len(got) != len(times) {
		t.Fatalf("%d polls, want %d", len(got), len(times))
	}
	for i, p := range got {
		if i > 0 && p.Key <= got[i-1].Key {
			t.Errorf("key %d of poll %d after %d", p.Key, i, got[i-1].Key)
		}
		if !p.Time.Equal(times[i]) {
			t.Errorf("poll %d at %s, want %s", i, p.Time, times[i])
		}
	}
	var order []float64
	err := a.PollsBetween(start, start.Add(time.Hour), func(p exporter.StoredPoll) error {
		order = append(order, p.Readings[0].Value)
		return nil
	})
	if want := []float64{0, 1, 2, 6, 7}; err != nil || !reflect.DeepEqual(order, want) {
		t.Errorf("between: %v, %v; want %v", order, err, want)
	}
	points, err := a.Series("a0-air", sensors.Temperature, start, start.Add(2*time.Minute), 4)
	if err != nil {
		t.Fatal(err)
	}
	want := []archive.Point{
		{start, 0, 0, 0, 1},
		{start.Add(30 * time.Second), 1, 1.5, 2, 2},
		{start.Add(60 * time.Second), 6, 6, 6, 1},
		{start.Add(90 * time.Second), 7, 7, 7, 1},
	}
	if !reflect.DeepEqual(points, want) {
		t.Errorf("series %v, want %v", points, want)
	}
}

func TestPollsBetweenPagesThroughBothOrders(t *testing.T) {
	probes := rabbitry(1)
	a := openAt(t, t.TempDir(), archive.Options{Probes: probes})
	const n = 1203 // more than two batches of each kind
	for i := range n {
		commit(t, a, poll(probes, start.Add(time.Duration(2*i)*time.Second), 1))
	}
	for i := range n { // the clock went back and falls between the first ones
		commit(t, a, poll(probes, start.Add(time.Duration(2*i+1)*time.Second), 2))
	}
	last, count := start.Add(-1), 0
	err := a.PollsBetween(start, start.Add(time.Hour), func(p exporter.StoredPoll) error {
		if !p.Time.After(last) {
			t.Fatalf("%s after %s", p.Time, last)
		}
		last, count = p.Time, count+1
		return nil
	})
	if err != nil || count != 2*n {
		t.Errorf("%d polls, %v; want %d", count, err, 2*n)
	}
}

func TestProbesMayComeGoAndMove(t *testing.T) {
	dir := t.TempDir()
	a1, b1, c1 := probe("a1", sensors.Temperature), probe("b1", sensors.Temperature, sensors.Humidity), probe("c1", sensors.CO2)
	sets := [][]sensors.Probe{{a1, b1}, {b1, a1}, {c1, b1}, {b1, c1, a1}}
	value := map[string]float64{"a1": 11, "b1": 22, "c1": 333}
	var a *archive.Archive
	for i, set := range sets {
		if a != nil {
			must(t, a.Close())
		}
		a = openAt(t, dir, archive.Options{Probes: set})
		for j := range 3 {
			c := poll(set, start.Add(time.Duration(10*i+j)*time.Minute), 0)
			for k := range c.Readings {
				c.Readings[k].Value = value[c.Readings[k].Probe]
			}
			commit(t, a, c)
		}
	}
	for i, p := range polls(t, a, 0) {
		want := 0
		for _, probe := range sets[i/3] {
			want += len(probe.Quantities)
		}
		if len(p.Readings) != want {
			t.Errorf("poll %d: %d values, want %d", i, len(p.Readings), want)
		}
		for _, r := range p.Readings {
			if r.Value != value[r.Probe] {
				t.Errorf("poll %d: %s = %v, want %v", i, r.Probe, r.Value, value[r.Probe])
			}
		}
	}
	for _, row := range []struct {
		probe string
		q     sensors.Quantity
		n     int
	}{{"a1", sensors.Temperature, 9}, {"b1", sensors.Humidity, 12}, {"c1", sensors.CO2, 6}, {"d1", sensors.CO2, 0}} {
		points, err := a.Series(row.probe, row.q, start, start.Add(40*time.Minute), 1)
		n := 0
		for _, p := range points {
			n += p.N
			if p.Min != value[row.probe] || p.Max != value[row.probe] {
				t.Errorf("%s: %v", row.probe, p)
			}
		}
		if err != nil || n != row.n {
			t.Errorf("%s: %d values, %v; want %d", row.probe, n, err, row.n)
		}
	}
}

func TestCursorIsKeptAndClamped(t *testing.T) {
	dir := t.TempDir()
	probes := rabbitry(1)
	opts := archive.Options{Probes: probes}
	a := openAt(t, dir, opts)
	for i := range 10 {
		commit(t, a, poll(probes, start.Add(time.Duration(i)*30*time.Second), 20))
	}
	newest, _, err := a.Newest()
	if err != nil {
		t.Fatal(err)
	}
	if err := a.SetCursor("influx", newest); err != nil {
		t.Fatal(err)
	}
	a = reopen(t, a, dir, opts)
	if key, err := a.Cursor("influx"); err != nil || key != newest {
		t.Fatalf("cursor %d, %v; want %d", key, err, newest)
	}
	must(t, a.Close())
	edit(t, filepath.Join(dir, "readings.db"), "DELETE FROM polls WHERE key > ?", newest-120)

	a = openAt(t, dir, opts) // the newest four polls are gone, the cursor points past them
	key, err := a.Cursor("influx")
	if want := newest - 120; err != nil || key != want {
		t.Fatalf("cursor %d, %v; want it clamped to %d", key, err, want)
	}
	commit(t, a, poll(probes, start, 21)) // and the clock went back
	got := polls(t, a, key)
	if len(got) != 1 || got[0].Key <= newest {
		t.Errorf("after the loss: %v; want one poll to send, with a key above %d", got, newest)
	}
	if key, err := a.Cursor("never"); key != 0 || err != nil {
		t.Errorf("cursor of a new sink: %d, %v", key, err)
	}
	if upTo, n, err := a.Backlog(key, 10); upTo != got[0].Key || n != int64(len(got[0].Readings)) || err != nil {
		t.Errorf("backlog up to %d, %d readings, %v; want %d readings up to %d", upTo, n, err, len(got[0].Readings), got[0].Key)
	}
}

func TestArchiveRunsInABubble(t *testing.T) {
	dir := t.TempDir()
	synctest.Test(t, func(t *testing.T) {
		probes := rabbitry(2)
		a := openAt(t, dir, archive.Options{Probes: probes, Now: time.Now})
		for range 2 * 24 * 12 {
			time.Sleep(5 * time.Minute)
			commit(t, a, poll(probes, time.Now(), 20))
		}
		if n := len(polls(t, a, 0)); n != 576 {
			t.Errorf("%d polls in two days, want 576", n)
		}
	})
}
