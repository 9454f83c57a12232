package archive

import (
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"sync/atomic"
	"syscall"
	"time"

	"nestmon/sensors"
	"nestmon/thresholds/book"
)

// Defaults of Options. A year of raw polls of 90 series is about 200 MB, of hourly rows about 8 MB; the spans are ours, no source.
const (
	DefaultRawFor   = 90 * 24 * time.Hour
	DefaultHoursFor = 10 * 365 * 24 * time.Hour
)

// Options say what to keep and for how long.
type Options struct {
	Probes   []sensors.Probe  // whose values are stored; nil for reading only
	Now      func() time.Time // time.Now when nil
	Log      *slog.Logger     // discards when nil
	RawFor   time.Duration    // how long every poll is kept, DefaultRawFor when 0
	HoursFor time.Duration    // how long hourly rows and events are kept, DefaultHoursFor when 0

	// Placed is told of polls that were given their true times, in Commit, once the clock was known. nil for nobody.
	Placed func(polls int, from, to time.Time)

	// Regardless opens what cannot be written all the same: what can be read is read, and every write is refused with the reason until the card takes it.
	Regardless bool

	// Entries is the litter book as its owner has it in memory: it is written again where its file breaks while it is open. nil for none.
	Entries func() []book.Entry
}

func (o Options) filled() Options {
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	if o.RawFor <= 0 {
		o.RawFor = DefaultRawFor
	}
	if o.HoursFor <= 0 {
		o.HoursFor = DefaultHoursFor
	}
	if o.Placed == nil {
		o.Placed = func(int, time.Time, time.Time) {}
	}
	if o.Entries == nil {
		o.Entries = func() []book.Entry { return nil }
	}
	return o
}

// Archive is the store. Its methods may be called from any goroutine; readers do not wait for Commit.
type Archive struct {
	dir            string
	opts           Options
	readings, book *store
	copied         string // the folder of a read-only copy, removed by Close
	closed         bool

	plan   atomic.Pointer[plan] // what the columns of every poll mean
	days   dayBook
	aside  paths
	unsent sync.Map              // uint64 by sink: see Pruned
	owed   atomic.Bool           // the file of the litter book is new, and the book not in it yet
	unread atomic.Bool           // the litter book could not be read, and an empty one stands for it
	recent lately                // what was sent to the book
	held   atomic.Pointer[error] // why the archive cannot be written since it was opened, nil where it can; changed with mu held

	mu       sync.Mutex // one writer at a time; guards all below
	state    pollState
	channels []string
	counts   Counts
	guards   []*os.File // keep a writer out while it is held
}

// Counts are what the archive could not keep since it was opened. None of them is an error of a call.
type Counts struct {
	Unfit           uint64 // values outside what a row can hold, stored as absent
	Unknown         uint64 // values of probes or quantities the archive was not opened with
	Repeated        uint64 // values already stored, or too old to be new
	Pruned          uint64 // polls removed for age
	DroppedMessages uint64 // messages pushed out of a full queue
}

var errReadOnly = errors.New("archive: opened for reading only")

// Open opens the archive in dir for the one process that writes it, and makes what is missing. A database file that cannot
// be read is renamed beside, a new one is begun, and SetAside names it. What cannot be written is an error, unless Options say Regardless.
func Open(dir string, opts Options) (*Archive, error) {
	dir, err := filepath.Abs(dir)
	if err != nil {
		return nil, fmt.Errorf("archive: %w", err)
	}
	opts = opts.filled()
	if err = writable(dir); err == nil {
		a := &Archive{dir: dir, opts: opts}
		if err = a.open(mending(opts)); err == nil {
			return a, nil
		}
	}
	if opts.Regardless && refusing(err) {
		return openHeld(dir, opts, err)
	}
	return nil, err
}

// opener opens one file, and says what it put aside for it.
type opener func(path string, k kind) (*store, []string, error)

func mending(opts Options) opener {
	return func(path string, k kind) (*store, []string, error) { return openStore(path, k, true, opts) }
}

func (a *Archive) open(file opener) (err error) {
	defer func() {
		if err != nil {
			err = errors.Join(err, a.Close())
		}
	}()
	for _, f := range []struct {
		kind kind
		to   **store
	}{{bookFile, &a.book}, {readingsFile, &a.readings}} {
		s, aside, err := file(filepath.Join(a.dir, f.kind.name), f.kind)
		a.aside.add(aside)
		if err != nil {
			return err
		}
		*f.to = s
	}
	if err := a.loadReadings(); err != nil {
		return err
	}
	return a.loadChannels()
}

// SetAside returns the paths of database files that could not be read and were renamed since the archive was opened. It waits for
// no write.
func (a *Archive) SetAside() []string {
	a.aside.mu.Lock()
	defer a.aside.mu.Unlock()
	return slices.Clone(a.aside.all)
}

// paths is a list with a lock of its own.
type paths struct {
	mu  sync.Mutex
	all []string
}

func (p *paths) add(more []string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.all = append(p.all, more...)
}

// Counts returns what could not be kept so far.
func (a *Archive) Counts() Counts {
	a.mu.Lock()
	defer a.mu.Unlock()
	return a.counts
}

// Close writes what still waits in memory and releases the files. It may be called more than once.
func (a *Archive) Close() error {
	a.mu.Lock()
	defer a.mu.Unlock()
	if a.closed {
		return nil
	}
	a.closed = true
	var errs []error
	if a.readings != nil && a.copied == "" && a.Held() == nil {
		errs = append(errs, a.readings.write(a.saveCursorsNow))
	}
	for _, s := range []*store{a.readings, a.book} {
		if s != nil {
			errs = append(errs, s.close())
		}
	}
	a.letIn()
	if a.copied != "" {
		errs = append(errs, os.RemoveAll(a.copied))
	}
	return errors.Join(errs...)
}

// mayWrite is asked first by every method that writes.
func (a *Archive) mayWrite() error {
	if a.copied != "" {
		return errReadOnly
	}
	return a.comeBack()
}

func writable(dir string) error {
	remedy := "let the user that runs nestmon own this folder, or name another one in the setting data"
	err := os.MkdirAll(dir, 0o750)
	if err == nil {
		var f *os.File
		if f, err = os.CreateTemp(dir, ".nestmon-*"); err == nil {
			err = errors.Join(f.Close(), os.Remove(f.Name()))
		}
	}
	switch {
	case errors.Is(err, syscall.ENOSPC), errors.Is(err, syscall.EDQUOT):
		remedy = "free some space on the card"
	case errors.Is(err, syscall.EROFS), errors.Is(err, syscall.EIO):
		remedy = "see in the kernel's log whether the card is failing or has become read-only"
	}
	if at, ok := errors.AsType[*fs.PathError](err); ok {
		err = at.Err // the name is another each time
	}
	if err != nil {
		return fmt.Errorf("archive: %s cannot be written: %w; %s", dir, err, remedy)
	}
	return nil
}
