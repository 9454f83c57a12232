package archive

import (
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"nestmon/exporter"
	"nestmon/thresholds/alarm"
)

// standing is how an alarm is kept. alarm.Standing itself inherits the JSON of the event it embeds, which leaves the rest out.
type standing struct {
	Event        alarm.Event    `json:"event"`
	Status       alarm.Status   `json:"status,omitempty"`
	Worst        alarm.Severity `json:"worst,omitempty"`
	Over         time.Time      `json:"over,omitzero"`
	Acknowledged time.Time      `json:"acknowledged"`
	By           string         `json:"by,omitempty"`
	Left         time.Duration  `json:"left,omitempty"`
	Until        time.Time      `json:"until,omitzero"`
	Covers       alarm.Severity `json:"covers,omitempty"`
	Because      alarm.Name     `json:"because,omitempty"`
	First        bool           `json:"first,omitempty"`
	Latched      bool           `json:"latched,omitempty"`
}

func stored(s alarm.Standing) standing {
	return standing{s.Event, s.Status, s.Worst, s.Over, s.Acknowledged, s.By, s.Left, s.Until, s.Covers, s.Because, s.First, s.Latched}
}

func (s standing) read() alarm.Standing {
	return alarm.Standing{
		Event: s.Event, Status: s.Status, Worst: s.Worst, Over: s.Over, Acknowledged: s.Acknowledged, By: s.By, Left: s.Left, Until: s.Until,
		Covers: s.Covers, Because: s.Because, First: s.First, Latched: s.Latched,
	}
}

func (a *Archive) commitBook(c exporter.Commit) error {
	if len(c.Events) == 0 && len(c.Acts) == 0 && len(c.Messages) == 0 && !c.StandingChanged && c.Calls == nil {
		return nil
	}
	var dropped int64
	err := a.writeBook(func(t *tx) error {
		for _, e := range c.Events {
			if err := t.putEvent(e); err != nil {
				return err
			}
		}
		for _, did := range c.Acts {
			if err := t.putAct(did); err != nil {
				return err
			}
		}
		if c.StandingChanged {
			if err := t.putStanding(c.Standing); err != nil {
				return err
			}
		}
		if c.Calls != nil {
			if err := t.setMeta(callsKey, string(c.Calls)); err != nil {
				return err
			}
		}
		if c.Answered {
			for _, channel := range a.channels {
				if err := t.drop(exporter.Repeat, channel); err != nil {
					return err
				}
			}
		}
		var err error
		dropped, err = t.putMessages(c.Messages, a.channels)
		return err
	})
	if err != nil {
		return fmt.Errorf("%w: %w", ErrBook, err)
	}
	if dropped > 0 {
		a.counts.DroppedMessages += uint64(dropped)
		a.opts.Log.Warn("message queue is full; the oldest of the least severe were dropped", "messages", dropped)
	}
	return nil
}

// callsKey keeps what the calls remember.
const callsKey = "calls"

// Calls returns what the newest Commit with Calls stored, nil when there was none.
func (a *Archive) Calls() ([]byte, error) {
	text, err := a.Meta(callsKey)
	if err != nil || text == "" {
		return nil, err
	}
	return []byte(text), nil
}

func (t *tx) putEvent(e alarm.Event) error {
	body, err := json.Marshal(e)
	if err != nil {
		return err
	}
	return t.exec("INSERT OR IGNORE INTO events (at, nest, name, probe, state, severity, body) VALUES (?, ?, ?, ?, ?, ?, ?)",
		e.Time.UnixMilli(), e.Nest, string(e.Name), e.Probe, string(e.State), int(e.Severity), string(body))
}

func (t *tx) putStanding(all []alarm.Standing) error {
	if err := t.exec("DELETE FROM standing"); err != nil {
		return err
	}
	for i, s := range all {
		body, err := json.Marshal(stored(s))
		if err != nil {
			return err
		}
		if err := t.exec("INSERT INTO standing (place, body) VALUES (?, ?)", i, string(body)); err != nil {
			return err
		}
	}
	return nil
}

// Standing returns the alarms and chores that were not normal after the last Commit, in its order.
func (a *Archive) Standing() ([]alarm.Standing, error) {
	var out []alarm.Standing
	err := a.book.read(func(db *sql.DB) error {
		return bodies(db, func(s standing) { out = append(out, s.read()) }, "SELECT body FROM standing ORDER BY place")
	})
	return out, err
}

