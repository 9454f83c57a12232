package archive

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"net/url"
	"sync"
	"sync/atomic"
	"time"

	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"
)

// Measured in the package comment.
const (
	pageSize       = 1024 // bytes
	autoCheckpoint = 1000 // pages of log before they are copied into the file
	writerCache    = 128  // KiB
	readerCache    = 32   // KiB, each
	tempCache      = 4    // KiB, each; SQLite's own is 2000, for tables that are never made
	readers        = 2    // connections
	busyTimeout    = 1000 // ms; only a second process can make a connection wait
)

// full is what SQLite calls durable when a transaction ends.
const full = "FULL"

// store is one database file with one connection that writes and a few that read.
//
// The files are opened with SQLite's unix-excl: the index of the log lives in memory instead of a mapped -shm file, which the
// kernel would write to the card after every poll. The price is that no other process may open them; ReadOnly works on a copy.
type store struct {
	path   string
	write1 sync.Mutex   // one transaction at a time
	swap   sync.RWMutex // held by all who use the fields below, locked while the file is replaced
	writer *sql.DB
	conn   *sql.Conn // the writer's only connection
	reader *sql.DB
	hurt   atomic.Bool // a reader found damage; the next write renews the file
	lazy   bool        // a transaction is not synced when it ends, but every syncEvery
	synced time.Time   // when one last was, by the process's own clock; guarded by write1
}

// syncEvery bounds what a power cut takes from readings.db: the history loses no more than this and the poll under way, whatever the kernel holds back
// (on Linux it is half a minute, unless somebody set it otherwise). It goes by the clock of this process, not by that of the readings. Ours, no source.
const syncEvery = time.Minute

// dsn carries every pragma, so that each connection of a pool has them. The driver runs _pragma values in alphabetical order,
// which would fix the page size at its default by setting the journal mode first; _journal_mode runs after them.
func dsn(path string, k kind, cacheKiB int, queryOnly bool) string {
	q := url.Values{
		"vfs":           {"unix-excl"},
		"_busy_timeout": {fmt.Sprint(busyTimeout)},
		"_pragma": {
			fmt.Sprintf("page_size(%d)", pageSize),
			fmt.Sprintf("wal_autocheckpoint(%d)", autoCheckpoint),
			fmt.Sprintf("journal_size_limit(%d)", 2*autoCheckpoint*pageSize),
			fmt.Sprintf("cache_size(-%d)", cacheKiB),
			fmt.Sprintf("temp.cache_size(-%d)", tempCache),
		},
		"_journal_mode": {"WAL"},
		"_synchronous":  {k.synchronous},
		"_dqs":          {"0"},
	}
	if queryOnly {
		q.Set("_query_only", "1")
	}
	return uri(path, q)
}

func uri(path string, q url.Values) string {
	return (&url.URL{Scheme: "file", Path: path, RawQuery: q.Encode()}).String()
}

// connectOwn opens a file that this process alone uses.
func connectOwn(path string, k kind) (*store, error) {
	return connect(path, k, dsn(path, k, writerCache, false), dsn(path, k, readerCache, true))
}

// connect opens a file, by one name for the connection that writes and by another for those that read.
func connect(path string, k kind, writer, reader string) (*store, error) {
	// Without it any close of a descriptor of these files, by a backup say, would drop the lock. Where the system has no such
	// locks the ordinary ones serve.
	if _, err := sqlite.OFDLocking(true); err != nil && !errors.Is(err, sqlite.ErrOFDLockingUnavailable) && !errors.Is(err, sqlite.ErrOFDLockingTooLate) {
		return nil, err
	}
	s := &store{path: path, lazy: k.synchronous != full}
	var err error
	if s.writer, err = sql.Open("sqlite", writer); err != nil {
		return nil, err
	}
	s.writer.SetMaxOpenConns(1)
	if s.conn, err = s.writer.Conn(context.Background()); err != nil {
		return nil, errors.Join(err, s.close())
	}
	if s.reader, err = sql.Open("sqlite", reader); err != nil {
		return nil, errors.Join(err, s.close())
	}
	s.reader.SetMaxOpenConns(readers)
	s.reader.SetMaxIdleConns(readers)
	return s, nil
}

func (s *store) close() error {
	s.swap.Lock()
	defer s.swap.Unlock()
	var errs []error
	if s.reader != nil {
		errs = append(errs, s.reader.Close())
	}
	if s.conn != nil {
		errs = append(errs, s.conn.Close())
	}
	if s.writer != nil {
		errs = append(errs, s.writer.Close())
	}
	return errors.Join(errs...)
}

