package archive_test

import (
	"fmt"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/archive"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/book"
)

func event(nest string, at time.Time, s alarm.Severity) alarm.Event {
	return alarm.Event{
		Time: at, Since: at.Add(-time.Minute), Nest: nest, Name: alarm.NestHeat, State: alarm.Raised, Severity: s,
		Value: 31.5, Limit: 30, HasValue: true, HasLimit: true, Unit: "C", Probe: nest + "-air", Text: "open the lid",
		Rule: "nest air above the warning limit for 20 min", Source: "invented",
	}
}

func message(id string, at time.Time, s alarm.Severity) exporter.Message {
	return exporter.Message{ID: id, Time: at, Title: "a1 is hot", Body: "open the lid", Event: event("a1", at, s)}
}

func ids(t testing.TB, a *archive.Archive, channel string, now time.Time) []string {
	t.Helper()
	all, err := a.Pending(channel, now, 1<<30)
	if err != nil {
		t.Fatal(err)
	}
	out := []string{}
	for _, m := range all {
		out = append(out, m.ID)
	}
	return out
}

func TestEventsAndStandingComeBackWhole(t *testing.T) {
	dir := t.TempDir()
	a := openAt(t, dir, archive.Options{})
	c := exporter.Commit{Time: start, StandingChanged: true}
	for i := range 5 {
		c.Events = append(c.Events, event(fmt.Sprint("n", i), start.Add(time.Duration(i)*time.Second), alarm.Urgent))
	}
	c.Standing = []alarm.Standing{
		{Event: c.Events[4], Acknowledged: start.Add(time.Hour)},
		{Event: c.Events[0]},
	}
	commit(t, a, c)
	commit(t, a, exporter.Commit{Time: start.Add(time.Minute), Events: c.Events[:2]}) // the same again, nothing else changed
	a = reopen(t, a, dir, archive.Options{})
	got, err := a.Events(start.Add(time.Second), start.Add(time.Minute), 3)
	if want := []alarm.Event{c.Events[4], c.Events[3], c.Events[2]}; err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("events %v, %v; want %v", got, err, want)
	}
	if got, err := a.Events(start, start.Add(time.Hour), 100); err != nil || len(got) != 5 {
		t.Errorf("%d events, %v; want 5", len(got), err)
	}
	standing, err := a.Standing()
	if err != nil || !reflect.DeepEqual(standing, c.Standing) {
		t.Errorf("standing %v, %v; want %v", standing, err, c.Standing)
	}
	commit(t, a, exporter.Commit{Time: start, StandingChanged: true})
	if standing, err := a.Standing(); err != nil || len(standing) != 0 {
		t.Errorf("standing %v, %v; want none", standing, err)
	}
}

// Every field of what stands comes back, also one that is added later, and so does what was never on.
func TestStandingComesBackFieldByField(t *testing.T) {
	dir := t.TempDir()
	a := openAt(t, dir, archive.Options{})
	full := alarm.Standing{
		Event: event("oak", start, alarm.Urgent), Status: alarm.Shelved, Worst: alarm.Urgent, Over: start.Add(1), Acknowledged: start.Add(2), By: "ann",
		Left: 39*time.Minute + 1, Until: start.Add(time.Hour), Covers: alarm.Warning, Because: alarm.BusFault, First: true, Latched: true,
	}
	for i := range reflect.TypeOf(full).NumField() {
		if reflect.ValueOf(full).Field(i).IsZero() {
			t.Errorf("%s is not tried here", reflect.TypeOf(full).Field(i).Name)
		}
	}
	want := []alarm.Standing{
		full,
		{Event: event("elm", start, alarm.Warning)},
		{Event: alarm.Event{Nest: "oak", Name: alarm.ToteWet}, Status: alarm.Shelved, Left: time.Hour, Until: start.Add(time.Hour)},
		{Event: alarm.Event{Nest: "elm"}, Status: alarm.OutOfService, By: "ann"},
		{Event: alarm.Event{Name: alarm.ProbeSilent}, Status: alarm.Suppressed, Because: alarm.BusFault},
	}
	commit(t, a, exporter.Commit{Time: start, StandingChanged: true, Standing: want})
	a = reopen(t, a, dir, archive.Options{})
	got, err := a.Standing()
	if err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("standing\n%+v, %v; want\n%+v", got, err, want)
	}
	for i, st := range got {
		if st.On() != want[i].On() {
			t.Errorf("%+v is on: %v", st, st.On())
		}
	}
}

