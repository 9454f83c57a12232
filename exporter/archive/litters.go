package archive

import (
	"database/sql"
	"errors"
	"fmt"
	"time"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/litter"
)

const litterColumns = "nest, bred, kindled, ended, born"

// Litters returns the litter book in the order of entry.
func (a *Archive) Litters() ([]litter.Litter, error) {
	var out []litter.Litter
	err := a.book.read(func(db *sql.DB) error {
		return collect(db, func(scan func(...any) error) error {
			var l litter.Litter
			var bred, kindled, ended sql.NullInt64
			if err := scan(&l.ID, &l.Nest, &bred, &kindled, &ended, &l.Born); err != nil {
				return err
			}
			l.Bred, l.Kindled, l.Ended = fromMilli(bred), fromMilli(kindled), fromMilli(ended)
			out = append(out, l)
			return nil
		}, "SELECT id, "+litterColumns+" FROM litters ORDER BY id")
	})
	return out, err
}

// PutLitter enters a litter, or corrects the one with its ID; the earlier entry is kept. The litter is durable before
// PutLitter returns it with its ID.
func (a *Archive) PutLitter(l litter.Litter) (litter.Litter, error) {
	if l.Nest == "" {
		return l, errors.New("archive: a litter needs a nest")
	}
	values := []any{l.Nest, milli(l.Bred), milli(l.Kindled), milli(l.Ended), l.Born}
	err := a.editBook(func(t *tx) error {
		if l.ID == 0 {
			return t.row("INSERT INTO litters ("+litterColumns+") VALUES (?, ?, ?, ?, ?) RETURNING id", values...).Scan(&l.ID)
		}
		n, err := t.changed("INSERT INTO litters_before SELECT id, "+litterColumns+", ? FROM litters WHERE id = ?", a.opts.Now().UnixMilli(), l.ID)
		if err != nil {
			return err
		}
		if n == 0 {
			return fmt.Errorf("no litter %d in the book", l.ID)
		}
		return t.exec("UPDATE litters SET ("+litterColumns+") = (?, ?, ?, ?, ?) WHERE id = ?", append(values, l.ID)...)
	})
	return l, err
}

// Mark says that a person did a chore.
type Mark struct {
	Nest  string // "" for the whole site
	Event alarm.Name
	Time  time.Time
}

// Marks returns the newest mark of each nest and chore.
func (a *Archive) Marks() ([]Mark, error) {
	var out []Mark
	err := a.book.read(func(db *sql.DB) error {
		return collect(db, func(scan func(...any) error) error {
			var m Mark
			var at int64
			if err := scan(&m.Nest, &m.Event, &at); err != nil {
				return err
			}
			m.Time = time.UnixMilli(at).UTC()
			out = append(out, m)
			return nil
		}, "SELECT nest, event, max(at) FROM marks GROUP BY nest, event ORDER BY nest, event")
	})
	return out, err
}

// PutMark keeps a mark. It is durable before PutMark returns.
func (a *Archive) PutMark(m Mark) error {
	return a.editBook(func(t *tx) error {
		return t.exec("INSERT OR IGNORE INTO marks (nest, event, at) VALUES (?, ?, ?)", m.Nest, string(m.Event), m.Time.UnixMilli())
	})
}

// milli is a time as the book keeps it, NULL for one that is not known.
func milli(t time.Time) any {
	if t.IsZero() {
		return nil
	}
	return t.UnixMilli()
}

func fromMilli(n sql.NullInt64) time.Time {
	if !n.Valid {
		return time.Time{}
	}
	return time.UnixMilli(n.Int64).UTC()
}
