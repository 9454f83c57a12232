package main

import (
	"strings"
	"testing"
	"time"
)

// recordedDays is an invented January of one nest with kits of a few days: 20 °C and every ten minutes a row, but for 38 °C from 02:00 to 03:00
// Denver time on the 5th and from 14:00 to 15:00 on the 9th, and no row from the noon of the 20th to that of the 22nd.
func recordedDays() string {
	var b strings.Builder
	b.WriteString("time,probe,temperature_c\n")
	first := time.Date(2031, time.January, 1, 7, 0, 0, 0, time.UTC) // midnight there
	within := func(t time.Time, from, hours float64) bool {
		h := t.Sub(first).Hours() - from
		return h >= 0 && h < hours
	}
	for t := first; t.Before(first.AddDate(0, 0, 31)); t = t.Add(10 * time.Minute) {
		switch {
		case within(t, 19*24+12, 48):
			continue
		case within(t, 4*24+2, 1), within(t, 8*24+14, 1):
			b.WriteString(t.Format(time.RFC3339) + ",oak-air,38\n")
		default:
			b.WriteString(t.Format(time.RFC3339) + ",oak-air,20\n")
		}
	}
	return b.String()
}

func TestReplayTellsWhoWouldHaveBeenWoken(t *testing.T) {
	long(t)
	const litters = "nest,bred,kindled,born,ended\noak,2030-12-01,2031-01-01,8,\n"
	readings := recordedDays()
	code, events, errs := replayOn(t, readings, litters, "--quality")
	if code != exitDone {
		t.Fatalf("exit %d: %s", code, errs)
	}
	_, said, _ := strings.Cut(errs, "\n") // the summary's line
	head, rest, _ := strings.Cut(said, "\n")
	// 38 °C is urgent when it has lasted for ten minutes, counted from the minute after its first row. The gap begins by day.
	if want := "With these limits you would have been woken once in 31 days (January 2031): 5 Jan 02:11 oak: nest too hot."; head != want {
		t.Errorf("the first line is %q, want %q", head, want)
	}
	for _, want := range []string{
		"By day twice: 9 Jan 14:11 oak: nest too hot, 20 Jan 12:",
		"in 4.1 nest-weeks (1 nest)", // 31 days less two are 4.14 weeks
		"- 20 Jan 2031 to 22 Jan 2031: oak\n",
		"- chill at oak in 100 % of the hours",
		"never acknowledged                 not known",
	} {
		if !strings.Contains(rest, want) {
			t.Errorf("%q is not in:\n%s", want, rest)
		}
	}
	if !strings.Contains(rest, "No phone is configured") {
		t.Errorf("it is not said what counts as a call:\n%s", rest)
	}
	if _, without, _ := replayOn(t, readings, litters); without != events {
		t.Error("measuring changes the events")
	}
	if _, _, errs := replayOn(t, "time,probe,temperature_c\n", "", "--quality"); !strings.Contains(errs, "There is no row in the readings") {
		t.Errorf("of nothing it said %q", errs)
	}
}

// Where a phone is configured its own rules say what calls: 33 °C after 20 °C are
// warned of within the half hour, and a warning of heat passes the quiet hours.
func TestReplayCallsAsThePhoneDoes(t *testing.T) {
	long(t)
	const litters = "nest,bred,kindled,born,ended\noak,2030-12-01,2031-01-01,8,\n"
	readings := strings.ReplaceAll(recordedDays(), ",38\n", ",33\n")
	for level, want := range map[string]string{
		"warning": "woken once in 31 days (January 2031): 5 Jan 02:20 oak: will be too hot within two hours.\nBy day twice: 9 Jan 14:20 oak: will be too hot within two hours, 20 Jan 12:21\noak: no data",
		"urgent":  "woken not once in 31 days (January 2031).\nBy day once: 20 Jan 12:21 oak: no data",
	} {
		phone := "phone: {channels: [{name: mobile, url: 'http://127.0.0.1:1/', at_least: " + level + "}], quiet_hours: {from: '21:00', to: '06:00'}}\n"
		_, _, errs := replayWith(t, replayed+phone, readings, litters, "--quality")
		if !strings.Contains(errs, want) || !strings.Contains(errs, "Counted as the block phone says") {
			t.Errorf("%s: %q is not in:\n%s", level, want, errs)
		}
	}
}
