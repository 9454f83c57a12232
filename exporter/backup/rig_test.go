package backup

import (
	"archive/tar"
	"bytes"
	"compress/gzip"
	"context"
	"encoding/json"
	"errors"
	"io"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/archive"
	"nestmon/sensors"
	"nestmon/thresholds/book"
)

var start = time.Date(2031, time.April, 2, 6, 30, 0, 0, time.UTC)

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// fill makes an archive of so many polls, with a litter of that nest.
func fill(t testing.TB, dir, nest string, polls int) {
	t.Helper()
	probe := sensors.Probe{ID: "air", Quantities: []sensors.Quantity{sensors.Temperature}, Interval: 30 * time.Second}
	a, err := archive.Open(dir, archive.Options{Probes: []sensors.Probe{probe}})
	must(t, err)
	defer func() { must(t, a.Close()) }()
	must(t, a.PutEntries([]book.Entry{
		{ID: 1, Litter: 1, What: book.Kindled, Nest: nest, At: start},
		{ID: 2, Litter: 2, What: book.Bred, Nest: "wrong", At: start},
		{ID: 3, Litter: 2, What: book.Struck, Nest: "wrong", At: start, Replaces: 2},
	}))
	must(t, a.PutState([]byte("state of "+nest)))
	for i := range polls {
		at := start.Add(time.Duration(i) * 30 * time.Second)
		must(t, a.Commit(exporter.Commit{Time: at, Synced: true, Readings: []sensors.Reading{{Probe: "air", Time: at, Value: float64(i % 40)}}}))
	}
}

// packed is a backup of a small archive of that nest, with a configuration and a secret.
func packed(t testing.TB, nest string, polls int) (file string, m Manifest) {
	t.Helper()
	dir := t.TempDir()
	data := filepath.Join(dir, "data")
	fill(t, data, nest, polls)
	must(t, os.WriteFile(filepath.Join(dir, "conf"), []byte("site: "+nest+"\n"), 0o640))
	must(t, os.WriteFile(filepath.Join(dir, "word"), []byte("invented\n"), 0o600))
	file = filepath.Join(dir, nest+".tar.gz")
	m, err := Write(t.Context(), Job{Data: data, To: file, Version: "v0", Site: "willow", Now: time.Now, Also: []Extra{
		{Name: ConfigName, From: filepath.Join(dir, "conf")},
		{Name: SecretsName + "/1-word", From: filepath.Join(dir, "word"), Key: "publish.page.password_file", Path: "/etc/nestmon/word"},
	}})
	must(t, err)
	return file, m
}

func plan(from, to string) Plan {
	return Plan{From: from, To: to, Now: func() time.Time { return start }, Room: func(string) (uint64, bool) { return 0, false }}
}

// nestOf is whose archive lies in a folder.
func nestOf(t testing.TB, dir string) string {
	t.Helper()
	copied := t.TempDir()
	must(t, archive.Copy(dir, copied))
	_, err := archive.Look(copied)
	must(t, err)
	a, err := archive.Open(copied, archive.Options{})
	must(t, err)
	defer func() { must(t, a.Close()) }()
	all, err := a.Entries()
	must(t, err)
	state, err := a.State()
	must(t, err)
	if len(all) != 3 || string(state) != "state of "+all[0].Nest {
		t.Fatalf("%v in the book, state %q: not of one archive", all, state)
	}
	return all[0].Nest
}

// tree is every file below a folder with its content.
func tree(t testing.TB, dir string) map[string]string {
	t.Helper()
	all := map[string]string{}
	must(t, filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			all[path] = ""
			return err
		}
		b, err := os.ReadFile(path)
		all[path] = string(b)
		return err
	}))
	return all
}

func changed(a, b map[string]string) (names []string) {
	for name := range maps.Keys(a) {
		if v, ok := b[name]; !ok || v != a[name] {
			names = append(names, name)
		}
	}
	for name := range maps.Keys(b) {
		if _, ok := a[name]; !ok {
			names = append(names, name)
		}
	}
	slices.Sort(names)
	return names
}

// entry is one member of a tar file, as bent by a test.
type entry struct {
	head tar.Header
	body []byte
}

func entries(t testing.TB, file string) (all []entry) {
	t.Helper()
	f, err := os.Open(file)
	must(t, err)
	defer f.Close()
	zip, err := gzip.NewReader(f)
	must(t, err)
	for in := tar.NewReader(zip); ; {
		head, err := in.Next()
		if errors.Is(err, io.EOF) {
			return all
		}
		must(t, err)
		body, err := io.ReadAll(in)
		must(t, err)
		all = append(all, entry{tar.Header{Name: head.Name, Size: head.Size, Mode: head.Mode, Typeflag: head.Typeflag, ModTime: head.ModTime}, body})
	}
}

// bend writes the entries, with a manifest changed by f, to a new file.
func bend(t testing.TB, all []entry, f func(m *Manifest)) string {
	t.Helper()
	if f != nil {
		var m Manifest
		must(t, json.Unmarshal(all[0].body, &m))
		f(&m)
		text, err := json.Marshal(m)
		must(t, err)
		all[0].body, all[0].head.Size = text, int64(len(text))
	}
	var b bytes.Buffer
	zip := gzip.NewWriter(&b)
	out := tar.NewWriter(zip)
	for _, e := range all {
		must(t, out.WriteHeader(&e.head))
		_, err := out.Write(e.body)
		must(t, err)
	}
	must(t, errors.Join(out.Close(), zip.Close()))
	file := filepath.Join(t.TempDir(), "bent.tar.gz")
	must(t, os.WriteFile(file, b.Bytes(), 0o600))
	return file
}

func restore(t testing.TB, p Plan) (Restored, error) {
	t.Helper()
	return Restore(context.Background(), p)
}
