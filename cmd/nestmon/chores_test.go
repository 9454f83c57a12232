package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"nestmon/thresholds"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/book"
)

// A daemon's chores, through its own door: listed, marked for several nests at once or for none, struck by an entry of the book.
func TestChoreCommands(t *testing.T) {
	folder := barnFolder(t)
	b := newBarn(t, folder, demoStart)
	defer b.stop()
	b.poll(15, time.Hour)
	file := filepath.Join(folder, "nestmon.yaml")
	if err := os.WriteFile(file, []byte("data: "+folder+"\ncontrol: "+filepath.Join(folder, "control")+"\nprobes: [{id: p, source: recorded}]\nnests: [{id: box-0, kind: wooden-box, air: p}]\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	ago := func(days int) string { return demoStart.AddDate(0, 0, -days).Format(time.DateOnly) }
	yesterday, tomorrow := ago(1), demoStart.AddDate(0, 0, 3).Format(time.DateOnly)
	for _, row := range []struct {
		args string
		code int
		want []string
		not  string
	}{
		{"chores", exitDone, []string{"No chores."}, ""},
		{"litter bred --nest box-0 --on " + ago(29), exitDone, nil, ""},
		{"litter bred --nest box-1 --on " + ago(24), exitDone, nil, ""},
		{"chores", exitDone, []string{"Overdue\n  box-0      box-due", "late", "Coming\n  box-0      inspect-due", "  box-1      box-due", "Put the nest box in"}, "why:"},
		{"chores --why --nest box-0", exitDone, []string{"why: day 27 after breeding; a warning from day 29 [common practice, no source;"}, "box-1"},
		{"chores --days 1", exitDone, []string{"box-0      box-due"}, "box-1"},
		{"chores --days 99", exitWrongUse, []string{"write 0 to 60"}, ""},
		{"chores done --nest box-0", exitWrongUse, []string{"--event is missing"}, ""},
		{"chores done --nest box-0,box-9 --event box-due", exitWrongUse, []string{"box-9"}, ""},
		{"chores done --nest box-0 --event box-due --on " + tomorrow, exitWrongUse, []string{"in the future"}, ""},
		{"chores done --nest box-0 --event nest-heat", exitWrongUse, []string{"nest-heat"}, ""},
		{"chores done --event box-due", exitWrongUse, []string{"name the nest"}, ""},
		{"chores", exitDone, []string{"Overdue\n  box-0      box-due"}, ""}, // what was refused for one nest was written for none
		{"chores done --nest box-0,box-1 --event box-due --on " + yesterday, exitDone, []string{"box-due of nest box-0 is marked as done", "box-due of nest box-1 is marked as done"}, ""},
		{"chores", exitDone, []string{"Coming"}, "box-due"},
		{"chores done --nest box-0 --nest box-1 --event inspect-due", exitDone, []string{"nest box-0 is marked as looked into", "nest box-1 is marked as looked into"}, ""},
		{"chores did", exitWrongUse, []string{"write list, done or feed"}, ""},
	} {
		var out, errs strings.Builder
		code := run(t.Context(), append(strings.Fields(row.args), "--config", file), stdio{out: &out, err: &errs})
		text := out.String() + errs.String()
		if code != row.code || row.not != "" && strings.Contains(text, row.not) {
			t.Errorf("%s: %d, want %d, without %q:\n%s", row.args, code, row.code, row.not, text)
		}
		for _, want := range row.want {
			if !strings.Contains(text, want) {
				t.Errorf("%s: %q is not in:\n%s", row.args, want, text)
			}
		}
	}
	var out, errs strings.Builder
	var tasks []taskView
	if code := run(t.Context(), []string{"chores", "--json", "--config", file}, stdio{out: &out, err: &errs}); code != exitDone || json.Unmarshal([]byte(out.String()), &tasks) != nil {
		t.Fatalf("%d: %s%s", code, out.String(), errs.String())
	}
	done := 0
	for _, task := range tasks {
		if task.State == thresholds.Done && task.Event == alarm.BoxDue && task.Done != nil {
			done++
		}
	}
	if done != 2 {
		t.Errorf("%d boxes are in: %+v", done, tasks)
	}
	for range 2 { // struck, the box of the first is due again; the second time it was marked for the same day once more
		for _, e := range b.d.Book().Entries() {
			if e.Chore == alarm.BoxDue && e.Nest == "box-0" && b.d.Book().ReplacedBy(e.ID) == 0 {
				strike := book.Entry{What: book.Struck, Litter: e.Litter, Nest: e.Nest, Replaces: e.ID}
				if _, _, err := b.d.Enter(t.Context(), []book.Entry{strike}); err != nil {
					t.Fatal(err)
				}
			}
		}
		out.Reset()
		if run(t.Context(), []string{"chores", "--config", file}, stdio{out: &out, err: &errs}); !strings.Contains(out.String(), "Overdue\n  box-0      box-due") || strings.Contains(out.String(), "box-1      box-due") {
			t.Errorf("after the strike:\n%s", out.String())
		}
		again := "chores done --nest box-0 --event box-due --on " + yesterday + " --config " + file
		if code := run(t.Context(), strings.Fields(again), stdio{out: &out, err: &errs}); code != exitDone {
			t.Fatalf("%s: %d, %s", again, code, errs.String())
		}
	}
}

func TestWordsOfTime(t *testing.T) {
	now := time.Date(2031, 3, 30, 9, 0, 0, 0, time.UTC)
	bedding := markWords[alarm.BeddingDue].words("nest a1", now.Add(-80*time.Minute), now)
	if want := "bedding of nest a1 is marked as changed today 07:40; the load clock begins anew, and it counts as a look"; bedding != want {
		t.Errorf("%q, want %q", bedding, want)
	}
	for at, want := range map[string]string{
		"2031-03-29T21:10": "yesterday 21:10", "2031-03-30T00:00": "today", "2031-03-31T06:00": "tomorrow 06:00", "2031-04-02T00:00": "Wed 2 Apr 2031",
	} {
		when, err := time.Parse("2006-01-02T15:04", at)
		if err != nil {
			t.Fatal(err)
		}
		if got := dayAndTime(when, now); got != want {
			t.Errorf("%s: %q, want %q", at, got, want)
		}
	}
	for name := range markWords {
		if !name.Chore() {
			t.Errorf("%s is no chore", name)
		}
	}
}
