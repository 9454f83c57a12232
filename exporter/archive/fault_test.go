package archive_test

import (
	"bytes"
	"database/sql"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/archive"
	"nestmon/thresholds/book"
)

// edit changes a closed database behind the archive's back.
func edit(t testing.TB, path, query string, args ...any) {
	t.Helper()
	db, err := sql.Open("sqlite", "file:"+path)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if _, err := db.Exec(query, args...); err != nil {
		t.Fatal(err)
	}
}

func overwrite(t testing.TB, path string, at int, with []byte) {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	copy(b[at:], with)
	if err := os.WriteFile(path, b, 0o600); err != nil {
		t.Fatal(err)
	}
}

func filled(t testing.TB, dir string, n int) {
	t.Helper()
	probes := rabbitry(4)
	a := openAt(t, dir, archive.Options{Probes: probes})
	for i := range n {
		commit(t, a, poll(probes, start.Add(time.Duration(i)*30*time.Second), 20))
	}
	if err := a.PutEntries([]book.Entry{{ID: 1, What: book.Noted, Note: "quiet"}}); err != nil {
		t.Fatal(err)
	}
	if err := a.Close(); err != nil {
		t.Fatal(err)
	}
}

func TestDamagedFileIsSetAside(t *testing.T) {
	if testing.Short() {
		t.Skip("long, in one goroutine: runs without -short")
	}
	noise := bytes.Repeat([]byte{0x5a, 0xc3, 0x00, 0xff}, 1024)
	for _, row := range []struct {
		name   string
		damage func(t *testing.T, path string)
	}{
		{"header overwritten", func(t *testing.T, p string) { overwrite(t, p, 0, noise[:100]) }},
		{"not a database", func(t *testing.T, p string) { must(t, os.WriteFile(p, []byte("time,probe\n"), 0o600)) }},
		{"empty", func(t *testing.T, p string) { must(t, os.Truncate(p, 0)) }},
		{"cut in a page", func(t *testing.T, p string) { must(t, os.Truncate(p, 5*1024+100)) }},
		{"cut at a page", func(t *testing.T, p string) { must(t, os.Truncate(p, 3*1024)) }},
		{"first page's tree overwritten", func(t *testing.T, p string) { overwrite(t, p, 100, noise[:900]) }},
		{"pages overwritten", func(t *testing.T, p string) { overwrite(t, p, 4*1024, noise) }},
		{"another program's database", func(t *testing.T, p string) {
			must(t, os.Remove(p))
			edit(t, p, "CREATE TABLE x (y)")
		}},
		{"set aside by a start that got no further", func(t *testing.T, p string) {
			must(t, os.Rename(p, p+".broken-20260110T000000Z"))
		}},
		{"log without its file", func(t *testing.T, p string) {
			if err := os.Rename(p, p+"-wal"); err != nil {
				t.Fatal(err)
			}
		}},
	} {
		for _, file := range []string{"readings.db", "book.db"} {
			t.Run(row.name+" "+file, func(t *testing.T) {
				dir := t.TempDir()
				filled(t, dir, 400)
				path := filepath.Join(dir, file)
				row.damage(t, path)
				names, err := filepath.Glob(path + "*")
				must(t, err)
				broken, err := os.ReadFile(names[0]) // whatever the damage left of it
				must(t, err)
				probes := rabbitry(4)
				a := openAt(t, dir, archive.Options{Probes: probes})
				aside := a.SetAside()
				if len(aside) != 1 || !strings.Contains(aside[0], file+".broken-20260110T000000Z") {
					t.Fatalf("set aside: %q", aside)
				}
				if kept, err := os.ReadFile(aside[0]); err != nil || !bytes.Equal(kept, broken) {
					t.Errorf("what was set aside is not what was there: %d bytes of %d, %v", len(kept), len(broken), err)
				}
				commit(t, a, poll(probes, start.Add(24*time.Hour), 20))
				entries, err := a.Entries()
				if err != nil {
					t.Fatal(err)
				}
				wantPolls, wantEntries := 1, 1
				if file == "book.db" {
					wantPolls, wantEntries = 401, 0
				}
				if n := len(polls(t, a, 0)); n != wantPolls || len(entries) != wantEntries {
					t.Errorf("%d polls and %d entries, want %d and %d: the other file must be as it was", n, len(entries), wantPolls, wantEntries)
				}
			})
		}
	}
}

