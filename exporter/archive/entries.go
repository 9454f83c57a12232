package archive

import (
	"database/sql"
	"encoding/json"
	"fmt"

	"nestmon/exporter"
	"nestmon/thresholds/book"
)

// Entries returns all that was written into the litter book, by number. A row that cannot be read comes as a note which says so: the
// others must not be lost with it.
func (a *Archive) Entries() ([]book.Entry, error) {
	if a.owed.Load() {
		return a.opts.Entries(), nil
	}
	var out []book.Entry
	err := a.book.read(func(db *sql.DB) error {
		return collect(db, func(scan func(...any) error) error {
			var id, of int64
			var body string
			if err := scan(&id, &of, &body); err != nil {
				return err
			}
			var e book.Entry
			if err := json.Unmarshal([]byte(body), &e); err != nil {
				e = book.Entry{What: book.Noted, Note: "this entry of the archive cannot be read: " + err.Error()}
			}
			e.ID, e.Litter = id, of
			out = append(out, e)
			return nil
		}, "SELECT id, litter, body FROM entries ORDER BY id")
	})
	return out, err
}

// PutEntries adds entries to the litter book, all or none. They are durable before it returns. Nothing that stands there is ever changed: a
// number that is taken is an error.
func (a *Archive) PutEntries(entries []book.Entry) error { return a.PutSent(entries, exporter.Sent{}) }

func (t *tx) putEntries(entries []book.Entry) error {
	for _, e := range entries {
		body, err := json.Marshal(e)
		if err != nil {
			return err
		}
		err = t.exec("INSERT INTO entries (id, litter, at, nest, what, body) VALUES (?, ?, ?, ?, ?, ?)",
			e.ID, e.Litter, e.At.UnixMilli(), e.Nest, string(e.What), string(body))
		if err != nil {
			return fmt.Errorf("entry %d: %w", e.ID, err)
		}
	}
	return nil
}
