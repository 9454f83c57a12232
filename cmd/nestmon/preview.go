package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"runtime/debug"
	"slices"
	"sync"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/web"
	"nestmon/sensors"
	"nestmon/sensors/recorded"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/book"
	"nestmon/thresholds/brood"
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
	stop context.CancelFunc // nil before the first
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

// StopPreview ends it and waits until it has ended, or ctx has.
func (d *daemon) StopPreview(ctx context.Context) error {
	select {
	case <-d.endPreview():
		return nil
	case <-ctx.Done():
		return fmt.Errorf("the look back has been told to end, and waits for the card: %w", ctx.Err())
	}
}

// endPreview tells it to end; what it returns is closed when it has.
func (d *daemon) endPreview() <-chan struct{} {
	p := &d.previews
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.stop == nil {
		none := make(chan struct{})
		close(none)
		return none
	}
	p.stop()
	return p.over
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
		result, err := back.safely(ctx, func(share float64) {
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

// safely is run, whose panic ends the look back and not the watch.
func (b *lookback) safely(ctx context.Context, share func(float64)) (result *web.PreviewResult, err error) {
	defer func() {
		if cause := recover(); cause != nil {
			b.d.log.Error("the look back panicked", "panic", cause, "stack", string(debug.Stack()))
			err = errors.New("nestmon made a mistake; see its log")
		}
	}()
	return b.run(ctx, share)
}

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
		domain.Limits = [...]brood.Tables{b.wish.before, b.wish.tables}[i]
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
	last, gaps := map[string]time.Time{}, map[string]*recorded.Gaps{}
	err := b.each(ctx, begin, func(p exporter.StoredPoll) error {
		for _, r := range p.Readings {
			switch at, seen := last[r.Probe]; {
			case !seen:
				gaps[r.Probe] = &recorded.Gaps{}
			case !at.Equal(p.Time): // else it is another quantity of it
				gaps[r.Probe].Add(p.Time.Sub(at))
			}
			last[r.Probe] = p.Time
		}
		return nil
	})
	medians := map[string]time.Duration{}
	for id, g := range gaps {
		if gap, ok := g.Median(); ok {
			medians[id] = gap
		}
	}
	return medians, err
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
