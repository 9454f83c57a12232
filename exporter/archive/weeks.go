package archive

import (
	"context"
	"database/sql"
	"encoding/binary"
	"slices"
	"time"

	"nestmon/sensors"
)

// Who compares seasons asks for the means of thousands of hours, and a row each is slow to read. So a week that is over is packed into one row as
// well: for each series of temperature its id (uint16) and the mean of each hour (int16 steps, the lowest for none), big endian. It cannot differ
// from the hours: a trigger throws the week away with any hour of it that is written again or removed, in the same transaction, and what is not
// packed is read by the hour.
const (
	weekHours   = 7 * 24
	weekSeconds = weekHours * hourSeconds
	weekRecord  = 2 + 2*weekHours // bytes

	// weeksARound bounds how long a round of housekeeping keeps a poll waiting: the hours of ten years are packed within three days. Ours, no source.
	weeksARound = 8
)

// packWeeks packs some of the weeks that are over, and whole.
func (a *Archive) packWeeks(now time.Time) error {
	from, current := max(a.state.unpacked, now.Add(-a.opts.HoursFor).Unix()/weekSeconds+1), now.Unix()/weekSeconds
	if from >= current {
		return nil
	}
	p := a.plan.Load()
	err := a.readings.write(func(t *tx) error {
		for packed := 0; packed < weeksARound; from++ {
			var hour sql.NullInt64
			if err := t.row("SELECT min(hour) FROM hours WHERE hour >= ?", from*weekSeconds).Scan(&hour); err != nil {
				return err
			}
			if from = max(from, hour.Int64/weekSeconds); !hour.Valid || from >= current {
				return nil
			}
			var there bool
			if err := t.row("SELECT EXISTS (SELECT 1 FROM weeks WHERE week = ?)", from).Scan(&there); err != nil {
				return err
			}
			if there {
				continue
			}
			packed++
			v, err := t.weekOf(p, from)
			if err == nil && v != nil {
				err = t.exec("INSERT INTO weeks (week, v) VALUES (?, ?)", from, v)
			}
			if err != nil {
				return err
			}
		}
		return nil
	})
	if err == nil {
		a.state.unpacked = from
	}
	return err
}

// weekOf packs the hours of a week; nil where that cannot be done, because a probe had two scales in one hour.
func (t *tx) weekOf(p *plan, week int64) ([]byte, error) {
	var v []byte
	probes := map[int64]string{} // by series of temperature
	for _, s := range p.series {
		if s.known && s.quantity == sensors.Temperature {
			probes[s.id] = s.probe
		}
	}
	at, last, twice := map[int64]int{}, map[string]int64{}, false // where a series' hours begin in v; the newest hour of a probe
	err := collect(t.conn, func(scan func(...any) error) error {
		var start int64
		var row sql.RawBytes
		if err := scan(&start, &row); err != nil {
			return err
		}
		for ; len(row) >= hourRecord; row = row[hourRecord:] {
			id, s := readRecord(row)
			probe, wanted := probes[id]
			if !wanted || s.n == 0 {
				continue
			}
			was, before := last[probe]
			last[probe], twice = start, twice || before && was == start
			if _, there := at[id]; !there {
				v = binary.BigEndian.AppendUint16(v, uint16(id))
				at[id] = len(v)
				v = append(v, packRow(slices.Repeat([]int16{absent}, weekHours))...)
			}
			hour := int(start-week*weekSeconds) / hourSeconds
			binary.BigEndian.PutUint16(v[at[id]+2*hour:], uint16(int16(s.sum/float64(s.n))))
		}
		return nil
	}, "SELECT hour, v FROM hours WHERE hour >= ? AND hour < ? ORDER BY hour", week*weekSeconds, (week+1)*weekSeconds)
	if twice {
		v = nil
	}
	return v, err
}

