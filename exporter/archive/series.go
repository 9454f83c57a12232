package archive

import (
	"context"
	"database/sql"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"slices"
	"strings"
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
	edges := make([]int64, buckets+1)
	for i := range edges {
		edges[i] = from.UnixMilli() + (to.UnixMilli()-from.UnixMilli())*int64(i)/int64(buckets)
	}
	lines, err := a.lines([]Line{{probe, q}}, edges)
	if err != nil {
		return nil, err
	}
	return lines[0], nil
}

// Line names what a line of a graph shows.
type Line struct {
	Probe    string
	Quantity sensors.Quantity
}

// Lines is Series for several lines in one pass, with buckets from each edge to the next. The result is in the order of what is wanted.
func (a *Archive) Lines(wanted []Line, edges []time.Time) ([][]Point, error) {
	at := make([]int64, len(edges))
	for i, e := range edges {
		if at[i] = e.UnixMilli(); i > 0 && at[i] <= at[i-1] {
			return nil, fmt.Errorf("archive: edge %d of a graph, %s, is not after the one before; ask for edges that rise", i, e.Format(time.RFC3339))
		}
	}
	if len(edges) < 2 || len(edges) > maxBuckets+1 {
		return nil, fmt.Errorf("archive: a graph with %d edges; ask for 2 to %d", len(edges), maxBuckets+1)
	}
	return a.lines(wanted, at)
}

func (a *Archive) lines(wanted []Line, edges []int64) ([][]Point, error) {
	g := &graph{plan: a.plan.Load(), days: &a.days, edges: edges, values: make([][]value, len(wanted))}
	found := false
	for i, w := range wanted {
		g.values[i] = make([]value, len(edges)-1)
		for _, s := range g.plan.match(w.Probe, w.Quantity) {
			g.wanted = append(g.wanted, member{s, i})
			found = true
		}
	}
	out := make([][]Point, len(wanted))
	if !found {
		return out, nil
	}
	g.index()
	edits := a.days.begin()
	err := a.readings.read(func(db *sql.DB) error {
		conn, err := db.BeginTx(context.Background(), &sql.TxOptions{ReadOnly: true}) // hours and polls of one instant
		if err != nil {
			return err
		}
		defer conn.Rollback() //nolint:errcheck // nothing was written
		return g.fill(conn, edits)
	})
	if err != nil {
		return nil, err
	}
	for i, values := range g.values {
		for b, v := range values {
			if v.n > 0 {
				out[i] = append(out[i], Point{Time: time.UnixMilli(edges[b]).UTC(), Min: v.min, Mean: v.sum / float64(v.n), Max: v.max, N: v.n})
			}
		}
	}
	return out, nil
}

// value is a bucket in the quantity's unit.
type value struct {
	n             int
	min, max, sum float64
}

// member is a series, and the line it belongs to. A line has two where a scale was changed.
type member struct {
	series
	line int
}

type graph struct {
	plan   *plan
	days   *dayBook
	edges  []int64 // unix ms; bucket i is from edge i to the next
	wanted []member
	of     [][]*member // the same by series id, which are few and small
	values [][]value   // by line and bucket
}

func (g *graph) index() {
	for i := range g.wanted {
		p := &g.wanted[i]
		if n := int(p.id) + 1; n > len(g.of) {
			g.of = append(g.of, make([][]*member, n-len(g.of))...)
		}
		g.of[p.id] = append(g.of[p.id], p)
	}
}

func (g *graph) from() int64 { return g.edges[0] }
func (g *graph) to() int64   { return g.edges[len(g.edges)-1] }

// bucket is the one a time falls in, which is between from and to.
func (g *graph) bucket(ms int64) int {
	i, exact := slices.BinarySearch(g.edges, ms)
	if !exact {
		i--
	}
	return i
}

// finest is the length of the shortest bucket, in ms.
func (g *graph) finest() int64 {
	shortest := g.to() - g.from()
	for i := 1; i < len(g.edges); i++ {
		shortest = min(shortest, g.edges[i]-g.edges[i-1])
	}
	return shortest
}

func (g *graph) add(bucket int, p *member, sum summary) {
	v := &g.values[p.line][bucket]
	lo, hi := p.unpack(sum.min), p.unpack(sum.max)
	if v.n == 0 {
		v.min, v.max = lo, hi
	}
	v.min, v.max = min(v.min, lo), max(v.max, hi)
	v.sum += p.value(sum.sum)
	v.n += sum.n
}

