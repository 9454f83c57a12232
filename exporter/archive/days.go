package archive

import (
	"database/sql"
	"slices"
	"sync"
)

const daySeconds = 24 * hourSeconds

// dayBook keeps the sums of whole UTC days in memory, packed as hourly rows are, once somebody has asked for them: ten years of ninety series
// are 3 MB. A graph of years reads a day where it would read 24 rows, each on a page of its own.
type dayBook struct {
	mu    sync.Mutex
	edits uint64           // rises whenever a day is forgotten
	sums  map[int64][]byte // by the unix seconds of its beginning; empty where nothing was measured
}

// begin is called before reading what will be kept.
func (d *dayBook) begin() (edits uint64) {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.edits
}

func (d *dayBook) get(day int64) ([]byte, bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	row, ok := d.sums[day]
	return row, ok
}

// keep takes days that were read since begin, unless something was forgotten meanwhile.
func (d *dayBook) keep(edits uint64, read map[int64][]byte) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.edits != edits {
		return
	}
	if d.sums == nil {
		d.sums = map[int64][]byte{}
	}
	for day, row := range read {
		d.sums[day] = row
	}
}

// forget drops the days of hours that were written, and forgetAll every day.
func (d *dayBook) forget(written []hour) {
	d.mu.Lock()
	defer d.mu.Unlock()
	for _, h := range written {
		d.edits++
		delete(d.sums, dayOf(h.start))
	}
}

func (d *dayBook) forgetAll() {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.edits++
	d.sums = nil
}

func dayOf(s int64) int64 { return s - ((s%daySeconds)+daySeconds)%daySeconds }

// ofDays reports whether every bucket is made of whole UTC days.
func (g *graph) ofDays() bool {
	return !slices.ContainsFunc(g.edges, func(ms int64) bool { return ms%(daySeconds*1000) != 0 })
}

// addDays adds the whole days of the graph, and returns from when on, in ms, hours are to be added.
func (g *graph) addDays(db *sql.Tx, edits uint64) (int64, error) {
	var first, last sql.NullInt64
	if err := db.QueryRow("SELECT (SELECT min(hour) FROM hours), (SELECT max(hour) FROM hours)").Scan(&first, &last); err != nil {
		return 0, err
	}
	from, to := max(g.from()/1000, dayOf(first.Int64)), min(g.to()/1000, dayOf(last.Int64)) // the last may go on
	if !first.Valid || from >= to {
		return g.from(), nil
	}
	read := map[int64][]byte{}
	for day := from; day < to; day += daySeconds {
		if _, kept := g.days.get(day); kept || read[day] != nil {
			continue
		}
		until := day + daySeconds
		for until < to {
			if _, kept := g.days.get(until); kept {
				break
			}
			until += daySeconds
		}
		if err := sumDays(db, read, day, until); err != nil {
			return 0, err
		}
	}
	for day := from; day < to; day += daySeconds {
		row, ok := read[day]
		if !ok {
			row, _ = g.days.get(day)
		}
		g.addRecords(day, row)
	}
	g.days.keep(edits, read)
	return to * 1000, nil
}

// sumDays adds up the hours of each day from <= day < to.
func sumDays(db *sql.Tx, into map[int64][]byte, from, to int64) error {
	day, sums := from, map[int64]summary{}
	pack := func(until int64) {
		for ; day < until; day += daySeconds {
			into[day] = packHour(sums)
			clear(sums)
		}
	}
	err := collect(db, func(scan func(...any) error) error {
		var start int64
		var row sql.RawBytes
		if err := scan(&start, &row); err != nil {
			return err
		}
		pack(dayOf(start))
		for ; len(row) >= hourRecord; row = row[hourRecord:] {
			id, s := readRecord(row)
			was := sums[id]
			was.merge(s)
			sums[id] = was
		}
		return nil
	}, "SELECT hour, v FROM hours WHERE hour >= ? AND hour < ? ORDER BY hour", from, to)
	pack(to)
	return err
}
