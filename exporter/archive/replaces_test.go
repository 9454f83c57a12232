package archive_test

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/archive"
	"nestmon/thresholds/alarm"
)

// A phone that was away for days hears of what nobody answered once, not once for each repeat, and not at all when it was answered meanwhile.
// The alarm itself and its end stay.
func TestRepeatsDoNotPileUp(t *testing.T) {
	a, err := archive.Open(t.TempDir(), archive.Options{Now: time.Now})
	if err != nil {
		t.Fatal(err)
	}
	defer a.Close()
	if err := a.SetChannels([]string{"mobile", "post"}); err != nil {
		t.Fatal(err)
	}
	at, n := time.Date(2031, 7, 1, 2, 0, 0, 0, time.UTC), 0
	put := func(kind exporter.Kind, to ...string) {
		t.Helper()
		n++
		m := exporter.Message{ID: fmt.Sprint(n), Kind: kind, To: to, Time: at, Event: alarm.Event{Name: alarm.NestHeat, Severity: alarm.Urgent}}
		if err := a.Commit(exporter.Commit{Time: at, Messages: []exporter.Message{m}}); err != nil {
			t.Fatal(err)
		}
	}
	want := func(channel string, ids ...string) {
		t.Helper()
		waiting, err := a.Pending(channel, at, 100)
		if err != nil {
			t.Fatal(err)
		}
		var got []string
		for _, m := range waiting {
			got = append(got, m.ID)
		}
		if !slices.Equal(got, ids) {
			t.Errorf("%s waits for %v, want %v", channel, got, ids)
		}
	}
	put(exporter.Alarm, "mobile") // 1
	put(exporter.Repeat, "mobile")
	put(exporter.Repeat, "mobile")
	put(exporter.Repeat) // 4, to everybody
	put(exporter.AllWell, "post")
	put(exporter.AllWell, "post") // 6
	want("mobile", "1", "4")
	want("post", "4", "6")
	put(exporter.Repeat, "post") // 7
	want("mobile", "1", "4")
	want("post", "6", "7")
	if err := a.Commit(exporter.Commit{Time: at, StandingChanged: true, Answered: true}); err != nil {
		t.Fatal(err)
	}
	want("mobile", "1")
	want("post", "6")
}
