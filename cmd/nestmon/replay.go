package main

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"time"

	"nestmon/sensors"
	"nestmon/sensors/recorded"
	"nestmon/thresholds"
	"nestmon/thresholds/alarm"
)

var replayCommand = command{"replay", "run recorded readings through the very same decisions", runReplay}

// gapTick is how often the decisions run through a stretch without rows, so that silence shows at its time.
const gapTick = time.Hour

func runReplay(ctx context.Context, args []string, std stdio) int {
	fs := flags("replay", "replay [--config F] --readings R.csv [--litters L.csv] [--events E.jsonl] [--summary] [--quality]", std)
	file := fs.String("config", installedConfig, "configuration `file`; its sources are ignored, its probe ids must match the readings")
	readings := fs.String("readings", "", "CSV `file` with the columns time,probe,temperature_c,humidity_pct,co2_ppm, and voltage_v,current_a of a battery")
	litters := fs.String("litters", "", "CSV `file` with the columns nest,bred,kindled,born,ended")
	events := fs.String("events", "", "JSON Lines `file` to write events to instead of standard output")
	summary := fs.Bool("summary", false, "say on standard error what was read and raised")
	measure := fs.Bool("quality", false, "say on standard error how often somebody would have been woken, and how good the alarms were")
	if code, ok := parse(fs, args); !ok {
		return code
	}
	cfg, ok := openConfig("replay", *file, std)
	if !ok {
		return exitWrongUse
	}
	if *readings == "" {
		fmt.Fprintln(std.err, "nestmon replay: --readings is missing; name the CSV file")
		return exitWrongUse
	}
	cfg.withLimits("replay", std)
	for _, own := range cfg.ownLines() {
		fmt.Fprintf(std.err, "nestmon replay: %s\n", own)
	}
	r := replay{cfg: cfg, readings: *readings}
	if *measure {
		r.quality = newReplayQuality(cfg)
	}
	err := r.prepare(*litters)
	if err == nil {
		err = r.writeTo(ctx, *events, std.out)
	}
	if err != nil {
		fmt.Fprintf(std.err, "nestmon replay: %v\n", err)
		return exitWrongUse
	}
	if *summary {
		fmt.Fprintln(std.err, r.summary())
	}
	if r.quality != nil {
		r.quality.write(std.err, r.first, r.last)
	}
	return exitDone
}

// openInput opens a file that a flag names.
func openInput(file string) (*os.File, error) {
	f, err := os.Open(file)
	if errors.Is(err, os.ErrNotExist) {
		return nil, fmt.Errorf("%s: there is no such file; look at the path", file)
	}
	return f, err
}

// replay is one run of recorded readings through the judge.
type replay struct {
	cfg      *config
	readings string
	judge    *judge
	stored   bool           // the readings are the archive's, not a file's
	quality  *replayQuality // nil where nobody asked for it

	rows, count int
	first, last time.Time
	raised      [alarm.Urgent + 1]int
}

// summary says what was read, what of it was not used, and what was raised.
func (r *replay) summary() string {
	if r.rows == 0 {
		return "no rows"
	}
	rejected, clipped := uint64(0), uint64(0)
	for _, h := range r.judge.tracker.Health() {
		clipped += r.judge.screen.Clipped(h.Probe)
		for _, n := range h.Rejected {
			rejected += n
		}
	}
	return fmt.Sprintf("%d rows, %d readings from %s to %s; %d rejected, %d humidities clipped; %d urgent, %d warnings and %d notices raised", r.rows, r.count,
		r.first.Format(time.RFC3339), r.last.Format(time.RFC3339), rejected, clipped, r.raised[alarm.Urgent], r.raised[alarm.Warning], r.raised[alarm.Notice])
}

// prepare makes the judge: where the configuration leaves a probe's interval open, the file's own spacing counts.
func (r *replay) prepare(litters string) (err error) {
	var spacing map[string]time.Duration
	if r.cfg.leavesIntervals() {
		if spacing, err = r.spacing(); err != nil {
			return err
		}
	}
	if r.judge, err = newJudge(r.cfg.replayed(spacing)); err != nil {
		return err
	}
	if litters == "" {
		return nil
	}
	book, err := readLitters(litters, r.cfg)
	if err != nil {
		return err
	}
	r.judge.rabbitry.SetLitters(book, time.Time{})
	return nil
}

// leavesIntervals reports whether the spacing of some probe's readings must be found out.
func (c *config) leavesIntervals() bool {
	return slices.ContainsFunc(c.Probes, func(p probeConfig) bool { return p.Interval == 0 })
}

