package archive

import (
	"context"
	"database/sql"
	"errors"
	"time"

	"nestmon/exporter"
)

// Backlog counts the readings of at most that many polls after the given key, and returns the key of the last of them: the given one
// when there are none. It is much cheaper than reading the polls.
func (a *Archive) Backlog(after int64, most int) (upTo, readings int64, err error) {
	upTo = after
	err = a.readings.read(func(db *sql.DB) error {
		readings = 0
		return collect(db, func(scan func(...any) error) error {
			var v sql.RawBytes
			if err := scan(&upTo, &v); err != nil {
				return err
			}
			for i := range len(v) / 2 {
				if _, ok := column(v, i); ok {
					readings++
				}
			}
			return nil
		}, "SELECT key, v FROM polls WHERE key > ? ORDER BY key LIMIT ?", after, most)
	})
	return upTo, readings, err
}

// PollsWithin returns at most that many polls with keys after the given one and from <= time < to, in the order of their keys.
func (a *Archive) PollsWithin(from, to time.Time, after int64, most int) ([]exporter.StoredPoll, error) {
	plain, err := a.rows("WHERE at IS NULL AND key >= ? AND key < ? ORDER BY key LIMIT ?", max(ceilSeconds(from), after+1), ceilSeconds(to), most)
	if err != nil {
		return nil, err
	}
	moved, err := a.rows("WHERE at >= ? AND at < ? AND key > ? ORDER BY key LIMIT ?", from.UnixMilli(), to.UnixMilli(), after, most)
	if err != nil {
		return nil, err
	}
	p := a.plan.Load()
	var out []exporter.StoredPoll
	for len(out) < most && len(plain)+len(moved) > 0 {
		from := &plain
		if len(plain) == 0 || len(moved) > 0 && moved[0].key < plain[0].key {
			from = &moved
		}
		out = append(out, p.poll((*from)[0]))
		*from = (*from)[1:]
	}
	return out, nil
}

// CountWithin counts the polls that PollsWithin would return without a limit.
func (a *Archive) CountWithin(from, to time.Time, after int64) (n int64, err error) {
	err = a.readings.read(func(db *sql.DB) error {
		return db.QueryRowContext(context.Background(), `SELECT
			(SELECT count(*) FROM polls WHERE at IS NULL AND key >= ? AND key > ? AND key < ?) +
			(SELECT count(*) FROM polls WHERE at >= ? AND at < ? AND key > ?)`,
			ceilSeconds(from), after, ceilSeconds(to), from.UnixMilli(), to.UnixMilli(), after).Scan(&n)
	})
	return n, err
}

// Oldest returns the true time of the oldest poll, the zero time when there is none. What was before is kept by the hour.
func (a *Archive) Oldest() (t time.Time, err error) {
	err = a.readings.read(func(db *sql.DB) error {
		var key int64
		var at sql.NullInt64
		err := db.QueryRowContext(context.Background(), "SELECT key, at FROM polls ORDER BY key LIMIT 1").Scan(&key, &at)
		if errors.Is(err, sql.ErrNoRows) {
			return nil
		}
		t = trueTime(key, at)
		return err
	})
	return t, err
}

// Kept returns from when on hours and polls are kept, the zero time for none.
func (a *Archive) Kept() (hours, polls time.Time, err error) {
	if polls, err = a.Oldest(); err != nil {
		return hours, polls, err
	}
	hours = polls
	err = a.readings.read(func(db *sql.DB) error {
		var first sql.NullInt64
		err := db.QueryRowContext(context.Background(), "SELECT min(hour) FROM hours").Scan(&first)
		if t := time.Unix(first.Int64, 0).UTC(); first.Valid && (hours.IsZero() || t.Before(hours)) {
			hours = t
		}
		return err
	})
	return hours, polls, err
}

// Pruned returns how many polls were removed for age before the sink had them, since the archive was opened. It waits for no write.
func (a *Archive) Pruned(sink string) uint64 {
	n, _ := a.unsent.Load(sink)
	if n == nil {
		return 0
	}
	return n.(uint64)
}

// notePruned adds to what Pruned returns. It is called by one writer at a time.
func (a *Archive) notePruned(sink string, n int64) {
	a.unsent.Store(sink, a.Pruned(sink)+uint64(n))
}
