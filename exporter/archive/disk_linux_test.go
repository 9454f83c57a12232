package archive_test

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/archive"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/book"
)

// tinyDisk mounts a file system of its own, or skips.
func tinyDisk(t *testing.T, options string) string {
	t.Helper()
	dir := t.TempDir()
	if err := syscall.Mount("tmpfs", dir, "tmpfs", 0, options); err != nil {
		t.Skipf("skipped: a full disk needs the right to mount one (run as root): %v", err)
	}
	t.Cleanup(func() {
		if err := syscall.Unmount(dir, syscall.MNT_DETACH); err != nil {
			t.Error(err)
		}
	})
	return dir
}

func TestFullDiskIsAnErrorUntilThereIsRoom(t *testing.T) {
	dir := tinyDisk(t, "size=512k")
	probes := rabbitry(4)
	a := openAt(t, dir, archive.Options{Probes: probes})
	if err := a.SetChannels([]string{"hook"}); err != nil {
		t.Fatal(err)
	}
	commit(t, a, poll(probes, start, 20))
	ballast := filepath.Join(dir, "ballast")
	fillUp(t, ballast)

	stored, failed, unqueued := 1, 0, 0
	at := start
	for range 200 {
		at = at.Add(30 * time.Second)
		c := poll(probes, at, 20)
		c.Events = []alarm.Event{event("a1", at, alarm.Urgent)}
		c.Messages = []exporter.Message{message(at.String(), at, alarm.Urgent)}
		err := a.Commit(c)
		if err == nil {
			stored++
			continue
		}
		failed++
		if errors.Is(err, archive.ErrBook) {
			unqueued++
		}
	}
	if failed < 100 || unqueued == 0 {
		t.Fatalf("%d commits failed on a full disk, %d of them without their messages", failed, unqueued)
	}
	if err := os.Remove(ballast); err != nil {
		t.Fatal(err)
	}
	for range 10 {
		at = at.Add(30 * time.Second)
		commit(t, a, poll(probes, at, 21))
		stored++
	}
	got := polls(t, a, 0)
	if len(got) < stored || got[len(got)-1].Readings[0].Value != 21 { // a commit may fail in the book alone
		t.Errorf("%d polls are stored, want at least %d", len(got), stored)
	}
	a = reopen(t, a, dir, archive.Options{Probes: probes})
	if aside := a.SetAside(); len(aside) > 0 {
		t.Errorf("set aside: %q", aside)
	}
	if n := len(polls(t, a, 0)); n != len(got) {
		t.Errorf("%d polls after a restart, want %d", n, len(got))
	}
}

func fillUp(t *testing.T, path string) {
	t.Helper()
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	for block := make([]byte, 4096); ; {
		if _, err := f.Write(block); errors.Is(err, syscall.ENOSPC) {
			return
		} else if err != nil {
			t.Fatal(err)
		}
	}
}