// Rows of older releases hold neither rule nor source, and of what stands only whether somebody has seen it.
func TestEventsOfOlderReleasesComeBack(t *testing.T) {
	dir := t.TempDir()
	a := openAt(t, dir, archive.Options{})
	want := event("oak", start, alarm.Urgent)
	seen := alarm.Standing{Event: event("elm", start, alarm.Warning), Acknowledged: start.Add(time.Hour)}
	now := alarm.Standing{Event: want, Status: alarm.Unacknowledged, Worst: alarm.Urgent, First: true}
	commit(t, a, exporter.Commit{Time: start, Events: []alarm.Event{want}, StandingChanged: true, Standing: []alarm.Standing{now, seen}})
	if err := a.Close(); err != nil {
		t.Fatal(err)
	}
	edit(t, filepath.Join(dir, "book.db"), "UPDATE events SET body = json_remove(body, '$.rule', '$.source')")
	edit(t, filepath.Join(dir, "book.db"), "UPDATE standing SET body = json_object('event', json_remove(json_extract(body, '$.event'), '$.rule', '$.source'),"+
		" 'acknowledged', json_extract(body, '$.acknowledged'))")
	a = openAt(t, dir, archive.Options{})
	want.Rule, want.Source, seen.Rule, seen.Source = "", "", "", ""
	if got, err := a.Events(start, start.Add(time.Minute), 3); err != nil || !reflect.DeepEqual(got, []alarm.Event{want}) {
		t.Errorf("events %+v, %v; want %+v", got, err, want)
	}
	if got, err := a.Standing(); err != nil || !reflect.DeepEqual(got, []alarm.Standing{{Event: want}, seen}) {
		t.Errorf("standing %+v, %v; want %+v and %+v", got, err, want, seen)
	}
}

func TestMessagesWaitForEachChannel(t *testing.T) {
	dir := t.TempDir()
	a := openAt(t, dir, archive.Options{})
	channels := func(names ...string) {
		t.Helper()
		if err := a.SetChannels(names); err != nil {
			t.Fatal(err)
		}
	}
	expect := func(channel string, now time.Time, want ...string) {
		t.Helper()
		if got := ids(t, a, channel, now); !reflect.DeepEqual(got, append([]string{}, want...)) {
			t.Errorf("%s owes %q, want %q", channel, got, want)
		}
	}
	channels("hook", "mail")
	night := message("night", start, alarm.Warning)
	night.After = start.Add(7 * time.Hour)
	all := []exporter.Message{message("one", start, alarm.Urgent), night, message("two", start, alarm.Urgent)}
	commit(t, a, exporter.Commit{Time: start, Messages: all})
	a = reopen(t, a, dir, archive.Options{})
	expect("hook", start, "one", "two")
	expect("mail", night.After, "one", "night", "two")
	expect("hook", start.AddDate(-10, 0, 0), "one", "night", "two") // the clock leapt back: nothing is held for ten years
	if err := a.Sent("hook", "one", start); err != nil {
		t.Fatal(err)
	}
	if err := a.Refused("mail", "two", "no such person"); err != nil {
		t.Fatal(err)
	}
	commit(t, a, exporter.Commit{Time: start, Messages: all}) // a repeated commit queues nothing twice
	expect("hook", start, "two")
	expect("mail", start, "one")
	if n, oldest, err := a.Waiting("hook"); n != 2 || !oldest.Equal(start) || err != nil {
		t.Errorf("waiting %d since %s, %v; want 2 since %s", n, oldest, err, start)
	}
	channels("mail", "push")
	expect("hook", start)
	expect("push", start)
	commit(t, a, exporter.Commit{Time: start, Messages: []exporter.Message{message("three", start, alarm.Urgent)}})
	expect("push", start, "three")
	expect("mail", start, "one", "three")
	if got, err := a.Pending("mail", start, 1); err != nil || len(got) != 1 || !reflect.DeepEqual(got[0], all[0]) {
		t.Errorf("pending %+v, %v; want %+v", got, err, all[0])
	}
}

func TestFullQueueDropsTheLeastSevereFirst(t *testing.T) {
	a := openAt(t, t.TempDir(), archive.Options{})
	if err := a.SetChannels([]string{"hook"}); err != nil {
		t.Fatal(err)
	}
	severities := []alarm.Severity{alarm.Urgent, alarm.Notice, alarm.Warning}
	var c exporter.Commit
	c.Time = start
	for i := range 1050 {
		c.Messages = append(c.Messages, message(fmt.Sprintf("%04d", i), start, severities[i%3]))
	}
	commit(t, a, c)
	got := ids(t, a, "hook", start)
	if len(got) != 1000 || a.Counts().DroppedMessages != 50 {
		t.Fatalf("%d wait and %d were dropped, want 1000 and 50", len(got), a.Counts().DroppedMessages)
	}
	// The fifty oldest notices are 1, 4, ..., 148.
	if got[0] != "0000" || got[1] != "0002" || got[100] != "0150" {
		t.Errorf("left: %q ...", got[:110])
	}
}

