package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"time"

	"nestmon/exporter/archive"
	"nestmon/exporter/phone/push"
	"nestmon/hardware"
	"nestmon/sensors"
)

var runCommand = command{"run", "the daemon: read, judge, store, publish, alarm", runRun}

// stopTime bounds the end of the daemon, whatever hangs; the service manager waits twice as long.
const stopTime = 8 * time.Second

// beginning is what the last day's polls may take to be looked at again, on the slowest board; ours, no source.
const beginning = 10 * time.Minute

func runRun(ctx context.Context, args []string, std stdio) int {
	fs := flags("run", "run [--config F]", std)
	file := fs.String("config", installedConfig, "configuration `file`")
	root := fs.String("root", "/", "`folder` below which the kernel shows its devices in sys/")
	verbose := fs.Bool("verbose", false, "log more")
	if code, ok := parse(fs, args); !ok {
		return code
	}
	cfg, findings, err := loadConfig(*file)
	if err != nil {
		fmt.Fprintf(std.err, "nestmon run: %v\n", err)
		return exitWrongUse
	}
	if writeFindings(std.err, *file, findings); anyError(findings) {
		fmt.Fprintln(std.err, "nestmon run: the configuration is refused and nothing was changed; mend it, or install the newer nestmon again that it was written for")
		return exitWrongUse
	}
	level := slog.LevelInfo
	if *verbose {
		level = slog.LevelDebug
	}
	log := slog.New(slog.NewTextHandler(std.err, &slog.HandlerOptions{Level: level}))
	if same := cfg.sameChips(*root); len(same) > 0 {
		for _, what := range same {
			fmt.Fprintf(std.err, "nestmon run: %s\n", what)
		}
		return exitWrongUse
	}
	for _, what := range cfg.lateWires(*root) {
		log.Warn("poll: " + what) // check refuses it; a daemon that starts at night after a power cut reads what it can
	}
	if err := serve(ctx, cfg, *root, log); err != nil {
		fmt.Fprintf(std.err, "nestmon run: %v\n", err)
		return exitWrongUse
	}
	return exitDone
}

// serve is the daemon from start to stop, on the board's own clock.
func serve(ctx context.Context, cfg *config, root string, log *slog.Logger) error {
	p := newWallPace(cfg.Poll, root)
	return serveOf(ctx, cfg, parts{
		log: log, pace: p, root: root,
		sources: func() ([]sensors.Source, error) { return openBus(cfg, root, log) },
		trusted: p.trusted, opened: p.clock.knows, since: p.since, away: p.clock.away,
	})
}

// serveOf is serve with the pace and the sources given.
func serveOf(ctx context.Context, cfg *config, p parts) (err error) {
	root, log := p.root, p.log
	applied, notes, err := cfg.takeOffsets(root, time.Now())
	if err != nil {
		log.Error("probes that were compared are not corrected", "err", err)
	}
	for _, a := range applied {
		log.Info("probe is corrected", "offset", a.String())
	}
	for _, n := range notes {
		log.Warn("offset", "note", n)
	}
	d, err := newDaemon(cfg, p)
	if err != nil {
		return err
	}
	d.power = hardware.WatchPower(ctx, root, cfg.Poll).Low
	defer func() {
		ctx, cancel := context.WithTimeout(context.Background(), stopTime)
		defer cancel()
		err = errors.Join(err, d.stop(ctx))
	}()
	door, err := openControl(cfg.Control, d, d.sinks.page.Handler())
	if err != nil {
		return err
	}
	defer func() {
		ctx, cancel := context.WithTimeout(context.Background(), time.Second)
		defer cancel()
		door.stop(ctx) //nolint:errcheck // it ends anyway
	}()
	d.begins()
	// It is ready after a whole cycle, and a line that hangs makes the first two no whole ones; the last day is looked at again before.
	hardware.Notify(hardware.Longer(2*cfg.Poll + beginning)) //nolint:errcheck // the first cycle tells whether it can be told
	watchdog, _ := hardware.WatchdogInterval()
	d.healthy = heartbeat(ctx, d, log, hardware.Notify, watchdog)
	log.Info("watching", "nests", len(cfg.Nests), "probes", len(cfg.Probes), "every", cfg.Poll, "version", version())
	if err = d.run(ctx); err == nil {
		d.ends()
	}
	hardware.Notify(hardware.Stopping) //nolint:errcheck // it is stopping anyway
	return err
}

