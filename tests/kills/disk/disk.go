// Package disk is a disk that forgets what was not synced when the power is cut.
//
// A Disk is one folder of files in memory. Beside what a program sees it keeps what would be there after a cut: a file's bytes of its last fsync, a name
// once the folder was synced. Image makes what a cut leaves: what was synced always, and of what was not nothing, everything, or any of it, in pieces of a
// sector and in any order, as a card may write them. Names are lost from the newest on, as a file system with a journal loses them. Mount shows a Disk to
// the kernel (FUSE), so that a real program runs on it.
//
// It is stricter than ext4 in one thing: the name of a new file lasts only once its folder is synced, not when the file is.
package disk

import (
	"bytes"
	"errors"
	"maps"
	"math/rand/v2"
	"slices"
	"sync"
)

// Sector is what a card writes whole or not at all, in bytes; common practice, no source.
const Sector = 512

// Files are names and what they hold.
type Files map[string][]byte

// Kind is what was done to the disk.
type Kind string

// Kinds of operations. A mark is none: it notes that somebody outside was told something.
const (
	Create   Kind = "create"
	Write    Kind = "write"
	Truncate Kind = "truncate"
	Rename   Kind = "rename"
	Remove   Kind = "remove"
	Sync     Kind = "sync"
	SyncDir  Kind = "sync folder"
	Mark     Kind = "mark"
)

// Op is one operation. Files are known by their numbers, for names change.
type Op struct {
	Kind Kind
	File int
	Name string // of Create, Rename (the old one), Remove and Mark
	To   string
	At   int64 // of Write; the new size of Truncate
	Data []byte
}

// ErrCut is what every change says after the power was cut.
var ErrCut = errors.New("the power is cut")

// Disk is the folder. Its methods may be called from any goroutine.
type Disk struct {
	mu    sync.Mutex
	now   map[string]*file // as programs see it
	then  map[string]*file // as the last sync of the folder left it
	names []Op             // changes of names since
	files []*file
	log   []Op
	made  int // operations, marks not counted
	left  int // operations until the cut, below 0 for never
	cut   chan struct{}
	wrong error // what operations say, nil while the disk is well
	only  []Kind
}

type file struct {
	number int
	data   []byte
	synced []byte
	since  []Op // writes since
}

// New makes a disk that holds these files, synced.
func New(with Files) *Disk {
	d := &Disk{now: map[string]*file{}, then: map[string]*file{}, left: -1, cut: make(chan struct{})}
	for _, name := range slices.Sorted(maps.Keys(with)) {
		f := d.file()
		f.data, f.synced = bytes.Clone(with[name]), bytes.Clone(with[name])
		d.now[name], d.then[name] = f, f
	}
	return d
}

func (d *Disk) file() *file {
	f := &file{number: len(d.files)}
	d.files = append(d.files, f)
	return f
}

// CutAfter cuts the power after so many more operations.
func (d *Disk) CutAfter(ops int) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.left = ops
}

// Fail makes operations of these kinds, all where none is named, say err and do nothing, until it is called with nil.
func (d *Disk) Fail(err error, only ...Kind) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.wrong, d.only = err, only
}

// Cut cuts the power now. It may be cut already.
func (d *Disk) Cut() {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.end()
}

func (d *Disk) end() {
	if d.left = 0; !d.dead() {
		close(d.cut)
	}
}

func (d *Disk) dead() bool {
	select {
	case <-d.cut:
		return true
	default:
		return false
	}
}

// Dead is closed by the cut.
func (d *Disk) Dead() <-chan struct{} { return d.cut }

// Log is what was done so far.
func (d *Disk) Log() []Op {
	d.mu.Lock()
	defer d.mu.Unlock()
	return slices.Clone(d.log)
}

// Ops is how many operations there were.
func (d *Disk) Ops() int {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.made
}

// Note puts a mark into the log.
func (d *Disk) Note(what string) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.log = append(d.log, Op{Kind: Mark, Name: what})
}

