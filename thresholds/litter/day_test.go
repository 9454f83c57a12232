package litter_test

import (
	"testing"
	"time"
	_ "time/tzdata" // the same zones on every machine

	"nestmon/thresholds/litter"
)

func zone(t testing.TB, name string) *time.Location {
	t.Helper()
	loc, err := time.LoadLocation(name)
	if err != nil {
		t.Fatal(err)
	}
	return loc
}

func at(t testing.TB, text string) time.Time {
	t.Helper()
	v, err := time.Parse(time.RFC3339, text)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func TestDay(t *testing.T) {
	for _, c := range []struct {
		name, zone, from, at string
		want                 int
	}{
		{"same instant", "UTC", "2025-03-01T00:00:00Z", "2025-03-01T00:00:00Z", 0},
		{"a minute after midnight is the next day", "UTC", "2025-03-01T23:59:00Z", "2025-03-02T00:01:00Z", 1},
		{"nearly two days are one", "UTC", "2025-03-01T00:00:00Z", "2025-03-02T23:59:59Z", 1},
		{"before", "UTC", "2025-03-01T00:30:00Z", "2025-02-28T23:30:00Z", -1},
		{"leap day", "UTC", "2024-02-28T12:00:00Z", "2024-03-01T12:00:00Z", 2},
		{"no leap day", "UTC", "2025-02-28T12:00:00Z", "2025-03-01T12:00:00Z", 1},
		{"no leap day in 2100", "UTC", "2100-02-28T12:00:00Z", "2100-03-01T12:00:00Z", 1},
		{"new year", "UTC", "2025-12-31T12:00:00Z", "2026-01-01T00:00:00Z", 1},
		// 2025-03-30 has 23 hours in Berlin, 2025-10-26 has 25.
		{"short day, both ends", "Europe/Berlin", "2025-03-29T23:00:00Z", "2025-03-30T21:59:59Z", 0},
		{"short day, after", "Europe/Berlin", "2025-03-29T23:00:00Z", "2025-03-30T22:00:00Z", 1},
		{"long day, both ends", "Europe/Berlin", "2025-10-25T22:00:00Z", "2025-10-26T22:59:59Z", 0},
		{"long day, after", "Europe/Berlin", "2025-10-25T22:00:00Z", "2025-10-26T23:00:00Z", 1},
		{"the owner's date, not the UTC one", "America/Chicago", "2025-06-01T23:00:00Z", "2025-06-02T04:00:00Z", 0},
		{"a gestation across both", "America/New_York", "2025-02-20T17:00:00Z", "2025-03-23T16:00:00Z", 31},
		{"first age of the calendar", "UTC", "0001-01-01T00:00:00Z", "2025-03-01T00:00:00Z", 739310},
	} {
		t.Run(c.name, func(t *testing.T) {
			if got := litter.Day(at(t, c.from), at(t, c.at), zone(t, c.zone)); got != c.want {
				t.Errorf("day %d, want %d", got, c.want)
			}
		})
	}
}

func TestNextDay(t *testing.T) {
	for _, c := range []struct{ name, zone, at, want string }{
		{"plain", "UTC", "2025-03-01T12:00:00Z", "2025-03-02T00:00:00Z"},
		{"at midnight itself", "UTC", "2025-03-01T00:00:00Z", "2025-03-02T00:00:00Z"},
		{"last nanosecond", "UTC", "2025-03-01T23:59:59.999999999Z", "2025-03-02T00:00:00Z"},
		{"short day", "Europe/Berlin", "2025-03-29T23:00:00Z", "2025-03-30T22:00:00Z"},
		{"long day", "Europe/Berlin", "2025-10-25T22:00:00Z", "2025-10-26T23:00:00Z"},
		// Chile's clocks jumped from 24:00 to 01:00 on 2024-09-07: that midnight does not exist.
		{"no midnight", "America/Santiago", "2024-09-07T12:00:00Z", "2024-09-08T04:00:00Z"},
		// Cuba's went back from 01:00 to 00:00 on 2024-11-03: midnight came twice, the first counts.
		{"midnight twice", "America/Havana", "2024-11-02T12:00:00Z", "2024-11-03T04:00:00Z"},
		// Samoa left out 2011-12-30.
		{"no such date", "Pacific/Apia", "2011-12-29T20:00:00Z", "2011-12-30T10:00:00Z"},
	} {
		t.Run(c.name, func(t *testing.T) {
			if got := litter.NextDay(at(t, c.at), zone(t, c.zone)); !got.Equal(at(t, c.want)) {
				t.Errorf("next day at %v, want %v", got.UTC(), c.want)
			}
		})
	}
}

// Whatever a zone does to its clocks, Day must not change before NextDay and must have changed at it.
func TestDayHoldsUntilNextDay(t *testing.T) {
	for _, name := range []string{
		"UTC", "Europe/London", "America/New_York", "America/Santiago", "America/Havana", "Africa/Cairo", "Asia/Beirut",
		"America/Asuncion", "Australia/Lord_Howe", "Pacific/Apia", "America/St_Johns", "Asia/Kathmandu",
	} {
		t.Run(name, func(t *testing.T) {
			loc := zone(t, name)
			end := at(t, "2013-01-01T00:00:00Z")
			for now := at(t, "2009-01-01T05:17:11Z"); now.Before(end); now = now.Add(5*time.Hour + 13*time.Minute) {
				next := litter.NextDay(now, loc)
				if !next.After(now) || litter.Day(now, next, loc) < 1 {
					t.Fatalf("from %v: %v is not a later day", now.In(loc), next)
				}
				if d := litter.Day(now, next.Add(-1), loc); d != 0 {
					t.Fatalf("from %v: day %d already just before %v", now.In(loc), d, next)
				}
			}
		})
	}
}

func BenchmarkNextDay(b *testing.B) {
	b.ReportAllocs()
	loc, now := zone(b, "Europe/Berlin"), at(b, "2025-03-29T23:00:00Z")
	for b.Loop() {
		_ = litter.NextDay(now, loc)
	}
}

func BenchmarkDay(b *testing.B) {
	b.ReportAllocs()
	loc, from, now := zone(b, "Europe/Berlin"), at(b, "2025-03-01T23:00:00Z"), at(b, "2025-03-29T23:00:00Z")
	for b.Loop() {
		_ = litter.Day(from, now, loc)
	}
}