// Events returns at most that many events with from <= time < to, newest first.
func (a *Archive) Events(from, to time.Time, most int) ([]alarm.Event, error) {
	var out []alarm.Event
	err := a.book.read(func(db *sql.DB) error {
		return bodies(db, func(e alarm.Event) { out = append(out, e) },
			"SELECT body FROM events WHERE at >= ? AND at < ? ORDER BY at DESC, seq DESC LIMIT ?", from.UnixMilli(), to.UnixMilli(), most)
	})
	return out, err
}

// EventsOf returns at most that many events of some nests with from <= time < to, newest first. It opens no other nest's.
func (a *Archive) EventsOf(nests []string, from, to time.Time, most int) ([]alarm.Event, error) {
	names, err := json.Marshal(nests)
	if err != nil {
		return nil, err
	}
	var out []alarm.Event
	err = a.book.read(func(db *sql.DB) error {
		return bodies(db, func(e alarm.Event) { out = append(out, e) },
			"SELECT body FROM events WHERE at >= ? AND at < ? AND nest IN (SELECT value FROM json_each(?)) ORDER BY at DESC, seq DESC LIMIT ?",
			from.UnixMilli(), to.UnixMilli(), string(names), most)
	})
	return out, err
}

// WeightiestOf returns at most that many events of some nests with from <= time < to, oldest first, and how many there are. Where it must choose
// it leaves out those of the light names first, then the less severe, then the older.
func (a *Archive) WeightiestOf(nests []string, from, to time.Time, most int, light ...alarm.Name) (events []alarm.Event, all int, err error) {
	ids, err := json.Marshal(nests)
	if err != nil {
		return nil, 0, err
	}
	names, err := json.Marshal(light)
	if err != nil {
		return nil, 0, err
	}
	const those = " FROM events WHERE at >= ? AND at < ? AND nest IN (SELECT value FROM json_each(?))"
	err = a.book.read(func(db *sql.DB) error {
		events = nil
		span := []any{from.UnixMilli(), to.UnixMilli(), string(ids)}
		if err := db.QueryRow("SELECT count(*)"+those, span...).Scan(&all); err != nil {
			return err
		}
		return bodies(db, func(e alarm.Event) { events = append(events, e) },
			"SELECT body FROM events WHERE seq IN (SELECT seq"+those+" ORDER BY name IN (SELECT value FROM json_each(?)), severity DESC, at DESC LIMIT ?) ORDER BY at, seq",
			append(span, string(names), most)...)
	})
	return events, all, err
}

// EndsOf returns, of each alarm of some nests, the first end at or after from, oldest first. What of it began before was on until then.
func (a *Archive) EndsOf(nests []string, from time.Time) ([]alarm.Event, error) {
	ids, err := json.Marshal(nests)
	if err != nil {
		return nil, err
	}
	var out []alarm.Event
	err = a.book.read(func(db *sql.DB) error { // the inner question needs only the table's own index
		return bodies(db, func(e alarm.Event) { out = append(out, e) }, `SELECT body FROM events WHERE seq IN (SELECT seq FROM (SELECT seq, min(at) FROM events
			WHERE at >= ? AND state = ? AND nest IN (SELECT value FROM json_each(?)) GROUP BY nest, name, iif(nest = '', probe, ''))) ORDER BY at, seq`,
			from.UnixMilli(), string(alarm.Cleared), string(ids))
	})
	return out, err
}

// bodies hands every JSON value of a one-column query to f.
func bodies[T any](q queryer, f func(T), query string, args ...any) error {
	return collect(q, func(scan func(...any) error) error {
		var body string
		if err := scan(&body); err != nil {
			return err
		}
		var v T
		if err := json.Unmarshal([]byte(body), &v); err != nil {
			return err
		}
		f(v)
		return nil
	}, query, args...)
}

// Meta returns a small string kept under key, "" when there is none.
func (a *Archive) Meta(key string) (string, error) {
	var v string
	err := a.book.read(func(db *sql.DB) error {
		err := db.QueryRow("SELECT value FROM meta WHERE key = ?", key).Scan(&v)
		if errors.Is(err, sql.ErrNoRows) {
			return nil
		}
		return err
	})
	return v, err
}

// SetMeta keeps a small string. It is durable before SetMeta returns.
func (a *Archive) SetMeta(key, value string) error {
	return a.editBook(func(t *tx) error { return t.setMeta(key, value) })
}

func (t *tx) setMeta(key, value string) error {
	return t.exec("INSERT OR REPLACE INTO meta (key, value) VALUES (?, ?)", key, value)
}

// editBook is the way in for every change of the book but Commit.
func (a *Archive) editBook(f func(*tx) error) error {
	if err := a.mayWrite(); err != nil {
		return err
	}
	a.mu.Lock()
	defer a.mu.Unlock()
	return a.writeBook(f)
}
