package backup

import (
	"archive/tar"
	"bytes"
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"nestmon/exporter/archive"
)

func TestRestoredIsWhatWasPacked(t *testing.T) {
	file, m := packed(t, "oak", 300)
	if st, err := os.Stat(file); err != nil || st.Mode().Perm() != 0o600 {
		t.Errorf("others can read the backup: %v, %v", st.Mode(), err)
	}
	if left, err := filepath.Glob(filepath.Join(filepath.Dir(file), ".nestmon-backup-*")); len(left) > 0 || err != nil {
		t.Errorf("left over: %q", left)
	}
	dir := t.TempDir()
	p := plan(file, filepath.Join(dir, "lib", "nestmon"))
	p.ConfigTo = filepath.Join(dir, "etc", "nestmon.yaml")
	done, err := restore(t, p)
	must(t, err)
	if len(done.Aside) > 0 || done.Config != p.ConfigTo {
		t.Errorf("restored %+v", done)
	}
	for _, f := range m.Files {
		path := filepath.Join(done.Folder, f.Name)
		if f.Name == ConfigName {
			path = p.ConfigTo
		}
		s, err := sumOf(path)
		must(t, err)
		if s.text() != f.SHA256 {
			t.Errorf("%s is not what was packed", f.Name)
		}
	}
	c, err := archive.Look(done.Folder)
	must(t, err)
	if err := m.same(c); err != nil || c.Rows["readings.db"]["polls"] != 300 || c.Rows["book.db"]["entries"] != 3 || c.Litters != 1 {
		t.Errorf("%v: %v", err, c)
	}
	if got := nestOf(t, done.Folder); got != "oak" {
		t.Errorf("the archive is of %s", got)
	}
	if left, err := os.ReadDir(filepath.Dir(done.Folder)); len(left) != 1 || err != nil {
		t.Errorf("beside the folder lie %v, %v", left, err)
	}
}

// What is in place is moved aside, never deleted, and its owner and mode are the new one's.
func TestRestoreMovesAsideWhatIsThere(t *testing.T) {
	file, _ := packed(t, "new", 20)
	dir := t.TempDir()
	p := plan(file, filepath.Join(dir, "nestmon"))
	p.ConfigTo = filepath.Join(dir, "nestmon.yaml")
	fill(t, p.To, "old", 10)
	must(t, os.WriteFile(filepath.Join(p.To, "book.db.broken-20310101T000000Z"), []byte("kept"), 0o600))
	must(t, os.WriteFile(p.ConfigTo, []byte("site: old\n"), 0o600))
	must(t, os.Chmod(p.To, 0o755))
	root := os.Geteuid() == 0
	if root {
		must(t, errors.Join(os.Chown(p.To, 12345, 12346), os.Chown(p.ConfigTo, 0, 12346)))
	}
	before := tree(t, p.To)
	done, err := restore(t, p)
	must(t, err)
	if nestOf(t, p.To) != "new" || len(done.Aside) != 2 || done.Owned != root {
		t.Errorf("restored %+v", done)
	}
	for path, content := range before {
		moved := done.Aside[0] + strings.TrimPrefix(path, p.To)
		if got, err := os.ReadFile(moved); content != "" && (err != nil || string(got) != content) {
			t.Errorf("%s is not as it was: %v", moved, err)
		}
	}
	if b, err := os.ReadFile(done.Aside[1]); string(b) != "site: old\n" || err != nil {
		t.Errorf("the configuration before is %q, %v", b, err)
	}
	if st, err := os.Stat(p.To); err != nil || st.Mode().Perm() != 0o755 {
		t.Errorf("the folder's mode is %v, %v", st.Mode(), err)
	}
	for _, path := range []string{p.To, filepath.Join(p.To, "book.db"), filepath.Join(p.To, SecretsName, "1-word")} {
		st, err := os.Stat(path)
		must(t, err)
		if was, ok := st.Sys().(*syscall.Stat_t); root && (!ok || was.Uid != 12345 || was.Gid != 12346) {
			t.Errorf("%s belongs to %d:%d", path, was.Uid, was.Gid)
		}
	}
	again, err := restore(t, p)
	must(t, err)
	if again.Aside[0] == done.Aside[0] || again.Aside[1] == done.Aside[1] {
		t.Errorf("the same name is used twice: %q", again.Aside)
	}
}

