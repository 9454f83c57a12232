package archive

import (
	"errors"
	"fmt"
	"time"

	"nestmon/exporter"
	"nestmon/sensors"
)

// ErrBook marks the errors of Commit after which the events, alarms and messages of the poll are not stored. Without it only
// the readings are missing.
var ErrBook = errors.New("events and messages are not stored")

// pollState is what the next poll depends on.
type pollState struct {
	cols       []series
	column     map[columnKey]int
	stale      []time.Duration // by column: an older value is not new
	stored     []time.Time     // by column: when the newest stored value was measured
	opened     time.Time       // true time of the newest poll found at the start
	last       int64           // highest key ever given
	newest     int64           // key and true time of the newest poll, 0 when there is none
	newestAt   time.Time
	hours      hourBook
	cursors    map[string]int64
	unsaved    map[string]bool // cursors that moved since they were written
	sinceSaved int             // polls since then
	asked      map[string]bool // cursors in use by this process
	kept       time.Time       // when housekeeping last ran
	since      int64           // polls since then
	count      int64           // polls in the file
	unplaced   bool            // there are polls without a true time, which may get it
	unpacked   int64           // every week before it is packed, or cannot be
	said       map[string]bool // what was logged once
}

type columnKey struct {
	probe    string
	quantity sensors.Quantity
}

// loadReadings fills a.state and a.plan from readings.db, which may have been replaced.
func (a *Archive) loadReadings() error {
	p, err := loadPlan(a.readings.conn)
	if err != nil {
		return a.readings.explain(err)
	}
	a.plan.Store(p)
	a.days.forgetAll()
	st := pollState{cols: columns(a.opts.Probes), column: map[columnKey]int{}, last: a.state.last, asked: map[string]bool{}, unsaved: map[string]bool{}, said: map[string]bool{}}
	if a.state.asked != nil {
		st.asked = a.state.asked
	}
	for _, probe := range a.opts.Probes {
		limit := probe.StaleAfter
		if limit <= 0 {
			limit = sensors.DefaultStaleAfter(probe.Interval)
		}
		for _, q := range probe.Quantities {
			st.column[columnKey{probe.ID, q}] = len(st.stale)
			st.stale = append(st.stale, limit)
		}
	}
	st.stored = make([]time.Time, len(st.cols))
	if st.newest, st.newestAt, err = a.Newest(); err != nil {
		return err
	}
	st.opened = st.newestAt.Add(time.Second - 1) // a key has no fraction
	err = a.readings.own(func(t *tx) error {
		var err error
		if st.cursors, st.last, err = t.loadCursors(st.newest, st.last); err != nil {
			return err
		}
		if st.hours, err = t.unrolled(p); err != nil {
			return err
		}
		return t.row("SELECT count(*), EXISTS (SELECT 1 FROM unplaced) FROM polls").Scan(&st.count, &st.unplaced)
	})
	a.state = st
	return err
}

// Commit stores what one poll produced: events, alarms and messages first and durable, then the values, each file all or none.
// After an error the next Commit works again as soon as the disk does; committing the same events and messages again adds
// nothing. A poll without a new usable value leaves no row.
func (a *Archive) Commit(c exporter.Commit) error {
	if err := a.mayWrite(); err != nil {
		return fmt.Errorf("%w: %w", ErrBook, err)
	}
	a.mu.Lock()
	defer a.mu.Unlock()
	return errors.Join(a.commitBook(c), a.commitReadings(c))
}

func (a *Archive) commitReadings(c exporter.Commit) error {
	g := a.gather(c)
	if !g.some {
		return nil
	}
	if c.Synced && c.Boot != "" && a.state.unplaced {
		if err := a.place(c); err != nil {
			a.opts.Log.Warn("giving polls their true times; they stay marked until it works", "err", err)
		}
	}
	timeless := !c.Synced && c.Boot != ""
	at := c.Time.UTC().Round(0)
	var p *plan
	var key int64
	var full []hour
	err := a.writeReadings(func(t *tx) error {
		var err error
		key = max(at.Unix(), a.state.last+1)
		if p, err = t.ensureLayout(a.plan.Load(), a.state.cols, key); err != nil {
			return err
		}
		if full = nil; !timeless {
			full = a.state.hours.before(at)
		}
		if err := t.rollUp(full); err != nil {
			return err
		}
		var other any
		if key != at.Unix() {
			other = at.UnixMilli()
		}
		if err := t.exec("INSERT INTO polls (key, at, unsynced, layout, v) VALUES (?, ?, ?, ?, ?)",
			key, other, !c.Synced, p.newest().id, packRow(g.steps)); err != nil {
			return err
		}
		if timeless {
			if err := t.exec("INSERT INTO unplaced (key, boot, up) VALUES (?, ?, ?)", key, c.Boot, c.Up.Milliseconds()); err != nil {
				return err
			}
		}
		return a.saveCursors(t)
	})
	if err != nil {
		return err
	}
	st := &a.state
	if st.sinceSaved++; st.sinceSaved > cursorEvery {
		st.sinceSaved = 0
		clear(st.unsaved)
	}
	st.last, st.newest, st.newestAt = key, key, at
	a.plan.Store(p)
	a.days.forget(full)
	for _, h := range full {
		st.unpacked = min(st.unpacked, h.start/weekSeconds)
	}
	st.hours.drop(full)
	if st.unplaced = st.unplaced || timeless; !timeless {
		st.hours.add(key, at, p.newest(), g.steps)
	}
	for i, n := range g.steps {
		if n != absent {
			st.stored[i] = g.measured[i]
		}
	}
	st.since++
	st.count++
	a.keepHouse()
	return nil
}

// gathered is a poll by column.
type gathered struct {
	steps    []int16
	measured []time.Time
	some     bool
}

// gather packs the usable and new values of a poll and counts the others.
func (a *Archive) gather(c exporter.Commit) gathered {
	st := &a.state
	g := gathered{steps: make([]int16, len(st.cols)), measured: make([]time.Time, len(st.cols))}
	for i := range g.steps {
		g.steps[i] = absent
	}
	for _, r := range c.Readings {
		if !r.OK() {
			continue
		}
		i, ok := st.column[columnKey{r.Probe, r.Quantity}]
		if !ok {
			a.counts.Unknown++
			a.sayOnce("value of a probe the archive was not opened with; not stored", r)
			continue
		}
		if a.repeated(i, r, c.Time) {
			a.counts.Repeated++
			continue
		}
		n, ok := st.cols[i].pack(r.Value)
		if !ok {
			a.counts.Unfit++
			a.sayOnce("value does not fit into the archive; stored as absent", r)
			continue
		}
		g.steps[i], g.measured[i], g.some = n, r.Time, true
	}
	return g
}

// repeated reports whether r was stored before or is too old to be new. Equality, not order, tells a held value from a new one
// while the daemon runs, for the clock may go back. After a start the times of the stored values are not known, but no value
// stored before can have been measured after the poll that stored it.
func (a *Archive) repeated(column int, r sensors.Reading, now time.Time) bool {
	st := &a.state
	held := r.Time.Equal(st.stored[column]) ||
		!r.Time.After(st.opened) && now.After(st.opened)
	return held || now.Sub(r.Time) > st.stale[column]
}

func (a *Archive) sayOnce(msg string, r sensors.Reading) {
	key := fmt.Sprint(msg, r.Probe, r.Quantity)
	if a.state.said[key] {
		return
	}
	a.state.said[key] = true
	a.opts.Log.Warn(msg, "probe", r.Probe, "quantity", r.Quantity.String(), "value", r.Value)
}
