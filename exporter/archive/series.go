package archive

import (
	"context"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"
	"time"

	"nestmon/sensors"
)

// Point is one bucket of a graph.
type Point struct {
	Time           time.Time // beginning of the bucket
	Min, Mean, Max float64
	N              int // values in it, never 0: a bucket without values has no point
}

// maxBuckets bounds the work one question can ask for; no screen is wider.
const maxBuckets = 10000

// Series returns a quantity of a probe between from and to in that many buckets of equal length; buckets without values are
// left out. Where a bucket is an hour or longer, and where polls are no longer kept, hourly rows answer: an hour then counts
// for the bucket it begins in.
func (a *Archive) Series(probe string, q sensors.Quantity, from, to time.Time, buckets int) ([]Point, error) {
	if buckets < 1 || buckets > maxBuckets || !from.Before(to) {
		return nil, fmt.Errorf("archive: a graph from %s to %s in %d buckets; ask for 1 to %d buckets and an end after the beginning",
			from.Format(time.RFC3339), to.Format(time.RFC3339), buckets, maxBuckets)
	}
	g := &graph{plan: a.plan.Load(), from: from.UnixMilli(), to: to.UnixMilli(), values: make([]value, buckets)}
	g.wanted = g.plan.match(probe, q)
	if len(g.wanted) == 0 {
		return nil, nil
	}
	err := a.readings.read(func(db *sql.DB) error {
		conn, err := db.BeginTx(context.Background(), &sql.TxOptions{ReadOnly: true}) // hours and polls of one instant
		if err != nil {
			return err
		}
		defer conn.Rollback() //nolint:errcheck // nothing was written
		return g.fill(conn)
	})
	if err != nil {
		return nil, err
	}
	var out []Point
	for i, v := range g.values {
		if v.n > 0 {
			start := time.UnixMilli(g.edge(i)).UTC()
			out = append(out, Point{Time: start, Min: v.min, Mean: v.sum / float64(v.n), Max: v.max, N: v.n})
		}
	}
	return out, nil
}

// value is a bucket in the quantity's unit.
type value struct {
	n             int
	min, max, sum float64
}

type graph struct {
	plan     *plan
	from, to int64 // unix ms
	wanted   []series
	values   []value
}

// edge is where bucket i begins, in unix ms.
func (g *graph) edge(i int) int64 { return g.from + (g.to-g.from)*int64(i)/int64(len(g.values)) }

// bucket is the inverse of edge.
func (g *graph) bucket(ms int64) int {
	i := int((ms - g.from) * int64(len(g.values)) / (g.to - g.from))
	for i+1 < len(g.values) && g.edge(i+1) <= ms {
		i++
	}
	return i
}

func (g *graph) add(i int, s series, sum summary) {
	v := &g.values[i]
	lo, hi := s.unpack(sum.min), s.unpack(sum.max)
	if v.n == 0 {
		v.min, v.max = lo, hi
	}
	v.min, v.max = min(v.min, lo), max(v.max, hi)
	v.sum += s.value(sum.sum)
	v.n += sum.n
}

func (g *graph) fill(db *sql.Tx) error {
	var rolled int64
	var oldest sql.NullInt64
	err := db.QueryRow("SELECT (SELECT key FROM rolled), (SELECT key FROM polls ORDER BY key LIMIT 1)").Scan(&rolled, &oldest)
	if err != nil {
		return err
	}
	// Polls with greater keys are read one by one; hours that began before their first poll's hour come from hourly rows.
	after, hoursTo := oldest.Int64-1, hourOf(time.Unix(oldest.Int64, 0))*1000
	if (g.to-g.from)/int64(len(g.values)) >= hourSeconds*1000 || !oldest.Valid {
		after, hoursTo = rolled, g.to
	}
	if err := g.addHours(db, min(hoursTo, g.to)); err != nil {
		return err
	}
	if err := g.addPolls(db, after); err != nil {
		return err
	}
	if hoursTo == g.to {
		hoursTo = g.from
	}
	return g.addMoved(db, after, max(hoursTo, g.from))
}

func (g *graph) addHours(db *sql.Tx, to int64) error {
	return collect(db, func(scan func(...any) error) error {
		var start int64
		var row sql.RawBytes
		if err := scan(&start, &row); err != nil {
			return err
		}
		for _, s := range g.wanted {
			if sum, ok := findRecord(row, s.id); ok {
				g.add(g.bucket(start*1000), s, sum)
			}
		}
		return nil
	}, "SELECT hour, v FROM hours WHERE hour >= ? AND hour < ? ORDER BY hour", (g.from+999)/1000, (to+999)/1000)
}

// addPolls lets SQLite join one column of a bucket's polls into one text: a row less to hand over for each poll, which is
// where the time went.
func (g *graph) addPolls(db *sql.Tx, after int64) (err error) {
	stmt, err := db.Prepare("SELECT group_concat(hex(substr(v, ?, 2)), '') FROM polls WHERE key >= ? AND key < ? AND at IS NULL")
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, stmt.Close()) }()
	for n, l := range g.plan.layouts {
		start, end := max(l.since, after+1, (g.from+999)/1000), (g.to+999)/1000
		if n+1 < len(g.plan.layouts) {
			end = min(end, g.plan.layouts[n+1].since)
		}
		for _, s := range g.wanted {
			i := l.index(s.probe, s.quantity, s.scale)
			if i < 0 || start >= end {
				continue
			}
			for b := g.bucket(start * 1000); b < len(g.values) && g.edge(b) < end*1000; b++ {
				lo, hi := max(start, (g.edge(b)+999)/1000), min(end, (g.edge(b+1)+999)/1000)
				if lo >= hi {
					continue
				}
				sum, err := joined(stmt, 1+2*i, lo, hi)
				if err != nil {
					return err
				}
				if sum.n > 0 {
					g.add(b, s, sum)
				}
			}
		}
	}
	return nil
}

// joined runs the statement and sums up the text it gives, four hexadecimal digits a poll.
func joined(stmt *sql.Stmt, args ...any) (summary, error) {
	var sum summary
	var text sql.NullString // NULL where there was no poll
	if err := stmt.QueryRow(args...).Scan(&text); err != nil {
		return sum, err
	}
	digits := []byte(text.String)
	n, err := hex.Decode(digits, digits)
	if err != nil {
		return sum, err
	}
	for i := range n / 2 {
		if v, ok := column(digits[:n], i); ok {
			sum.add(v)
		}
	}
	return sum, nil
}

// addMoved adds the polls whose key is not their time.
func (g *graph) addMoved(db *sql.Tx, after, from int64) error {
	return collect(db, func(scan func(...any) error) error {
		r, err := scanPoll(scan)
		if err != nil {
			return err
		}
		l, _ := g.plan.layout(r.layout)
		for _, s := range g.wanted {
			i := l.index(s.probe, s.quantity, s.scale)
			if n, ok := column(r.v, max(i, 0)); ok && i >= 0 {
				g.add(g.bucket(r.at.UnixMilli()), s, summary{1, n, n, float64(n)})
			}
		}
		return nil
	}, "SELECT "+pollColumns+" FROM polls WHERE at >= ? AND at < ? AND key > ? ORDER BY at", from, g.to, after)
}