// Every backup that is not whole, or not what nestmon wrote, is refused with the reason, and nothing is touched.
func TestBadBackupsAreRefused(t *testing.T) {
	good, _ := packed(t, "new", 20)
	whole, err := os.ReadFile(good)
	must(t, err)
	raw := func(change func(b []byte) []byte) func(t *testing.T) string {
		return func(t *testing.T) string {
			file := filepath.Join(t.TempDir(), "raw.tar.gz")
			must(t, os.WriteFile(file, change(bytes.Clone(whole)), 0o600))
			return file
		}
	}
	named := func(name string) func(t *testing.T) string {
		return func(t *testing.T) string {
			all := entries(t, good)
			all[1].head.Name = name
			return bend(t, all, func(m *Manifest) {
				m.Files[0].Name = name
				m.Files = append(m.Files, Member{Name: "book.db"})
			})
		}
	}
	for name, row := range map[string]struct {
		file func(t *testing.T) string
		want string
	}{
		"no such file":      {func(*testing.T) string { return "nowhere.tar.gz" }, "no such file"},
		"empty":             {raw(func([]byte) []byte { return nil }), "ends too early"},
		"not gzip":          {raw(func(b []byte) []byte { return []byte(strings.Repeat("no archive ", 99)) }), "no backup of nestmon"},
		"half":              {raw(func(b []byte) []byte { return b[:len(b)/2] }), "ends too early"},
		"last byte missing": {raw(func(b []byte) []byte { return b[:len(b)-1] }), "ends too early"},
		"something after":   {raw(func(b []byte) []byte { return append(b, "more"...) }), "copy it again"},
		"twice":             {raw(func(b []byte) []byte { return append(b, b...) }), "something follows"},
		"newer schema": {func(t *testing.T) string {
			return bend(t, entries(t, good), func(m *Manifest) { m.Schemas["book.db"] = 99 })
		}, "book.db has schema 99"},
		"newer layout": {func(t *testing.T) string { return bend(t, entries(t, good), func(m *Manifest) { m.Format = 2 }) }, "layout is 2"},
		"no layout":    {func(t *testing.T) string { return bend(t, entries(t, good), func(m *Manifest) { m.Format = 0 }) }, "layout is 0"},
		"no manifest":  {func(t *testing.T) string { return bend(t, entries(t, good)[1:], nil) }, "does not begin with"},
		"broken manifest": {func(t *testing.T) string {
			all := entries(t, good)
			all[0].body[0] = '['
			return bend(t, all, nil)
		}, "not understood"},
		"no book": {func(t *testing.T) string {
			all := entries(t, good)
			return bend(t, append(all[:1:1], all[2:]...), func(m *Manifest) { m.Files = m.Files[1:] })
		}, "holds no book.db"},
		"up and away":        {named("../book.db"), "may lead out"},
		"from the top":       {named("/etc/book.db"), "may lead out"},
		"deep":               {named("secrets/../../x"), "may lead out"},
		"a hidden one":       {named(".profile"), "may lead out"},
		"another folder":     {named("bin/x"), "may lead out"},
		"the manifest again": {named("manifest.json"), "twice"},
		"a link": {func(t *testing.T) string {
			all := entries(t, good)
			all[3].head = tar.Header{Name: "state", Typeflag: tar.TypeSymlink, Linkname: "/etc/passwd"}
			all[3].body = nil
			return bend(t, all, nil)
		}, `the manifest has state`},
		"another order": {func(t *testing.T) string {
			all := entries(t, good)
			all[1], all[2] = all[2], all[1]
			return bend(t, all, nil)
		}, "where the manifest has"},
		"one more": {func(t *testing.T) string {
			all := entries(t, good)
			return bend(t, append(all, entry{tar.Header{Name: "more", Size: 1, Typeflag: tar.TypeReg, Mode: 0o600}, []byte("x")}), nil)
		}, "does not name"},
		"one less":  {func(t *testing.T) string { all := entries(t, good); return bend(t, all[:len(all)-1], nil) }, "ends too early"},
		"oversized": {func(t *testing.T) string { return bend(t, entries(t, good), func(m *Manifest) { m.Files[1].Size-- }) }, "bytes, the manifest says"},
		"negative": {func(t *testing.T) string {
			return bend(t, entries(t, good), func(m *Manifest) { m.Files[1].Size = -1 })
		}, "-1 bytes"},
		"other content": {func(t *testing.T) string {
			all := entries(t, good)
			all[2].body[5000] ^= 1
			return bend(t, all, nil)
		}, "not what was packed"},
		"other rows": {func(t *testing.T) string {
			return bend(t, entries(t, good), func(m *Manifest) { m.Rows["readings.db"]["polls"]++ })
		}, "other rows"},
		"a schema that is not the manifest's": {func(t *testing.T) string {
			return bend(t, entries(t, good), func(m *Manifest) { m.Schemas["book.db"] = 1 })
		}, "packed was 1"},
		"no database": {func(t *testing.T) string {
			all := entries(t, good)
			all[1].body = []byte(strings.Repeat("x", 4096))
			all[1].head.Size = 4096
			s := newSum()
			_, _ = s.Write(all[1].body)
			return bend(t, all, func(m *Manifest) { m.Files[0].Size, m.Files[0].SHA256 = 4096, s.text() })
		}, "not a SQLite file"},
	} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			p := plan(row.file(t), filepath.Join(dir, "nestmon"))
			p.ConfigTo = filepath.Join(dir, "nestmon.yaml")
			must(t, os.Mkdir(p.To, 0o755))
			must(t, os.WriteFile(filepath.Join(p.To, "book.db"), []byte("precious"), 0o600))
			before := tree(t, dir)
			_, err := restore(t, p)
			if err == nil || !strings.Contains(err.Error(), row.want) {
				t.Errorf("said %v, want %q", err, row.want)
			}
			if c := changed(before, tree(t, dir)); len(c) > 0 {
				t.Errorf("touched: %q", c)
			}
		})
	}
}

