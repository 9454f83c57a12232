package main

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"time"

	"nestmon/tests/kills/disk"
	"nestmon/thresholds/book"
)

// cardSize is of a card that is soon full.
const cardSize = "size=4m"

// card treats the card badly while the daemon runs, and says what it does.
func card(_ context.Context, r *rig) (bool, error) {
	good := true
	for _, row := range []struct {
		name string
		do   func(*board) (undo func(*board) error, err error)
	}{
		{"full", func(b *board) (func(*board) error, error) {
			ballast := filepath.Join(b.data, "ballast")
			err := fill(ballast)
			return func(*board) error { return os.Remove(ballast) }, err
		}},
		{"read-only", func(b *board) (func(*board) error, error) { return failing(b, syscall.EROFS) }},
		{"errors of every write", func(b *board) (func(*board) error, error) { return failing(b, syscall.EIO) }},
		{"errors of every sync", func(b *board) (func(*board) error, error) {
			return failing(b, syscall.EIO, disk.Sync, disk.SyncDir)
		}},
	} {
		ok, said, err := bad(r, row.name, row.do)
		if err != nil {
			return false, fmt.Errorf("%s: %w", row.name, err)
		}
		fmt.Printf("%s: readings went on, it was said, and over when it was over: %v\n  %s\n", row.name, ok, said)
		good = good && ok
	}
	for _, name := range []string{"book.db", "readings.db", "state"} {
		ok, said, err := flipped(r, name)
		if err != nil {
			return false, fmt.Errorf("damaged %s: %w", name, err)
		}
		fmt.Printf("damaged %s: watched, and said so: %v\n  %s\n", name, ok, said)
		good = good && ok
	}
	for _, left := range []string{"stopped", "killed"} {
		ok, said, err := startsReadOnly(r, left)
		if err != nil {
			return false, fmt.Errorf("read-only, %s: %w", left, err)
		}
		fmt.Printf("started on a card that is read-only, %s before: watched with the litters it knew, said so, kept nothing, and all was over when it was: %v\n  %s\n", left, ok, said)
		good = good && ok
	}
	return good, nil
}

// mounted is a board with a card of its own, a small one that can be filled or a disk that can be told to fail.
func mounted(r *rig, name string, small bool) (*board, func(), error) {
	b, err := newBoard(r.program, filepath.Join(r.dir, strings.ReplaceAll(name, " ", "-")), "publish: {page: {listen: none}}\n")
	if err != nil {
		return nil, nil, err
	}
	if !small {
		b.disk = disk.New(nil)
		unmount, err := b.disk.Mount(b.data)
		return b, func() { _ = unmount() }, err
	}
	if err := syscall.Mount("tmpfs", b.data, "tmpfs", 0, cardSize); err != nil {
		return nil, nil, fmt.Errorf("mounting a small card: %w; run this as root", err)
	}
	return b, func() { _ = syscall.Unmount(b.data, syscall.MNT_DETACH) }, nil
}

func fill(path string) error {
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	for block := make([]byte, 4096); err == nil; {
		_, err = f.Write(block)
	}
	if !errors.Is(err, syscall.ENOSPC) {
		return errors.Join(err, f.Close())
	}
	return f.Close()
}

// failing lets a disk that forgets say that operations failed.
func failing(b *board, err error, only ...disk.Kind) (undo func(*board) error, _ error) {
	b.disk.Fail(err, only...)
	return func(b *board) error { b.disk.Fail(nil); return nil }, nil
}

