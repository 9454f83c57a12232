package main

import (
	"strings"
	"testing"
	"time"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/litter"
)

func TestLitterChanges(t *testing.T) {
	day := func(d int) *time.Time {
		at := time.Date(2031, time.March, d, 0, 0, 0, 0, time.UTC)
		return &at
	}
	seven := 7
	cfg := &config{Nests: []nestConfig{{ID: "oak"}, {ID: "elm"}}}
	empty := []litter.Litter{}
	waiting := []litter.Litter{{ID: 1, Nest: "oak", Bred: *day(1)}}
	nursing := []litter.Litter{{ID: 1, Nest: "oak", Bred: *day(1), Kindled: *day(2)}}
	both := append(append([]litter.Litter{}, nursing...), litter.Litter{ID: 2, Nest: "oak", Bred: *day(9)})
	for name, c := range map[string]struct {
		book   []litter.Litter
		change litterChange
		want   litter.Litter
		refuse string
	}{
		"the first breeding":                       {empty, litterChange{Nest: "oak", Bred: day(1)}, litter.Litter{Nest: "oak", Bred: *day(1)}, ""},
		"the day of breeding is corrected":         {waiting, litterChange{Nest: "oak", Bred: day(3)}, litter.Litter{ID: 1, Nest: "oak", Bred: *day(3)}, ""},
		"she kindled":                              {waiting, litterChange{Nest: "oak", Kindled: day(4), Born: &seven}, litter.Litter{ID: 1, Nest: "oak", Bred: *day(1), Kindled: *day(4), Born: 7}, ""},
		"bred again while her kits are there":      {nursing, litterChange{Nest: "oak", Bred: day(9)}, litter.Litter{Nest: "oak", Bred: *day(9)}, ""},
		"the end means the kits, not the pregnant": {both, litterChange{Nest: "oak", Ended: day(12)}, litter.Litter{ID: 1, Nest: "oak", Bred: *day(1), Kindled: *day(2), Ended: *day(12)}, ""},
		"the kindling means the pregnant":          {both, litterChange{Nest: "oak", Kindled: day(12)}, litter.Litter{ID: 2, Nest: "oak", Bred: *day(9), Kindled: *day(12)}, ""},
		"another nest is left alone":               {both, litterChange{Nest: "elm", Kindled: day(5)}, litter.Litter{Nest: "elm", Kindled: *day(5)}, ""},
		"she did not kindle":                       {waiting, litterChange{Nest: "oak", Ended: day(9)}, litter.Litter{ID: 1, Nest: "oak", Bred: *day(1), Ended: *day(9)}, ""},
		"an end of nothing":                        {empty, litterChange{Nest: "oak", Ended: day(9)}, litter.Litter{}, "no litter that could end"},
		"kindled before bred":                      {[]litter.Litter{{ID: 1, Nest: "oak", Bred: *day(9)}}, litterChange{Nest: "oak", Kindled: day(3)}, litter.Litter{}, "before bred"},
		"a day to come":                            {empty, litterChange{Nest: "oak", Bred: day(29)}, litter.Litter{}, "in the future"},
		"an unknown nest":                          {empty, litterChange{Nest: "ash", Bred: day(1)}, litter.Litter{}, "not in the configuration"},
		"nothing":                                  {empty, litterChange{Nest: "oak"}, litter.Litter{}, "nothing to enter"},
	} {
		t.Run(name, func(t *testing.T) {
			got, err := c.change.apply(c.book, cfg, *day(20))
			switch {
			case c.refuse != "" && (err == nil || !strings.Contains(err.Error(), c.refuse)):
				t.Errorf("error %v, want one about %q", err, c.refuse)
			case c.refuse == "" && (err != nil || got != c.want):
				t.Errorf("%+v, %v; want %+v", got, err, c.want)
			}
		})
	}
}

func TestWeakSupplyIsSaid(t *testing.T) {
	s := newShed(t)
	events, _ := s.live(t, demoStart, demoStart.Add(5*time.Minute), func(d *daemon) { d.power = func() bool { return true } })
	if !found(events, "", alarm.PowerFault, alarm.Raised, alarm.Warning, demoStart, demoStart.Add(time.Hour)) {
		t.Errorf("no power-fault: %v", events)
	}
}
