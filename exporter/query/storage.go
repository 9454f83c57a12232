//go:build promql

package query

import (
	"context"
	"fmt"
	"math"
	"net/http"
	"slices"
	"time"

	"github.com/prometheus/prometheus/model/histogram"
	"github.com/prometheus/prometheus/model/labels"
	"github.com/prometheus/prometheus/model/value"
	"github.com/prometheus/prometheus/storage"
	"github.com/prometheus/prometheus/tsdb/chunkenc"
	"github.com/prometheus/prometheus/tsdb/chunks"
	"github.com/prometheus/prometheus/util/annotations"

	"nestmon/exporter/archive"
)

// Bounds of what one expression reads, ours, no source: a month of polls of 240 series, in blocks of six days' of them.
const (
	mostRead  = 20_000_000 // values
	blockSize = 4_000_000  // values, 4 bytes each
)

// hourly is the step from which an hour is one sample, in ms.
const hourly = int64(time.Hour / time.Millisecond)

// unreadable is an error of the archive.
type unreadable struct{ error }

// storage is the archive as the engine asks it.
func (a *API) storage() storage.Queryable {
	return storage.QueryableFunc(func(from, to int64) (storage.Querier, error) {
		return &querier{api: a, from: from, to: to}, nil
	})
}

// querier serves one expression. The engine takes the series of a selector one after another, each once or twice and from its beginning; so one
// block of rows is kept, in which the next series lie too.
type querier struct {
	storage.LabelQuerier // not asked by the engine's functions as they are set up here
	api                  *API
	from, to             int64
	block                *block
	read                 int
}

func (q *querier) Close() error { return nil }

// Select finds the series; their values are read when they are asked for.
func (q *querier) Select(ctx context.Context, sorted bool, hints *storage.SelectHints, matchers ...*labels.Matcher) storage.SeriesSet {
	from, to, span := q.from, q.to, archive.Span{}
	if hints != nil {
		from, to = hints.Start, hints.End
		span.Hourly = hints.Step >= hourly && (hints.Range == 0 || hints.Range >= hourly)
		switch {
		case hints.Range > 0 && hints.Func == "max_over_time":
			span.Figure = archive.MaxOfHour
		case hints.Range > 0 && hints.Func == "min_over_time":
			span.Figure = archive.MinOfHour
		}
	}
	within := func(ms int64) time.Time {
		return time.UnixMilli(min(max(ms, earliest.UnixMilli()), latest.UnixMilli()))
	}
	span.From, span.To = within(from), within(to).Add(time.Millisecond)
	sel := &selection{ctx: ctx, querier: q, span: span, at: -1}
	for _, s := range q.api.find(span.From, span.To, func(have map[string]string) bool {
		return !slices.ContainsFunc(matchers, func(m *labels.Matcher) bool { return !m.Matches(have[m.Name]) })
	}) {
		sel.all = append(sel.all, &line{series: s, name: labels.FromMap(s.labels), of: sel, place: len(sel.all)})
	}
	if sorted {
		slices.SortFunc(sel.all, func(a, b *line) int { return labels.Compare(a.name, b.name) })
		for i, l := range sel.all {
			l.place = i
		}
	}
	return sel
}

// selection is the series of one selector.
type selection struct {
	ctx     context.Context
	querier *querier
	span    archive.Span
	all     []*line
	at      int
}

func (s *selection) Next() bool {
	s.at++
	return s.at < len(s.all)
}

func (s *selection) At() storage.Series                { return s.all[s.at] }
func (s *selection) Err() error                        { return nil }
func (s *selection) Warnings() annotations.Annotations { return nil }

// line is one series of a selection.
type line struct {
	series
	name  labels.Labels
	of    *selection
	place int
}

func (l *line) Labels() labels.Labels { return l.name }

func (l *line) Iterator(chunkenc.Iterator) chunkenc.Iterator {
	b, err := l.of.load(l.place)
	if err != nil {
		return failed{chunkenc.NewNopIterator(), err}
	}
	return storage.NewListSeriesIterator(b.samples(l))
}

// failed is what there is of a series that cannot be read.
type failed struct {
	chunkenc.Iterator
	err error
}