func (g *graph) fill(db *sql.Tx, edits uint64) (err error) {
	var rolled int64
	var oldest sql.NullInt64
	if err := db.QueryRow("SELECT (SELECT key FROM rolled), (SELECT key FROM polls ORDER BY key LIMIT 1)").Scan(&rolled, &oldest); err != nil {
		return err
	}
	// Polls with greater keys are read one by one; hours that began before their first poll's hour come from hourly rows.
	after, hoursFrom, hoursTo := oldest.Int64-1, g.from(), hourOf(time.Unix(oldest.Int64, 0))*1000
	if g.finest() >= hourSeconds*1000 || !oldest.Valid {
		after, hoursTo = rolled, g.to()
		if g.ofDays() {
			if hoursFrom, err = g.addDays(db, edits); err != nil {
				return err
			}
		}
	}
	if err := g.addHours(db, hoursFrom, min(hoursTo, g.to())); err != nil {
		return err
	}
	if err := g.addPolls(db, after); err != nil {
		return err
	}
	if hoursTo == g.to() {
		hoursTo = g.from()
	}
	return g.addMoved(db, after, max(hoursTo, g.from()))
}

func (g *graph) addHours(db *sql.Tx, from, to int64) error {
	return collect(db, func(scan func(...any) error) error {
		var start int64
		var row sql.RawBytes
		if err := scan(&start, &row); err != nil {
			return err
		}
		g.addRecords(start, row)
		return nil
	}, "SELECT hour, v FROM hours WHERE hour >= ? AND hour < ? ORDER BY hour", (from+999)/1000, (to+999)/1000)
}

// addRecords adds a row of hourly records, or of daily ones, which begins at that time.
func (g *graph) addRecords(start int64, row []byte) {
	bucket := g.bucket(start * 1000)
	for ; len(row) >= hourRecord; row = row[hourRecord:] {
		id := int(binary.BigEndian.Uint16(row))
		if id >= len(g.of) { // records are in the order of ids
			return
		}
		for _, p := range g.of[id] {
			if _, sum := readRecord(row); sum.n > 0 {
				g.add(bucket, p, sum)
			}
		}
	}
}

// addPolls lets SQLite join some columns of a bucket's polls into one text: a row less to hand over for each poll, which is
// where the time went.
func (g *graph) addPolls(db *sql.Tx, after int64) error {
	for n, l := range g.plan.layouts {
		start, end := max(l.since, after+1, (g.from()+999)/1000), (g.to()+999)/1000
		if n+1 < len(g.plan.layouts) {
			end = min(end, g.plan.layouts[n+1].since)
		}
		if start >= end {
			continue
		}
		if err := g.addLayout(db, l, start, end); err != nil {
			return err
		}
	}
	return nil
}

// addLayout adds the polls of one layout with start <= key < end.
func (g *graph) addLayout(db *sql.Tx, l layout, start, end int64) (err error) {
	var here []*member
	var texts []string
	last := 0
	for i := range g.wanted {
		p := &g.wanted[i]
		if c := l.index(p.probe, p.quantity, p.scale); c >= 0 {
			here, last = append(here, p), max(last, c)
			texts = append(texts, fmt.Sprintf("hex(substr(v, %d, 2))", 1+2*c))
		}
	}
	if len(here) == 0 {
		return nil
	}
	stmt, err := db.Prepare(fmt.Sprintf("SELECT group_concat(%s, '') FROM polls WHERE key >= ? AND key < ? AND at IS NULL AND length(v) >= %d", strings.Join(texts, "||"), 2*last+2))
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, stmt.Close()) }()
	sums := make([]summary, len(here))
	for b := g.bucket(start * 1000); b < len(g.edges)-1 && g.edges[b] < end*1000; b++ {
		lo, hi := max(start, (g.edges[b]+999)/1000), min(end, (g.edges[b+1]+999)/1000)
		if lo >= hi {
			continue
		}
		clear(sums)
		if err := joined(stmt, sums, lo, hi); err != nil {
			return err
		}
		for i, p := range here {
			if sums[i].n > 0 {
				g.add(b, p, sums[i])
			}
		}
	}
	return nil
}

// joined runs the statement and sums up the text it gives, four hexadecimal digits a column of a poll.
func joined(stmt *sql.Stmt, sums []summary, args ...any) error {
	var text sql.NullString // NULL where there was no poll
	if err := stmt.QueryRow(args...).Scan(&text); err != nil {
		return err
	}
	digits := []byte(text.String)
	n, err := hex.Decode(digits, digits)
	if err != nil {
		return err
	}
	for i := range n / 2 {
		if v, ok := column(digits[:n], i); ok {
			sums[i%len(sums)].add(v)
		}
	}
	return nil
}

// addMoved adds the polls whose key is not their time.
func (g *graph) addMoved(db *sql.Tx, after, from int64) error {
	return collect(db, func(scan func(...any) error) error {
		r, err := scanPoll(scan)
		if err != nil {
			return err
		}
		l, _ := g.plan.layout(r.layout)
		for i := range g.wanted {
			p := &g.wanted[i]
			c := l.index(p.probe, p.quantity, p.scale)
			if n, ok := column(r.v, max(c, 0)); ok && c >= 0 {
				g.add(g.bucket(r.at.UnixMilli()), p, summary{1, n, n, float64(n)})
			}
		}
		return nil
	}, "SELECT "+pollColumns+" FROM polls WHERE at >= ? AND at < ? AND key > ? ORDER BY at", from, g.to(), after)
}
