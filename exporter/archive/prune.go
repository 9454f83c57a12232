package archive

import (
	"math"
	"time"
)

const (
	houseEvery = time.Hour // between two rounds of housekeeping; ours, no source
	// A round removes at most as many polls as make a transaction short, and more than came in; ours, no source.
	pruneAtLeast = 1000
	pruneFactor  = 4
	// fallbackInterval is the spacing of polls where no probe says its own: the configuration's default poll.
	fallbackInterval = 30 * time.Second
	// hardLimit times the polls of RawFor are never exceeded, whatever the clock says; ours, no source.
	hardLimit = 2
)

// rawPolls is how many polls RawFor is, at the pace of the fastest probe.
func (o Options) rawPolls() int64 {
	pace := time.Duration(0)
	for _, p := range o.Probes {
		if p.Interval > 0 && (pace == 0 || p.Interval < pace) {
			pace = p.Interval
		}
	}
	if pace == 0 {
		pace = fallbackInterval
	}
	return int64(o.RawFor / pace)
}

// keepHouse removes what is too old and packs weeks that are over, once an hour. It is never a reason for a poll to fail.
func (a *Archive) keepHouse() {
	now := a.state.newestAt
	if age := now.Sub(a.state.kept); !a.state.kept.IsZero() && age >= 0 && age < houseEvery {
		return
	}
	most := max(pruneAtLeast, pruneFactor*a.state.since)
	a.state.kept, a.state.since = now, 0
	if err := a.prune(now, most); err != nil {
		a.opts.Log.Warn("removing old rows", "err", err)
	}
	if err := a.packWeeks(now); err != nil {
		a.opts.Log.Warn("packing weeks of hourly means", "err", err)
	}
}

// prune removes polls that are both old and more than RawFor holds. Age alone would let a clock that leaps ahead empty the
// archive, number alone a slower pace.
func (a *Archive) prune(now time.Time, most int64) error {
	keep := a.opts.rawPolls()
	excess := min(a.state.count-keep, most)
	oldest := now.Add(-a.opts.RawFor).Unix()
	if a.state.count > hardLimit*keep {
		excess, oldest = min(a.state.count-hardLimit*keep, most), math.MaxInt64
	}
	lost := map[string]int64{}
	var gone int64
	err := a.readings.write(func(t *tx) error {
		if _, err := t.changed("DELETE FROM hours WHERE hour < ?", now.Add(-a.opts.HoursFor).Unix()); err != nil || excess <= 0 {
			return err
		}
		// Never a poll that no hourly row holds yet.
		const old = " FROM (SELECT key FROM polls WHERE key < ? AND key <= (SELECT key FROM rolled) ORDER BY key LIMIT ?)"
		for name := range a.state.asked {
			var n int64
			if err := t.row("SELECT count(*)"+old+" WHERE key > ?", oldest, excess, a.state.cursors[name]).Scan(&n); err != nil {
				return err
			}
			lost[name] = n
		}
		var err error
		if gone, err = t.changed("DELETE FROM polls WHERE key IN (SELECT key"+old+")", oldest, excess); err != nil {
			return err
		}
		return t.exec("DELETE FROM unplaced WHERE key NOT IN (SELECT key FROM polls)")
	})
	if err != nil {
		return err
	}
	a.state.count -= gone
	a.counts.Pruned += uint64(gone)
	for name, n := range lost {
		if n == 0 {
			continue
		}
		a.notePruned(name, n)
		a.opts.Log.Warn("polls grew too old before they were delivered; removed", "sink", name, "polls", n)
	}
	return a.book.write(func(t *tx) error {
		if err := t.exec("DELETE FROM events WHERE at < ?", now.Add(-a.opts.HoursFor).UnixMilli()); err != nil {
			return err
		}
		return t.pruneActs(now)
	})
}
