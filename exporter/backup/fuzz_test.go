package backup

import (
	"bytes"
	"compress/gzip"
	"context"
	"io"
	"os"
	"path/filepath"
	"testing"
)

// FuzzContainer: whatever a file holds that is said to be a backup, nothing is written outside the folder for it, and what is taken for one is named by its
// manifest. The zip around it is made here: its sums would let nothing else through.
func FuzzContainer(f *testing.F) {
	file, _ := packed(f, "oak", 2)
	text, err := os.ReadFile(file)
	must(f, err)
	zip, err := gzip.NewReader(bytes.NewReader(text))
	must(f, err)
	tar, err := io.ReadAll(zip)
	must(f, err)
	f.Add(tar, true)
	f.Add(tar[:1024], true)
	f.Add(bytes.ReplaceAll(tar, []byte("book.db"), []byte("../k.db")), true)
	f.Add(bytes.ReplaceAll(tar, []byte("book.db"), []byte("/tmp/ks")), true)
	f.Add(text, false)
	f.Add([]byte{}, false)
	f.Add([]byte("\x1f\x8b"), false)
	dir := f.TempDir()
	f.Fuzz(func(t *testing.T, content []byte, pack bool) {
		if pack {
			var b bytes.Buffer
			w := gzip.NewWriter(&b)
			_, _ = w.Write(content) // into memory
			must(t, w.Close())
			content = b.Bytes()
		}
		whole := filepath.Join(dir, "backup.tar.gz")
		must(t, os.WriteFile(whole, content, 0o600))
		m, err := Check(context.Background(), whole)
		if err == nil && len(m.Files) == 0 {
			t.Error("a backup of nothing is whole")
		}
		for _, member := range m.Files {
			if !filepath.IsLocal(member.Name) && err == nil {
				t.Errorf("a member lies at %q", member.Name)
			}
		}
		into := filepath.Join(dir, "into")
		_, unpacked := unpack(context.Background(), whole, into)
		if unpacked == nil && err != nil {
			t.Errorf("it was unpacked, and is no backup: %v", err)
		}
		must(t, os.RemoveAll(into))
		if left, err := os.ReadDir(dir); err != nil || len(left) != 1 {
			t.Errorf("beside the backup lie %v, %v", left, err)
		}
	})
}
