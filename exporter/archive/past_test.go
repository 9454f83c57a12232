package archive_test

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/archive"
	"nestmon/sensors"
)

// A range is one of true times, whatever the clock did, and comes in the order of keys, page by page.
func TestPollsWithinARange(t *testing.T) {
	probes := rabbitry(1)
	a := openAt(t, t.TempDir(), archive.Options{Probes: probes})
	if oldest, err := a.Oldest(); !oldest.IsZero() || err != nil {
		t.Errorf("the oldest of none: %v, %v", oldest, err)
	}
	at := func(i int) time.Time { return start.Add(time.Duration(i) * 30 * time.Second) }
	for i := range 10 {
		commit(t, a, poll(probes, at(i), float64(i)))
	}
	for i := 3; i < 6; i++ { // the clock went back by three minutes and a half
		commit(t, a, poll(probes, at(i).Add(time.Millisecond), 100+float64(i)))
	}
	for i := 12; i < 15; i++ {
		commit(t, a, poll(probes, at(i), float64(i)))
	}
	value := func(polls []exporter.StoredPoll) (all []float64) {
		for _, p := range polls {
			all = append(all, p.Readings[0].Value)
		}
		return all
	}
	for _, row := range []struct {
		from, to int
		want     []float64
	}{
		{0, 20, []float64{0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 103, 104, 105, 12, 13, 14}},
		{4, 9, []float64{4, 5, 6, 7, 8, 104, 105}},
		{9, 13, []float64{9, 12}},
		{10, 12, nil},
	} {
		for _, most := range []int{1, 3, 100} {
			var got []float64
			after := int64(0)
			for {
				n, err := a.CountWithin(at(row.from), at(row.to), after)
				must(t, err)
				if want := len(row.want) - len(got); n != int64(want) {
					t.Fatalf("%v: %d are left, want %d", row, n, want)
				}
				page, err := a.PollsWithin(at(row.from), at(row.to), after, most)
				must(t, err)
				if len(page) == 0 {
					break
				}
				got, after = append(got, value(page)...), page[len(page)-1].Key
			}
			if !slices.Equal(got, row.want) {
				t.Errorf("from %d to %d, %d at a time: %v, want %v", row.from, row.to, most, got, row.want)
			}
		}
	}
	if oldest, err := a.Oldest(); !oldest.Equal(start) || err != nil {
		t.Errorf("the oldest: %v, %v", oldest, err)
	}
	whole, err := a.Polls(0, 100)
	must(t, err)
	if upTo, n, err := a.Backlog(0, 100); err != nil || upTo != whole[len(whole)-1].Key || n != int64(3*len(whole)) {
		t.Errorf("backlog up to %d with %d readings, %v; want %d in %d polls", upTo, n, err, 3*len(whole), len(whole))
	}
	if upTo, n, err := a.Backlog(whole[4].Key, 2); err != nil || upTo != whole[6].Key || n != 6 {
		t.Errorf("backlog of a page: up to %d with %d readings, %v", upTo, n, err)
	}
	if upTo, n, err := a.Backlog(whole[15].Key, 2); err != nil || upTo != whole[15].Key || n != 0 {
		t.Errorf("backlog of nothing: up to %d with %d readings, %v", upTo, n, err)
	}
}

func TestRefusals(t *testing.T) {
	dir, now := t.TempDir(), start
	opts := archive.Options{Probes: rabbitry(2), Now: func() time.Time { return now }}
	a := openAt(t, dir, opts)
	refused := func(key int, reason string, probes ...string) exporter.RefusedPoll {
		p := exporter.RefusedPoll{Reason: reason, StoredPoll: exporter.StoredPoll{Key: int64(key), Time: start.Add(time.Duration(key) * 30 * time.Second)}}
		for _, id := range probes {
			p.Readings = append(p.Readings, sensors.Reading{Probe: id, Quantity: sensors.Humidity})
		}
		return p
	}
	var old []exporter.RefusedPoll
	for key := 1; key <= 2880; key++ { // a day in a bucket that keeps an hour
		old = append(old, refused(key, "beyond retention", "b0-air", "a0-air"))
	}
	for part := range slices.Chunk(old, 100) {
		must(t, a.SetRefused("influx", part))
	}
	now = now.Add(time.Hour)
	must(t, a.SetRefused("influx", []exporter.RefusedPoll{
		refused(2885, "beyond retention", "co2"), refused(2885, "type conflict", "a0-air"), refused(2886, "type conflict", "a0-air"),
		refused(2886+121, "type conflict", "a0-air"), // more than an hour later
	}))
	must(t, a.SetRefused("other", []exporter.RefusedPoll{refused(2887, "type conflict", "a0-air")}))
	a = reopen(t, a, dir, opts)
	show := func() (all []string) {
		got, err := a.Refusals()
		must(t, err)
		for _, r := range got {
			key := func(at time.Time) int { return int(at.Sub(start) / (30 * time.Second)) }
			all = append(all, fmt.Sprintf("%s %s %d-%d %d polls %d readings %v %s", r.Sink, r.Reason, key(r.From), key(r.To), r.Polls, r.Readings, r.Series, r.Seen.Format("15:04")))
		}
		return all
	}
	want := []string{
		"influx beyond retention 1-2885 2881 polls 5761 readings [a0-air humidity b0-air humidity co2 humidity] 01:00",
		"influx type conflict 2885-2886 2 polls 2 readings [a0-air humidity] 01:00",
		"influx type conflict 3007-3007 1 polls 1 readings [a0-air humidity] 01:00",
		"other type conflict 2887-2887 1 polls 1 readings [a0-air humidity] 01:00",
	}
	if got := show(); !slices.Equal(got, want) {
		t.Errorf("%q\nwant %q", got, want)
	}
	// Refused again while being sent again: that one stays.
	asked := now.Add(time.Minute)
	now = now.Add(2 * time.Minute)
	must(t, a.SetRefused("influx", []exporter.RefusedPoll{refused(2886, "type conflict", "a0-air")}))
	must(t, a.Redeem("influx", start, start.Add(2887*30*time.Second), asked))
	want = append(want[2:], "influx type conflict 2886-2886 1 polls 1 readings [a0-air humidity] 01:02")
	if got := show(); !slices.Equal(got, want) {
		t.Errorf("after sending again %q\nwant %q", got, want)
	}
	for i := range 1100 {
		must(t, a.SetRefused("influx", []exporter.RefusedPoll{refused(4000, fmt.Sprint("reason ", i), "a0-air")}))
	}
	if got := show(); len(got) != 1000 {
		t.Errorf("%d are kept, want 1000", len(got))
	}
}
