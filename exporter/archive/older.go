package archive

import (
	"database/sql"
	"errors"
	"fmt"
	"iter"
	"strconv"
	"strings"
	"time"

	"nestmon/exporter"
	"nestmon/sensors"
)

// Older is what PutOlder did.
type Older struct {
	Polls    int       `json:"polls"`
	Readings int       `json:"readings"`
	Left     int       `json:"left"`   // polls of times from which the archive holds its own
	Begins   time.Time `json:"begins"` // where those begin
}

// PutOlder adds polls, in the order of their times, that are older than everything here, all or none. From the hour on in which the archive
// begins it has its own and takes none: so no poll comes between two others, no hour is counted twice, and every key stays below those that
// were given. The polls get a layout before the first. Nobody is sent them but who asks for the past.
func (a *Archive) PutOlder(probes []sensors.Probe, polls iter.Seq2[exporter.StoredPoll, error]) (done Older, err error) {
	if err := a.mayWrite(); err != nil {
		return done, err
	}
	a.mu.Lock()
	defer a.mu.Unlock()
	if done.Begins, err = a.begins(); err != nil {
		return done, err
	}
	o := older{cols: columns(probes), column: map[columnKey]int{}, before: done.Begins, done: &done}
	for i, s := range o.cols {
		o.column[columnKey{s.probe, s.quantity}] = i
	}
	err = a.readings.write(func(t *tx) error {
		var rolled int64
		if err := t.row("SELECT key FROM rolled").Scan(&rolled); err != nil {
			return err
		}
		for p, err := range polls {
			if err == nil {
				err = o.put(t, p)
			}
			if err != nil {
				return err
			}
		}
		if err := t.rollUp(o.hours); err != nil {
			return err
		}
		if err := t.exec("UPDATE rolled SET key = ?", max(rolled, o.last)); err != nil {
			return err
		}
		return a.saveCursorsNow(t)
	})
	if err != nil {
		return Older{}, err
	}
	return done, a.loadReadings()
}

// begins is the hour in which the archive begins, or now where it is empty.
func (a *Archive) begins() (first time.Time, err error) {
	first = a.opts.Now()
	err = a.readings.read(func(db *sql.DB) error {
		var poll, moved, hour, layout sql.NullInt64
		err := db.QueryRow(`SELECT (SELECT min(key) FROM polls), (SELECT min(at) / 1000 FROM polls WHERE at IS NOT NULL),
			(SELECT min(hour) FROM hours), (SELECT min(since) FROM layouts)`).Scan(&poll, &moved, &hour, &layout)
		for _, s := range []sql.NullInt64{poll, moved, hour, layout} {
			if t := time.Unix(s.Int64, 0).Truncate(time.Hour); s.Valid && t.Before(first) {
				first = t
			}
		}
		return err
	})
	return first.UTC(), err
}

// older is a PutOlder under way.
type older struct {
	cols   []series
	column map[columnKey]int
	before time.Time
	layout layout
	last   int64 // key
	hours  hourBook
	done   *Older
}

func (o *older) put(t *tx, p exporter.StoredPoll) error {
	if !p.Time.Before(o.before) {
		o.done.Left++
		return nil
	}
	steps := make([]int16, len(o.cols))
	for i := range steps {
		steps[i] = absent
	}
	for _, r := range p.Readings {
		i, known := o.column[columnKey{r.Probe, r.Quantity}]
		if !known {
			return fmt.Errorf("archive: probe %s has no %s among the probes to store", r.Probe, r.Quantity)
		}
		n, fits := o.cols[i].pack(r.Value)
		if !fits {
			return fmt.Errorf("%s of probe %s at %s is %v, which cannot be; take that row out", r.Quantity, r.Probe, p.Time.Format(time.RFC3339), r.Value)
		}
		steps[i] = n
		o.done.Readings++
	}
	key := max(p.Time.Unix(), o.last+1)
	if o.last == 0 {
		key = p.Time.Unix()
		if err := o.addLayout(t, key); err != nil {
			return err
		}
	}
	if key >= o.before.Unix() {
		return errors.New("more than one poll a second; thin them out")
	}
	var at any
	if key != p.Time.Unix() {
		at = p.Time.UnixMilli()
	}
	if err := t.exec("INSERT INTO polls (key, at, unsynced, layout, v) VALUES (?, ?, 0, ?, ?)", key, at, o.layout.id, packRow(steps)); err != nil {
		return err
	}
	full := o.hours.before(p.Time)
	if err := t.rollUp(full); err != nil {
		return err
	}
	o.hours.drop(full)
	o.hours.add(key, p.Time, o.layout, steps)
	o.last = key
	o.done.Polls++
	return nil
}

// addLayout puts the layout of these polls before all others.
func (o *older) addLayout(t *tx, since int64) error {
	if err := t.row("SELECT coalesce(min(id), 1) - 1 FROM layouts").Scan(&o.layout.id); err != nil {
		return err
	}
	ids := make([]string, len(o.cols))
	for i := range o.cols {
		id, err := t.seriesID(o.cols[i])
		if err != nil {
			return err
		}
		o.cols[i].id, ids[i] = id, strconv.FormatInt(id, 10)
	}
	o.layout.since, o.layout.series = since, o.cols
	return t.exec("INSERT INTO layouts (id, since, series) VALUES (?, ?, ?)", o.layout.id, since, strings.Join(ids, ","))
}
