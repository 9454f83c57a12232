package archive

import (
	"context"
	"database/sql"
	"time"

	"nestmon/exporter"
	"nestmon/sensors"
)

const pollColumns = "key, at, unsynced, layout, v"

// storedRow is one row of polls.
type storedRow struct {
	key      int64
	at       time.Time
	unsynced bool
	layout   int64
	v        []byte
}

func scanPoll(scan func(...any) error) (storedRow, error) {
	var r storedRow
	var at sql.NullInt64
	err := scan(&r.key, &at, &r.unsynced, &r.layout, &r.v)
	r.at = trueTime(r.key, at)
	return r, err
}

func trueTime(key int64, at sql.NullInt64) time.Time {
	if at.Valid {
		return time.UnixMilli(at.Int64).UTC()
	}
	return time.Unix(key, 0).UTC()
}

// poll unpacks a row: usable values only, in the layout's order, all at the poll's time.
func (p *plan) poll(r storedRow) exporter.StoredPoll {
	out := exporter.StoredPoll{Key: r.key, Time: r.at}
	l, ok := p.layout(r.layout)
	if !ok {
		return out
	}
	out.Readings = make([]sensors.Reading, 0, len(l.series))
	for i, s := range l.series {
		if n, ok := column(r.v, i); ok && s.known {
			out.Readings = append(out.Readings, sensors.Reading{
				Probe: s.probe, Quantity: s.quantity, Time: r.at, Value: s.unpack(n), Unsynced: r.unsynced,
			})
		}
	}
	return out
}

// Polls returns at most that many polls with keys after the given one, in the order of their keys.
func (a *Archive) Polls(after int64, most int) ([]exporter.StoredPoll, error) {
	rows, err := a.rows("WHERE key > ? ORDER BY key LIMIT ?", after, most)
	if err != nil {
		return nil, err
	}
	p := a.plan.Load()
	out := make([]exporter.StoredPoll, len(rows))
	for i, r := range rows {
		out[i] = p.poll(r)
	}
	return out, nil
}

func (a *Archive) rows(where string, args ...any) ([]storedRow, error) {
	var out []storedRow
	err := a.readings.read(func(db *sql.DB) error {
		out = nil
		return collect(db, func(scan func(...any) error) error {
			r, err := scanPoll(scan)
			out = append(out, r)
			return err
		}, "SELECT "+pollColumns+" FROM polls "+where, args...)
	})
	return out, err
}

// Newest returns the newest poll's key and true time, 0 and the zero time when there is none.
func (a *Archive) Newest() (key int64, t time.Time, err error) {
	err = a.readings.read(func(db *sql.DB) error {
		var at sql.NullInt64
		err := db.QueryRowContext(context.Background(), "SELECT key, at FROM polls ORDER BY key DESC LIMIT 1").Scan(&key, &at)
		if err == sql.ErrNoRows {
			return nil
		}
		t = trueTime(key, at)
		return err
	})
	return key, t, err
}

// batch is how many rows a long reading takes at a time, so that it holds up neither memory nor the log's return to its start.
const batch = 500

// PollsBetween calls fn for every poll with from <= time < to, in the order of their true times, until fn fails.
// Polls at the same instant, as a clock that went back may leave, come in the order of their keys.
func (a *Archive) PollsBetween(from, to time.Time, fn func(exporter.StoredPoll) error) error {
	return a.rowsBetween(from, to, func(r storedRow) error { return fn(a.plan.Load().poll(r)) })
}

func (a *Archive) rowsBetween(from, to time.Time, fn func(storedRow) error) error {
	// Rows without a true time of their own are in order by key; the others, none as a rule, by an index of their own.
	plain := &pager{fetch: func(after storedRow) ([]storedRow, error) {
		// One lower bound: of two SQLite searches by the first, and every batch would begin from there.
		return a.rows("WHERE at IS NULL AND key >= ? AND key < ? ORDER BY key LIMIT ?", max(ceilSeconds(from), after.key+1), ceilSeconds(to), batch)
	}}
	moved := &pager{fetch: func(after storedRow) ([]storedRow, error) {
		start := from.UnixMilli()
		if !after.at.IsZero() {
			start = after.at.UnixMilli()
		}
		return a.rows("WHERE at >= ? AND at < ? AND (at, key) > (?, ?) ORDER BY at, key LIMIT ?", start, to.UnixMilli(), start, after.key, batch)
	}}
	for {
		p, err := plain.peek()
		if err != nil {
			return err
		}
		m, err := moved.peek()
		if err != nil {
			return err
		}
		from := plain
		switch {
		case p == nil && m == nil:
			return nil
		case p == nil, m != nil && (m.at.Before(p.at) || m.at.Equal(p.at) && m.key < p.key):
			from = moved
		}
		if err := fn(from.next()); err != nil {
			return err
		}
	}
}

// ceilSeconds is the first whole second not before t.
func ceilSeconds(t time.Time) int64 {
	s := t.Unix()
	if t.Nanosecond() > 0 {
		s++
	}
	return s
}

// pager hands out rows one by one and fetches them in batches.
type pager struct {
	fetch func(after storedRow) ([]storedRow, error)
	rows  []storedRow
	last  storedRow
	done  bool
}

func (p *pager) peek() (*storedRow, error) {
	if len(p.rows) == 0 && !p.done {
		rows, err := p.fetch(p.last)
		if err != nil {
			return nil, err
		}
		p.rows, p.done = rows, len(rows) < batch
	}
	if len(p.rows) == 0 {
		return nil, nil
	}
	return &p.rows[0], nil
}

func (p *pager) next() storedRow {
	p.last, p.rows = p.rows[0], p.rows[1:]
	return p.last
}
