package archive_test

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"testing"

	"nestmon/exporter"
	"nestmon/exporter/archive"
	"nestmon/thresholds/book"
)

func sent(key string, entries ...int64) exporter.Sent {
	return exporter.Sent{Sending: exporter.Sending{Key: key, Digest: "digest of " + key}, Entries: entries, Doubts: []string{"unusual"}}
}

func knows(t *testing.T, a *archive.Archive, want exporter.Sent) {
	t.Helper()
	if got, known, err := a.SentBefore(want.Key); err != nil || !known || !reflect.DeepEqual(got, want) {
		t.Errorf("%s: %+v, %v, %v; want %+v", want.Key, got, known, err, want)
	}
}

// A key is stored with what was sent under it, or neither is.
func TestKeysAreStoredWithTheirEntries(t *testing.T) {
	dir := t.TempDir()
	a := openAt(t, dir, archive.Options{})
	first := sent("a", 1, 2)
	must(t, a.PutSent([]book.Entry{{ID: 1, What: book.Noted}, {ID: 2, What: book.Noted}}, first))
	if err := a.PutSent([]book.Entry{{ID: 3, What: book.Noted}}, sent("a", 3)); err == nil {
		t.Error("a key was stored twice")
	}
	if err := a.PutSent([]book.Entry{{ID: 2, What: book.Noted}}, sent("b", 2)); err == nil {
		t.Error("an entry was changed")
	}
	for range 2 { // and again as a restart finds it
		knows(t, a, first)
		if _, known, err := a.SentBefore("b"); known || err != nil {
			t.Errorf("the key of what was not stored is known, %v", err)
		}
		if all, err := a.Entries(); err != nil || len(all) != 2 {
			t.Errorf("%d entries, %v", len(all), err)
		}
		a = reopen(t, a, dir, archive.Options{})
	}
}

// The newest keys are kept, more than a family writes in a year, and never more.
func TestKeysAreBounded(t *testing.T) {
	dir := t.TempDir()
	must(t, openAt(t, dir, archive.Options{}).Close())
	edit(t, filepath.Join(dir, "book.db"), `WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < 50000)
		INSERT INTO sends (key, body) SELECT 'old ' || i, json_object('Key', 'old ' || i) FROM n`)
	a := openAt(t, dir, archive.Options{})
	must(t, a.PutSent([]book.Entry{{ID: 1, What: book.Noted}}, sent("new", 1)))
	for key, want := range map[string]bool{"old 1": false, "old 2": true, "old 50000": true, "new": true} {
		if _, known, err := a.SentBefore(key); known != want || err != nil {
			t.Errorf("%s is known: %v, %v", key, known, err)
		}
	}
}

// Where the file of the book breaks while it is open, what was sent since the start is known in the new one, and a phone that sends it again
// doubles nothing.
func TestKeysOutliveABrokenFile(t *testing.T) {
	dir := t.TempDir()
	var all []book.Entry
	a := openAt(t, dir, archive.Options{Entries: func() []book.Entry { return all }})
	put := func(id int64) exporter.Sent {
		s := sent(fmt.Sprint("key ", id), id)
		e := book.Entry{ID: id, What: book.Noted, Note: fmt.Sprint(id)}
		must(t, a.PutSent([]book.Entry{e}, s))
		all = append(all, e)
		return s
	}
	first := put(1)
	f, err := os.OpenFile(filepath.Join(dir, "book.db"), os.O_WRONLY, 0) // a file that is replaced is not the one that is open
	must(t, err)
	_, err = f.WriteAt(bytes.Repeat([]byte{0x5a}, 1<<20), 0)
	must(t, errors.Join(err, f.Close()))
	if _, err := a.Entries(); err == nil {
		t.Fatal("nonsense was read without an error")
	}
	second := put(2)
	if len(a.SetAside()) == 0 {
		t.Fatal("nothing was set aside")
	}
	a = reopen(t, a, dir, archive.Options{})
	knows(t, a, first)
	knows(t, a, second)
	if got, err := a.Entries(); err != nil || len(got) != 2 {
		t.Errorf("%+v, %v", got, err)
	}
}
