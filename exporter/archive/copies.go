package archive

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"nestmon/thresholds/book"
)

// Copy copies the archive in dir into the folder to, which must be there, while another process may be writing it. Nothing in dir is
// touched, no lock is taken and none can be lost: the files are only read, as any program reads them, so it works beside the daemon
// and without one. SQLite's own ways, its backup interface and VACUUM INTO, need a connection; the daemon shares its files with nobody
// and would have to do it itself, hold its log back meanwhile and be allowed to write where the copy goes.
//
// What is copied fits together like what a power cut leaves: first the state, then the book, then the readings, each as it was at one
// instant. A poll enters the book before the readings, and the state last, so what the book or the state names is in the readings. The
// readings may hold some polls more: at a start they are judged again after the state, and what the book does not know of them is told
// then. The other order would have the book name polls that are in no file.
//
// In the copy each database is one file, without a log beside it.
func Copy(dir, to string) error {
	for _, k := range kinds {
		if _, err := os.Stat(filepath.Join(dir, k.name)); errors.Is(err, fs.ErrNotExist) {
			return none(dir, k)
		}
	}
	if err := copyFile(filepath.Join(dir, stateFile), filepath.Join(to, stateFile)); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("archive: copying what the decisions remember: %w", err)
	}
	for _, k := range kinds {
		path := filepath.Join(to, k.name)
		if err := copyStill(filepath.Join(dir, k.name), path); err != nil {
			return err
		}
		if err := checkHeader(path, k); err != nil {
			return err
		}
		if err := takeLogIn(path, k); err != nil {
			return err
		}
	}
	return nil
}

// kinds are the database files, in the order in which they are written and copied.
var kinds = []kind{bookFile, readingsFile}

func none(dir string, k kind) error {
	return fmt.Errorf("archive: there is none in %s (no %s); start the daemon there once, or name another folder", dir, k.name)
}

// takeLogIn moves the log of a copied database into its file.
func takeLogIn(path string, k kind) error {
	s, err := connectOwn(path, k)
	if err != nil {
		return (&store{path: path}).explain(err)
	}
	var busy, frames, moved int
	err = s.conn.QueryRowContext(context.Background(), "PRAGMA wal_checkpoint(TRUNCATE)").Scan(&busy, &frames, &moved)
	if err = errors.Join(err, s.close()); err != nil {
		return s.explain(err)
	}
	if busy != 0 || exists(path+"-wal") {
		return fmt.Errorf("archive: the log of %s could not be moved into it; try again", path)
	}
	return nil
}

// Contents are what the files of an archive hold.
type Contents struct {
	Schemas map[string]int              `json:"schemas"` // by file
	Rows    map[string]map[string]int64 `json:"rows"`    // by file and table
	Newest  time.Time                   `json:"newest"`  // poll; zero where there is none
	Litters int64                       `json:"litters"` // of which something in the book counts
}

// littersQuery counts the litters in the book. A row that cannot be read counts as it says beside its body.
const littersQuery = `SELECT count(DISTINCT litter) FROM entries WHERE litter <> 0 AND what <> ? AND id NOT IN (
	SELECT json_extract(body, '$.replaces') FROM entries WHERE json_valid(body) AND json_extract(body, '$.replaces') NOTNULL)`

// Schemas are the newest schemas that this program knows, by file.
func Schemas() map[string]int {
	all := map[string]int{}
	for _, k := range kinds {
		all[k.name] = len(k.steps)
	}
	return all
}

// Look opens the files of an archive that nobody else uses, proves each page and index of them (SQLite's integrity_check) and
// counts the rows of whatever tables they have. It changes nothing.
func Look(dir string) (c Contents, err error) {
	c = Contents{Schemas: map[string]int{}, Rows: map[string]map[string]int64{}}
	for _, k := range kinds {
		path := filepath.Join(dir, k.name)
		if err := checkHeader(path, k); err != nil {
			return c, err
		}
		s, err := connectOwn(path, k)
		if err != nil {
			return c, (&store{path: path}).explain(err)
		}
		if err := errors.Join(s.look(k, &c), s.close()); err != nil {
			return c, s.explain(err)
		}
	}
	return c, nil
}

func (s *store) look(k kind, c *Contents) error {
	ctx := context.Background()
	var verdict string
	if err := s.conn.QueryRowContext(ctx, "PRAGMA integrity_check(1)").Scan(&verdict); err != nil {
		return err
	}
	if verdict != "ok" {
		return fmt.Errorf("%w: %s", errDamaged, verdict)
	}
	var version int
	if err := s.conn.QueryRowContext(ctx, "PRAGMA user_version").Scan(&version); err != nil {
		return err
	}
	c.Schemas[k.name], c.Rows[k.name] = version, map[string]int64{}
	var tables []string
	if err := collect(s.conn, func(scan func(...any) error) error {
		var name string
		err := scan(&name)
		tables = append(tables, name)
		return err
	}, "SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY name"); err != nil {
		return err
	}
	for _, name := range tables {
		var n int64
		if err := s.conn.QueryRowContext(ctx, `SELECT count(*) FROM "`+strings.ReplaceAll(name, `"`, `""`)+`"`).Scan(&n); err != nil {
			return err
		}
		c.Rows[k.name][name] = n
	}
	if _, has := c.Rows[k.name]["entries"]; has {
		return s.conn.QueryRowContext(ctx, littersQuery, string(book.Struck)).Scan(&c.Litters)
	}
	if k.name != readingsFile.name {
		return nil
	}
	var key int64
	var at sql.NullInt64
	switch err := s.conn.QueryRowContext(ctx, "SELECT key, at FROM polls ORDER BY key DESC LIMIT 1").Scan(&key, &at); {
	case errors.Is(err, sql.ErrNoRows):
	case err != nil:
		return err
	default:
		c.Newest = trueTime(key, at)
	}
	return nil
}

// Where SQLite puts its locks in a file (SQLite, src/os.h: PENDING_BYTE, RESERVED_BYTE, SHARED_FIRST and SHARED_SIZE), in bytes.
const (
	lockedFrom   = 0x40000000
	lockedLength = 512
)

// InUse reports whether a process holds the archive in dir open. It asks the kernel for SQLite's lock and takes none; where the kernel
// cannot tell, the answer is false.
func InUse(dir string) (bool, error) {
	for _, k := range kinds {
		f, err := os.Open(filepath.Join(dir, k.name))
		if errors.Is(err, fs.ErrNotExist) {
			continue
		}
		if err != nil {
			return false, fmt.Errorf("archive: %w", err)
		}
		held, err := locked(f, lockedFrom, lockedLength)
		if err = errors.Join(err, f.Close()); held || err != nil {
			return held, err
		}
	}
	return false, nil
}

// Withhold ends the wait of every message, for each channel, and keeps each with the reason why it was not sent. It returns how many
// messages that were.
func (a *Archive) Withhold(reason string) (n int64, err error) {
	err = a.editBook(func(t *tx) error {
		if err := t.row("SELECT count(DISTINCT seq) FROM waiting").Scan(&n); err != nil || n == 0 {
			return err
		}
		if err := t.exec("INSERT INTO refused (channel, id, at, reason) SELECT channel, id, ?, ? FROM waiting JOIN messages USING (seq) ORDER BY seq",
			a.opts.Now().UnixMilli(), reason); err != nil {
			return err
		}
		return t.exec("DELETE FROM waiting")
	})
	return n, err
}
