package archive_test

import (
	"path/filepath"
	"reflect"
	"testing"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/archive"
	"nestmon/sensors"
	"nestmon/thresholds/alarm"
)

func act(nest string, a alarm.Action, at time.Time) alarm.Act {
	return alarm.Act{Action: a, Nest: nest, Event: alarm.NestHeat, For: time.Hour, By: "ann, command", At: at, Worst: alarm.Urgent}
}

func TestActsComeBackWholeAndOnce(t *testing.T) {
	dir := t.TempDir()
	a := openAt(t, dir, archive.Options{})
	if since, err := a.ActsSince(); err != nil || since.IsZero() {
		t.Fatalf("acts are kept since %v, %v", since, err)
	}
	seen, shelved := act("a1", alarm.Acknowledge, start), act("", alarm.Shelve, start.Add(time.Minute))
	for range 2 { // a poll that is committed again
		commit(t, a, exporter.Commit{Time: start, Acts: []alarm.Act{seen, shelved}})
	}
	commit(t, a, exporter.Commit{Time: start.Add(time.Hour), Acts: []alarm.Act{act("a1", alarm.Acknowledge, start.Add(time.Hour))}})
	a = reopen(t, a, dir, archive.Options{})
	if got, err := a.Acts(start, start.Add(time.Hour), 10); err != nil || !reflect.DeepEqual(got, []alarm.Act{shelved, seen}) {
		t.Errorf("got %v, %v; want the two of the first hour, the newest first", got, err)
	}
	if got, err := a.Acts(start, start.Add(2*time.Hour), 1); err != nil || len(got) != 1 || !got[0].At.Equal(start.Add(time.Hour)) {
		t.Errorf("got %v, %v; want the newest", got, err)
	}
	if since, err := a.ActsSince(); err != nil || !since.Equal(start) {
		t.Errorf("acts are kept since %v, %v; the first is of %v", since, err, start)
	}
}

// What is too old goes, and the oldest of what is too much.
func TestActsAreBounded(t *testing.T) {
	if testing.Short() {
		t.Skip("long, in one goroutine: runs without -short")
	}
	dir := t.TempDir()
	probes := rabbitry(1)
	a := openAt(t, dir, archive.Options{Probes: probes})
	commit(t, a, exporter.Commit{Time: start, Acts: []alarm.Act{act("a1", alarm.Acknowledge, start)}})
	must(t, a.Close())
	book := filepath.Join(dir, "book.db")
	edit(t, book, `WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < 100003)
		INSERT INTO acts (at, nest, event, action, by, body) SELECT ? + i, 'a1', '', 'acknowledge', 'a page gone mad', '{}' FROM n`, start.UnixMilli())
	a = openAt(t, dir, archive.Options{Probes: probes})
	commit(t, a, poll(probes, start.Add(time.Hour), 20))
	must(t, a.Close())
	if n, oldest := count(t, book, "SELECT count(*) FROM acts"), count(t, book, "SELECT min(seq) FROM acts"); n != 100000 || oldest != 5 {
		t.Errorf("%d acts from number %d on, want 100000 from 5 on", n, oldest)
	}
	a = openAt(t, dir, archive.Options{Probes: probes})
	late := start.Add(2*365*24*time.Hour + 2*time.Hour)
	commit(t, a, exporter.Commit{Time: late, Readings: poll(probes, late, 20).Readings, Acts: []alarm.Act{act("a1", alarm.Acknowledge, late)}})
	if got, err := a.Acts(start, late.Add(time.Hour), 1<<30); err != nil || len(got) != 1 || !got[0].At.Equal(late) {
		t.Errorf("%d acts, %v; want the one of today", len(got), err)
	}
}

// An hour counts for a probe that had a temperature in it, for no other.
func TestHoursInWhichAProbeWasHeard(t *testing.T) {
	probes := []sensors.Probe{probe("warm", sensors.Temperature), probe("damp", sensors.Humidity), probe("late", sensors.Temperature)}
	a := openAt(t, t.TempDir(), archive.Options{Probes: probes})
	for m := 0; m < 5*60; m += 10 {
		if m >= 120 && m < 180 {
			continue
		}
		c := poll(probes, start.Add(time.Duration(m)*time.Minute), 20)
		if m < 185 {
			c.Readings = c.Readings[:2]
		}
		commit(t, a, c)
	}
	heard := map[string][]int{}
	must(t, a.Heard(start, start.Add(24*time.Hour), func(hour time.Time, probe string) {
		heard[probe] = append(heard[probe], int(hour.Sub(start).Hours()))
	}))
	if want := map[string][]int{"warm": {0, 1, 3}, "late": {3}}; !reflect.DeepEqual(heard, want) { // the fifth hour is not over
		t.Errorf("heard %v, want %v", heard, want)
	}
}
