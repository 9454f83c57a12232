package calls_test

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/calls"
)

// TestQuietHours drives one event through the clock and looks when it is told.
func TestQuietHours(t *testing.T) {
	newYork, err := time.LoadLocation("America/New_York")
	if err != nil {
		t.Fatal(err)
	}
	local := func(s string) time.Time {
		at, err := time.ParseInLocation("2006-01-02 15:04", s, newYork)
		if err != nil {
			t.Fatal(err)
		}
		return at
	}
	window := func(from, to string) calls.Window {
		a, errA := calls.ParseClock(from)
		b, errB := calls.ParseClock(to)
		if errA != nil || errB != nil {
			t.Fatal(errA, errB)
		}
		return calls.Window{From: a, To: b}
	}
	type what struct {
		name     alarm.Name
		severity alarm.Severity
		state    alarm.State
	}
	wet := what{alarm.ToteWet, warning, alarm.Raised}
	none, night, nap := calls.Window{}, window("22:00", "06:30"), window("13:00", "14:00")
	// In New York clocks went from 02:00 to 03:00 on 8 March 2026 and go from 02:00 back to 01:00 on 1 November 2026
	// (IANA time zone database).
	rows := []struct {
		name  string
		quiet calls.Window
		e     what
		now   time.Time
		told  time.Time // zero: at once
	}{
		{"no quiet hours", none, wet, local("2026-07-14 23:10"), time.Time{}},
		{"by day", night, wet, local("2026-07-14 12:00"), time.Time{}},
		{"before midnight", night, wet, local("2026-07-14 23:10"), local("2026-07-15 06:30")},
		{"after midnight", night, wet, local("2026-07-15 03:10"), local("2026-07-15 06:30")},
		{"the first minute", night, wet, local("2026-07-14 22:00"), local("2026-07-15 06:30")},
		{"the minute of the end", night, wet, local("2026-07-15 06:30"), time.Time{}},
		{"within one day", nap, wet, local("2026-07-15 13:59"), local("2026-07-15 14:00")},
		{"now in another zone", night, wet, local("2026-07-14 23:10").UTC(), local("2026-07-15 06:30")},
		{"urgent", night, what{alarm.NestHeat, urgent, alarm.Raised}, local("2026-07-15 03:10"), time.Time{}},
		{"urgent and not about kits", night, what{alarm.DaemonFault, urgent, alarm.Raised}, local("2026-07-15 03:10"), time.Time{}},
		{"end of an urgent one", night, what{alarm.NestHeat, urgent, alarm.Cleared}, local("2026-07-15 03:10"), time.Time{}},
		{"heat", night, what{alarm.NestHeat, warning, alarm.Raised}, local("2026-07-15 03:10"), time.Time{}},
		{"heat that is expected", night, what{alarm.HeatExpected, warning, alarm.Raised}, local("2026-07-15 03:10"), time.Time{}},
		{"chill", night, what{alarm.ClusterChill, warning, alarm.Raised}, local("2026-07-15 03:10"), time.Time{}},
		{"silent probe", night, what{alarm.ProbeSilent, warning, alarm.Raised}, local("2026-07-15 03:10"), time.Time{}},
		{"dead bus", night, what{alarm.BusFault, warning, alarm.Raised}, local("2026-07-15 03:10"), time.Time{}},
		{"data do not get out", night, what{alarm.SinkFault, warning, alarm.Raised}, local("2026-07-15 03:10"), local("2026-07-15 06:30")},
		{"end of a chill", night, what{alarm.ClusterChill, warning, alarm.Cleared}, local("2026-07-15 03:10"), local("2026-07-15 06:30")},
		{"end of a chill by day", night, what{alarm.ClusterChill, warning, alarm.Cleared}, local("2026-07-15 12:10"), time.Time{}},
		{"cold as a notice", night, what{alarm.NestCold, notice, alarm.Raised}, local("2026-07-15 03:10"), local("2026-07-15 06:30")},
		{"a notice by day", night, what{alarm.NestCold, notice, alarm.Raised}, local("2026-07-15 12:10"), local("2026-07-16 06:30")},
		{"kits born", night, what{alarm.Kindled, notice, alarm.Noted}, local("2026-07-15 12:10"), local("2026-07-16 06:30")},
		{"a notice without quiet hours", none, what{alarm.NestCold, notice, alarm.Raised}, local("2026-07-15 12:10"), local("2026-07-16 07:00")},
		{"a chore, whatever its severity", night, what{alarm.BoxDue, urgent, alarm.Raised}, local("2026-07-15 03:10"), local("2026-07-15 06:30")},
		{"a chore by day", night, what{alarm.KindlingOverdue, warning, alarm.Raised}, local("2026-07-15 12:10"), local("2026-07-16 06:30")},
		{"spring: the night is an hour short", night, wet, local("2026-03-07 23:00"), local("2026-03-08 06:30")},
		{"spring: the end does not exist", window("22:00", "02:30"), wet, local("2026-03-07 23:00"), local("2026-03-08 03:00")},
		{"autumn: the night is an hour long", night, wet, local("2026-10-31 23:00"), local("2026-11-01 06:30")},
		{"autumn: the second of two hours", window("22:00", "01:30"), wet, local("2026-11-01 03:00").Add(-110 * time.Minute), local("2026-11-01 03:00").Add(-90 * time.Minute)},
	}
	for _, row := range rows {
		t.Run(row.name, func(t *testing.T) {
			plan := talkative()
			plan.Quiet, plan.Zone = row.quiet, newYork
			r := newRig(t, plan, row.now.Add(-time.Minute))
			switch row.e.state {
			case alarm.Noted:
				r.note(row.e.name, row.e.severity)
			case alarm.Cleared:
				r.raise("a1", row.e.name, row.e.severity)
				r.step(0)
				r.made = nil
				r.clear("a1", row.e.name)
			default:
				r.raise("a1", row.e.name, row.e.severity)
			}
			want := row.told
			if want.IsZero() {
				want = row.now
			}
			for r.wall.Before(want) {
				if len(r.made) > 0 {
					t.Fatalf("told at %v, want %v", r.wall, want)
				}
				r.minute()
			}
			if len(r.made) != 1 || r.made[0].About[0].Name != row.e.name || (r.made[0].Why == calls.Waited) != !row.told.IsZero() {
				t.Errorf("at %v: %v", want, r.made)
			}
		})
	}
}

