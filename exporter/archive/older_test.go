package archive_test

import (
	"errors"
	"iter"
	"math"
	"path/filepath"
	"reflect"
	"slices"
	"testing"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/archive"
	"nestmon/sensors"
)

// each hands out polls, and then the error.
func each(all []exporter.StoredPoll, end error) iter.Seq2[exporter.StoredPoll, error] {
	return func(yield func(exporter.StoredPoll, error) bool) {
		for _, p := range all {
			if !yield(p, nil) {
				return
			}
		}
		if end != nil {
			yield(exporter.StoredPoll{}, end)
		}
	}
}

func between(t *testing.T, a *archive.Archive) (all []exporter.StoredPoll) {
	t.Helper()
	must(t, a.PollsBetween(time.Time{}, start.AddDate(1, 0, 0), func(p exporter.StoredPoll) error {
		slices.SortFunc(p.Readings, func(a, b sensors.Reading) int {
			if a.Probe != b.Probe {
				return map[bool]int{true: -1, false: 1}[a.Probe < b.Probe]
			}
			return int(a.Quantity) - int(b.Quantity)
		})
		p.Key = 0
		all = append(all, p)
		return nil
	}))
	return all
}

// An archive that gets its past afterwards, in two parts and with its probes in another order, is in every graph the one that had lived
// through it, and goes on as if nothing had been.
func TestOlderPollsAreAsIfTheyHadBeenStored(t *testing.T) {
	if testing.Short() {
		t.Skip("long, in one goroutine: runs without -short")
	}
	const fives = 4 * 24 * 12 // polls five fives apart
	probes := rabbitry(2)
	turned := slices.Clone(probes)
	slices.Reverse(turned)
	at := func(i int) time.Time { return start.Add(time.Duration(i) * 5 * time.Minute) }
	value := func(i int) float64 { return 20 + 15*math.Sin(float64(i)/40) }
	now := func() time.Time { return at(fives) }
	whole, late := openAt(t, t.TempDir(), archive.Options{Probes: probes, Now: now}), openAt(t, t.TempDir(), archive.Options{Probes: turned, Now: now})
	for i := range fives {
		if i > 140 && i < 180 {
			continue // a hole
		}
		commit(t, whole, poll(probes, at(i), value(i)))
		if i >= 800 { // in the middle of an hour, which is 792
			commit(t, late, poll(turned, at(i), value(i)))
		}
	}
	sent, _, err := late.Newest()
	must(t, err)
	past := polls(t, whole, 0)
	if done, err := late.PutOlder(probes, each(past[:150], errors.New("the file ends in the middle"))); err == nil || done.Polls != 0 {
		t.Fatalf("%+v, %v", done, err)
	}
	if n := len(polls(t, late, 0)); n != fives-800 {
		t.Fatalf("%d polls after an import that failed", n)
	}
	second := slices.IndexFunc(past, func(p exporter.StoredPoll) bool { return !p.Time.Before(at(300)) })
	done, err := late.PutOlder(probes, each(past[second:], nil))
	if err != nil || done.Polls != 792-300 || done.Left != fives-792 || !done.Begins.Equal(at(792)) {
		t.Fatalf("the newer part: %+v, %v", done, err)
	}
	if done, err = late.PutOlder(probes, each(past, nil)); err != nil || done.Polls != second || !done.Begins.Equal(at(300)) {
		t.Fatalf("the older part: %+v, %v", done, err)
	}
	if done, err = late.PutOlder(probes, each(past, nil)); err != nil || done.Polls != 0 || done.Left != len(past) {
		t.Fatalf("once more: %+v, %v", done, err)
	}
	if more := polls(t, late, sent); len(more) != 0 {
		t.Errorf("%d old polls wait to be sent as new", len(more))
	}
	want := slices.DeleteFunc(between(t, whole), func(p exporter.StoredPoll) bool { return !p.Time.Before(at(792)) && p.Time.Before(at(800)) })
	if got := between(t, late); !reflect.DeepEqual(got, want) {
		t.Errorf("%d polls, want %d", len(got), len(want))
	}
	for i := fives; i < fives+18; i++ {
		commit(t, whole, poll(probes, at(i), value(i)))
		commit(t, late, poll(turned, at(i), value(i)))
	}
	for _, row := range []struct {
		from, to time.Time
		buckets  int
	}{
		{at(0), at(300), 300}, {at(20), at(792), 777}, {at(0), at(792), 66}, {at(0), at(792), 11}, {at(804), at(fives + 18), 100}, {at(804), at(fives + 12), 30},
	} {
		for _, p := range probes {
			for _, q := range p.Quantities {
				got, err := late.Series(p.ID, q, row.from, row.to, row.buckets)
				must(t, err)
				want, err := whole.Series(p.ID, q, row.from, row.to, row.buckets)
				must(t, err)
				same := func(a, b archive.Point) bool { // a bucket over two layouts is added up in two parts
					return a.Time.Equal(b.Time) && a.N == b.N && a.Min == b.Min && a.Max == b.Max && math.Abs(a.Mean-b.Mean) < 1e-9
				}
				if !slices.EqualFunc(got, want, same) {
					t.Errorf("%s %s from %v in %d: %v\nwant %v", p.ID, q, row.from, row.buckets, got, want)
				}
			}
		}
	}
	if lived, heard := heard(t, whole), heard(t, late); !reflect.DeepEqual(heard, lived) {
		t.Errorf("hours %v, want %v", heard, lived)
	}
}