// Whatever bit of a backup flips, and wherever it ends, it is refused or means the same.
func TestNoFlippedBitPasses(t *testing.T) {
	file, m := packed(t, "oak", 20)
	whole, err := os.ReadFile(file)
	must(t, err)
	seed := rand.Uint64()
	random := rand.New(rand.NewPCG(seed, 0))
	harmless, tries := 0, 300
	if testing.Short() {
		tries = 30
	}
	for i := range tries {
		b := bytes.Clone(whole)
		bit := random.IntN(8 * len(b))
		b[bit/8] ^= 1 << (bit % 8)
		if i%3 == 0 {
			b = whole[:random.IntN(len(whole))]
		}
		must(t, os.WriteFile(file, b, 0o600))
		got, err := Check(t.Context(), file)
		if err != nil {
			continue
		}
		if harmless++; i%3 == 0 || fmt.Sprint(got) != fmt.Sprint(m) {
			t.Errorf("seed %d, try %d: bit %d passed", seed, i, bit)
		}
	}
	if harmless > tries/5 { // of the gzip header alone: time, system and name
		t.Errorf("seed %d: %d of %d passed", seed, harmless, tries)
	}
}

func TestWhatMakesNoSenseIsRefused(t *testing.T) {
	file, _ := packed(t, "new", 5)
	dir := t.TempDir()
	fill(t, filepath.Join(dir, "data"), "old", 5)
	other := filepath.Join(dir, "other")
	must(t, errors.Join(os.Mkdir(other, 0o755), os.WriteFile(filepath.Join(other, "letters"), nil, 0o600)))
	job := Job{Data: filepath.Join(dir, "data"), To: file, Now: time.Now}
	before, err := os.ReadFile(file)
	must(t, err)
	if _, err := Write(t.Context(), job); err == nil || !strings.Contains(err.Error(), "--force") {
		t.Errorf("a file that is there: %v", err)
	}
	if after, _ := os.ReadFile(file); !bytes.Equal(before, after) {
		t.Error("it was changed")
	}
	job.Force = true
	_, err = Write(t.Context(), job)
	must(t, err)
	full := plan(file, filepath.Join(dir, "data"))
	full.Room = func(string) (uint64, bool) { return 1000, true }
	for name, p := range map[string]Plan{
		"a folder of other things": plan(file, other),
		"holds other things":       plan(file, string(filepath.Separator)),
		"not a folder":             plan(file, file),
		"free some space":          full,
	} {
		if _, err := restore(t, p); err == nil || name != "a folder of other things" && !strings.Contains(err.Error(), name) {
			t.Errorf("%s: %v", name, err)
		}
	}
	a, err := archive.Open(filepath.Join(dir, "data"), archive.Options{})
	must(t, err)
	if _, err := restore(t, plan(file, filepath.Join(dir, "data"))); err == nil || !strings.Contains(err.Error(), "a nestmon is running") {
		t.Errorf("beside a daemon: %v", err)
	}
	must(t, a.Close())
	_, err = restore(t, plan(file, filepath.Join(dir, "data")))
	must(t, err)
}

// A backup that does not come to its end leaves nothing behind.
func TestHalfABackupHasNoName(t *testing.T) {
	dir := t.TempDir()
	data, to := filepath.Join(dir, "data"), filepath.Join(dir, "to")
	fill(t, data, "oak", 2000)
	must(t, os.Mkdir(to, 0o755))
	job := Job{Data: data, To: filepath.Join(to, "b.tar.gz"), Now: time.Now}
	ended, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := Write(ended, job); !errors.Is(err, context.Canceled) {
		t.Errorf("asked to end it says %v", err)
	}
	job.Also = []Extra{{Name: ConfigName, From: filepath.Join(dir, "nowhere")}}
	if _, err := Write(t.Context(), job); err == nil {
		t.Error("without the configuration there was a backup")
	}
	job.Also = nil
	if left, err := os.ReadDir(to); len(left) > 0 || err != nil {
		t.Errorf("left: %v, %v", left, err)
	}
	if err := syscall.Mount("tmpfs", to, "tmpfs", 0, "size=64k"); err != nil {
		t.Skipf("skipped: a full disk needs the right to mount one (run as root): %v", err)
	}
	t.Cleanup(func() { must(t, syscall.Unmount(to, syscall.MNT_DETACH)) })
	if _, err := Write(t.Context(), job); !errors.Is(err, syscall.ENOSPC) {
		t.Errorf("on a full disk it says %v", err)
	}
	if left, err := os.ReadDir(to); len(left) > 0 || err != nil {
		t.Errorf("left on the full disk: %v, %v", left, err)
	}
}
