package web

import (
	"fmt"
	"time"

	"nestmon/thresholds/litter"
)

// widths are what a bucket of a graph may be wide, so that buckets stay where they are when the graph is moved. Above a day come whole days.
var widths = []time.Duration{
	time.Second, 2 * time.Second, 5 * time.Second, 10 * time.Second, 15 * time.Second, 20 * time.Second, 30 * time.Second,
	time.Minute, 2 * time.Minute, 3 * time.Minute, 5 * time.Minute, 10 * time.Minute, 15 * time.Minute, 20 * time.Minute, 30 * time.Minute,
	time.Hour, 2 * time.Hour, 3 * time.Hour, 4 * time.Hour, 6 * time.Hour, 8 * time.Hour, 12 * time.Hour,
}

const wholeDay = 24 * time.Hour

// width is the narrowest width that makes no more than that many buckets of a span, and an hour where nothing finer is kept.
func width(span time.Duration, buckets int, hourly bool) time.Duration {
	least := span / time.Duration(buckets)
	if hourly {
		least = max(least, time.Hour)
	}
	for _, w := range widths {
		if w >= least {
			return w
		}
	}
	return (least + wholeDay - 1) / wholeDay * wholeDay
}

// buckets are edges of equal width from the one before from to the one after to, counted from the epoch: whole days are days of UTC.
func buckets(from, to time.Time, width time.Duration) []time.Time {
	step := width.Milliseconds()
	at := from.UnixMilli() - from.UnixMilli()%step
	edges := []time.Time{time.UnixMilli(at).UTC()}
	for at < to.UnixMilli() {
		at += step
		edges = append(edges, time.UnixMilli(at).UTC())
	}
	return edges
}

// rows are the edges of a table's rows, which are local hours, days or weeks from Monday on.
var rows = map[string]struct {
	first func(t time.Time, zone *time.Location) time.Time
	next  func(t time.Time, zone *time.Location) time.Time
}{
	"hour": {
		func(t time.Time, _ *time.Location) time.Time { return t.Truncate(time.Hour) },
		func(t time.Time, _ *time.Location) time.Time { return t.Add(time.Hour) },
	},
	"day": {
		func(t time.Time, zone *time.Location) time.Time { return litter.StartOf(t, 0, zone) },
		litter.NextDay,
	},
	"week": {
		func(t time.Time, zone *time.Location) time.Time {
			return litter.StartOf(t, -(int(t.In(zone).Weekday())+6)%7, zone)
		},
		func(t time.Time, zone *time.Location) time.Time { return litter.StartOf(t, 7, zone) },
	},
}

// wantEdges reads by, or buckets where that is absent.
func (s *Server) wantEdges(q *query, from, to time.Time, fine func() time.Time) (edges []time.Time, step time.Duration) {
	n := q.count("buckets", defaultBuckets, maxBuckets)
	by := q.values.Get("by")
	if q.problem != "" {
		return nil, 0
	}
	began := fine()
	if by == "" {
		if to.Sub(from)/time.Duration(n) < minStep {
			q.fail("%d buckets are finer than a second each; ask for fewer or a longer span", n)
			return nil, 0
		}
		step = width(to.Sub(from), n, began.IsZero() || !began.Before(to))
		return buckets(from, to, step), step
	}
	row, ok := rows[by]
	if !ok {
		q.fail("by %q is not one of: hour, day, week", clip(by))
		return nil, 0
	}
	for at := row.first(from, s.site.zone()); ; at = row.next(at, s.site.zone()) {
		edges = append(edges, at.UTC())
		if !at.Before(to) {
			return edges, 0
		}
		if len(edges) > maxBuckets {
			q.fail("%s", fmt.Sprintf("from and to are more than %d rows apart; ask for a shorter span or longer rows", maxBuckets))
			return nil, 0
		}
	}
}