func TestQuietHoursThatHoldNoWarning(t *testing.T) {
	plan := quietly(talkative())
	plan.Holds = notice
	r := newRig(t, plan, night)
	r.raise("a1", alarm.ToteWet, warning)
	r.raise("a2", alarm.NestCold, notice)
	r.minutes(210)
	r.want("1: began a1/tote-wet warning > anna", "210: waited a2/nest-cold notice raised > anna")
}

// TestHeld begins at 03:00; the quiet hours end after 210 minutes.
func TestHeld(t *testing.T) {
	evening := quietly(talkative())
	evening.Digest = 18 * 60
	late := quietly(talkative())
	late.Digest = 23 * 60 // from then on until midnight it is quiet
	two := quietly(family())
	two.Contacts[1].AtLeast = notice
	play(t, []row{
		{"over before it was told", quietly(anna()), night, func(r *rig) {
			r.raise("a1", alarm.ToteWet, warning)
			r.minutes(30)
			r.clear("a1", alarm.ToteWet)
			r.minutes(24 * 60)
		}, []string{"210: waited a1/tote-wet warning cleared > anna"}},
		{"told in the morning, over by noon", quietly(anna()), night, func(r *rig) {
			r.raise("a1", alarm.ToteWet, warning)
			r.minutes(500)
			r.clear("a1", alarm.ToteWet)
			r.minute()
		}, []string{"210: waited a1/tote-wet warning raised > anna", "501: ended a1/tote-wet warning > anna"}},
		{"urgent before it was told", quietly(anna()), night, func(r *rig) {
			r.raise("a1", alarm.ToteWet, warning)
			r.minutes(30)
			r.raise("a1", alarm.ToteWet, urgent)
			r.minute()
			r.acknowledge()
			r.minutes(24 * 60)
		}, []string{"31: began a1/tote-wet urgent > anna"}},
		{"more of them in one night", quietly(anna()), night, func(r *rig) {
			r.raise("", alarm.SinkFault, warning)
			r.minute()
			r.raise("", alarm.SinkFault, warning)
			r.minutes(210)
		}, []string{"210: waited /sink-fault warning raised > anna"}},
		{"seen before it was told", quietly(anna()), night, func(r *rig) {
			r.raise("a1", alarm.ToteWet, warning)
			r.minute()
			r.acknowledge()
			r.minutes(24 * 60)
		}, nil},
		{"a chore that was done", quietly(talkative()), night, func(r *rig) {
			r.raise("a1", alarm.BoxDue, notice)
			r.minute()
			r.clear("a1", alarm.BoxDue)
			r.minutes(24 * 60)
		}, nil},
		{"a chore that is still due is not told twice", quietly(talkative()), night, func(r *rig) {
			r.raise("a1", alarm.KindlingOverdue, warning)
			r.minutes(600)
			r.clear("a1", alarm.KindlingOverdue)
			r.minutes(48 * 60)
		}, []string{"210: waited a1/kindling-overdue warning raised > anna"}},
		{"its shelf ends at night", quietly(anna()), night.Add(-9 * time.Hour), func(r *rig) { // 18:00
			r.raise("a1", alarm.ToteWet, warning)
			r.minute()
			r.do(alarm.Shelve, "a1", alarm.ToteWet)
			r.minutes(13 * 60)
		}, []string{"1: began a1/tote-wet warning > anna", "750: waited a1/tote-wet warning raised > anna"}},
		{"warnings in the morning, notices in the evening", evening, night, func(r *rig) {
			r.raise("a1", alarm.ToteWet, warning)
			r.minutes(300)
			r.raise("a2", alarm.NestCold, notice)
			r.minutes(24 * 60)
		}, []string{"210: waited a1/tote-wet warning raised > anna", "900: waited a2/nest-cold notice raised > anna"}},
		{"its hour lies within the quiet hours", late, noon, func(r *rig) {
			r.raise("a1", alarm.BoxDue, warning)
			r.minutes(48 * 60)
		}, []string{"1110: waited a1/box-due warning raised > anna"}},
		{"who only wants to know of notices what nobody else does", two, night, func(r *rig) {
			r.raise("a1", alarm.ToteWet, warning)
			r.raise("a2", alarm.NestCold, notice)
			r.minutes(210)
		}, []string{"210: waited a1/tote-wet warning raised a2/nest-cold notice raised > anna berta"}},
		{"one digest a day", talkative(), noon, func(r *rig) {
			r.raise("a1", alarm.NestCold, notice)
			r.minutes(60)
			r.raise("a2", alarm.NestCold, notice)
			r.note(alarm.Kindled, notice)
			r.minutes(48 * 60)
		}, []string{"1140: waited a1/nest-cold notice raised a2/nest-cold notice raised a1/kindled notice noted > anna"}},
	})
}

