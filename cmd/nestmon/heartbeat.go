package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"sync/atomic"
	"time"

	"nestmon/hardware"
)

// heartbeat returns what to call after each whole cycle: one gate for the service manager's watchdog and for the heartbeat to the outside.
//
// The first call tells the service manager that the daemon is ready; from then on its watchdog is fed for as long as cycles keep coming
// and nothing hangs: a poll may take its whole interval, and one more is patience. All of that goes by the runtime's clock, so no jump of
// the wall's clock starts the daemon anew, and neither does a network that is away: an attempt counts.
//
// notify tells the service manager, which wants to hear of its watchdog every so often; 0 where it does not.
func heartbeat(ctx context.Context, d *daemon, log *slog.Logger, notify func(state string) error, every time.Duration) func() {
	var beats atomic.Int64
	tell := func(state string) {
		if err := notify(state); err != nil {
			log.Warn("the service manager cannot be told", "err", err)
		}
	}
	feed := func() {
		seen, at := int64(0), time.Now()
		for tick := time.NewTicker(every / 2); ; {
			select {
			case <-ctx.Done():
				tick.Stop()
				return
			case <-tick.C:
			}
			if n := beats.Load(); n != seen {
				seen, at = n, time.Now()
			}
			if time.Since(at) <= 2*d.cfg.Poll+every/2 && d.stuck() == nil {
				tell(hardware.Watchdog)
			}
		}
	}
	ready, halted := false, false
	return func() {
		err := cmp.Or(unaccounted(d), d.stuck())
		if err != nil && !halted {
			log.Error("a part of the daemon hangs; the service manager is told nothing until it moves", "err", err)
		}
		if halted = err != nil; !halted {
			beats.Add(1)
		}
		if d.sinks.heart != nil {
			if err := cmp.Or(err, d.ails()); err != nil {
				d.sinks.heart.Hold(err)
			} else {
				d.sinks.heart.Beat()
			}
		}
		if halted || ready {
			return
		}
		ready = true
		tell(hardware.Ready)
		if every > 0 {
			go feed()
		}
	}
}

// How the last run ended, as the archive remembers it. A daemon that dies and is started again, over and over, is well at every start: were each
// vouched for at once, nobody outside would ever hear of it.
const (
	endKey  = "heartbeat.run"
	running = "running"
	ended   = "ended"
	// trial is longer than it takes to find that a channel hangs and to end the daemon for it: 20 s of a call, a minute of slack, a minute and a
	// half of the watchdog. Ours, no source.
	trial = 3 * time.Minute
)

// begins notes that the daemon runs, and lets the heartbeat rest after a run that did not end by itself.
func (d *daemon) begins() {
	if d.sinks.heart == nil {
		return
	}
	before, err := d.archive.Meta(endKey)
	switch err = cmp.Or(err, d.noteRun(running)); {
	case err != nil:
		d.log.Warn("it is not known how the last run ended; the heartbeat begins later", "after", trial, "err", err)
	case before == running:
		d.log.Warn("the last run did not end by itself; the heartbeat begins later", "after", trial)
	default:
		return
	}
	d.sinks.heart.Rest(trial)
}

// ends notes that the daemon was asked to end.
func (d *daemon) ends() {
	if d.sinks.heart == nil {
		return
	}
	if err := d.noteRun(ended); err != nil {
		d.log.Warn("it could not be noted that this run ended by itself; the next begins its heartbeat later", "err", err)
	}
}

func (d *daemon) noteRun(how string) error {
	return d.card.write(func() error { return d.archive.SetMeta(endKey, how) })
}

// unaccounted names a bus that neither answered in the poll before nor counts as dead since.
func unaccounted(d *daemon) error {
	for _, b := range d.poller.Buses() {
		if b.Up && b.Hung > 0 {
			return fmt.Errorf("bus %s does not answer and is not said to be down", b.Bus)
		}
	}
	return nil
}

// stuck names what of the way to people and to time-series servers hangs. While the card does not answer, those that wait for it are not to
// blame, and those that go past it do their work: a new start would have no archive at all. A page, a broker or metrics that hang hold up
// nothing else, and are an alarm of their own.
func (d *daemon) stuck() error {
	look := slices.Clone(d.sinks.spare)
	if !d.cardGone.Load() {
		look = slices.Concat(look, d.sinks.channels, d.sinks.pumps)
	}
	if d.sinks.heart != nil {
		look = append(look, d.sinks.heart.Pump)
	}
	for _, p := range look {
		if err := p.Stuck(); err != nil {
			return err
		}
	}
	return nil
}

// ails says why the daemon, though it does its work and needs no new start, is not as well as the heartbeat would say: an archive that cannot be
// written forgets at the next start what stands, and an alarm that gets through no channel has no other way to a person than that silence.
func (d *daemon) ails() error {
	if d.faults.unstored != nil {
		return errors.New("the archive cannot be written")
	}
	if d.sinks.unheard() {
		return fmt.Errorf("no channel of phone has got anything through for %.0f min", sinkPatience.Minutes())
	}
	return nil
}

// unheard reports whether there are channels to people and all have failed for so long that it is an alarm.
func (s *sinks) unheard() bool {
	for i, p := range s.channels {
		h := both(p.Health(), s.spare[i].Health())
		if h.OK || s.now().Sub(h.Since) < sinkPatience {
			return false
		}
	}
	return len(s.channels) > 0
}
