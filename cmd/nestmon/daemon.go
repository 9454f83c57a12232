package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"sync/atomic"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/archive"
	"nestmon/sensors"
	"nestmon/thresholds"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/book"
	"nestmon/thresholds/litter"
	"nestmon/thresholds/nest"
)

// daemon is the whole pipeline, running: probes, judge, archive, sinks. run and demo make the same one with other parts.
type daemon struct {
	cfg     *config
	log     *slog.Logger
	judge   *judge
	teller  *announcer
	poller  *sensors.Poller
	archive *archive.Archive
	card    card // every write to the archive from here
	sinks   *sinks
	pace    pace
	trusted func(now time.Time) bool // whether the clock can be believed
	since   func(poll time.Time) (boot string, up time.Duration)
	away    func() string
	seen    func(events []alarm.Event) // called with what a poll changed; the demonstration's narrator, nil in run
	mend    func(now time.Time)        // called after each poll; the demonstration's keeper, nil in run
	power   func() bool                // whether the board's supply is too weak, nil where nobody can tell
	healthy func()                     // called after each whole cycle; watchdog and heartbeat, nil in demo

	commands     chan func()
	feed         *feed
	bench        *workbench
	book         atomic.Pointer[book.Book]
	unsure       bool // a write into the book failed, and may have ended later
	bookLost     bool // its file could not be read at the start
	bookUnread   bool // nor could it be set aside, and whether it is lost the next start knows: all that was kept beside it is empty, too
	started      time.Time
	room         atomic.Pointer[exporter.Disk] // for the archive; nil before the first poll is stored
	faults       faultBook
	limitsUnsure bool                   // a write of them failed, and may have ended later
	limitsWrong  atomic.Pointer[string] // why the limits set on the page cannot be read, nil where they can
	previews     previews
	cardGone     atomic.Bool                       // the card does not answer, and all goes on from memory
	owed         bool                              // what stands could not be stored when it changed
	unset        bool                              // the clock was not known at the newest poll
	timed        atomic.Pointer[stretch]           // polls that were given their true times, and nobody was sent them since
	kept         time.Time                         // when what is remembered was last kept,
	unkept       time.Time                         // and since when it is not, zero while it is
	latest       atomic.Pointer[exporter.State]    // nil until there has been a poll to show
	tasks        atomic.Pointer[[]thresholds.Task] // the agenda as last worked out,
	planned      time.Time                         // and when that was
}

// pace says when to poll.
type pace interface {
	Due() <-chan time.Time   // fires when the next poll is due; asked for anew after each poll
	Begin() time.Time        // begins the poll that is due and returns its time
	Now() time.Time          // may be called from any goroutine
	Deadline() time.Duration // how long a poll may take
}

// warmUp is how much of the archive is run through the judge at start, so that it knows what it knew: the detectors look back a
// day, and a night's retries more.
const warmUp = 30 * time.Hour

// recallFor is how far back the litter book's own events are read: longer than a litter lives in its nest.
const (
	recallFor  = 60 * 24 * time.Hour
	recallMost = 20000 // events: the newest are kept, and a visit or a chore of a litter lies among them
)

// resume brings the judge back to where it was when the archive was last written.
func (d *daemon) resume(now time.Time) error {
	standing, err := d.archive.Standing()
	if err != nil {
		return fmt.Errorf("reading standing alarms: %w", err)
	}
	if rejoined, err := d.rejoin(now, standing); rejoined || err != nil {
		return err
	}
	return d.relive(now, standing)
}

// relive looks at the last day again, where what was remembered is lost.
func (d *daemon) relive(now time.Time, standing []alarm.Standing) error {
	r := d.judge.rabbitry
	r.SetLitters(d.Book().Litters(now), now.Add(-warmUp))
	past, err := d.archive.Events(now.Add(-recallFor), now, recallMost)
	if err != nil {
		return fmt.Errorf("reading past events: %w", err)
	}
	slices.Reverse(past)
	var kindled, others []alarm.Event
	for _, e := range past {
		if e.Name == alarm.Kindled {
			kindled = append(kindled, e)
		} else {
			others = append(others, e)
		}
	}
	r.Recall(kindled)
	var batch []sensors.Reading
	err = d.archive.PollsBetween(now.Add(-warmUp), now, func(p exporter.StoredPoll) error {
		batch = append(batch[:0], p.Readings...)
		d.judge.again(p.Time, batch)
		return nil
	})
	if err != nil {
		return fmt.Errorf("reading the last day's polls: %w", err)
	}
	r.Recall(others)
	days, err := d.weather(now)
	if err != nil {
		return fmt.Errorf("reading the past weeks' weather: %w", err)
	}
	r.Weather(days)
	for _, m := range d.Book().Marks() {
		d.markAgain(m)
	}
	r.Restore(standing)
	return nil
}