func TestDigestHasAnEnd(t *testing.T) {
	r := newRig(t, talkative(), noon)
	for i := range 250 {
		r.raise(fmt.Sprintf("n%d", i), alarm.NestCold, notice)
	}
	for range 24 {
		r.pass(time.Hour)
	}
	if len(r.made) != 1 || len(r.made[0].About) != 200 || r.made[0].Number != 50 || r.made[0].About[199].Nest != "n249" {
		t.Errorf("%d calls; the first about %d, without %d", len(r.made), len(r.made[0].About), r.made[0].Number)
	}
}

func TestAllWell(t *testing.T) {
	morning := anna()
	morning.AllWell = 8 * 60
	newYork, err := time.LoadLocation("America/New_York")
	if err != nil {
		t.Fatal(err)
	}
	abroad := morning
	abroad.Zone, abroad.AllWell = newYork, 2*60+30 // which on 8 March 2026 was no time, and on 1 November is twice
	abroad.AllWell = 90
	skipped := abroad
	skipped.AllWell = 2*60 + 30
	play(t, []row{
		{"first started before its hour", morning, night, func(r *rig) { r.minutes(48 * 60) }, []string{"300: all well > anna", "1740: all well > anna"}},
		{"first started after it", morning, noon, func(r *rig) { r.minutes(24 * 60) }, []string{"1200: all well > anna"}},
		{"an hour that is there twice", abroad, time.Date(2026, 10, 31, 12, 0, 0, 0, newYork), func(r *rig) { r.minutes(37 * 60) }, []string{"810: all well > anna"}},
		{"an hour that is not there", skipped, time.Date(2026, 3, 7, 12, 0, 0, 0, newYork), func(r *rig) { r.minutes(30 * 60) }, []string{"840: all well > anna"}},
		{"the board was off at its hour", morning, night, func(r *rig) {
			r.minutes(300)
			r.wall = r.wall.Add(27 * time.Hour) // 11:00 on the next day
			r.minutes(2)
		}, []string{"300: all well > anna", "301: all well > anna"}},
		{"never", anna(), noon, func(r *rig) { r.minutes(48 * 60) }, nil},
	})
}