// adopt takes over the connections of another store, whose file has the same path. Its own stay as they are.
func (s *store) adopt(fresh *store) {
	s.swap.Lock()
	defer s.swap.Unlock()
	s.writer, s.conn, s.reader = fresh.writer, fresh.conn, fresh.reader
	s.hurt.Store(false)
}

// own lets f read with the connection that writes.
func (s *store) own(f func(*tx) error) error {
	s.write1.Lock()
	defer s.write1.Unlock()
	s.swap.RLock()
	defer s.swap.RUnlock()
	return s.explain(f(&tx{s.conn}))
}

// write runs f in one transaction: all of it is stored, or nothing.
func (s *store) write(f func(*tx) error) error {
	s.write1.Lock()
	defer s.write1.Unlock()
	s.swap.RLock()
	defer s.swap.RUnlock()
	if s.hurt.Load() {
		return s.explain(fmt.Errorf("%w: found while reading", errDamaged))
	}
	t := &tx{s.conn}
	now := time.Now()
	sync := s.lazy && now.Sub(s.synced) >= syncEvery
	var err error
	if sync { // whoever syncs the log syncs all that was written into it before
		err = t.exec("PRAGMA synchronous = " + full)
	}
	if err == nil {
		err = t.exec("BEGIN IMMEDIATE")
	}
	if err == nil {
		if err = f(t); err == nil {
			err = t.exec("COMMIT")
		}
		if err != nil {
			_ = t.exec("ROLLBACK") // SQLite may have done so itself
		}
	}
	if sync {
		if err == nil {
			s.synced = now
		}
		_ = t.exec("PRAGMA synchronous = NORMAL") // else it syncs more often; what is stored is stored
	}
	return s.explain(err)
}

// read runs f with the connections for reading.
func (s *store) read(f func(*sql.DB) error) error {
	s.swap.RLock()
	defer s.swap.RUnlock()
	err := f(s.reader)
	if damaged(err) {
		s.hurt.Store(true)
	}
	return s.explain(err)
}

// explain adds the file and what to do about it.
func (s *store) explain(err error) error {
	if err == nil {
		return nil
	}
	switch code(err) & 0xff {
	case sqlite3.SQLITE_FULL:
		return fmt.Errorf("archive: %s: %w; free some space on the card", s.path, err)
	case sqlite3.SQLITE_READONLY, sqlite3.SQLITE_IOERR:
		return fmt.Errorf("archive: %s: %w; see in the kernel's log whether the card is failing or has become read-only", s.path, err)
	case sqlite3.SQLITE_BUSY:
		return fmt.Errorf("archive: %s: %w; another nestmon is using it, stop that one first", s.path, err)
	}
	return fmt.Errorf("archive: %s: %w", s.path, err)
}

// tx is a transaction in progress.
type tx struct{ conn *sql.Conn }

func (t *tx) exec(query string, args ...any) error {
	_, err := t.conn.ExecContext(context.Background(), query, args...)
	return err
}

// changed is exec that counts the rows.
func (t *tx) changed(query string, args ...any) (int64, error) {
	r, err := t.conn.ExecContext(context.Background(), query, args...)
	if err != nil {
		return 0, err
	}
	return r.RowsAffected()
}

func (t *tx) row(query string, args ...any) *sql.Row {
	return t.conn.QueryRowContext(context.Background(), query, args...)
}

func code(err error) int {
	var e *sqlite.Error
	if errors.As(err, &e) {
		return e.Code()
	}
	return sqlite3.SQLITE_OK
}

// damaged reports whether err says that the file itself is not, or no longer, a database.
func damaged(err error) bool {
	switch c := code(err); c & 0xff {
	case sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB:
		return true
	case sqlite3.SQLITE_IOERR:
		return c == sqlite3.SQLITE_IOERR_SHORT_READ
	}
	return errors.Is(err, errDamaged)
}

// errDamaged is our own finding, where SQLite has none.
var errDamaged = errors.New("damaged")

// collect runs a query and scans each row with f.
func collect(q interface {
	QueryContext(context.Context, string, ...any) (*sql.Rows, error)
}, f func(scan func(...any) error) error, query string, args ...any,
) error {
	rows, err := q.QueryContext(context.Background(), query, args...)
	if err != nil {
		return err
	}
	for rows.Next() {
		if err := f(rows.Scan); err != nil {
			return errors.Join(err, rows.Close())
		}
	}
	return errors.Join(rows.Err(), rows.Close())
}