// Means calls fn for every whole hour from <= hour < to in which one of the probes had a temperature, with the mean of each in °C, NaN where it had
// none, in the order of the hours. fn must not keep the means: the next hour overwrites them.
func (a *Archive) Means(from, to time.Time, probes []string, fn func(hour time.Time, means []float64)) error {
	m := asked{means: make([]float64, len(probes)), n: make([]int, len(probes)), fn: fn}
	for i, probe := range probes {
		for _, s := range a.plan.Load().match(probe, sensors.Temperature) {
			if n := int(s.id) + 1; n > len(m.wanted) {
				m.wanted = append(m.wanted, make([]scaled, n-len(m.wanted))...)
			}
			m.wanted[s.id] = scaled{i + 1, s.value(1)}
		}
	}
	return a.readings.read(func(db *sql.DB) error {
		conn, err := db.BeginTx(context.Background(), &sql.TxOptions{ReadOnly: true}) // weeks and hours of one instant
		if err != nil {
			return err
		}
		defer conn.Rollback() //nolint:errcheck // nothing was written
		return m.read(conn, from.Unix(), to.Unix())
	})
}

// asked is a question for means under way.
type asked struct {
	wanted []scaled // by series id, which are few and small
	means  []float64
	n      []int
	fn     func(hour time.Time, means []float64)
}

// scaled is the place of a series' probe, from 1, and what a step of the series is in °C.
type scaled struct {
	of   int
	step float64
}

// read takes weeks that are packed and lie within, and what is between them by the hour.
func (m *asked) read(conn *sql.Tx, from, to int64) error {
	err := collect(conn, func(scan func(...any) error) error {
		var week int64
		var v sql.RawBytes
		if err := scan(&week, &v); err != nil {
			return err
		}
		if err := m.hours(conn, from, week*weekSeconds); err != nil {
			return err
		}
		from = (week + 1) * weekSeconds
		m.week(week, v)
		return nil
	}, "SELECT week, v FROM weeks WHERE week >= ? AND week < ? ORDER BY week", (from+weekSeconds-1)/weekSeconds, to/weekSeconds)
	if err != nil {
		return err
	}
	return m.hours(conn, from, to)
}

func (m *asked) hours(conn *sql.Tx, from, to int64) error {
	if from >= to {
		return nil
	}
	return collect(conn, func(scan func(...any) error) error {
		var start int64
		var row sql.RawBytes
		if err := scan(&start, &row); err != nil {
			return err
		}
		for ; len(row) >= hourRecord; row = row[hourRecord:] {
			if id, s := readRecord(row); int(id) < len(m.wanted) {
				m.add(m.wanted[id], s.sum, s.n)
			}
		}
		m.tell(start)
		return nil
	}, "SELECT hour, v FROM hours WHERE hour >= ? AND hour < ? ORDER BY hour", from, to)
}

func (m *asked) week(week int64, v []byte) {
	var places []scaled
	var rows [][]byte
	for r := range slices.Chunk(v, weekRecord) {
		if id := int(binary.BigEndian.Uint16(r)); id < len(m.wanted) && m.wanted[id].of != 0 {
			places, rows = append(places, m.wanted[id]), append(rows, r[2:])
		}
	}
	for h := range weekHours {
		for i, row := range rows {
			if steps, ok := column(row, h); ok {
				m.add(places[i], float64(steps), 1)
			}
		}
		m.tell(week*weekSeconds + int64(h)*hourSeconds)
	}
}

// add takes the sum of n values of one series in an hour.
func (m *asked) add(p scaled, steps float64, n int) {
	if p.of == 0 || n == 0 {
		return
	}
	m.means[p.of-1] += steps * p.step
	m.n[p.of-1] += n
}

// tell ends an hour.
func (m *asked) tell(start int64) {
	some := false
	for i := range m.means {
		some = some || m.n[i] > 0
		m.means[i] /= float64(m.n[i]) // NaN where there was none
	}
	if some {
		m.fn(time.Unix(start, 0).UTC(), m.means)
	}
	clear(m.means)
	clear(m.n)
}