// Do does one operation, of a log say.
func (d *Disk) Do(op Op) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	if op.Kind == Mark {
		d.log = append(d.log, op)
		return nil
	}
	if d.left == 0 {
		d.end()
		return ErrCut
	}
	if d.wrong != nil && (len(d.only) == 0 || slices.Contains(d.only, op.Kind)) {
		return d.wrong
	}
	if d.left > 0 {
		d.left--
	}
	d.made++
	op.Data = bytes.Clone(op.Data)
	d.log = append(d.log, op)
	switch op.Kind {
	case Create, Rename, Remove:
		if op.Kind == Create {
			op.File = d.file().number
			d.log[len(d.log)-1].File = op.File
		}
		d.named(d.now, op)
		d.names = append(d.names, op)
	case Write, Truncate:
		f := d.files[op.File]
		f.data = op.on(f.data)
		f.since = append(f.since, op)
	case Sync:
		f := d.files[op.File]
		f.synced, f.since = bytes.Clone(f.data), nil
	case SyncDir:
		d.then, d.names = maps.Clone(d.now), nil
	}
	if d.left == 0 {
		d.end()
	}
	return nil
}

func (d *Disk) named(names map[string]*file, op Op) {
	switch op.Kind {
	case Create:
		names[op.Name] = d.files[op.File]
	case Rename:
		names[op.To] = names[op.Name]
		delete(names, op.Name)
	case Remove:
		delete(names, op.Name)
	}
}

// on is what a write or a new size makes of some bytes.
func (op Op) on(b []byte) []byte {
	size := op.At + int64(len(op.Data))
	if op.Kind == Truncate {
		size = op.At
	}
	if size > int64(len(b)) {
		b = append(b, make([]byte, size-int64(len(b)))...)
	}
	if op.Kind == Truncate {
		return b[:size]
	}
	copy(b[op.At:], op.Data)
	return b
}

// sectors cuts a write where a card may.
func (op Op) sectors() (parts []Op) {
	if op.Kind != Write {
		return []Op{op}
	}
	at, left := op.At, op.Data
	for len(left) > 0 {
		n := min(Sector-int(at%Sector), len(left))
		parts = append(parts, Op{Kind: Write, At: at, Data: left[:n]})
		at, left = at+int64(n), left[n:]
	}
	return parts
}

// Luck is what becomes of what was not synced.
type Luck int

// The lucks.
const (
	Nothing   Luck = iota // all of it is lost
	All                   // all of it was written already
	Beginning             // some of the oldest of each file, the last write torn
	Any                   // any sectors of it
	Lucks
)

// Image is what a cut now would leave.
func (d *Disk) Image(luck Luck, random *rand.Rand) Files {
	d.mu.Lock()
	defer d.mu.Unlock()
	names, kept := maps.Clone(d.then), 0
	switch luck {
	case All:
		kept = len(d.names)
	case Beginning, Any:
		kept = random.IntN(len(d.names) + 1)
	}
	for _, op := range d.names[:kept] {
		d.named(names, op)
	}
	out := Files{}
	for _, name := range slices.Sorted(maps.Keys(names)) {
		f := names[name]
		b := bytes.Clone(f.synced)
		var parts []Op
		for _, op := range f.since {
			parts = append(parts, op.sectors()...)
		}
		most := len(parts)
		if luck == Beginning {
			most = random.IntN(len(parts) + 1)
		}
		for _, op := range parts[:most] {
			if luck == All || luck == Beginning || luck == Any && random.IntN(2) == 0 {
				b = op.on(b)
			}
		}
		out[name] = b
	}
	return out
}

// Now is what programs see.
func (d *Disk) Now() Files {
	d.mu.Lock()
	defer d.mu.Unlock()
	out := Files{}
	for name, f := range d.now {
		out[name] = bytes.Clone(f.data)
	}
	return out
}