func (d *daemon) markAgain(m book.Mark) {
	if err := d.judge.rabbitry.Done(m.Nest, m.Chore, m.At); err != nil {
		d.log.Info("a chore marked done no longer applies", "err", err)
	}
}

// Of the weather of the past: heat is new to a doe for a week after two cool ones, and the season is smoothed over five days. A day
// is whole when it has values in this many of its hours, the share of the season's own rule; ours, no source.
const (
	weatherDays  = 35
	weatherHours = 18
)

// weather reads the whole days before today of the air outside from the archive.
func (d *daemon) weather(now time.Time) (past []nest.Day, err error) {
	if d.cfg.Outside == "" {
		return nil, nil
	}
	loc := d.cfg.location()
	for ago := weatherDays; ago > 0; ago-- {
		w := nest.Day{Begin: litter.StartOf(now, -ago, loc), End: litter.StartOf(now, 1-ago, loc)}
		hours, err := d.archive.Series(d.cfg.Outside, sensors.Temperature, w.Begin, w.End, int(w.End.Sub(w.Begin).Hours()))
		if err != nil {
			return nil, err
		}
		if len(hours) < weatherHours {
			continue
		}
		w.Lowest, w.Highest = hours[0].Min, hours[0].Max
		for _, h := range hours {
			w.Lowest, w.Highest = min(w.Lowest, h.Min), max(w.Highest, h.Max)
		}
		past = append(past, w)
	}
	return past, nil
}

// run polls until ctx ends or a part fails for good.
func (d *daemon) run(ctx context.Context) error {
	d.started = d.pace.Now()
	d.unset = !d.trusted(d.started)
	if err := d.resume(d.started); err != nil {
		return err
	}
	d.kept = d.started
	defer func() { d.keepState(d.pace.Now(), true) }()
	ctx, fail := context.WithCancelCause(ctx)
	defer fail(nil)
	go func() {
		select {
		case err := <-d.poller.Fatal():
			fail(err)
		case err := <-d.sinks.fatal:
			fail(err)
		case <-ctx.Done():
		}
	}()
	due := d.pace.Due()
	for {
		select {
		case <-ctx.Done():
			return cause(ctx)
		case do := <-d.commands:
			do()
		case <-due:
			d.cycle(ctx, d.pace.Begin())
			if errors.Is(d.faults.unstored, archive.ErrAnew) {
				return archive.ErrAnew
			}
			due = d.pace.Due()
		}
	}
}

// cause is why ctx ended: nil when the user asked for it.
func cause(ctx context.Context) error {
	if err := context.Cause(ctx); !errors.Is(err, context.Canceled) {
		return err
	}
	return nil
}

// cycle is one poll: read, judge, store, then publish.
func (d *daemon) cycle(ctx context.Context, t time.Time) {
	readings := d.poller.Poll(ctx, d.pace.Deadline())
	if ctx.Err() != nil {
		return // readings cut short by the end say nothing
	}
	trusted := d.trusted(t)
	for i := range readings {
		readings[i].Unsynced = !trusted
	}
	d.clockSet(trusted)
	events := slices.Clone(d.judge.observe(t, readings))
	d.faults.lines.step(d.poller.Buses(), t) // before anybody is called: a line that is dead at the start stands for its nests at once
	c := exporter.Commit{Time: t, Synced: trusted, Readings: readings, Events: events}
	if d.since != nil {
		c.Boot, c.Up = d.since(t)
	}
	d.announce(c)
	d.sendPlaced()
	if d.seen != nil {
		d.seen(events)
	}
	if d.mend != nil {
		d.mend(t)
	}
	d.faults.clock(trusted, t)
	d.faults.report(d, t)
	d.plan(t, len(events) > 0)
	d.show(trusted)
	d.keepState(t, false)
	if d.healthy != nil {
		d.healthy()
	}
}

// announce decides who hears of what a poll changed, and settles both.
func (d *daemon) announce(c exporter.Commit) {
	h := d.teller.step(c.Time, c.Events, d.judge.rabbitry.Standing(), d.silenced(), d.sinks.deaf)
	if err := d.settle(c, h); err != nil {
		d.log.Debug("what stands is not stored yet", "err", err) // the book of faults tells it
	}
}