func TestReadOnlyDisk(t *testing.T) {
	dir := tinyDisk(t, "size=4m")
	filled(t, dir, 10)
	if err := syscall.Mount("", dir, "", syscall.MS_REMOUNT|syscall.MS_RDONLY, ""); err != nil {
		t.Fatal(err)
	}
	if _, err := archive.Open(dir, archive.Options{}); !errors.Is(err, syscall.EROFS) {
		t.Errorf("error %v, want a read-only file system", err)
	}
	a, err := archive.ReadOnly(dir, archive.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer a.Close()
	if n := len(polls(t, a, 0)); n != 10 {
		t.Errorf("%d polls, want 10", n)
	}
}

// On a card that is read-only from the start all that lies there is read, also what a killed daemon left in its log, nothing is said to be stored, nobody else gets
// in, and once the card takes writes again all goes on: in the same process where the litter book could be read, and else in the next.
func TestStartOnAReadOnlyDisk(t *testing.T) {
	lived := t.TempDir()
	probes := rabbitry(4)
	a := openAt(t, lived, archive.Options{Probes: probes})
	must(t, a.SetChannels([]string{"hook"}))
	must(t, a.PutEntries([]book.Entry{{ID: 1, What: book.Noted, Note: "quiet"}}))
	for i := range 10 {
		commit(t, a, poll(probes, start.Add(time.Duration(i)*30*time.Second), 20))
	}
	for _, row := range []struct {
		name              string
		spoil             func(t *testing.T, dir string)
		polls, entries    int
		unread, refused   bool
		after, afterwards int // polls and entries once it can be written, with one more poll
	}{
		{"left by a kill", func(*testing.T, string) {}, 10, 1, false, false, 11, 1},
		{"left by a stop", func(t *testing.T, dir string) { // which moves the log into the file
			a, err := archive.Open(dir, archive.Options{})
			must(t, err)
			must(t, a.Close())
		}, 10, 1, false, false, 11, 1},
		// SQLite deletes a log in which it finds nothing when it closes the file, and meanwhile that log may have become another's.
		{"with a log of zeros", func(t *testing.T, dir string) {
			a, err := archive.Open(dir, archive.Options{})
			must(t, err)
			must(t, a.Close())
			for _, name := range []string{"book.db-wal", "readings.db-wal"} {
				must(t, os.WriteFile(filepath.Join(dir, name), make([]byte, 4096), 0o600))
			}
		}, 10, 1, false, false, 11, 1},
		{"with a damaged book", func(t *testing.T, dir string) {
			must(t, os.WriteFile(filepath.Join(dir, "book.db"), []byte("no database"), 0o600))
		}, 10, 0, true, false, 11, 0},
		{"with a book that cannot be read for a while", func(t *testing.T, dir string) {
			hole := filepath.Join(t.TempDir(), "hole") // a null device of this test alone: locks belong to the device
			must(t, syscall.Mknod(hole, syscall.S_IFCHR|0o600, 1<<8|3))
			must(t, syscall.Mount(hole, filepath.Join(dir, "book.db"), "", syscall.MS_BIND, ""))
		}, 10, 0, true, false, 11, 1},
		{"without anything", func(t *testing.T, dir string) {
			for _, name := range []string{"book.db", "book.db-wal", "readings.db", "readings.db-wal"} {
				must(t, os.Remove(filepath.Join(dir, name)))
			}
		}, 0, 0, true, false, 1, 0},
		{"with a newer book", func(t *testing.T, dir string) {
			edit(t, filepath.Join(dir, "book.db"), "PRAGMA user_version = 99")
		}, 0, 0, false, true, 0, 0},
	} {
		t.Run(row.name, func(t *testing.T) {
			dir := tinyDisk(t, "size=4m")
			copyArchive(t, lived, dir)
			row.spoil(t, dir)
			must(t, syscall.Mount("", dir, "", syscall.MS_REMOUNT|syscall.MS_RDONLY, ""))
			opts := archive.Options{Probes: probes, Now: func() time.Time { return start }, Regardless: true}
			a, err := archive.Open(dir, opts)
			if (err != nil) != row.refused {
				t.Fatalf("opened with %v", err)
			}
			if row.refused {
				return
			}
			defer func() { must(t, a.Close()) }()
			look := func(wantPolls, wantEntries int, unread bool) {
				t.Helper()
				entries, err := a.Entries()
				if n := len(polls(t, a, 0)); err != nil || n != wantPolls || len(entries) != wantEntries || a.Unread() != unread {
					t.Errorf("%d polls and %d entries, %v, unread %v; want %d and %d, unread %v", n, len(entries), err, a.Unread(), wantPolls, wantEntries, unread)
				}
			}
			look(row.polls, row.entries, row.unread)
			c := poll(probes, start.Add(time.Hour), 20)
			if err := a.Commit(c); !errors.Is(err, syscall.EROFS) || !errors.Is(err, archive.ErrBook) {
				t.Errorf("a poll was stored: %v", err)
			}
			if err := a.PutEntries([]book.Entry{{ID: 2, What: book.Noted, Note: "lost"}}); !errors.Is(err, syscall.EROFS) {
				t.Errorf("an entry was stored: %v", err)
			}
			must(t, a.SetChannels([]string{"post"}))
			look(row.polls, row.entries, row.unread)
			must(t, syscall.Mount("", dir, "", syscall.MS_REMOUNT, ""))
			_ = syscall.Unmount(filepath.Join(dir, "book.db"), syscall.MNT_DETACH) // where something lies over it
			if row.polls > 0 {
				if _, err := archive.Open(dir, opts); err == nil || !strings.Contains(err.Error(), "another nestmon is using it") {
					t.Errorf("a second one: %v", err)
				}
			}
			readTogether(t, a)
			if row.unread {
				for range 2 {
					if err := a.Commit(c); !errors.Is(err, archive.ErrAnew) || !errors.Is(err, archive.ErrBook) {
						t.Errorf("a poll beside a book that was not read: %v", err)
					}
				}
				look(row.polls, row.entries, true)
				must(t, a.Close())
				a = openAt(t, dir, opts)
			}
			commit(t, a, c)
			must(t, a.PutEntries([]book.Entry{{ID: 9, What: book.Noted, Note: "kept"}}))
			look(row.after, row.afterwards+1, false)
			killed := t.TempDir() // what a kill now would leave
			copyArchive(t, dir, killed)
			must(t, a.Close())
			for _, dir := range []string{dir, killed} {
				a = openAt(t, dir, opts)
				look(row.after, row.afterwards+1, false)
			}
		})
	}
}

func copyArchive(t *testing.T, from, to string) {
	t.Helper()
	for _, name := range []string{"book.db", "book.db-wal", "readings.db", "readings.db-wal"} {
		text, err := os.ReadFile(filepath.Join(from, name))
		must(t, err)
		must(t, os.WriteFile(filepath.Join(to, name), text, 0o600))
	}
}

// readTogether reads from as many connections as there are.
func readTogether(t *testing.T, a *archive.Archive) {
	t.Helper()
	var all sync.WaitGroup
	for range 8 {
		all.Go(func() {
			for range 20 {
				_, err := a.Entries()
				_, _, more := a.Newest()
				if err = errors.Join(err, more); err != nil {
					t.Error(err)
				}
			}
		})
	}
	all.Wait()
}

// A board that restarts on a full card must watch all the same.
func TestStartOnAFullDisk(t *testing.T) {
	dir := tinyDisk(t, "size=512k")
	probes := rabbitry(4)
	a := openAt(t, dir, archive.Options{Probes: probes})
	if err := a.SetChannels([]string{"hook"}); err != nil {
		t.Fatal(err)
	}
	commit(t, a, poll(probes, start, 20))
	if err := a.Close(); err != nil {
		t.Fatal(err)
	}
	fillUp(t, filepath.Join(dir, "ballast"))
	a, err := archive.Open(dir, archive.Options{Probes: probes})
	if err != nil {
		t.Fatal(err)
	}
	defer a.Close() //nolint:errcheck // it may have something to write
	if err := a.SetChannels([]string{"hook"}); err != nil {
		t.Errorf("the same channels as before: %v", err)
	}
	if err := a.SetChannels([]string{"hook", "post"}); err != nil {
		t.Errorf("one more channel: %v", err)
	}
	c := poll(probes, start.Add(30*time.Second), 20)
	c.Events = []alarm.Event{event("a1", start, alarm.Urgent)}
	if err := a.Commit(c); err == nil {
		t.Error("the disk is not full")
	}
}