// TestClockLeaps sets the clock ten years on or back in the middle of everything: repeats go on by the time that passes, the digest is told
// with nothing missing, and a leap brings one call of each daily kind more at most.
func TestClockLeaps(t *testing.T) {
	for _, years := range []int{10, -10} {
		for _, hour := range []int{3, 12} {
			t.Run(fmt.Sprintf("%+d years at %d:00", years, hour), func(t *testing.T) {
				plan := quietly(talkative())
				plan.AllWell = 8 * 60
				straight, leaping := newRig(t, plan, night), newRig(t, plan, night)
				const poll = 5 * time.Minute
				for at := time.Duration(0); at < 72*time.Hour; at += poll {
					for _, r := range []*rig{straight, leaping} {
						if at%(95*time.Minute) == 0 {
							r.raise(fmt.Sprintf("n%d", at), alarm.ToteWet, warning)
						}
						if at%(5*time.Hour) == 0 {
							r.raise(fmt.Sprintf("c%d", at), alarm.NestCold, notice)
						}
						if at == 9*time.Hour {
							r.raise("a1", alarm.NestHeat, urgent)
						}
						r.pass(poll)
					}
					if at == 24*time.Hour && hour == 3 || at == 33*time.Hour && hour == 12 {
						leaping.wall = leaping.wall.AddDate(years, 0, 0)
					}
				}
				for _, why := range []calls.Why{calls.AllWell, calls.Waited} {
					a, b := straight.byTime(why, 100*time.Hour), leaping.byTime(why, 100*time.Hour)
					if b < a || b > a+1 {
						t.Errorf("%d calls %q, without a leap %d", b, why, a)
					}
				}
				if a, b := straight.byTime(calls.Again, 100*time.Hour), leaping.byTime(calls.Again, 100*time.Hour); a != b {
					t.Errorf("%d repeats, without a leap %d", b, a)
				}
				if lost := leaping.unheard(); len(lost) > 0 {
					t.Errorf("nobody hears of %v", lost)
				}
				if a, b := len(straight.desk.State().Held), len(leaping.desk.State().Held); a != b {
					t.Errorf("%d events still wait, without a leap %d", b, a)
				}
			})
		}
	}
}

func TestClock(t *testing.T) {
	for text, want := range map[string]calls.Clock{"": calls.Never, "00:00": 0, "6:30": 390, "23:59": 1439} {
		if got, err := calls.ParseClock(text); got != want || err != nil {
			t.Errorf("%q: %v %v", text, got, err)
		}
	}
	for _, text := range []string{"24:00", "7", "7am", "12:60", "-1:00"} {
		if _, err := calls.ParseClock(text); err == nil {
			t.Errorf("%q is taken for a time of day", text)
		}
	}
	if got := []string{calls.Clock(390).String(), calls.Clock(0).String()}; !slices.Equal(got, []string{"06:30", "00:00"}) {
		t.Error(got)
	}
}