// A flipped byte may fall into a value, where nothing can tell, but never makes the archive fail.
func TestFlippedBytesNeverStopTheArchive(t *testing.T) {
	if testing.Short() {
		t.Skip("long, in one goroutine: runs without -short")
	}
	base := t.TempDir()
	filled(t, base, 200)
	whole, err := os.ReadFile(filepath.Join(base, "readings.db"))
	if err != nil {
		t.Fatal(err)
	}
	probes := rabbitry(4)
	for at := 0; at < len(whole); at += 997 { // a prime, to fall everywhere in a page
		dir := t.TempDir()
		flipped := bytes.Clone(whole)
		flipped[at] ^= 0xff
		if err := os.WriteFile(filepath.Join(dir, "readings.db"), flipped, 0o600); err != nil {
			t.Fatal(err)
		}
		a, err := archive.Open(dir, archive.Options{Probes: probes, Now: func() time.Time { return start }})
		if err != nil {
			if at >= 60 && at < 64 { // the schema version: an unknown, newer one is no damage
				continue
			}
			t.Fatalf("byte %d: %v", at, err)
		}
		if err := a.Commit(poll(probes, start.Add(time.Hour*24), 20)); err != nil {
			t.Errorf("byte %d: %v", at, err)
		}
		if err := a.Close(); err != nil {
			t.Errorf("byte %d: %v", at, err)
		}
	}
}

func TestFileThatBreaksWhileOpenIsSetAside(t *testing.T) {
	dir := t.TempDir()
	filled(t, dir, 2000)
	probes := rabbitry(4)
	a := openAt(t, dir, archive.Options{Probes: probes})
	path := filepath.Join(dir, "readings.db")
	size, err := os.Stat(path)
	if err != nil {
		t.Fatal(err)
	}
	f, err := os.OpenFile(path, os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := f.WriteAt(bytes.Repeat([]byte{0x5a}, int(size.Size())), 0); err != nil {
		t.Fatal(err)
	}
	must(t, f.Close())
	if _, err := a.Polls(0, 1<<30); err == nil {
		t.Fatal("nonsense was read without an error")
	}
	for i := range 3 {
		at := start.Add(48*time.Hour + time.Duration(i)*time.Minute)
		if err := a.Commit(poll(probes, at, 20)); err != nil {
			t.Fatalf("commit %d: %v", i, err)
		}
	}
	if aside := a.SetAside(); len(aside) == 0 {
		t.Error("nothing was set aside")
	}
	if n := len(polls(t, a, 0)); n != 3 {
		t.Errorf("%d polls in the new file, want 3", n)
	}
}

func TestNewerSchemaIsLeftAlone(t *testing.T) {
	dir := t.TempDir()
	filled(t, dir, 10)
	path := filepath.Join(dir, "book.db")
	edit(t, path, "PRAGMA user_version = 99")
	before, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	_, err = archive.Open(dir, archive.Options{})
	if err == nil || !strings.Contains(err.Error(), "schema 99") {
		t.Errorf("error %v, want one that names schema 99", err)
	}
	after, _ := os.ReadFile(path)
	names, _ := filepath.Glob(filepath.Join(dir, "*.broken-*"))
	if !bytes.Equal(before, after) || len(names) != 0 {
		t.Errorf("the file was touched, or set aside as %q", names)
	}
}

func TestFolderThatCannotBeWritten(t *testing.T) {
	file := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(file, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	_, err := archive.Open(filepath.Join(file, "data"), archive.Options{})
	if err == nil || !strings.Contains(err.Error(), "name another one in the setting data") {
		t.Errorf("error %v, want one with a remedy", err)
	}
}

func TestReadOnlyWritesNothing(t *testing.T) {
	dir := t.TempDir()
	filled(t, dir, 10)
	a, err := archive.ReadOnly(dir, archive.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer a.Close()
	if n := len(polls(t, a, 0)); n != 10 {
		t.Errorf("%d polls, want 10", n)
	}
	if err := a.PutEntries([]book.Entry{{ID: 1, What: book.Noted, Note: "quiet"}}); err == nil {
		t.Error("an entry was made")
	}
	if err := a.Commit(exporter.Commit{Time: start}); err == nil {
		t.Error("a poll was committed")
	}
	overwrite(t, filepath.Join(dir, "readings.db"), 0, []byte("nonsense"))
	if _, err := archive.ReadOnly(dir, archive.Options{}); err == nil {
		t.Error("a damaged file was opened")
	}
	if names, _ := filepath.Glob(filepath.Join(dir, "*.broken-*")); len(names) != 0 {
		t.Errorf("set aside by a reader: %q", names)
	}
}
