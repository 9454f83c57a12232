package archive_test

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/archive"
	"nestmon/thresholds/alarm"
)

// Copies taken while another process commits as fast as it can are whole, and what the book names is in the readings.
func TestCopyWhileAnotherProcessWrites(t *testing.T) {
	if testing.Short() {
		t.Skip("long, in two processes: runs without -short")
	}
	dir := t.TempDir()
	cmd := writer(t, dir)
	out, err := cmd.StdoutPipe()
	must(t, err)
	must(t, cmd.Start())
	t.Cleanup(func() {
		must(t, cmd.Process.Kill())
		_ = cmd.Wait() // killed, which is no news
	})
	next := func() (poll int64) {
		t.Helper()
		_, err := fmt.Fscan(out, &poll)
		must(t, err)
		return poll
	}
	next()
	told := make(chan int64) // the number of the newest poll, from 0
	go func() {              // so that the writer never waits for a reader
		defer close(told)
		for {
			var poll int64
			if _, err := fmt.Fscan(out, &poll); err != nil {
				return
			}
			select {
			case told <- poll:
			default:
			}
		}
	}()
	var before archive.Contents
	for range 8 {
		for poll := range told { // until there is one that the copy before does not hold
			if poll >= before.Rows["readings.db"]["polls"] {
				break
			}
		}
		to := t.TempDir()
		must(t, archive.Copy(dir, to))
		c, err := archive.Look(to)
		must(t, err)
		polls, events := c.Rows["readings.db"]["polls"], c.Rows["book.db"]["events"]
		if polls < 1 || before.Rows != nil && polls <= before.Rows["readings.db"]["polls"] {
			t.Errorf("%d polls after %v", polls, before.Rows)
		}
		// Every seventh poll has an event; that of a poll which is being committed may be there before it.
		if last := (events - 1) * 7; last > polls {
			t.Errorf("the book names poll %d, the readings hold %d", last, polls)
		}
		if want := start.Add(time.Duration(polls-1) * 30 * time.Second); !c.Newest.Equal(want) {
			t.Errorf("the newest of %d polls is of %s, want %s", polls, c.Newest, want)
		}
		left, err := os.ReadDir(to)
		must(t, err)
		if len(left) != 2 {
			t.Errorf("the copy is %v, want two files", left)
		}
		before = c
	}
	if used, err := archive.InUse(dir); !used || err != nil {
		t.Errorf("in use: %v, %v", used, err)
	}
	if _, err := archive.Open(dir, archive.Options{}); err == nil {
		t.Error("a second writer was let in")
	}
}

func TestInUseWhileItIsOpen(t *testing.T) {
	dir := t.TempDir()
	look := func(want bool) {
		t.Helper()
		if used, err := archive.InUse(dir); used != want || err != nil {
			t.Errorf("in use: %v, %v; want %v", used, err, want)
		}
	}
	look(false)
	a := openAt(t, dir, archive.Options{Probes: rabbitry(1)})
	look(true)
	commit(t, a, poll(rabbitry(1), start, 20))
	must(t, archive.Copy(dir, t.TempDir()))
	look(true) // reading the files has lost no lock
	must(t, a.Close())
	look(false)
}

// A copy holds what the archive holds, the state too, and a folder without an archive is none.
func TestCopyHoldsAll(t *testing.T) {
	dir, to := t.TempDir(), t.TempDir()
	if err := archive.Copy(dir, to); err == nil {
		t.Error("an empty folder was copied")
	}
	a := openAt(t, dir, archive.Options{Probes: rabbitry(2)})
	c := poll(rabbitry(2), start, 20)
	c.Events = []alarm.Event{event("a1", start, alarm.Urgent)}
	commit(t, a, c)
	must(t, a.PutState([]byte("as it was")))
	must(t, archive.Copy(dir, to))
	b, err := archive.Open(to, archive.Options{Probes: rabbitry(2)})
	must(t, err)
	defer b.Close()
	state, err := b.State()
	if string(state) != "as it was" || err != nil {
		t.Errorf("state %q, %v", state, err)
	}
	if n := len(polls(t, b, 0)); n != 1 {
		t.Errorf("%d polls", n)
	}
	if events, err := b.Events(start, start.Add(time.Hour), 9); len(events) != 1 || err != nil {
		t.Errorf("events %v, %v", events, err)
	}
}

func TestLookFindsDamage(t *testing.T) {
	dir := t.TempDir()
	filled(t, dir, 2000)
	_, err := archive.Look(dir)
	must(t, err)
	path := filepath.Join(dir, "readings.db")
	b, err := os.ReadFile(path)
	must(t, err)
	for i := range 64 { // a page in the middle
		b[len(b)/2+i] ^= 0x55
	}
	must(t, os.WriteFile(path, b, 0o600))
	if _, err := archive.Look(dir); err == nil {
		t.Error("a page that is broken was not found")
	}
}

func TestWithheldMessagesAreKeptWithTheReason(t *testing.T) {
	dir := t.TempDir()
	a := openAt(t, dir, archive.Options{})
	must(t, a.SetChannels([]string{"hook", "mail"}))
	commit(t, a, exporter.Commit{Time: start, Messages: []exporter.Message{message("one", start, alarm.Warning), message("two", start, alarm.Urgent)}})
	n, err := a.Withhold("of another day")
	if n != 2 || err != nil {
		t.Errorf("withheld %d, %v; want 2", n, err)
	}
	for _, channel := range []string{"hook", "mail"} {
		if got := ids(t, a, channel, start.Add(time.Hour)); !slices.Equal(got, []string{}) {
			t.Errorf("%s still waits for %q", channel, got)
		}
	}
	must(t, a.Close())
	if n := count(t, filepath.Join(dir, "book.db"), "SELECT count(*) FROM refused WHERE reason = 'of another day'"); n != 4 {
		t.Errorf("%d are kept with the reason, want 4", n)
	}
}
