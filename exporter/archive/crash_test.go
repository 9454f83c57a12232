package archive_test

import (
	"database/sql"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/archive"
	"nestmon/thresholds/alarm"
)

var kills = flag.Int("kills", 5, "how often the writer is killed")

// writerEnv names the folder in which a copy of this test binary commits until it is killed.
const writerEnv = "NESTMON_TEST_ARCHIVE"

func TestMain(m *testing.M) {
	if dir := os.Getenv(writerEnv); dir != "" {
		fmt.Fprintln(os.Stderr, writeForEver(dir))
		os.Exit(1)
	}
	os.Exit(m.Run())
}

// writeForEver commits polls whose every value, event, message and cursor carries the poll's number.
func writeForEver(dir string) error {
	probes := rabbitry(4)
	a, err := archive.Open(dir, archive.Options{Probes: probes})
	if err != nil {
		return err
	}
	if aside := a.SetAside(); len(aside) > 0 {
		return fmt.Errorf("set aside: %q", aside)
	}
	if err := a.SetChannels([]string{"hook"}); err != nil {
		return err
	}
	newest, _, err := a.Newest()
	if err != nil {
		return err
	}
	for i := max(newest-start.Unix()+30, 0) / 30; ; i++ {
		at := start.Add(time.Duration(i) * 30 * time.Second)
		c := poll(probes, at, float64(i%300))
		if i%7 == 0 {
			c.Events = []alarm.Event{event("a1", at, alarm.Warning)}
			c.Acts = []alarm.Act{{Action: alarm.Acknowledge, Nest: "a1", By: "invented", At: at}}
			c.Messages = []exporter.Message{message(fmt.Sprint(i), at, alarm.Warning)}
			c.Standing, c.StandingChanged = []alarm.Standing{{Event: c.Events[0]}}, true
		}
		if err := a.SetCursor("influx", at.Unix()-30); err != nil {
			return err
		}
		if err := a.Commit(c); err != nil {
			return err
		}
		fmt.Println(i)
	}
}

func writer(t testing.TB, dir string) *exec.Cmd {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(self)
	cmd.Env = append(os.Environ(), writerEnv+"="+dir)
	cmd.Stderr = os.Stderr
	return cmd
}

func TestKilledWriterLeavesAllOrNone(t *testing.T) {
	dir := t.TempDir()
	for i := range *kills {
		cmd := writer(t, dir)
		out, err := cmd.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		var last int64
		for range 20 + 37*i%200 { // the kill falls into whatever follows this poll
			if _, err := fmt.Fscan(out, &last); err != nil {
				t.Fatal(err)
			}
		}
		if err := cmd.Process.Kill(); err != nil {
			t.Fatal(err)
		}
		_ = cmd.Wait() // killed, which is no news
		checkWhole(t, dir, last)
		if t.Failed() {
			return
		}
	}
}

