package archive

import (
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"sync"

	"nestmon/exporter"
	"nestmon/thresholds/book"
)

// Of what was sent to the litter book from afar the newest are kept, whatever the clock says: 137 a day for a year, more than a family writes,
// and some ten megabytes. Ours, no source. Those that came since the start are in memory too, up to as many as phones can have waiting: they
// are written again where the file breaks while it is open.
const (
	mostSends   = 50000
	recentSends = 1000
)

// PutSent is PutEntries of what somebody sent, whose key is kept with them in the same transaction.
func (a *Archive) PutSent(entries []book.Entry, s exporter.Sent) error {
	err := a.editBook(func(t *tx) error {
		if err := t.putEntries(entries); err != nil || s.Key == "" {
			return err
		}
		return t.putSent(s)
	})
	if err == nil && s.Key != "" {
		a.recent.add(s)
	}
	return err
}

func (t *tx) putSent(s exporter.Sent) error {
	body, err := json.Marshal(s)
	if err != nil {
		return err
	}
	if err := t.exec("INSERT INTO sends (key, body) VALUES (?, ?)", s.Key, string(body)); err != nil {
		return fmt.Errorf("the key of what was sent: %w", err)
	}
	return t.exec("DELETE FROM sends WHERE seq <= (SELECT max(seq) FROM sends) - ?", mostSends)
}

// SentBefore is what became of what was sent under a key; known is false where nothing was.
func (a *Archive) SentBefore(key string) (s exporter.Sent, known bool, err error) {
	if s, known = a.recent.find(key); known {
		return s, true, nil
	}
	err = a.book.read(func(db *sql.DB) error {
		var body string
		switch err := db.QueryRow("SELECT body FROM sends WHERE key = ?", key).Scan(&body); {
		case errors.Is(err, sql.ErrNoRows):
			return nil
		case err != nil:
			return err
		}
		known = true
		return json.Unmarshal([]byte(body), &s)
	})
	return s, known, err
}

// lately is what was sent since the start, the newest last.
type lately struct {
	mu  sync.Mutex
	all []exporter.Sent
}

func (l *lately) add(s exporter.Sent) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.all = append(l.all, s)
	if over := len(l.all) - recentSends; over > 0 {
		l.all = slices.Delete(l.all, 0, over)
	}
}

func (l *lately) find(key string) (exporter.Sent, bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	i := slices.IndexFunc(l.all, func(s exporter.Sent) bool { return s.Key == key })
	if i < 0 {
		return exporter.Sent{}, false
	}
	return l.all[i], true
}

func (l *lately) list() []exporter.Sent {
	l.mu.Lock()
	defer l.mu.Unlock()
	return slices.Clone(l.all)
}
