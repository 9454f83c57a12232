package main

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"nestmon/exporter"
	"nestmon/thresholds/alarm"
)

func TestBackfillWrongUse(t *testing.T) {
	for _, row := range []struct{ args, want string }{
		{"", "--from is missing"},
		{"--to 2026-01-02", "--from is missing"},
		{"--from yesterday", "--from:"},
		{"--from 2026-01-02 --to 2026-01-01", "is not before --to 2026-01-01T00:00:00-07:00; write the earlier one"},
		{"--from 2999-01-01", "is still to come; write a time that is past"},
		{"--stop --from 2026-01-02", "--stop goes without"},
		{"--from 2026-01-02", "no daemon answers"},
	} {
		var out, err strings.Builder
		code := run(t.Context(), append([]string{"backfill", "--config", "example.yaml"}, strings.Fields(row.args)...), stdio{nil, &out, &err})
		if code != exitWrongUse || !strings.Contains(err.String(), row.want) || out.Len() > 0 {
			t.Errorf("%s: exit %d\n%s%s, want %q", row.args, code, out.String(), err.String(), row.want)
		}
	}
}

func TestWhereThePastCanBeSent(t *testing.T) {
	if _, err := (&sinks{}).past("influx"); err == nil || !strings.Contains(err.Error(), "write publish: {influxdb: ...}") {
		t.Errorf("without any: %v", err)
	}
}

func TestTheAnswerOfABackfill(t *testing.T) {
	day := func(d int) time.Time { return time.Date(2026, 3, d, 0, 0, 0, 0, time.UTC) }
	b := exporter.Backfill{From: day(1), To: day(3), Polls: 5760, Sent: 100}
	for _, row := range []struct {
		stop   bool
		oldest time.Time
		want   string
		short  bool
	}{
		{false, day(1), "Sending again to influx: 5760 polls of 2026-03-01 00:00 to 2026-03-03 00:00", false},
		{false, day(2), "Single readings are kept since 2026-03-02 00:00; nothing before that is sent.", true},
		{true, day(2), "Ended: 100 of 5760 polls", false},
	} {
		var out strings.Builder
		pastAnswer{"influx", b, row.oldest}.write(&out, pastRange{Stop: row.stop}, time.UTC)
		if !strings.Contains(out.String(), row.want) || strings.Contains(out.String(), "Single readings") != row.short {
			t.Errorf("got %q, want %q", out.String(), row.want)
		}
	}
}

// What a sink will not get any more by itself is a notice for a day, and no longer once it was sent again.
func TestWhatIsGoneIsTold(t *testing.T) {
	now := time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)
	ago := func(d time.Duration) time.Time { return now.Add(-d) }
	refused := exporter.SinkHealth{Name: "influx", OK: true, Refused: 45, RefusedAt: ago(time.Hour), RefusedWhy: "field type conflict"}
	with := func(b exporter.Backfill) exporter.SinkHealth { h := refused; h.Backfill = &b; return h }
	old := refused
	old.RefusedAt = ago(25 * time.Hour)
	for _, row := range []struct {
		name   string
		health exporter.SinkHealth
		want   string // of the words, empty for none
	}{
		{"nothing", exporter.SinkHealth{Name: "influx"}, ""},
		{"refused", refused, "influx refused 45 readings for good (field type conflict). They stay in the archive; whoever keeps nestmon can list them"},
		{"refused long ago", old, ""},
		{"being sent again", with(exporter.Backfill{Polls: 1}), "can list them on the board"},
		{"sent again since", with(exporter.Backfill{Polls: 1, Ended: ago(time.Minute)}), ""},
		{"sent again, but ended by a person", with(exporter.Backfill{Polls: 1, Ended: ago(time.Minute), Stopped: true}), "can list them on the board"},
		{"sent again and refused again", with(exporter.Backfill{Polls: 1, Ended: ago(2 * time.Hour)}), "can list them on the board"},
		{"too old", exporter.SinkHealth{Name: "influx", Pruned: 120, PrunedAt: ago(time.Hour)}, "120 polls grew too old in the archive before influx took them"},
		{"too old, long ago", exporter.SinkHealth{Name: "influx", Pruned: 120, PrunedAt: ago(25 * time.Hour)}, ""},
	} {
		var c alarm.Condition
		said := strings.Join(goneWords(row.health, now, now, &c), " ")
		if (row.want == "") != (said == "") || !strings.Contains(said, row.want) {
			t.Errorf("%s: %q, want %q", row.name, said, row.want)
		}
		if on := c.Severity == alarm.Notice && c.Count == 1 && c.Rule != ""; on != (row.want != "") {
			t.Errorf("%s: %+v", row.name, c)
		}
	}
}

func TestStatusOfWhatIsSentAgain(t *testing.T) {
	now := time.Date(2026, 3, 5, 12, 0, 0, 0, time.UTC)
	why, done, before := "field type conflict", now.Add(-time.Hour), now.Add(-25*time.Hour)
	for _, row := range []struct {
		news sinkNews
		want string
	}{
		{sinkNews{}, ""},
		{sinkNews{Refused: 3, RefusedWhy: &why}, "refused  influx: 3 for good, the last because: field type conflict\n"},
		{sinkNews{Pruned: 9}, "lost     influx: 9 polls grew too old before they were sent\n"},
		{sinkNews{Backfill: &againView{Polls: 9, Sent: 4}}, "4 of 9 polls of 0001-01-01 00:00 to 0001-01-01 00:00, 0 readings refused, goes on\n"},
		{sinkNews{Backfill: &againView{Polls: 9, Sent: 9}}, "waits a minute or two to be sure that it is kept\n"},
		{sinkNews{Backfill: &againView{Polls: 9, Sent: 9, Ended: &done}}, "done 2026-03-05 11:00\n"},
		{sinkNews{Backfill: &againView{Polls: 9, Sent: 2, Ended: &done, Stopped: true}}, "stopped 2026-03-05 11:00\n"},
		{sinkNews{Backfill: &againView{Polls: 9, Sent: 9, Ended: &before}}, ""},
	} {
		var out strings.Builder
		row.news.write(&out, "influx", now, time.UTC)
		if (row.want == "") != (out.Len() == 0) || !strings.HasSuffix(out.String(), row.want) {
			t.Errorf("%s: %q, want %q", fmt.Sprint(row.news), out.String(), row.want)
		}
	}
}
