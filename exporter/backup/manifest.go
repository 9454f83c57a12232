package backup

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"hash"
	"maps"
	"regexp"
	"slices"
	"time"

	"nestmon/exporter/archive"
)

// Manifest is the first member of a backup.
type Manifest struct {
	Format  int       `json:"format"`
	Version string    `json:"version"` // of the program that wrote it
	Site    string    `json:"site"`
	Time    time.Time `json:"time"` // of the copies
	archive.Contents
	Files []Member `json:"files"`
}

// Member is one file of a backup.
type Member struct {
	Name   string `json:"name"`
	Size   int64  `json:"size"`
	SHA256 string `json:"sha256"`
	Key    string `json:"key,omitempty"`  // of a secret: the configuration's key that names it
	Path   string `json:"path,omitempty"` // of a secret: where the configuration looks for it
}

// Names of members.
const (
	manifestName = "manifest.json"
	offsets      = "offsets.jsonl"
	limits       = archive.LimitsFile
	ConfigName   = "nestmon.yaml"
	SecretsName  = "secrets"
)

// format is the layout of what this package writes, and the newest that it reads.
const format = 1

// Bounds of what is read before anything of it is believed; ours, no source. A manifest with a thousand secrets has 200 kB.
const (
	largestManifest = 1 << 20
	mostMembers     = 1000
)

// plainName is what a member may be called: a file of the backup's own folder, or of the one folder in it. It leads nowhere else.
var plainName = regexp.MustCompile(`^(secrets/)?[A-Za-z0-9_][A-Za-z0-9._-]*$`)

// readManifest decides whether this program can restore what a manifest describes.
func readManifest(text []byte) (Manifest, error) {
	var m Manifest
	if err := json.Unmarshal(text, &m); err != nil {
		return m, fmt.Errorf("its manifest is not understood (%w); take another backup", err)
	}
	if m.Format < 1 || m.Format > format {
		return m, fmt.Errorf("its layout is %d, this nestmon knows up to %d; install the nestmon that wrote it (%q) or a newer one", m.Format, format, m.Version)
	}
	known := archive.Schemas()
	for _, name := range slices.Sorted(maps.Keys(known)) {
		if has := m.Schemas[name]; has > known[name] {
			return m, fmt.Errorf("its %s has schema %d, this nestmon knows up to %d; install the nestmon that wrote it (%q) or a newer one", name, has, known[name], m.Version)
		}
		if !slices.ContainsFunc(m.Files, func(f Member) bool { return f.Name == name }) {
			return m, fmt.Errorf("it holds no %s; take another backup", name)
		}
	}
	if len(m.Files) > mostMembers {
		return m, fmt.Errorf("it names %d files, which no backup of nestmon does; take another backup", len(m.Files))
	}
	seen := map[string]bool{manifestName: true}
	for _, f := range m.Files {
		switch {
		case !plainName.MatchString(f.Name):
			return m, fmt.Errorf("it names a file %q, which may lead out of its folder; take a backup that nestmon wrote", f.Name)
		case seen[f.Name]:
			return m, fmt.Errorf("it names %s twice; take a backup that nestmon wrote", f.Name)
		case f.Size < 0:
			return m, fmt.Errorf("it names %d bytes of %s; take a backup that nestmon wrote", f.Size, f.Name)
		}
		seen[f.Name] = true
	}
	return m, nil
}

// Bytes is how much the unpacked files take.
func (m Manifest) Bytes() (n int64) {
	for _, f := range m.Files {
		n += f.Size
	}
	return n
}

// same reports where what was unpacked is not what was packed.
func (m Manifest) same(c archive.Contents) error {
	for file, tables := range m.Rows {
		if m.Schemas[file] != c.Schemas[file] {
			return fmt.Errorf("%s has schema %d, packed was %d", file, c.Schemas[file], m.Schemas[file])
		}
		if !maps.Equal(tables, c.Rows[file]) {
			return fmt.Errorf("%s has other rows than were packed: %v, not %v", file, c.Rows[file], tables)
		}
	}
	if !m.Newest.Equal(c.Newest) {
		return errors.New("the readings end at another time than those that were packed")
	}
	return nil
}

// sum counts and sums up what passes.
type sum struct {
	hash hash.Hash
	size int64
}

func newSum() *sum { return &sum{hash: sha256.New()} }

func (s *sum) Write(p []byte) (int, error) {
	s.size += int64(len(p))
	return s.hash.Write(p)
}

func (s *sum) text() string { return hex.EncodeToString(s.hash.Sum(nil)) }
