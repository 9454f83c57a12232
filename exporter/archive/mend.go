package archive

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"time"
)

// openStore opens the file at path, makes it where it is missing, brings an older one up to date and, where mend is set, puts
// a damaged one aside. It returns the paths of what was put aside.
func openStore(path string, k kind, mend bool, opts Options) (*store, []string, error) {
	s, err := openSound(path, k)
	if err == nil {
		return s, nil, nil
	}
	missing := errors.Is(err, fs.ErrNotExist)
	if !mend || !missing && !damaged(err) {
		return nil, nil, err
	}
	// A log without its file belongs to a file that was lost: beside a new one it would be played into it.
	aside, aerr := putAside(path, opts.Now())
	if aerr != nil {
		return nil, aside, errors.Join(err, aerr)
	}
	if len(aside) > 0 {
		opts.Log.Error("archive file cannot be read; set aside, a new one is begun", "file", path, "aside", aside, "err", err)
	}
	if missing && len(aside) == 0 {
		// A start that set it aside and got no further, on a full card say, could not tell anybody.
		if aside, err = filepath.Glob(path + ".broken-*"); err != nil {
			return nil, nil, err
		}
	}
	if err := create(path, k); err != nil {
		return nil, aside, err
	}
	s, err = openSound(path, k)
	return s, aside, err
}

// openSound opens an existing file and proves that it is whole.
func openSound(path string, k kind) (*store, error) {
	if err := checkHeader(path, k); err != nil {
		return nil, err
	}
	s, err := connectOwn(path, k)
	if err != nil {
		return nil, (&store{path: path}).explain(err)
	}
	if err := s.prove(k); err != nil {
		return nil, errors.Join(err, s.close())
	}
	return s, nil
}

func (s *store) prove(k kind) error {
	return s.write(func(t *tx) error {
		version, err := t.proved(s.path, k)
		if err != nil {
			return err
		}
		return migrate(t, k, version)
	})
}

// proved looks at the whole structure of a file and returns its schema.
func (t *tx) proved(path string, k kind) (version int, err error) {
	if err := t.row("PRAGMA user_version").Scan(&version); err != nil {
		return 0, err
	}
	if version > len(k.steps) {
		return 0, newer(path, version, k)
	}
	var verdict string
	if err := t.row("PRAGMA quick_check(1)").Scan(&verdict); err != nil {
		return 0, err
	}
	if verdict != "ok" {
		return 0, fmt.Errorf("%w: %s", errDamaged, verdict)
	}
	if version == 0 {
		return 0, fmt.Errorf("%w: it holds no schema", errDamaged)
	}
	return version, nil
}

var errNewer = errors.New("written by a newer nestmon")

func newer(path string, version int, k kind) error {
	return fmt.Errorf("archive: %s has schema %d, %w; this one knows up to %d: install the newer program again, or name another folder in the setting data", path, version, errNewer, len(k.steps))
}

// migrate runs the steps that are missing, inside the caller's transaction.
func migrate(t *tx, k kind, from int) error {
	if from == len(k.steps) {
		return nil
	}
	for i, step := range k.steps[from:] {
		if err := t.exec(step); err != nil {
			return fmt.Errorf("bringing schema %d to %d: %w", from+i, from+i+1, err)
		}
	}
	return t.exec(fmt.Sprintf("PRAGMA user_version = %d", len(k.steps)))
}

// checkHeader looks at the file without SQLite, so that a newer or foreign one is not touched. Offsets: SQLite, Database File
// Format, section 1.3.
func checkHeader(path string, k kind) error {
	f, err := os.Open(path)
	if err != nil {
		return fmt.Errorf("archive: %w", err)
	}
	defer func() { _ = f.Close() }() // only read
	var h [100]byte
	if _, err := io.ReadFull(f, h[:]); err != nil {
		return fmt.Errorf("archive: %s: %w: no header: %w", path, errDamaged, err)
	}
	if string(h[:16]) != "SQLite format 3\x00" {
		return fmt.Errorf("archive: %s: %w: not a SQLite file", path, errDamaged)
	}
	if id := binary.BigEndian.Uint32(h[68:]); id != applicationID {
		return fmt.Errorf("archive: %s: %w: application id %#x is not nestmon's", path, errDamaged, id)
	}
	if v := int(binary.BigEndian.Uint32(h[60:])); v > len(k.steps) {
		return newer(path, v, k)
	}
	return nil
}

// create makes the file under another name and renames it when it is whole, so that a file is never half made.
func create(path string, k kind) error {
	fresh := path + ".new"
	for _, tail := range tails {
		if err := os.Remove(fresh + tail); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return fmt.Errorf("archive: removing an unfinished file: %w", err)
		}
	}
	s, err := connectOwn(fresh, k)
	if err != nil {
		return fmt.Errorf("archive: making %s: %w", path, err)
	}
	err = s.write(func(t *tx) error {
		if err := t.exec(fmt.Sprintf("PRAGMA application_id = %d", applicationID)); err != nil {
			return err
		}
		return migrate(t, k, 0)
	})
	if err = errors.Join(err, s.close()); err != nil { // closing copies the log into the file and syncs it
		return fmt.Errorf("archive: making %s: %w", path, err)
	}
	if err := os.Rename(fresh, path); err != nil {
		return fmt.Errorf("archive: %w", err)
	}
	return syncFolder(filepath.Dir(path))
}

// tails are the endings of a database's files: itself, its log, the log's index.
var tails = []string{"", "-wal", "-shm"}

// putAside renames the file and its log to a dated name beside. Nothing is ever deleted.
func putAside(path string, now time.Time) ([]string, error) {
	base := path + ".broken-" + now.UTC().Format("20060102T150405Z")
	name := base
	for n := 2; exists(name) || exists(name+"-wal"); n++ {
		name = fmt.Sprintf("%s-%d", base, n)
	}
	var moved []string
	for _, tail := range tails {
		err := os.Rename(path+tail, name+tail)
		if errors.Is(err, fs.ErrNotExist) {
			continue
		}
		if err != nil {
			return moved, fmt.Errorf("archive: setting a damaged file aside: %w", err)
		}
		moved = append(moved, name+tail)
	}
	if len(moved) == 0 {
		return nil, nil
	}
	return moved, syncFolder(filepath.Dir(path))
}

func exists(path string) bool {
	_, err := os.Lstat(path)
	return err == nil
}

func syncFolder(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return fmt.Errorf("archive: %w", err)
	}
	return errors.Join(d.Sync(), d.Close())
}