// bad runs a daemon on a small card, does something to it, and undoes it.
func bad(r *rig, name string, do func(*board) (func(*board) error, error)) (ok bool, said string, err error) {
	b, end, err := mounted(r, name, name == "full")
	if err != nil {
		return false, "", err
	}
	defer end()
	began := time.Now()
	if err := b.start(); err != nil {
		return false, "", err
	}
	defer b.kill()
	if _, err := b.until(reads(began)); err != nil {
		return false, "", err
	}
	undo, err := do(b)
	if err != nil {
		return false, "", err
	}
	note := []book.Entry{{What: book.Noted, At: time.Now(), Nest: "n1", Note: "on a bad card"}}
	refused := b.ask(http.MethodPost, "/control/enter", note, nil)
	if refused == nil {
		return false, "an entry was said to be saved", undo(b)
	}
	s, err := b.until(func(s state) bool { return s.fault("daemon-fault") != "" && reads(time.Now().Add(-pollEvery))(s) })
	if err != nil {
		return false, err.Error(), undo(b)
	}
	said = s.fault("daemon-fault")
	at := time.Now()
	if _, err := b.until(reads(at)); err != nil {
		return false, "no reading any more: " + err.Error(), undo(b)
	}
	if err := undo(b); err != nil {
		return false, said, err
	}
	if _, err := b.until(func(s state) bool { return s.fault("daemon-fault") == "" }); err != nil {
		return false, "it is still said: " + said, nil
	}
	note[0].At = time.Now()
	return b.ask(http.MethodPost, "/control/enter", note, nil) == nil, said, nil
}

// flipped damages a file of an archive between two lives.
func flipped(r *rig, name string) (bool, string, error) {
	b, err := lived(r, "damaged-"+name)
	if err != nil {
		return false, "", err
	}
	path := filepath.Join(b.data, name)
	text, err := os.ReadFile(path)
	if err != nil {
		return false, "", err
	}
	for at := min(100, len(text)/2); at < len(text); at += 512 {
		for i := at; i < min(at+64, len(text)); i++ {
			text[i] ^= 0xa5
		}
	}
	if err := os.WriteFile(path, text, 0o600); err != nil {
		return false, "", err
	}
	began := time.Now()
	if err := b.start(); err != nil {
		return false, "", err
	}
	defer b.kill()
	s, err := b.until(func(s state) bool { return reads(began)(s) && (name == "state" || s.fault("daemon-fault") != "") })
	if err != nil {
		return false, err.Error(), nil
	}
	if name == "state" {
		return strings.Contains(b.log.String(), "looking at the last day again"), "in the log alone: the last day was looked at again", nil
	}
	return true, s.fault("daemon-fault"), nil
}

// startsReadOnly starts a daemon on a card that became read-only before, after its last life ended one way or another.
func startsReadOnly(r *rig, left string) (bool, string, error) {
	b, end, err := mounted(r, "read-only-at-the-start-"+left, true)
	if err != nil {
		return false, "", err
	}
	defer end()
	began := time.Now()
	if err := b.start(); err != nil {
		return false, "", err
	}
	if _, err := b.until(reads(began)); err != nil {
		b.kill()
		return false, "", err
	}
	kits := 8
	if err := b.ask(http.MethodPost, "/control/enter", []book.Entry{{What: book.Kindled, At: time.Now(), Nest: "n1", Kits: &kits}}, nil); err != nil {
		b.kill()
		return false, "", err
	}
	if left == "killed" {
		b.kill()
	} else {
		b.stop()
	}
	if err := syscall.Mount("", b.data, "", syscall.MS_REMOUNT|syscall.MS_RDONLY, ""); err != nil {
		return false, "", err
	}
	began = time.Now()
	if err := b.start(); err != nil {
		return false, "", err
	}
	defer b.kill()
	s, err := b.until(func(s state) bool { return reads(began)(s) && s.fault("daemon-fault") != "" })
	if err != nil {
		return false, err.Error(), nil
	}
	said := s.fault("daemon-fault")
	note := []book.Entry{{What: book.Noted, At: time.Now(), Nest: "n1", Note: "on a read-only card"}}
	if s.Nests[0].AgeDays == nil || b.ask(http.MethodPost, "/control/enter", note, nil) == nil {
		return false, "the litter was not known, or an entry was said to be saved; " + said, nil
	}
	if err := syscall.Mount("", b.data, "", syscall.MS_REMOUNT, ""); err != nil {
		return false, "", err
	}
	if _, err := b.until(func(s state) bool { return s.fault("daemon-fault") == "" }); err != nil {
		return false, "it is still said: " + said, nil
	}
	note[0].At = time.Now()
	return b.ask(http.MethodPost, "/control/enter", note, nil) == nil, said, nil
}
