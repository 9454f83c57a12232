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
// Where the litter book itself could not be read that would be too late: everybody has taken up what an empty one holds, and would write it over the real one.
// Then nothing is written until the process ends, and ErrAnew says when that is worth while.

// ErrAnew is what every write is refused with once another start would find more of the litter book than this one has.
var ErrAnew = errors.New("the litter book can be read again, or a new one be begun; starting anew")

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
	a := &Archive{dir: dir, opts: opts}
	a.held.Store(&why)
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

// Unread reports whether the litter book could not be read when the archive was opened.
func (a *Archive) Unread() bool { return a.unread.Load() }

// Held is why the archive cannot be written since it was opened, nil where it can. It waits for no write.
func (a *Archive) Held() error {
	if why := a.held.Load(); why != nil {
		return *why
	}
	return nil
}

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
	switch held := a.Held(); {
	case held == nil, errors.Is(held, ErrAnew):
		return held
	case a.Unread():
		return a.awaitAnew()
	}
	fresh := &Archive{dir: a.dir, opts: a.opts}
	err := writable(a.dir)
	if err == nil {
		a.letIn()
		err = fresh.open(mending(a.opts))
	}
	if err != nil {
		a.keepOut()
		a.held.Store(&err)
		return err
	}
	// What was read so far stays open until the process ends, in which it happens once: closing it would delete a log in which it found nothing, and that is now the log
	// of those who write.
	a.book.adopt(fresh.book)
	a.readings.adopt(fresh.readings)
	fresh.state.asked = a.state.asked
	a.state = fresh.state
	a.held.Store(nil)
	a.plan.Store(fresh.plan.Load())
	a.days.forgetAll()
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

// awaitAnew says why nothing is written yet, or ErrAnew.
func (a *Archive) awaitAnew() error {
	err := a.foundAnew()
	if err == nil {
		err = ErrAnew
		a.opts.Log.Error("nothing more is kept by this process", "err", err)
	}
	a.held.Store(&err)
	return err
}

// foundAnew reports that a start would find the litter book, or could put another in its place; an error is why not.
func (a *Archive) foundAnew() error {
	path := filepath.Join(a.dir, bookFile.name)
	s, err := openStill(path, bookFile)
	switch {
	case err == nil:
		return s.close()
	case errors.Is(err, errNewer):
		return err
	}
	if no := writable(a.dir); no != nil {
		return no
	}
	if refusing(err) {
		return err
	}
	// A file may be made on a card that is full, a litter book may not: without this try it would be started anew for ever.
	try := path + ".try"
	err = create(try, bookFile)
	for _, tail := range tails {
		_ = os.Remove(try + tail) // there is none, mostly
		_ = os.Remove(try + ".new" + tail)
	}
	return err
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
