package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"sync"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/web"
	"nestmon/sensors"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/book"
	"nestmon/thresholds/litter"
)

// A preview lives through the last days of the archive once more, by the limits in force and by others at the same time: it is a replay, by the
// same decisions as the daemon's, with the litter book as it is now. Nobody acknowledges and nothing is sent. It works in the background and
// gives way: as long as it works it then rests, so that on a board with one core the poll finds it idle at the latest after previewSlice.
const (
	previewDays  = 30 // the keeper's last month
	previewSlice = 20 * time.Millisecond
	previewMost  = 2 * time.Hour // then something is wrong; a board's month takes minutes
	mostSpells   = 20000         // alarms of one side: limits that raise more are a slip
	mostListed   = 200           // alarms of each list that are sent; the newest are kept
	// spellMoved is by how much an alarm must come or go at another time to be told as another.
	spellMoved = time.Minute
)

// previews is the one that is under way, or was the last.
type previews struct {
	mu   sync.Mutex
	view web.Preview
	stop context.CancelFunc
	over chan struct{}
}

// Preview is how far it is.
func (d *daemon) Preview() web.Preview {
	p := &d.previews
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.view.State == "" {
		return web.Preview{State: web.PreviewNone}
	}
	return p.view
}

// StopPreview ends it and waits until it has ended.
func (d *daemon) StopPreview() {
	p := &d.previews
	p.mu.Lock()
	stop, over := p.stop, p.over
	p.mu.Unlock()
	if stop != nil {
		stop()
		<-over
	}
}

// StartPreview looks at a wish in the background.
func (d *daemon) StartPreview(w web.LimitWish) error {
	now := d.pace.Now()
	next, err := d.cfg.wish(w, now)
	if err != nil {
		return err
	}
	p := &d.previews
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.view.State == web.PreviewRunning {
		return errors.New("a look back is under way; wait for it, or stop it first")
	}
	back := d.newLookback(now, next)
	ctx, stop := context.WithTimeout(context.Background(), previewMost)
	p.stop, p.over = stop, make(chan struct{})
	p.view = web.Preview{State: web.PreviewRunning, Revision: w.Revision, Wish: w.Limits}
	go func() {
		defer close(p.over)
		defer stop()
		result, err := back.run(ctx, func(share float64) {
			p.mu.Lock()
			p.view.Done = share
			p.mu.Unlock()
		})
		p.mu.Lock()
		defer p.mu.Unlock()
		switch {
		case errors.Is(err, context.Canceled):
			p.view.State = web.PreviewStopped
		case err != nil:
			p.view.State, p.view.Error = web.PreviewFailed, err.Error()
			d.log.Warn("the look back failed", "err", err)
		default:
			p.view.State, p.view.Done, p.view.Result = web.PreviewDone, 1, result
		}
	}()
	return nil
}

// lookback is one preview.
type lookback struct {
	d        *daemon
	from, to time.Time
	wish     wish
	litters  []litter.Litter
	marks    []book.Mark // by time, those that are yet to be lived through
	sides    [2]*outlook // by the limits in force, and by the others
	rest     gentle
	polls    int
	nests    map[string]*web.PreviewNest
	hour     time.Time // that was looked at last
	prepared func()    // called before the first poll; nil but in tests
}

func (d *daemon) newLookback(now time.Time, w wish) *lookback {
	b := &lookback{d: d, from: now.AddDate(0, 0, -previewDays), to: now, wish: w, litters: d.Book().Litters(now), marks: d.Book().Marks(), nests: map[string]*web.PreviewNest{}}
	slices.SortStableFunc(b.marks, func(a, c book.Mark) int { return a.At.Compare(c.At) })
	for _, id := range d.cfg.nestIDs() {
		b.nests[id] = &web.PreviewNest{Nest: id, Hours: int(now.Sub(b.from).Hours()), Judged: map[string]int{}}
	}
	return b
}

// gentle rests as long as it worked.
type gentle struct{ since time.Time }

func (g *gentle) pause(ctx context.Context) error {
	worked := time.Since(g.since)
	if worked < previewSlice || ctx.Err() != nil {
		return ctx.Err()
	}
	timer := time.NewTimer(min(worked, time.Second))
	defer timer.Stop()
	select {
	case <-timer.C:
	case <-ctx.Done():
		return ctx.Err()
	}
	g.since = time.Now()
	return nil
}

// previewWarm is how long before the span the look back begins, so that the decisions know at its beginning what the daemon's did.
const previewWarm = warmUp

