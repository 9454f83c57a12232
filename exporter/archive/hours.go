package archive

import (
	"database/sql"
	"encoding/binary"
	"math"
	"slices"
	"time"

	"nestmon/sensors"
)

// summary is what is known of one series over a span, in steps.
type summary struct {
	n        int
	min, max int16
	sum      float64
}

func (s *summary) add(v int16) { s.merge(summary{1, v, v, float64(v)}) }

func (s *summary) merge(o summary) {
	if o.n == 0 {
		return
	}
	if s.n == 0 {
		*s = o
		return
	}
	s.n += o.n
	s.min, s.max, s.sum = min(s.min, o.min), max(s.max, o.max), s.sum+o.sum
}

// hour is an hour that is not yet, or not wholly, in the file. The key of its last poll tells later which polls it holds.
type hour struct {
	start   int64 // unix seconds
	lastKey int64
	series  map[int64]*summary // by series id, so that it survives a change of layout
}

// hourBook is the hours with polls that are in no hourly row yet: one as a rule, more around a clock that jumps.
type hourBook []hour

const hourSeconds = 3600

func hourOf(t time.Time) int64 {
	s := t.Unix()
	return s - ((s%hourSeconds)+hourSeconds)%hourSeconds
}

func (b *hourBook) add(key int64, at time.Time, l layout, steps []int16) {
	start := hourOf(at)
	if n := len(*b); n == 0 || (*b)[n-1].start != start {
		*b = append(*b, hour{start: start, series: map[int64]*summary{}})
	}
	h := &(*b)[len(*b)-1]
	h.lastKey = key
	for i, v := range steps {
		if v == absent {
			continue
		}
		s := h.series[l.series[i].id]
		if s == nil {
			s = &summary{}
			h.series[l.series[i].id] = s
		}
		s.add(v)
	}
}

// before returns the hours to be written when a poll at that time comes: all but its own.
func (b hourBook) before(at time.Time) []hour {
	if n := len(b); n > 0 && b[n-1].start == hourOf(at) {
		return b[:n-1]
	}
	return b
}

func (b *hourBook) drop(written []hour) { *b = slices.Clone((*b)[len(written):]) }

// An hourly record is series id, count (both uint16), min, max and mean (int16 steps), big endian.
const hourRecord = 10

func (t *tx) rollUp(full []hour) error {
	for _, h := range full {
		all := map[int64]summary{}
		for id, s := range h.series {
			all[id] = *s
		}
		var old []byte // the clock went back into an hour that is written
		err := collect(t.conn, func(scan func(...any) error) error { return scan(&old) }, "SELECT v FROM hours WHERE hour = ?", h.start)
		if err != nil {
			return err
		}
		for ; len(old) >= hourRecord; old = old[hourRecord:] {
			id, s := readRecord(old)
			was := all[id]
			was.merge(s)
			all[id] = was
		}
		if err := t.exec("INSERT OR REPLACE INTO hours (hour, v) VALUES (?, ?)", h.start, packHour(all)); err != nil {
			return err
		}
		if err := t.exec("UPDATE rolled SET key = ?", h.lastKey); err != nil {
			return err
		}
	}
	return nil
}

func packHour(all map[int64]summary) []byte {
	ids := make([]int64, 0, len(all))
	for id := range all {
		ids = append(ids, id)
	}
	slices.Sort(ids)
	b := make([]byte, 0, hourRecord*len(ids))
	for _, id := range ids {
		s := all[id]
		mean := int16(math.Round(s.sum / float64(s.n)))
		for _, v := range []uint16{uint16(id), uint16(min(s.n, math.MaxUint16)), uint16(s.min), uint16(s.max), uint16(mean)} {
			b = binary.BigEndian.AppendUint16(b, v)
		}
	}
	return b
}

func readRecord(b []byte) (id int64, s summary) {
	at := func(i int) uint16 { return binary.BigEndian.Uint16(b[2*i:]) }
	n := int(at(1))
	return int64(at(0)), summary{n: n, min: int16(at(2)), max: int16(at(3)), sum: float64(n) * float64(int16(at(4)))}
}

// Heard calls fn for every whole hour from <= hour < to and every probe that had a temperature in it, in the order of the hours. The hour of
// the newest poll is not whole yet.
func (a *Archive) Heard(from, to time.Time, fn func(hour time.Time, probe string)) error {
	probes := map[int64]string{}
	for _, s := range a.plan.Load().series {
		if s.known && s.quantity == sensors.Temperature {
			probes[s.id] = s.probe
		}
	}
	return a.readings.read(func(db *sql.DB) error {
		return collect(db, func(scan func(...any) error) error {
			var start int64
			var row sql.RawBytes
			if err := scan(&start, &row); err != nil {
				return err
			}
			for ; len(row) >= hourRecord; row = row[hourRecord:] {
				if id, _ := readRecord(row); probes[id] != "" {
					fn(time.Unix(start, 0).UTC(), probes[id])
				}
			}
			return nil
		}, "SELECT hour, v FROM hours WHERE hour >= ? AND hour < ? ORDER BY hour", from.Unix(), to.Unix())
	})
}

// unrolled rebuilds the hours that no row holds yet. A poll without a true time is of no hour.
func (t *tx) unrolled(p *plan) (hourBook, error) {
	var b hourBook
	err := collect(t.conn, func(scan func(...any) error) error {
		r, err := scanPoll(scan)
		if err != nil {
			return err
		}
		l, ok := p.layout(r.layout)
		if !ok {
			return nil
		}
		steps := make([]int16, len(l.series))
		for i := range steps {
			steps[i], _ = column(r.v, i)
		}
		b.add(r.key, r.at, l, steps)
		return nil
	}, "SELECT "+pollColumns+" FROM polls WHERE key > (SELECT key FROM rolled) AND key NOT IN (SELECT key FROM unplaced) ORDER BY key")
	return b, err
}