func checkWhole(t *testing.T, dir string, last int64) {
	t.Helper()
	a, err := archive.Open(dir, archive.Options{Probes: rabbitry(4)})
	if err != nil {
		t.Fatal(err)
	}
	defer a.Close()
	if aside := a.SetAside(); len(aside) > 0 {
		t.Fatalf("set aside: %q", aside)
	}
	all := polls(t, a, 0)
	for i, p := range all {
		if want := start.Add(time.Duration(i) * 30 * time.Second); !p.Time.Equal(want) || len(p.Readings) != 9 {
			t.Fatalf("poll %d: %d values at %s, want 9 at %s", i, len(p.Readings), p.Time, want)
		}
		for _, r := range p.Readings {
			if r.Value != float64(i%300) {
				t.Fatalf("poll %d holds %v", i, r.Value)
			}
		}
	}
	n := int64(len(all))
	if n <= last {
		t.Fatalf("poll %d was committed, %d are stored", last, n)
	}
	// A cursor is written with every eleventh poll.
	if key, err := a.Cursor("influx"); err != nil || key > start.Unix()+30*(n-2) || n > 11 && key < start.Unix()+30*(n-13) {
		t.Errorf("cursor %d, %v; want one of the last of %d polls", key, err, n)
	}
	// Events of poll n may be there without the poll: they are written first.
	events, err := a.Events(start, start.AddDate(1, 0, 0), 1<<30)
	if want := (n + 6) / 7; err != nil || int64(len(events)) != want && int64(len(events)) != (n+7)/7 {
		t.Errorf("%d events for %d polls, %v; want %d", len(events), n, err, want)
	}
	acts, err := a.Acts(start, start.AddDate(1, 0, 0), 1<<30)
	if err != nil || len(acts) != len(events) || !acts[0].At.Equal(events[0].Time) {
		t.Errorf("%d acts for %d events, %v", len(acts), len(events), err)
	}
	standing, err := a.Standing()
	if err != nil || len(standing) != 1 || !standing[0].Time.Equal(events[0].Time) {
		t.Errorf("standing %v is not the newest event, %v", standing, err)
	}
	if waiting, _, err := a.Waiting("hook"); err != nil || waiting != min(int64(len(events)), 1000) {
		t.Errorf("%d messages for %d events, %v", waiting, len(events), err)
	}
	points, err := a.Series("a0-air", 0, start, start.Add(time.Duration(n)*30*time.Second), 1)
	if err != nil || len(points) != 1 || int64(points[0].N) != n {
		t.Errorf("graph of %d polls: %v, %v", n, points, err)
	}
}

func TestReadOnlyWhileAnotherProcessWrites(t *testing.T) {
	if testing.Short() {
		t.Skip("long, in two processes: runs without -short")
	}
	dir := t.TempDir()
	cmd := writer(t, dir)
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		must(t, cmd.Process.Kill())
		_ = cmd.Wait() // killed, which is no news
	})
	var last int64
	for range 5 {
		for range 400 { // often enough for the log to be moved into the file in between
			if _, err := fmt.Fscan(out, &last); err != nil {
				t.Fatal(err)
			}
		}
		a, err := archive.ReadOnly(dir, archive.Options{})
		if err != nil {
			t.Fatal(err)
		}
		n := 0
		err = a.PollsBetween(start, start.AddDate(1, 0, 0), func(p exporter.StoredPoll) error {
			if len(p.Readings) != 9 || p.Readings[0].Value != float64(n%300) {
				return fmt.Errorf("poll %d: %v", n, p)
			}
			n++
			return nil
		})
		if err != nil || int64(n) <= last {
			t.Errorf("%d polls, %v; at least %d were committed", n, err, last+1)
		}
		if err := a.Close(); err != nil {
			t.Error(err)
		}
	}
	if _, err := archive.Open(dir, archive.Options{}); err == nil {
		t.Error("a second writer was let in")
	}
}

func count(t testing.TB, path, query string, args ...any) int {
	t.Helper()
	db, err := sql.Open("sqlite", "file:"+filepath.ToSlash(path))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	var n int
	if err := db.QueryRow(query, args...).Scan(&n); err != nil {
		t.Fatal(err)
	}
	return n
}

// Closing any descriptor of a file drops a process's ordinary locks on it; copying the archive within the daemon must not.
func TestLockOutlastsACopyInTheSameProcess(t *testing.T) {
	dir := t.TempDir()
	a := openAt(t, dir, archive.Options{Probes: rabbitry(4)})
	commit(t, a, poll(rabbitry(4), start, 20))
	r, err := archive.ReadOnly(dir, archive.Options{})
	must(t, err)
	must(t, r.Close())
	cmd := writer(t, dir)
	cmd.Stderr = nil
	out, err := cmd.CombinedOutput()
	if err == nil || !strings.Contains(string(out), "another nestmon is using it") {
		t.Errorf("a second writer ended with %v and said %q", err, out)
	}
}