// run lives through the archive twice: once for the spacing of each probe's readings, where the configuration leaves it open, then for the alarms.
func (b *lookback) run(ctx context.Context, share func(float64)) (*web.PreviewResult, error) {
	began := time.Now()
	b.rest.since = began
	begin := b.from.Add(-previewWarm)
	spacing, err := b.spacing(ctx, begin)
	if err != nil {
		return nil, err
	}
	for i := range b.sides {
		domain := b.d.cfg.replayed(spacing)
		if i == 1 {
			domain.Limits = b.wish.tables
		}
		judge, err := newJudge(domain)
		if err != nil {
			return nil, err
		}
		judge.rabbitry.SetLitters(b.litters, begin)
		b.sides[i] = &outlook{replay: replay{cfg: b.d.cfg, judge: judge, stored: true}, open: map[place]*web.PreviewSpell{}}
	}
	if err := b.recall(begin); err != nil {
		return nil, err
	}
	if b.prepared != nil {
		b.prepared()
	}
	told := began
	err = b.each(ctx, begin, func(p exporter.StoredPoll) error {
		if time.Since(told) > time.Second/4 {
			told = time.Now()
			share(p.Time.Sub(begin).Hours() / b.to.Sub(begin).Hours())
		}
		return b.live(p)
	})
	if err != nil {
		return nil, err
	}
	result := b.result()
	result.TookS = math.Round(time.Since(began).Seconds()*10) / 10
	return result, nil
}

// each calls fn for each poll, and rests in between.
func (b *lookback) each(ctx context.Context, begin time.Time, fn func(exporter.StoredPoll) error) error {
	err := b.d.archive.PollsBetween(begin, b.to, func(p exporter.StoredPoll) error {
		if err := b.rest.pause(ctx); err != nil {
			return err
		}
		return fn(p)
	})
	switch {
	case errors.Is(ctx.Err(), context.DeadlineExceeded):
		return fmt.Errorf("it took longer than %v; look at what else this machine does", previewMost)
	case ctx.Err() != nil:
		return ctx.Err()
	}
	return err
}

// spacing is the median time between two readings of each probe.
func (b *lookback) spacing(ctx context.Context, begin time.Time) (map[string]time.Duration, error) {
	if !b.d.cfg.leavesIntervals() {
		return nil, nil
	}
	last, gaps := map[string]time.Time{}, map[string]map[time.Duration]int{}
	err := b.each(ctx, begin, func(p exporter.StoredPoll) error {
		for _, r := range p.Readings {
			at, seen := last[r.Probe]
			if seen && at.Equal(p.Time) {
				continue // another quantity of it
			}
			if seen {
				if gaps[r.Probe] == nil {
					gaps[r.Probe] = map[time.Duration]int{}
				}
				gaps[r.Probe][p.Time.Sub(at).Round(time.Millisecond)]++
			}
			last[r.Probe] = p.Time
		}
		return nil
	})
	medians := map[string]time.Duration{}
	for id, counts := range gaps {
		medians[id] = median(counts)
	}
	return medians, err
}

// median is the middle one, the lower of two.
func median(counts map[time.Duration]int) time.Duration {
	var all []time.Duration
	n := 0
	for gap, times := range counts {
		all, n = append(all, gap), n+times
	}
	slices.Sort(all)
	left := (n + 1) / 2
	for _, gap := range all {
		if left -= counts[gap]; left <= 0 {
			return gap
		}
	}
	return 0
}

// recall tells both sides of kindlings that were seen before they begin.
func (b *lookback) recall(begin time.Time) error {
	past, err := b.d.archive.Events(begin.Add(-recallFor), begin, recallMost)
	if err != nil {
		return fmt.Errorf("reading past events: %w", err)
	}
	slices.Reverse(past)
	past = slices.DeleteFunc(past, func(e alarm.Event) bool { return e.Name != alarm.Kindled })
	for _, s := range b.sides {
		s.replay.judge.rabbitry.Recall(past)
	}
	return nil
}

// live takes one poll on both sides.
func (b *lookback) live(p exporter.StoredPoll) error {
	b.polls++
	for len(b.marks) > 0 && !b.marks[0].At.After(p.Time) && b.polls > 1 {
		for _, s := range b.sides {
			// One that does not apply then has nothing to say now.
			_ = s.replay.judge.rabbitry.Done(b.marks[0].Nest, b.marks[0].Chore, b.marks[0].At)
		}
		b.marks = b.marks[1:]
	}
	for _, s := range b.sides {
		s.batch.readings = append(s.batch.readings[:0], p.Readings...)
		s.batch.ends, s.batch.rows = append(s.batch.ends[:0], len(p.Readings)), 1
		if err := s.replay.decide(&s.batch, s.note); err != nil {
			return err
		}
	}
	b.look(p)
	return nil
}

// look notes once an hour what could be judged, and in which hours a nest was seen.
func (b *lookback) look(p exporter.StoredPoll) {
	hour := p.Time.Truncate(time.Hour)
	if hour.Equal(b.hour) || p.Time.Before(b.from) {
		return
	}
	b.hour = hour
	of := b.d.cfg.nestsOf()
	seen := map[string]bool{}
	for _, r := range p.Readings {
		for _, id := range of[r.Probe] {
			seen[id] = seen[id] || r.Quantity == sensors.Temperature
		}
	}
	for _, n := range b.sides[0].replay.judge.rabbitry.Snapshot().Nests {
		at := b.nests[n.ID]
		if seen[n.ID] {
			at.Data++
		}
		for _, j := range n.Judged {
			if j.Judged {
				at.Judged[j.Danger]++
			}
		}
	}
}
