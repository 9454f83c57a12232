package litter_test

import (
	"encoding/json"
	"testing"
	"time"

	"nestmon/thresholds/brood"
	"nestmon/thresholds/litter"
)

// Dates added up by the datetime module of Python 3, apart from the code.
func TestCalendar(t *testing.T) {
	for _, c := range []struct {
		name, bred, kindled string
		kind                brood.Kind
		season              brood.Season
		want                string
	}{
		{
			"wooden box, winter, over a leap day, not kindled", "2024-02-01T00:00:00Z", "", brood.WoodenBox, brood.Winter,
			`{"bred":"2024-02-01","check_pregnancy":{"from":"2024-02-11","to":"2024-02-15"},` +
				`"box_due":{"from":"2024-02-28","to":"2024-03-01"},` +
				`"kindling":{"earliest":"2024-02-29","expected_from":"2024-03-03","expected_to":"2024-03-04","latest":"2024-03-07"},` +
				`"overdue":"2024-03-05","turn_box":"2024-03-17","remove_box":"2024-03-31","collect_from_tote":null,` +
				`"wean":{"from":"2024-03-31","to":"2024-04-29","suggested":"2024-04-07"}}`,
		},
		{
			"metal box, summer, kindled on day 30", "2025-06-01T00:00:00Z", "2025-07-01T04:00:00Z", brood.MetalBox, brood.Summer,
			`{"bred":"2025-06-01","check_pregnancy":{"from":"2025-06-11","to":"2025-06-15"},` +
				`"box_due":{"from":"2025-06-28","to":"2025-06-30"},` +
				`"kindling":{"earliest":"2025-06-29","expected_from":"2025-07-02","expected_to":"2025-07-03","latest":"2025-07-06"},` +
				`"overdue":"2025-07-04","turn_box":"2025-07-15","remove_box":"2025-07-22","collect_from_tote":null,` +
				`"wean":{"from":"2025-07-29","to":"2025-08-26","suggested":"2025-08-05"}}`,
		},
		{
			"tote, no leap day, not kindled", "2025-02-01T00:00:00Z", "", brood.BuriedTote, brood.Mild,
			`{"bred":"2025-02-01","check_pregnancy":{"from":"2025-02-11","to":"2025-02-15"},` +
				`"box_due":{"from":"2025-02-28","to":"2025-03-02"},` +
				`"kindling":{"earliest":"2025-03-01","expected_from":"2025-03-04","expected_to":"2025-03-05","latest":"2025-03-08"},` +
				`"overdue":"2025-03-06","turn_box":null,"remove_box":null,"collect_from_tote":{"from":"2025-03-14","to":"2025-03-17"},` +
				`"wean":{"from":"2025-04-01","to":"2025-04-30","suggested":"2025-04-08"}}`,
		},
		{
			"bred not known", "", "2025-07-01T04:00:00Z", brood.WoodenBox, brood.Mild,
			`{"bred":null,"check_pregnancy":null,"box_due":null,` +
				`"kindling":{"earliest":null,"expected_from":null,"expected_to":null,"latest":null},` +
				`"overdue":null,"turn_box":"2025-07-15","remove_box":"2025-07-29","collect_from_tote":null,` +
				`"wean":{"from":"2025-07-29","to":"2025-08-26","suggested":"2025-08-05"}}`,
		},
	} {
		t.Run(c.name, func(t *testing.T) {
			var bred, kindled time.Time
			if c.bred != "" {
				bred = at(t, c.bred)
			}
			if c.kindled != "" {
				kindled = at(t, c.kindled)
			}
			got, err := json.Marshal(shipped().Calendar(bred, kindled, c.kind, c.season, time.UTC))
			if err != nil {
				t.Fatal(err)
			}
			if string(got) != c.want {
				t.Errorf("got  %s\nwant %s", got, c.want)
			}
		})
	}
}

// The same instant is another date for another owner; a change of the clocks in between shifts nothing.
func TestCalendarIsLocal(t *testing.T) {
	bred := at(t, "2025-03-01T03:00:00Z")
	chicago := shipped().Calendar(bred, time.Time{}, brood.WoodenBox, brood.Mild, zone(t, "America/Chicago"))
	if got := chicago.Bred.String() + " " + chicago.Overdue.String(); got != "2025-02-28 2025-04-02" {
		t.Errorf("bred and overdue in Chicago: %s", got)
	}
	berlin := shipped().Calendar(bred, time.Time{}, brood.WoodenBox, brood.Mild, zone(t, "Europe/Berlin"))
	if got := berlin.Bred.String() + " " + berlin.Overdue.String(); got != "2025-03-01 2025-04-03" {
		t.Errorf("bred and overdue in Berlin: %s", got)
	}
}

func TestParseDate(t *testing.T) {
	for _, text := range []string{"", "2025-02-29", "2025-13-01", "1.3.2025", "2025-3-1", "2025-03-01T00:00:00Z"} {
		if d, err := litter.ParseDate(text); err == nil {
			t.Errorf("%q was read as %v", text, d)
		}
	}
	d, err := litter.ParseDate("2024-02-29")
	if err != nil || d != (litter.Date{Year: 2024, Month: time.February, Day: 29}) {
		t.Errorf("leap day: %v, %v", d, err)
	}
}

// Where the clocks are set forward at midnight there is no 00:00 on that date.
func TestDateBegins(t *testing.T) {
	for _, c := range []struct{ zone, date, want string }{
		{"America/Santiago", "2031-09-07", "2031-09-07T01:00:00-03:00"},
		{"America/Santiago", "2031-04-06", "2031-04-06T00:00:00-04:00"},
		{"America/Havana", "2031-03-09", "2031-03-09T01:00:00-04:00"},
		{"Africa/Cairo", "2031-04-25", "2031-04-25T01:00:00+03:00"},
		{"Europe/Berlin", "2031-03-30", "2031-03-30T00:00:00+01:00"},
	} {
		d, err := litter.ParseDate(c.date)
		if err != nil {
			t.Fatal(err)
		}
		if got := d.Begin(zone(t, c.zone)).Format(time.RFC3339); got != c.want {
			t.Errorf("%s in %s begins at %s, want %s", c.date, c.zone, got, c.want)
		}
	}
}

func shipped() *litter.Days {
	d := litter.DefaultDays()
	return &d
}
