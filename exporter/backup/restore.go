package backup

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"nestmon/exporter/archive"
)

// Plan says what is to be restored, and to where.
type Plan struct {
	From     string // the backup
	To       string // the archive's folder; need not be there
	ConfigTo string // where the configuration goes; empty to leave it in the folder
	Now      func() time.Time
	// Room is how many bytes the disk of a folder can still take, false where that is not known.
	Room func(dir string) (uint64, bool)
	// Ready finishes the unpacked folder before it takes its place.
	Ready func(dir string, m Manifest) error

	step func(name string) error // before each change of what is there; a test's to fail
}

// Restored says what was done.
type Restored struct {
	Manifest Manifest
	Folder   string   // that was restored
	Aside    []string // where that is now which was there before
	Config   string   // where the configuration is
	Owned    bool     // the files belong to whom the folder before them belonged to
}

// spare is left free on the disk beside what is unpacked, in bytes: for the databases' logs. Ours, no source.
const spare = 8 << 20

// Restore puts a backup into its place, or changes nothing. A crash leaves in place what was there, or what is new, and never a part of it;
// the folder that is not in place lies beside.
func Restore(ctx context.Context, p Plan) (_ Restored, err error) {
	if p.step == nil {
		p.step = func(string) error { return nil }
	}
	m, err := Check(ctx, p.From)
	if err != nil {
		return Restored{}, err
	}
	target, there, err := p.target()
	if err != nil {
		return Restored{}, err
	}
	done := Restored{Manifest: m, Folder: target, Config: filepath.Join(target, ConfigName)}
	beside := filepath.Dir(target)
	if err := os.MkdirAll(beside, 0o755); err != nil {
		return done, fmt.Errorf("%w; run it as root", err)
	}
	if free, known := p.Room(beside); known && free < uint64(m.Bytes())+spare {
		return done, fmt.Errorf("%s has %d MB left, the backup takes %d MB unpacked; free some space", beside, free>>20, (m.Bytes()+spare)>>20)
	}
	work, err := os.MkdirTemp(beside, filepath.Base(target)+".restore-*")
	if err != nil {
		return done, fmt.Errorf("%w; run it as root", err)
	}
	ours := true // all that is in work; not after the folders have changed places
	defer func() {
		if ours {
			err = errors.Join(err, os.RemoveAll(work))
		} else if gone := os.Remove(work); gone != nil {
			err = errors.Join(err, fmt.Errorf("what was there before is in %s: %w", work, gone))
		}
	}()
	fresh := filepath.Join(work, "new")
	if _, err := unpack(ctx, p.From, fresh); err != nil {
		return done, fmt.Errorf("unpacking %s: %w", p.From, err)
	}
	if p.Ready != nil {
		if err := p.Ready(fresh, m); err != nil {
			return done, fmt.Errorf("preparing what was unpacked: %w", err)
		}
	}
	if err := modes(fresh); err != nil {
		return done, err
	}
	if done.Owned, err = giveTo(fresh, there); err != nil {
		return done, fmt.Errorf("giving the files to whom %s belongs to: %w", target, err)
	}
	config, err := p.config(fresh)
	if err != nil {
		return done, err
	}
	defer func() { _ = os.Remove(config) }() // where it was not placed
	if err := errors.Join(syncFolder(fresh), syncFolder(work), ctx.Err(), p.free(target)); err != nil {
		return done, err
	}
	if err := p.step("folder"); err != nil {
		return done, err
	}
	if ours, err = p.place(fresh, target, there != nil, &done); err != nil {
		return done, err
	}
	if config != "" {
		err = p.placeConfig(config, &done)
	}
	return done, err
}

// target finds the folder, and looks whether it is one that may be moved aside.
func (p Plan) target() (path string, there fs.FileInfo, err error) {
	if path, err = filepath.Abs(p.To); err != nil {
		return "", nil, err
	}
	if itself, err := filepath.EvalSymlinks(path); err == nil {
		path = itself
	}
	there, err = os.Stat(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return path, nil, nil
	case err != nil:
		return path, nil, err
	case !there.IsDir():
		return path, nil, fmt.Errorf("%s is not a folder; name the setting data of the configuration", path)
	}
	inside, err := os.ReadDir(path)
	if err != nil {
		return path, nil, fmt.Errorf("%w; run it as root", err)
	}
	ours := len(inside) == 0
	for _, f := range inside {
		ours = ours || f.Name() == "book.db" || f.Name() == "readings.db"
	}
	if !ours || path == filepath.Dir(path) {
		return path, nil, fmt.Errorf("%s holds other things and no archive; name the setting data of the configuration, or a folder that is empty or not there yet", path)
	}
	return path, there, p.free(path)
}