func TestEntriesAreAddedNeverChanged(t *testing.T) {
	dir := t.TempDir()
	a := openAt(t, dir, archive.Options{})
	eight := 8
	entries := []book.Entry{
		{ID: 1, Litter: 1, What: book.Bred, Nest: "a1", Doe: "Hazel", At: start, Day: true, Entered: start, By: "anna, by command"},
		{ID: 2, Litter: 1, What: book.Kindled, Nest: "a1", Kits: &eight, At: start.AddDate(0, 0, 31), Entered: start, Replaces: 1},
		{ID: 3, What: book.Did, Chore: alarm.SeasonSetupDue, At: start, Entered: start},
	}
	must(t, a.PutEntries(entries))
	for name, bad := range map[string][]book.Entry{
		"a number that is taken":            {{ID: 2, What: book.Noted}},
		"the second of two has one that is": {{ID: 4, What: book.Noted}, {ID: 1, What: book.Noted}},
	} {
		if err := a.PutEntries(bad); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
	a = reopen(t, a, dir, archive.Options{})
	if got, err := a.Entries(); err != nil || !reflect.DeepEqual(got, entries) {
		t.Errorf("%+v, %v; want %+v", got, err, entries)
	}
}

// One row that cannot be read hides no other.
func TestAnUnreadableEntry(t *testing.T) {
	dir := t.TempDir()
	a := openAt(t, dir, archive.Options{})
	must(t, a.PutEntries([]book.Entry{{ID: 1, Litter: 1, What: book.Bred, Nest: "a1", At: start}, {ID: 2, Litter: 1, What: book.Kindled, Nest: "a1", At: start}}))
	must(t, a.Close())
	edit(t, filepath.Join(dir, "book.db"), "UPDATE entries SET body = '{' WHERE id = 2")
	a = openAt(t, dir, archive.Options{})
	got, err := a.Entries()
	if err != nil || len(got) != 2 || got[0].Nest != "a1" || got[1].What != book.Noted || !strings.Contains(got[1].Note, "cannot be read") {
		t.Errorf("%+v, %v", got, err)
	}
}

// What an earlier release kept as columns is found again as entries, corrections and chores too.
func TestColumnsBecomeEntries(t *testing.T) {
	dir := t.TempDir()
	must(t, openAt(t, dir, archive.Options{}).Close())
	file := filepath.Join(dir, "book.db")
	at := func(days int) int64 { return start.AddDate(0, 0, days).UnixMilli() }
	edit(t, file, fmt.Sprintf(`DROP TABLE entries; DROP TABLE sends; PRAGMA user_version = 2;
		CREATE TABLE litters (id INTEGER PRIMARY KEY AUTOINCREMENT, nest TEXT NOT NULL, bred INTEGER, kindled INTEGER, ended INTEGER, born INTEGER NOT NULL);
		CREATE TABLE litters_before (id INTEGER NOT NULL, nest TEXT NOT NULL, bred INTEGER, kindled INTEGER, ended INTEGER, born INTEGER NOT NULL, replaced INTEGER NOT NULL);
		CREATE TABLE marks (nest TEXT NOT NULL, event TEXT NOT NULL, at INTEGER NOT NULL, PRIMARY KEY (nest, event, at)) WITHOUT ROWID;
		INSERT INTO litters VALUES (1, 'a1', %d, %d, %d, 8), (4, 'b2', %d, NULL, %d, 0), (5, 'b2', NULL, %d, NULL, 0);
		INSERT INTO litters_before VALUES (1, 'a1', %d, NULL, NULL, 0, %d);
		INSERT INTO marks VALUES ('a1', 'bedding-due', %d), ('', 'season-setup-due', %d);`,
		at(0), at(31), at(60), at(2), at(40), at(50), at(1), at(31), at(45), at(46)))
	a := openAt(t, dir, archive.Options{})
	got, err := a.Entries()
	if err != nil {
		t.Fatal(err)
	}
	b := book.New(book.Rules{Location: time.UTC}, got)
	one, four, five := b.Record(1), b.Record(4), b.Record(5)
	if one == nil || !one.Bred.Equal(start) || *one.Born != 8 || !one.Ended.Equal(start.AddDate(0, 0, 60)) || one.Nest() != "a1" {
		t.Errorf("litter 1: %+v", one)
	}
	if four == nil || !four.Failed || five == nil || five.Born != nil || !five.Kindled.Equal(start.AddDate(0, 0, 50)) {
		t.Errorf("litters 4 and 5: %+v, %+v", four, five)
	}
	notes := ""
	for _, e := range got {
		notes += e.Note
	}
	if !strings.Contains(notes, "bred "+start.AddDate(0, 0, 1).Format(time.DateOnly)) {
		t.Errorf("what was corrected is lost: %q", notes)
	}
	chores := map[alarm.Name]time.Time{}
	for _, m := range b.Marks() {
		chores[m.Chore] = m.At
	}
	if !chores[alarm.BeddingDue].Equal(start.AddDate(0, 0, 45)) || !chores[alarm.SeasonSetupDue].Equal(start.AddDate(0, 0, 46)) {
		t.Errorf("marks: %v", chores)
	}
}

func TestMeta(t *testing.T) {
	dir := t.TempDir()
	a := openAt(t, dir, archive.Options{})
	for _, v := range []string{"one", "two"} {
		if err := a.SetMeta("mqtt.client", v); err != nil {
			t.Fatal(err)
		}
	}
	a = reopen(t, a, dir, archive.Options{})
	for key, want := range map[string]string{"mqtt.client": "two", "other": ""} {
		if got, err := a.Meta(key); err != nil || got != want {
			t.Errorf("meta %s = %q, %v; want %q", key, got, err, want)
		}
	}
}
