package archive

import (
	"context"
	"database/sql"
	"math"
	"slices"
	"time"

	"nestmon/sensors"
)

// Column is one quantity of one probe.
type Column struct {
	Probe    string
	Quantity sensors.Quantity
}

// Columns returns what the polls of from <= time < to may hold, in the order in which it first came.
func (a *Archive) Columns(from, to time.Time) (out []Column) {
	p := a.plan.Load()
	seen := map[Column]bool{}
	for i, l := range p.layouts {
		if l.since >= ceilSeconds(to) || i+1 < len(p.layouts) && p.layouts[i+1].since <= from.Unix() {
			continue
		}
		for _, s := range l.series {
			if c := (Column{s.probe, s.quantity}); s.known && !seen[c] {
				seen[c] = true
				out = append(out, c)
			}
		}
	}
	return out
}

// Figure is what stands for an hour.
type Figure uint8

// The figures an hourly row has.
const (
	MeanOfHour Figure = iota
	MinOfHour
	MaxOfHour
)

// Span asks for samples of From <= time < To. Hourly takes hourly rows wherever there are some, otherwise only where polls are no longer kept.
type Span struct {
	From, To time.Time
	Hourly   bool
	Figure   Figure
}

// Row is the values of one instant, NaN where there is none: of a poll, or of the hour that ends then.
type Row struct {
	At     int64 // unix ms
	Hour   bool
	Values []float64 // in the order of the columns; the next row overwrites them
}

// Samples calls fn with the values of the columns, in the order of time, once for an instant, hours first, until fn fails or ctx ends. An
// instant without a value is left out.
func (a *Archive) Samples(ctx context.Context, cols []Column, span Span, fn func(Row) error) error {
	s := &sampler{plan: a.plan.Load(), cols: cols, span: span, row: Row{At: math.MinInt64, Values: make([]float64, len(cols))}, fn: fn}
	border, err := a.border(span.Hourly)
	if err != nil {
		return err
	}
	if err := a.hourSamples(ctx, s, border); err != nil {
		return err
	}
	places := map[int64][]place{}
	from := span.From
	if border.After(from) {
		from = border
	}
	return a.rowsBetween(from, span.To, func(r storedRow) error {
		if err := ctx.Err(); err != nil {
			return err
		}
		at, known := places[r.layout]
		if !known {
			at = s.places(r.layout)
			places[r.layout] = at
		}
		s.begin()
		for _, p := range at {
			if n, ok := column(r.v, p.column); ok {
				s.row.Values[p.of] = p.unpack(n)
			}
		}
		return s.end(r.at.UnixMilli(), false)
	})
}

// border is where hours end and polls begin.
func (a *Archive) border(hourly bool) (t time.Time, err error) {
	err = a.readings.read(func(db *sql.DB) error {
		var oldest, lastHour sql.NullInt64
		if err := db.QueryRow("SELECT (SELECT min(key) FROM polls), (SELECT max(hour) FROM hours)").Scan(&oldest, &lastHour); err != nil {
			return err
		}
		if lastHour.Valid && (hourly || !oldest.Valid) {
			t = time.Unix(lastHour.Int64+hourSeconds, 0)
		} else if oldest.Valid {
			t = time.Unix(hourOf(time.Unix(oldest.Int64, 0)), 0)
		}
		return nil
	})
	return t, err
}

// hourBatch is how many hours a long reading takes at a time, as batch does of polls: about as many bytes.
const hourBatch = 100

// hourSamples gives out the hours that end by the border.
func (a *Archive) hourSamples(ctx context.Context, s *sampler, border time.Time) error {
	next, last := ceilSeconds(s.span.From)-hourSeconds, min(ceilSeconds(s.span.To)-hourSeconds, border.Unix()-hourSeconds+1)
	ids := s.ids()
	count := make([]float64, len(s.cols))
	for next < last {
		n := 0
		err := a.readings.read(func(db *sql.DB) error {
			return collect(db, func(scan func(...any) error) error {
				var start int64
				var v sql.RawBytes
				if err := scan(&start, &v); err != nil {
					return err
				}
				n, next = n+1, start+1
				s.begin()
				clear(count)
				for ; len(v) >= hourRecord; v = v[hourRecord:] {
					id, sum := readRecord(v)
					if int(id) < len(ids) && ids[id].of >= 0 && sum.n > 0 {
						s.put(ids[id], sum, count)
					}
				}
				return s.end((start+hourSeconds)*1000, true)
			}, "SELECT hour, v FROM hours WHERE hour >= ? AND hour < ? ORDER BY hour LIMIT ?", next, last, hourBatch)
		})
		if err != nil || n < hourBatch {
			return err
		}
		if err := ctx.Err(); err != nil {
			return err
		}
	}
	return nil
}

// sampler makes rows of what is stored.
type sampler struct {
	plan *plan
	cols []Column
	span Span
	row  Row
	fn   func(Row) error
}

// place is where a series is in a stored row, and which of the columns that were asked for it is.
type place struct {
	series
	column, of int
}

func (s *sampler) of(have series) int {
	if !have.known {
		return -1
	}
	return slices.Index(s.cols, Column{have.probe, have.quantity})
}

func (s *sampler) places(layoutID int64) (out []place) {
	l, _ := s.plan.layout(layoutID)
	for i, have := range l.series {
		if of := s.of(have); of >= 0 {
			out = append(out, place{have, i, of})
		}
	}
	return out
}

// ids is the places by series id, which are few and small.
func (s *sampler) ids() (out []place) {
	for _, have := range s.plan.series {
		for int(have.id) >= len(out) {
			out = append(out, place{of: -1})
		}
		out[have.id] = place{have, 0, s.of(have)}
	}
	return out
}

// put adds one series of an hour. A column has two where its scale was changed within it.
func (s *sampler) put(p place, sum summary, count []float64) {
	v := &s.row.Values[p.of]
	n := float64(sum.n)
	switch lo, hi, mean := p.unpack(sum.min), p.unpack(sum.max), p.value(sum.sum/n); {
	case s.span.Figure == MinOfHour && !(*v <= lo):
		*v = lo
	case s.span.Figure == MaxOfHour && !(*v >= hi):
		*v = hi
	case s.span.Figure == MeanOfHour && count[p.of] == 0:
		*v = mean
	case s.span.Figure == MeanOfHour:
		*v = (*v*count[p.of] + mean*n) / (count[p.of] + n)
	}
	count[p.of] += n
}

func (s *sampler) begin() {
	for i := range s.row.Values {
		s.row.Values[i] = math.NaN()
	}
}

// end gives the row out, unless it holds nothing or its instant is taken.
func (s *sampler) end(at int64, hour bool) error {
	if at <= s.row.At || !slices.ContainsFunc(s.row.Values, func(v float64) bool { return !math.IsNaN(v) }) {
		return nil
	}
	s.row.At, s.row.Hour = at, hour
	return s.fn(s.row)
}
