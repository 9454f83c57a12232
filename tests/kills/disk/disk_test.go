package disk

import (
	"errors"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"testing"
)

// What is kept: nothing of what was not synced, and of names nothing before the folder was.
func TestWhatACutLeaves(t *testing.T) {
	sure := rand.New(rand.NewPCG(1, 1))
	d := New(Files{"old": []byte("before")})
	do := func(op Op) {
		t.Helper()
		if err := d.Do(op); err != nil {
			t.Fatal(err)
		}
	}
	is := func(when string, luck Luck, want map[string]string) {
		t.Helper()
		got := d.Image(luck, sure)
		if len(got) != len(want) {
			t.Errorf("%s: %d files, want %d", when, len(got), len(want))
		}
		for name, text := range want {
			if string(got[name]) != text {
				t.Errorf("%s: %s holds %q, want %q", when, name, got[name], text)
			}
		}
	}
	do(Op{Kind: Create, Name: "new"}) // which is file 1
	do(Op{Kind: Write, File: 1, Data: []byte("after")})
	is("written", Nothing, map[string]string{"old": "before"})
	is("written", All, map[string]string{"old": "before", "new": "after"})
	do(Op{Kind: Rename, Name: "new", To: "old"})
	is("renamed before it was synced", All, map[string]string{"old": "after"})
	do(Op{Kind: SyncDir})
	is("the name alone is synced", Nothing, map[string]string{"old": ""})
	do(Op{Kind: Sync, File: 1})
	is("synced", Nothing, map[string]string{"old": "after"})
	do(Op{Kind: Truncate, File: 1, At: 2})
	is("made shorter", Nothing, map[string]string{"old": "after"})
	is("made shorter", All, map[string]string{"old": "af"})
	do(Op{Kind: Remove, Name: "old"})
	is("removed", Nothing, map[string]string{"old": "after"})
}

func TestATornWriteLeavesWholeSectors(t *testing.T) {
	d := New(Files{"f": make([]byte, 4*Sector)})
	page := slices.Repeat([]byte{7}, 4*Sector)
	if err := d.Do(Op{Kind: Write, Data: page}); err != nil {
		t.Fatal(err)
	}
	torn, random := 0, rand.New(rand.NewPCG(3, 4))
	for range 50 {
		b := d.Image(Any, random)["f"]
		n := 0
		for at := 0; at < len(b); at += Sector {
			whole := slices.Repeat(b[at:at+1], Sector)
			if !slices.Equal(b[at:at+Sector], whole) {
				t.Fatal("a sector is torn")
			}
			n += int(b[at] / 7)
		}
		if n > 0 && n < 4 {
			torn++
		}
	}
	if torn < 10 {
		t.Errorf("%d of 50 writes are torn", torn)
	}
}

func TestAfterTheCutNothingIsWritten(t *testing.T) {
	d := New(Files{"f": nil})
	d.CutAfter(1)
	if err := d.Do(Op{Kind: Write, Data: []byte("a")}); err != nil {
		t.Fatal(err)
	}
	<-d.Dead()
	if err := d.Do(Op{Kind: Sync}); !errors.Is(err, ErrCut) {
		t.Errorf("a sync after the cut says %v", err)
	}
	if got := d.Image(Nothing, nil); len(got["f"]) != 0 {
		t.Errorf("holds %q", got["f"])
	}
}

// The kernel's calls arrive as operations. It is skipped where nobody may mount.
func TestMounted(t *testing.T) {
	d, dir := New(nil), t.TempDir()
	unmount, err := d.Mount(dir)
	if err != nil {
		t.Skipf("skipped: %v", err)
	}
	defer func() {
		if err := unmount(); err != nil {
			t.Error(err)
		}
	}()
	path := filepath.Join(dir, "a")
	if err := os.WriteFile(path, []byte("some"), 0o600); err != nil {
		t.Fatal(err)
	}
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if _, err := f.WriteAt([]byte("thing"), 4); err != nil {
		t.Fatal(err)
	}
	if b, err := os.ReadFile(path); err != nil || string(b) != "something" {
		t.Errorf("read back: %q %v", b, err)
	}
	if n := len(d.Image(Nothing, nil)); n != 0 {
		t.Errorf("%d files would outlive a cut", n)
	}
	at, err := os.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(f.Sync(), os.Rename(path, filepath.Join(dir, "b")), at.Sync(), at.Close()); err != nil {
		t.Fatal(err)
	}
	if got := d.Image(Nothing, nil); string(got["b"]) != "something" || len(got) != 1 {
		t.Errorf("would outlive a cut: %q", got)
	}
	var kinds []Kind
	for _, op := range d.Log() {
		kinds = append(kinds, op.Kind)
	}
	if want := []Kind{Create, Write, Write, Sync, Rename, SyncDir}; !slices.Equal(kinds, want) {
		t.Errorf("seen: %v", kinds)
	}
}
