package main

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"nestmon/tests/kills/disk"
)

// newerSchema is one that no release knows.
const newerSchema = 99

// refusals shows the real program what it must not touch.
func refusals(_ context.Context, r *rig) (bool, error) {
	good := true
	for _, row := range []struct {
		name   string
		spoil  func(*board) error
		says   []string
		starts bool // it starts, leaves the file alone, and says so
	}{
		{"a litter book of a newer nestmon", newer("book.db"), []string{"newer nestmon", "install the newer program again"}, false},
		{"readings of a newer nestmon", newer("readings.db"), []string{"newer nestmon", "install the newer program again"}, false},
		{"a configuration of a newer nestmon", func(b *board) error {
			b.extra += "brooders: 3\n"
			return b.configure()
		}, []string{"brooders", "install the newer nestmon again"}, false},
		{"limits of a newer nestmon", func(b *board) error {
			return os.WriteFile(filepath.Join(b.data, "limits.json"), []byte(`{"revision": 3, "limits": [], "changes": [], "sowed": true}`), 0o600)
		}, []string{"limits", "newer nestmon"}, true},
	} {
		b, err := lived(r, strings.ReplaceAll(row.name, " ", "-"))
		if err != nil {
			return false, err
		}
		if err := row.spoil(b); err != nil {
			return false, err
		}
		before, err := filesOf(b.data)
		if err != nil {
			return false, err
		}
		if err := b.start(); err != nil {
			return false, err
		}
		code, page := 0, ""
		if row.starts {
			s, err := b.until(func(s state) bool { return s.fault("daemon-fault") != "" })
			if err != nil {
				fmt.Println("  ", err)
			}
			page = s.fault("daemon-fault")
			_, code = b.stop()
		} else {
			select {
			case <-b.ended:
			case <-time.After(patience):
				b.kill()
			}
			code = b.cmd.ProcessState.ExitCode()
		}
		after, err := filesOf(b.data)
		if err != nil {
			return false, err
		}
		said := strings.TrimSpace(b.log.String())
		if row.starts {
			said = page
		}
		ok := (code == 2) != row.starts
		for _, words := range row.says {
			ok = ok && strings.Contains(said, words)
		}
		for name, was := range before {
			same := bytes.Equal(was, after[name])
			if row.starts {
				same = same || name != "limits.json"
			}
			if !same {
				ok = false
				fmt.Printf("  %s changed\n", name)
			}
		}
		fmt.Printf("%s: exit %d, as it must be: %v\n  %s\n", row.name, code, ok, said[strings.LastIndexByte(said, '\n')+1:])
		good = good && ok
	}
	twice, err := second(r)
	return good && twice, err
}

// lived is a board whose daemon has run once.
func lived(r *rig, name string) (*board, error) {
	b, err := newBoard(r.program, filepath.Join(r.dir, name), "publish: {page: {listen: none}}\n")
	if err != nil {
		return nil, err
	}
	began := time.Now()
	if err := b.start(); err != nil {
		return nil, err
	}
	if _, err := b.until(reads(began)); err != nil {
		b.kill()
		return nil, err
	}
	if _, code := b.stop(); code != 0 {
		return nil, fmt.Errorf("exit %d: %s", code, b.log.String())
	}
	return b, nil
}

// newer gives a database a schema that nobody knows: SQLite's user version, at offset 60 of the file.
func newer(name string) func(*board) error {
	return func(b *board) error {
		f, err := os.OpenFile(filepath.Join(b.data, name), os.O_WRONLY, 0)
		if err != nil {
			return err
		}
		_, err = f.WriteAt(binary.BigEndian.AppendUint32(nil, newerSchema), 60)
		return errors.Join(err, f.Close())
	}
}

// filesOf reads a folder.
func filesOf(dir string) (disk.Files, error) {
	all, err := os.ReadDir(dir)
	out := disk.Files{}
	for _, e := range all {
		if !e.Type().IsRegular() {
			continue
		}
		b, rerr := os.ReadFile(filepath.Join(dir, e.Name()))
		err = errors.Join(err, rerr)
		out[e.Name()] = b
	}
	return out, err
}

// second starts a daemon beside another on one archive, with a door of its own.
func second(r *rig) (bool, error) {
	a, err := newBoard(r.program, filepath.Join(r.dir, "first"), "publish: {page: {listen: none}}\n")
	if err != nil {
		return false, err
	}
	began := time.Now()
	if err := a.start(); err != nil {
		return false, err
	}
	defer a.kill()
	if _, err := a.until(reads(began)); err != nil {
		return false, err
	}
	b, err := newBoard(r.program, filepath.Join(r.dir, "second"), "publish: {page: {listen: none}}\n")
	if err != nil {
		return false, err
	}
	b.data = a.data
	if err := errors.Join(b.configure(), b.start()); err != nil {
		return false, err
	}
	<-b.ended
	code, said := b.cmd.ProcessState.ExitCode(), strings.TrimSpace(b.log.String())
	_, err = a.until(reads(time.Now()))
	ok := code == 2 && strings.Contains(said, "another nestmon is using it, stop that one first") && err == nil
	fmt.Printf("a second daemon: exit %d, and the first goes on: %v\n  %s\n", code, ok, said[strings.LastIndexByte(said, '\n')+1:])
	return ok, nil
}