// free refuses a folder in which a daemon runs.
func (p Plan) free(path string) error {
	used, err := archive.InUse(path)
	if err != nil {
		return err
	}
	if used {
		return fmt.Errorf("a nestmon is running on %s; stop it first: sudo systemctl stop nestmon", path)
	}
	return nil
}

// modes are those of an archive that the daemon made.
func modes(fresh string) error {
	if err := os.Chmod(fresh, folderMode); err != nil {
		return err
	}
	for _, name := range []string{offsets, limits, ConfigName} {
		if err := os.Chmod(filepath.Join(fresh, name), groupMode); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return err
		}
	}
	return nil
}

// The group may reach the daemon's socket, and read what is no secret.
const (
	folderMode = 0o750
	groupMode  = 0o640
)

// place lets the fresh folder take its place, and moves what is there aside. It reports whether what is called fresh is still what was unpacked.
func (p Plan) place(fresh, target string, there bool, done *Restored) (still bool, err error) {
	if !there {
		return true, errors.Join(os.Rename(fresh, target), syncFolder(filepath.Dir(target)))
	}
	if err := swap(fresh, target); err != nil {
		return true, fmt.Errorf("%s could not change places with what was unpacked: %w; if it is a disk of its own, or on one that cannot do that, move it aside by hand and restore into a folder that is not there yet", target, err)
	}
	err = errors.Join(syncFolder(filepath.Dir(target)), p.step("aside"))
	if os.Remove(fresh) == nil {
		return false, err // it was empty
	}
	aside := p.asideOf(target)
	if moved := os.Rename(fresh, aside); moved != nil {
		return false, errors.Join(err, moved)
	}
	done.Aside = append(done.Aside, aside)
	return false, errors.Join(err, syncFolder(filepath.Dir(target)))
}

func (p Plan) asideOf(path string) string {
	base := path + ".before-restore-" + p.Now().UTC().Format("20060102T150405Z")
	name := base
	for n := 2; ; n++ {
		if _, err := os.Lstat(name); errors.Is(err, fs.ErrNotExist) {
			return name
		}
		name = fmt.Sprintf("%s-%d", base, n)
	}
}

// config takes the configuration out of the folder and lays it ready beside where it goes, empty when it stays.
func (p Plan) config(fresh string) (ready string, err error) {
	from := filepath.Join(fresh, ConfigName)
	if p.ConfigTo == "" {
		return "", nil
	}
	dir := filepath.Dir(p.ConfigTo)
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return "", fmt.Errorf("%w; run it as root", err)
	}
	ready = filepath.Join(dir, "."+filepath.Base(p.ConfigTo)+".restored")
	if err := os.Remove(ready); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return "", err
	}
	if err := copyFile(from, ready); err != nil {
		return "", fmt.Errorf("%w; run it as root", err)
	}
	before, err := os.Stat(p.ConfigTo)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		err = os.Chmod(ready, groupMode)
	case err == nil:
		_, err = giveTo(ready, before)
	}
	if err != nil {
		return "", errors.Join(err, os.Remove(ready))
	}
	return ready, os.Remove(from)
}

func (p Plan) placeConfig(ready string, done *Restored) error {
	if err := p.step("configuration"); err != nil {
		return err
	}
	if _, err := os.Lstat(p.ConfigTo); err == nil {
		aside := p.asideOf(p.ConfigTo)
		if err := os.Link(p.ConfigTo, aside); err != nil { // a second name: the first is never without a file
			return fmt.Errorf("moving the configuration aside: %w", err)
		}
		done.Aside = append(done.Aside, aside)
	}
	done.Config = p.ConfigTo
	return errors.Join(os.Rename(ready, p.ConfigTo), syncFolder(filepath.Dir(p.ConfigTo)))
}