func heard(t *testing.T, a *archive.Archive) (all []string) {
	t.Helper()
	must(t, a.Heard(time.Time{}, start.AddDate(1, 0, 0), func(hour time.Time, probe string) { all = append(all, hour.String()+probe) }))
	slices.Sort(all)
	return all
}

// A value that cannot be refuses all, and an empty archive takes everything up to now, with every fraction of a second.
func TestOlderPollsOfAnEmptyArchive(t *testing.T) {
	dir, probes := t.TempDir(), rabbitry(1)
	opts := archive.Options{Probes: probes, Now: func() time.Time { return start.Add(time.Hour) }}
	a := openAt(t, dir, opts)
	var past []exporter.StoredPoll
	for i := range 5 {
		when := start.Add(time.Duration(i) * 300 * time.Millisecond)
		past = append(past, exporter.StoredPoll{Time: when, Readings: []sensors.Reading{{Probe: "a0-air", Quantity: sensors.Temperature, Time: when, Value: float64(i)}}})
	}
	wrong := append(slices.Clone(past), exporter.StoredPoll{Time: start.Add(time.Minute), Readings: []sensors.Reading{{Probe: "a0-air", Quantity: sensors.Temperature, Value: 900}}})
	if done, err := a.PutOlder(probes, each(wrong, nil)); err == nil || done.Polls != 0 || len(polls(t, a, 0)) != 0 {
		t.Errorf("900 °C: %+v, %v", done, err)
	}
	if done, err := a.PutOlder(probes, each(past, nil)); err != nil || done.Polls != 5 || done.Readings != 5 {
		t.Errorf("%+v, %v", done, err)
	}
	a = reopen(t, a, dir, opts)
	commit(t, a, poll(probes, start.Add(time.Hour), 20))
	commit(t, a, poll(probes, start.Add(3*time.Hour), 20))
	if n := len(between(t, a)); n != 7 {
		t.Errorf("%d polls", n)
	}
	if got, err := a.Series("a0-air", sensors.Temperature, start, start.Add(2*time.Hour), 2); err != nil || len(got) != 2 || got[0].N != 5 || got[0].Max != 4 {
		t.Errorf("%+v, %v", got, err)
	}
}

// Where polls were removed for age their hours are kept, and say enough: no older poll is taken for one of them.
func TestNoPollIsOlderThanAnHourThatIsKept(t *testing.T) {
	dir, probes := t.TempDir(), rabbitry(1)
	opts := archive.Options{Probes: probes, Now: func() time.Time { return start.Add(24 * time.Hour) }}
	a := openAt(t, dir, opts)
	for i := range 300 {
		commit(t, a, poll(probes, start.Add(time.Duration(i)*time.Minute), 20))
	}
	past := polls(t, a, 0)
	must(t, a.Close())
	edit(t, filepath.Join(dir, "readings.db"), "DELETE FROM polls WHERE key < ?", start.Add(200*time.Minute).Unix())
	edit(t, filepath.Join(dir, "readings.db"), "UPDATE layouts SET since = ?", start.Add(200*time.Minute).Unix())
	a = openAt(t, dir, opts)
	if done, err := a.PutOlder(probes, each(past, nil)); err != nil || done.Polls != 0 || !done.Begins.Equal(start) {
		t.Errorf("%+v, %v", done, err)
	}
}
