package archive

import (
	"path/filepath"
	"testing"
	"time"

	"nestmon/exporter"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/book"
)

// The steps of the schema are no exported matter, so this test sits inside.
func TestOlderSchemaIsBroughtForward(t *testing.T) {
	path := filepath.Join(t.TempDir(), "x.db")
	old := kind{synchronous: "FULL", steps: []string{"CREATE TABLE a (n); INSERT INTO a VALUES (7)"}}
	opts := Options{Now: func() time.Time { return time.Unix(0, 0) }}.filled()
	open := func(k kind) (*store, error) {
		s, aside, err := openStore(path, k, true, opts)
		if len(aside) > 0 {
			t.Fatalf("set aside: %q", aside)
		}
		return s, err
	}
	s, err := open(old)
	if err != nil {
		t.Fatal(err)
	}
	if err := s.close(); err != nil {
		t.Fatal(err)
	}

	broken := old
	broken.steps = append(broken.steps[:1:1], "CREATE TABLE b (m); INSERT INTO nowhere VALUES (1)")
	if _, err := open(broken); err == nil {
		t.Fatal("a step that fails gave no error")
	}
	current := old
	current.steps = append(current.steps[:1:1], "CREATE TABLE b (m)", "INSERT INTO b SELECT n + 1 FROM a")
	for range 2 { // the second time there is nothing left to do
		s, err := open(current)
		if err != nil {
			t.Fatal(err)
		}
		var m, rows, version int
		if err := s.reader.QueryRow("SELECT max(m), count(*) FROM b").Scan(&m, &rows); err != nil || m != 8 || rows != 1 {
			t.Errorf("b holds %d in %d rows, %v; want 8 in 1", m, rows, err)
		}
		if err := s.reader.QueryRow("PRAGMA user_version").Scan(&version); err != nil || version != 3 {
			t.Errorf("version %d, %v; want 3", version, err)
		}
		if err := s.close(); err != nil {
			t.Fatal(err)
		}
	}
}

func TestWhatWasRefusedBeforeStaysKnown(t *testing.T) {
	dir := t.TempDir()
	before := readingsFile
	before.steps = before.steps[:1]
	s, _, err := openStore(filepath.Join(dir, readingsFile.name), before, true, Options{}.filled())
	if err != nil {
		t.Fatal(err)
	}
	if err := s.write(func(t *tx) error {
		return t.exec("INSERT INTO dead (sink, key, at, reason) VALUES ('influx', 7, 7000, 'type conflict')")
	}); err != nil {
		t.Fatal(err)
	}
	if err := s.close(); err != nil {
		t.Fatal(err)
	}
	a, err := Open(dir, Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer a.Close()
	all, err := a.Refusals()
	if err != nil || len(all) != 1 || all[0].Reason != "type conflict" || !all[0].From.Equal(time.Unix(7, 0)) || !all[0].To.Equal(time.Unix(7, 0)) {
		t.Errorf("%+v, %v", all, err)
	}
}

// A book of the first release has no table of acts, and what it holds stays.
func TestBookOfAnOlderReleaseTakesActs(t *testing.T) {
	dir, at := t.TempDir(), time.Unix(1800000000, 0).UTC()
	before := bookFile
	before.steps = before.steps[:1]
	s, _, err := openStore(filepath.Join(dir, bookFile.name), before, true, Options{}.filled())
	if err != nil {
		t.Fatal(err)
	}
	old := alarm.Event{Time: at, Since: at, Nest: "a1", Name: alarm.NestHeat, State: alarm.Raised, Severity: alarm.Urgent}
	if err := s.write(func(t *tx) error { return t.putEvent(old) }); err != nil {
		t.Fatal(err)
	}
	if err := s.close(); err != nil {
		t.Fatal(err)
	}
	did := alarm.Act{Action: alarm.Acknowledge, Nest: "a1", Event: alarm.NestHeat, By: "ann, command", At: at.Add(time.Minute)}
	var since time.Time
	for range 2 { // the second time there is nothing to bring forward
		a, err := Open(dir, Options{})
		if err != nil {
			t.Fatal(err)
		}
		if err := a.Commit(exporter.Commit{Time: at, Acts: []alarm.Act{did}}); err != nil {
			t.Fatal(err)
		}
		events, err := a.Events(at, at.Add(time.Hour), 10)
		if err != nil || len(events) != 1 {
			t.Errorf("events %v, %v; want the old one", events, err)
		}
		acts, err := a.Acts(at, at.Add(time.Hour), 10)
		if err != nil || len(acts) != 1 || acts[0] != did {
			t.Errorf("acts %v, %v; want %v once", acts, err, did)
		}
		first, err := a.ActsSince()
		if err != nil || !since.IsZero() && !first.Equal(since) {
			t.Errorf("acts are kept since %v, %v; before the restart it was %v", first, err, since)
		}
		since = first
		if err := a.Close(); err != nil {
			t.Fatal(err)
		}
	}
}

func TestEveryConnectionHasItsPragmas(t *testing.T) {
	s, _, err := openStore(filepath.Join(t.TempDir(), "x.db"), readingsFile, true, Options{}.filled())
	if err != nil {
		t.Fatal(err)
	}
	defer s.close()
	for name, q := range map[string]func(string) (string, error){
		"writer": func(p string) (v string, err error) { err = (&tx{s.conn}).row("PRAGMA " + p).Scan(&v); return },
		"reader": func(p string) (v string, err error) { err = s.reader.QueryRow("PRAGMA " + p).Scan(&v); return },
	} {
		for pragma, want := range map[string]string{"page_size": "1024", "journal_mode": "wal", "synchronous": "1", "wal_autocheckpoint": "1000"} {
			if got, err := q(pragma); err != nil || got != want {
				t.Errorf("%s: %s is %q, %v; want %q", name, pragma, got, err, want)
			}
		}
	}
}

// A book of the release before has no keys of what phones sent; what it holds stays, and keys are kept from then on.
func TestBookOfAnOlderReleaseTakesKeys(t *testing.T) {
	dir := t.TempDir()
	before := bookFile
	before.steps = before.steps[:3]
	s, _, err := openStore(filepath.Join(dir, bookFile.name), before, true, Options{}.filled())
	if err != nil {
		t.Fatal(err)
	}
	if err := s.write(func(t *tx) error { return t.putEntries([]book.Entry{{ID: 1, What: book.Noted, Note: "of before"}}) }); err != nil {
		t.Fatal(err)
	}
	if err := s.close(); err != nil {
		t.Fatal(err)
	}
	a, err := Open(dir, Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer a.Close()
	want := exporter.Sent{Sending: exporter.Sending{Key: "k", Digest: "d"}, Entries: []int64{2}}
	if err := a.PutSent([]book.Entry{{ID: 2, What: book.Noted}}, want); err != nil {
		t.Fatal(err)
	}
	a.recent = lately{}
	got, known, err := a.SentBefore("k")
	all, err2 := a.Entries()
	if err != nil || err2 != nil || !known || got.Digest != "d" || len(all) != 2 || all[0].Note != "of before" {
		t.Errorf("%+v, %v, %+v, %v %v", got, known, all, err, err2)
	}
}