// parts are what run and demo make the same daemon of.
type parts struct {
	log     *slog.Logger
	pace    pace
	sources func() ([]sensors.Source, error)
	trusted func(now time.Time) bool
	opened  func(newest time.Time)                               // told how far the archive reaches before any time is asked for; nil where nobody wants to know
	since   func(poll time.Time) (boot string, up time.Duration) // the board's uptime at a poll, nil where there is no board
	away    func() string                                        // why the system's clock is not followed, nil where it always is
	root    string                                               // below which a board shows its devices; empty where there is no board
	push    push.Net                                             // where push services may be; not the zero value in tests alone
}

// openBus makes the sources of the configuration.
func openBus(cfg *config, root string, log *slog.Logger) ([]sensors.Source, error) {
	boards, err := openBoards(root, cfg, log)
	sources := make([]sensors.Source, len(boards))
	for i, b := range boards {
		sources[i] = b
	}
	return sources, err
}

// newDaemon makes a daemon that does not run yet. What was opened before something failed is closed again.
func newDaemon(cfg *config, p parts) (_ *daemon, err error) {
	d := &daemon{cfg: cfg, log: p.log, pace: p.pace, trusted: p.trusted, since: p.since, away: p.away, card: newCard(), commands: make(chan func())}
	sources, err := p.sources()
	if err != nil {
		return nil, err
	}
	d.openLimits()
	domain := cfg.rabbitry()
	if d.judge, err = newJudge(domain); err != nil {
		return nil, err
	}
	if d.archive, err = archive.Open(cfg.Data, archive.Options{
		Probes: domain.Probes, Now: p.pace.Now, Log: p.log, Entries: d.entries, Placed: d.placed, Regardless: true,
	}); err != nil {
		return nil, err
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, d.archive.Close())
		}
	}()
	if p.opened != nil {
		_, newest, err := d.archive.Newest()
		if err != nil {
			return nil, err
		}
		p.opened(newest)
	}
	d.bookLost, d.bookUnread = holdsBook(d.archive.SetAside()), d.archive.Unread()
	d.journalChanges()
	if err := d.openBook(); err != nil {
		return nil, err
	}
	if d.feed, err = openFeed(d.archive, cfg); err != nil {
		return nil, err
	}
	d.poller = sensors.NewPoller(sources, p.log)
	d.poller.Now = p.pace.Now
	d.bench = newWorkbench(d, p.root)
	if d.sinks, err = openSinks(outlet{
		cfg: cfg, archive: d.archive, log: p.log, now: time.Now, keeper: d, calendar: d.calendar, push: p.push, book: pageBook{d}, report: d.Report, litters: d.Litters,
		bench: d.bench, quality: d.qualityOf, tuner: d,
	}); err != nil {
		return nil, errors.Join(err, d.poller.Close())
	}
	d.teller, err = openAnnouncer(d.archive, cfg, p.pace.Now(), p.log)
	return d, err
}

// wallPace polls by the wall clock, at whole multiples of the interval from the start. A poll that took too long skips the ones it
// missed.
type wallPace struct {
	every time.Duration
	next  time.Time
	clock *steadyClock
	boot  string // which start of the board this is

	begun time.Time // the newest poll,
	up    time.Duration
	known bool // and whether its time is
}

func newWallPace(every time.Duration, root string) *wallPace {
	return &wallPace{every: every, clock: newSteadyClock(root), boot: bootID()}
}

func (w *wallPace) Now() time.Time { return w.clock.Now() }

// trusted reports whether the clock was known at a poll, or is now.
func (w *wallPace) trusted(at time.Time) bool {
	if at.Equal(w.begun) {
		return w.known
	}
	_, _, known := w.clock.read()
	return known
}

// since is how long the board had been up at the newest poll.
func (w *wallPace) since(time.Time) (boot string, up time.Duration) { return w.boot, w.up }

func (w *wallPace) Deadline() time.Duration { return readingTime(w.every) }

// readingTime is what a poll has for reading; it leaves a little of the interval for judging and storing.
func readingTime(every time.Duration) time.Duration { return every * 8 / 10 }

func (w *wallPace) Due() <-chan time.Time {
	now := time.Now()
	if w.next.IsZero() {
		w.next = now
	}
	for w.next.Before(now.Add(-w.every)) {
		w.next = w.next.Add(w.every)
	}
	return time.After(w.next.Sub(now))
}

func (w *wallPace) Begin() time.Time {
	w.next = w.next.Add(w.every)
	w.begun, w.up, w.known = w.clock.read()
	return w.begun
}
