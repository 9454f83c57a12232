package archive_test

import (
	"errors"
	"os"
	"path/filepath"
	"syscall"
	"testing"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/archive"
	"nestmon/thresholds/alarm"
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
	c := poll(probes, start.Add(30*time.Second), 20)
	c.Events = []alarm.Event{event("a1", start, alarm.Urgent)}
	if err := a.Commit(c); err == nil {
		t.Error("the disk is not full")
	}
}