// replayed is the configuration as the decisions see it when readings of the past come in at that spacing.
func (c *config) replayed(spacing map[string]time.Duration) thresholds.Config {
	domain := c.rabbitry()
	for i := range domain.Probes {
		p, written := &domain.Probes[i], c.Probes[i]
		p.Quantities = sensors.Quantities[:] // whatever the past holds
		if every, ok := spacing[p.ID]; ok && written.Interval == 0 {
			p.Interval = every
			if written.StaleAfter == 0 {
				p.StaleAfter = sensors.DefaultStaleAfter(every)
			}
		}
	}
	return domain
}

func (r *replay) spacing() (map[string]time.Duration, error) {
	f, err := openInput(r.readings)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return recorded.MedianIntervals(f, r.readings, r.cfg.location())
}

func (r *replay) writeTo(ctx context.Context, file string, out io.Writer) (err error) {
	if file != "" {
		f, createErr := os.Create(file)
		if createErr != nil {
			return createErr
		}
		defer func() { err = errors.Join(err, f.Close()) }()
		out = f
	}
	w := bufio.NewWriter(out)
	enc := json.NewEncoder(w)
	enc.SetEscapeHTML(false)
	if err := r.run(ctx, func(e alarm.Event) error { return enc.Encode(e) }); err != nil {
		return err
	}
	return w.Flush()
}

// run reads in one goroutine and decides in another.
func (r *replay) run(ctx context.Context, write func(alarm.Event) error) error {
	f, err := openInput(r.readings)
	if err != nil {
		return err
	}
	defer f.Close()
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	batches, spare, failed := make(chan *batch, 4), make(chan *batch, 6), make(chan error, 1)
	go func() {
		defer close(batches)
		in := recorded.NewReader(f, r.readings, r.cfg.location())
		in.Only(r.probeIDs())
		failed <- read(ctx, in, batches, spare)
	}()
	for b := range batches {
		if err := r.decide(b, write); err != nil {
			return err
		}
		select {
		case spare <- b:
		default:
		}
	}
	return <-failed
}

func (r *replay) probeIDs() []string {
	ids := make([]string, len(r.cfg.Probes))
	for i, p := range r.cfg.Probes {
		ids[i] = p.ID
	}
	return ids
}

// batch is a run of polls; poll i holds the readings up to ends[i].
type batch struct {
	readings []sensors.Reading
	ends     []int
	rows     int
}

// batchSize is large enough that handing batches over costs nothing beside reading them.
const batchSize = 4096

// read groups rows of equal time into polls and sends them in batches.
func read(ctx context.Context, in *recorded.Reader, to chan<- *batch, spare <-chan *batch) error {
	b := &batch{}
	send := func() error {
		select {
		case to <- b:
		case <-ctx.Done():
			return ctx.Err()
		}
		select {
		case b = <-spare:
			b.readings, b.ends, b.rows = b.readings[:0], b.ends[:0], 0
		default:
			b = &batch{}
		}
		return nil
	}
	var at time.Time
	for {
		row, err := in.Next()
		if errors.Is(err, io.EOF) {
			b.ends = append(b.ends, len(b.readings))
			return send()
		}
		if err != nil {
			return err
		}
		if t := row[0].Time; !t.Equal(at) {
			if len(b.readings) > 0 {
				b.ends = append(b.ends, len(b.readings))
			}
			if len(b.readings) >= batchSize {
				if err := send(); err != nil {
					return err
				}
			}
			at = t
		}
		b.rows++
		b.readings = append(b.readings, row...)
	}
}

func (r *replay) decide(b *batch, write func(alarm.Event) error) error {
	r.rows += b.rows
	from := 0
	for _, end := range b.ends {
		poll := b.readings[from:end]
		from = end
		if len(poll) == 0 {
			continue
		}
		t := poll[0].Time
		if r.first.IsZero() {
			r.first = t
		}
		for !r.last.IsZero() && t.Sub(r.last) > gapTick {
			if err := r.observe(r.last.Add(gapTick), nil, write); err != nil {
				return err
			}
		}
		if err := r.observe(t, poll, write); err != nil {
			return err
		}
		r.count += len(poll)
	}
	return nil
}

func (r *replay) observe(t time.Time, poll []sensors.Reading, write func(alarm.Event) error) error {
	r.last = t
	take := r.judge.recorded
	if r.stored {
		take = r.judge.again
	}
	events := take(t, poll)
	r.judge.tracker.Observe(poll)
	if r.quality != nil {
		r.quality.take(t, poll, events, r.judge)
	}
	for _, e := range events {
		if e.State == alarm.Raised {
			r.raised[e.Severity]++
		}
		if err := write(e); err != nil {
			return fmt.Errorf("writing events: %w", err)
		}
	}
	return nil
}
