package archive

import (
	"crypto/rand"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"

	sqlite3 "modernc.org/sqlite/lib"
)

// A card that cannot be written when the archive is opened is held: what lies there is read as it is, and an empty file in memory stands for what cannot be
// read. Whatever wants to write is refused with the reason; each time the card is tried first, and once it takes a file all goes on as after an ordinary start.

// refusing reports whether err says that a card or its folder takes no writes, rather than that what lies there is wrong.
func refusing(err error) bool {
	for _, no := range []syscall.Errno{syscall.EROFS, syscall.EACCES, syscall.EPERM, syscall.EIO, syscall.ENOSPC, syscall.EDQUOT} {
		if errors.Is(err, no) {
			return true
		}
	}
	switch code(err) & 0xff {
	case sqlite3.SQLITE_FULL, sqlite3.SQLITE_READONLY, sqlite3.SQLITE_IOERR, sqlite3.SQLITE_CANTOPEN:
		return true
	}
	return false
}

// openHeld opens what can be read of an archive that cannot be written, for the reason why.
func openHeld(dir string, opts Options, why error) (*Archive, error) {
	if used, err := InUse(dir); used && err == nil { // what cannot be asked for lack of rights, the daemon's door tells
		return nil, fmt.Errorf("archive: %s: another nestmon is using it, stop that one first", dir)
	}
	a := &Archive{dir: dir, opts: opts, held: why}
	if err := a.open(a.holdStore); err != nil {
		return nil, err
	}
	a.keepOut()
	opts.Log.Error("the archive cannot be written: watching goes on from memory, and nothing is kept until it can", "err", why)
	return a, nil
}

// holdStore opens a file for reading, or an empty one in memory in its place.
func (a *Archive) holdStore(path string, k kind) (*store, []string, error) {
	s, err := openStill(path, k)
	if err == nil || errors.Is(err, errNewer) {
		return s, nil, err
	}
	a.opts.Log.Error("an archive file cannot be read either: an empty one stands for it", "file", path, "err", err)
	if k.name == bookFile.name {
		a.unread.Store(true)
	}
	s, err = inMemory(path, k)
	return s, nil, err
}

// Unread reports whether the litter book could not be read when the archive was opened, and has not been since.
func (a *Archive) Unread() bool { return a.unread.Load() }

// openStill opens a file that nobody writes, with its log, and proves that it is whole.
func openStill(path string, k kind) (*store, error) {
	if err := checkHeader(path, k); err != nil {
		return nil, err
	}
	q := url.Values{"mode": {"ro"}, "_query_only": {"1"}, "_dqs": {"0"}}
	if log, err := os.Stat(path + "-wal"); err == nil && log.Size() > 0 {
		// Without locks, for a file that is open for reading takes none that excludes; and alone, so that the index of the log lies in memory.
		q.Set("vfs", "unix-none")
		q.Set("_pragma", "locking_mode(EXCLUSIVE)")
	} else {
		q.Set("immutable", "1") // else a log would be made
	}
	dsn := uri(path, q)
	s, err := connect(path, k, dsn, dsn)
	if err != nil {
		return nil, (&store{path: path}).explain(err)
	}
	if err := s.own(func(t *tx) error {
		version, err := t.proved(path, k)
		if err == nil && version != len(k.steps) {
			err = fmt.Errorf("schema %d is older than this nestmon's %d, and cannot be brought up to date where it lies", version, len(k.steps))
		}
		return err
	}); err != nil {
		return nil, errors.Join(err, s.close())
	}
	return s, nil
}

// inMemory makes an empty file of that kind in memory, gone with its connections.
func inMemory(path string, k kind) (*store, error) {
	name := "/" + filepath.Base(path) + "-" + rand.Text()
	q := url.Values{"vfs": {"memdb"}, "_dqs": {"0"}}
	writer := uri(name, q)
	q.Set("_query_only", "1")
	s, err := connect(path, k, writer, uri(name, q))
	if err != nil {
		return nil, (&store{path: path}).explain(err)
	}
	if err := s.write(func(t *tx) error { return migrate(t, k, 0) }); err != nil {
		return nil, errors.Join(err, s.close())
	}
	return s, nil
}

// comeBack leaves off holding as soon as the card can be written.
func (a *Archive) comeBack() error {
	a.mu.Lock()
	defer a.mu.Unlock()
	if a.held == nil {
		return nil
	}
	fresh := &Archive{dir: a.dir, opts: a.opts}
	err := writable(a.dir)
	if err == nil {
		a.letIn()
		err = fresh.open(mending(a.opts))
	}
	if err != nil {
		a.keepOut()
		a.held = err
		return err
	}
	if err := errors.Join(a.book.adopt(fresh.book), a.readings.adopt(fresh.readings)); err != nil {
		a.opts.Log.Warn("closing what was read of the archive", "err", err)
	}
	fresh.state.asked = a.state.asked
	a.state, a.held = fresh.state, nil
	a.plan.Store(fresh.plan.Load())
	a.days.forgetAll()
	a.unread.Store(false)
	aside := fresh.SetAside()
	a.aside.add(aside)
	if slices.ContainsFunc(aside, func(path string) bool { return strings.HasPrefix(filepath.Base(path), bookFile.name) }) {
		a.owed.Store(true)
	}
	a.opts.Log.Info("the archive can be written again: from here on all is kept")
	if !slices.Equal(a.channels, fresh.channels) {
		return a.writeBook(func(t *tx) error { return t.putChannels(a.channels) })
	}
	return nil
}

// keepOut keeps every writer from the files that are read, as far as they can be locked.
func (a *Archive) keepOut() {
	if len(a.guards) > 0 {
		return
	}
	for _, k := range kinds {
		f, err := os.Open(filepath.Join(a.dir, k.name))
		if err != nil {
			continue // an empty one stands for it
		}
		if err := keepOut(f); err != nil {
			a.opts.Log.Warn("another daemon could open the archive beside this one", "err", err)
		}
		a.guards = append(a.guards, f)
	}
}

// letIn gives that up.
func (a *Archive) letIn() {
	for _, f := range a.guards {
		_ = f.Close() // only read
	}
	a.guards = nil
}