// settle stores what a poll or a command changed, and lets it out whether or not it could be stored: an alarm matters more than
// a row.
//
// The error says that what stands could not be stored; it is stored again with the next poll.
func (d *daemon) settle(c exporter.Commit, h heard) error {
	c.StandingChanged = len(c.Events) > 0
	h.changed = h.changed || d.owed
	d.teller.record(&c, h, d.sinks.write(h.calls, c.Time, d.snapshot))
	err := d.card.write(func() error {
		err := d.archive.Commit(c)
		found := room(d.cfg.Data)
		d.room.Store(&found)
		return err
	})
	d.faults.storing(err, c.Time)
	d.cardGone.Store(errors.Is(err, errCard))
	if d.owed = errors.Is(err, archive.ErrBook) || errors.Is(err, errCard); d.owed {
		d.sinks.sendUnstored(c.Messages)
		return err
	}
	d.sinks.wake(len(c.Messages) > 0)
	return nil
}

// snapshot is how things stand, with the status of every alarm.
func (d *daemon) snapshot() thresholds.Snapshot { return d.teller.show(d.judge.rabbitry.Snapshot()) }

// cut lists the probes for whose silence the alarm of their line stands. One that calls nobody until further notice stands for nothing.
func (d *daemon) cut() []string {
	if d.teller.idle(alarm.BusFault) {
		return nil
	}
	return d.faults.lines.cut()
}

// silenced lists the nests of which no probe can answer, because every one hangs on a bus that is dead.
func (d *daemon) silenced() (nests []string) {
	dead := d.cut()
	if len(dead) == 0 {
		return nil
	}
	for _, n := range d.cfg.Nests {
		probes := slices.DeleteFunc(append([]string{n.Air, n.CO2}, n.Cluster...), func(id string) bool { return id == "" })
		if len(probes) > 0 && !slices.ContainsFunc(probes, func(id string) bool { return !slices.Contains(dead, id) }) {
			nests = append(nests, n.ID)
		}
	}
	return nests
}

func (d *daemon) show(trusted bool) {
	disk := d.room.Load()
	if disk == nil {
		disk = &exporter.Disk{}
	}
	now := &exporter.State{
		Snapshot: d.snapshot(), Probes: d.judge.tracker.Health(), Buses: d.poller.Buses(), Sinks: d.sinks.health(),
		Started: d.started, Every: d.cfg.Poll, Disk: *disk, Synced: trusted, Version: version(),
	}
	if tasks := d.tasks.Load(); tasks != nil {
		now.Agenda = *tasks
	}
	d.latest.Store(now)
	d.sinks.fanout.Show(now)
}

// showAgain lets everybody see at once what a person did since the last poll.
func (d *daemon) showAgain(now time.Time) {
	if d.latest.Load() != nil {
		d.plan(now, true)
		d.show(d.trusted(now))
	}
}

// command runs do in the daemon's own goroutine and waits for it.
func (d *daemon) command(ctx context.Context, do func() error) error {
	done := make(chan error, 1)
	select {
	case d.commands <- func() { done <- do() }:
		return <-done
	case <-ctx.Done():
		return ctx.Err()
	}
}

var _ exporter.Keeper = (*daemon)(nil)

// Act does what a person wants about alarms. It counts also where it could not be stored, which is then said: whoever has acknowledged an
// alarm must not be called on because of a full card.
func (d *daemon) Act(ctx context.Context, a alarm.Act) error {
	return d.command(ctx, func() error {
		err := d.act(a)
		d.showAgain(d.pace.Now())
		return err
	})
}

func (d *daemon) act(a alarm.Act) error {
	if !d.cfg.has(a.Nest) {
		return fmt.Errorf("there is no nest %q; write one of the configuration's, or none for the site's own alarms", a.Nest)
	}
	a.At = d.pace.Now()
	h, err := d.teller.act(a.At, a, d.judge.rabbitry.Standing(), d.sinks.deaf)
	if err != nil {
		return err
	}
	if err := d.settle(exporter.Commit{Time: a.At, Synced: d.trusted(a.At), Acts: []alarm.Act{a}}, h); err != nil {
		return fmt.Errorf("it counts, but could not be stored, and a restart forgets it: %w", err)
	}
	return nil
}

// stop ends everything: the sinks within ctx, and whatever they do the archive after them.
func (d *daemon) stop(ctx context.Context) error {
	d.bench.close()
	preview := d.endPreview()
	return errors.Join(d.sinks.stop(ctx), d.poller.Close(), within(cardClosing, func() error {
		<-preview // which reads the archive
		return d.archive.Close()
	}))
}