func (f failed) Err() error { return f.err }

// block is the rows of a span for some series in a row.
type block struct {
	of     *selection
	first  int         // place of the first series
	at     []int64     // unix ms
	hours  int         // how many of the rows, from the first, are hours
	values [][]float32 // by series: NaN where there is none; steps of 16 bits are exact in it
}

// load returns the block that holds a series, reading as many of those after it as have room.
func (s *selection) load(place int) (*block, error) {
	q := s.querier
	if b := q.block; b != nil && b.of == s && place >= b.first && place < b.first+len(b.values) {
		return b, nil
	}
	q.block = nil // so that it need not be kept beside the new one
	b := &block{of: s, first: place, values: make([][]float32, len(s.all)-place)}
	cols := make([]archive.Column, len(b.values))
	for i := range cols {
		cols[i] = s.all[place+i].column
	}
	err := q.api.archive.Samples(s.ctx, cols, s.span, func(r archive.Row) error {
		if len(b.at) >= blockSize {
			return fault{http.StatusUnprocessableEntity, "execution", "the expression reads too many samples of one series; ask for a step of an hour or longer, or for less"}
		}
		b.at = append(b.at, r.At)
		if r.Hour {
			b.hours++
		}
		for i := range b.values {
			b.values[i] = append(b.values[i], float32(r.Values[i]))
		}
		if n := len(b.values); n > 1 && n*len(b.at) > blockSize {
			clear(b.values[n/2:])
			b.values = b.values[:n/2]
		}
		return nil
	})
	if q.read += len(b.at) * len(b.values); err == nil && q.read > mostRead {
		err = fault{http.StatusUnprocessableEntity, "execution", fmt.Sprintf("the expression reads more than %d samples; ask for a step of an hour or longer, for fewer series, or for less", mostRead)}
	}
	switch _, ours := err.(fault); { //nolint:errorlint // what fn returned, as it was
	case err == nil:
		q.block = b
		return b, nil
	case ours, s.ctx.Err() != nil:
		return nil, err
	}
	return nil, unreadable{err}
}

// samples are the values of a series one after another, and the markers that end it where a value lives no longer.
type samples struct {
	*block
	line   *line
	values []float32
	order  []int32 // rows that hold a value, and after a row -1-row where its value's marker is
	sample
}

func (b *block) samples(l *line) *samples {
	s := &samples{block: b, line: l, values: b.values[l.place-b.first]}
	last, to := int32(-1), l.of.span.To.UnixMilli()
	mark := func(next int64) {
		if last >= 0 && s.ends(last) < next {
			s.order = append(s.order, -1-last)
		}
	}
	for i, v := range s.values {
		if v == v { // no NaN
			mark(s.at[i])
			last = int32(i)
			s.order = append(s.order, last)
		}
	}
	mark(to)
	return s
}

// ends is when the value of a row lives no longer.
func (s *samples) ends(row int32) int64 {
	if int(row) < s.hours {
		return s.at[row] + hourly
	}
	return s.at[row] + s.line.lives.Milliseconds() + 1 // at its very end it is current
}

func (s *samples) Len() int { return len(s.order) }

// Get returns a sample that holds until the next call: the engine copies it at once, and there are millions.
func (s *samples) Get(i int) chunks.Sample {
	if row := s.order[i]; row < 0 {
		s.sample = sample{s.ends(-1 - row), math.Float64frombits(value.StaleNaN)}
	} else {
		s.sample = sample{s.at[row], s.line.column.Quantity.Quantise(float64(s.values[row])) / s.line.unit}
	}
	return &s.sample
}

// sample is a value at a time, unix ms.
type sample struct {
	t int64
	v float64
}

func (s *sample) T() int64                      { return s.t }
func (s *sample) ST() int64                     { return 0 }
func (s *sample) F() float64                    { return s.v }
func (s *sample) H() *histogram.Histogram       { return nil }
func (s *sample) FH() *histogram.FloatHistogram { return nil }
func (s *sample) Type() chunkenc.ValueType      { return chunkenc.ValFloat }
func (s *sample) Copy() chunks.Sample           { c := *s; return &c }
