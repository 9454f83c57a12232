package main

import (
	"context"
	"fmt"
	"log/slog"
	"slices"
	"time"

	"nestmon/sensors/onewire"
	"nestmon/sensors/radio"
)

// examineBuses asks whether every bus is there and answers. A bus that the daemon reads is left to it: its word is newer than any look.
func examineBuses(_ context.Context, p *patient) (found []sign) {
	for _, kind := range sourceKinds {
		probes := slices.DeleteFunc(slices.Clone(p.cfg.Probes), func(c probeConfig) bool { return c.Source != kind.name })
		if kind.open == nil || len(probes) == 0 {
			continue
		}
		if kind.name == onewire.Kind && p.daemon.survey != nil {
			continue // its check would search the lines, and talk into the daemon's conversions
		}
		if kind.finder.shy && !p.able() {
			if !p.daemon.there {
				found = append(found, blind(askAs, "source %s is not for this user to look at", kind.name))
			}
			continue
		}
		b, err := kind.open(p.root, p.cfg, kind.name, probes, slog.New(slog.DiscardHandler))
		if err != nil {
			found = append(found, fromCheck(failed, err.Error()))
			continue
		}
		for _, lack := range b.Check() {
			found = append(found, fromCheck(failed, lack))
		}
		if err := b.Close(); err != nil {
			found = append(found, fromCheck(look, err.Error()))
		}
	}
	for _, what := range p.cfg.sameChips(p.root) {
		found = append(found, fromCheck(failed, what))
	}
	for _, b := range p.daemon.state.Buses {
		switch {
		case b.Hung > 0:
			found = append(found, fails("look for a short or water on its line, and restart the board when nothing is found", "%s has not answered for %s", b.Bus, seconds(b.Hung)))
		case !b.Up:
			found = append(found, fails("look at its plugs, its cable and its supply", "no probe of %s answers", b.Bus))
		default:
			found = append(found, fine("%s answers", b.Bus))
		}
		if b.Restarts > 0 {
			found = append(found, lookAt("send the log of that time to who maintains nestmon: journalctl -u nestmon", "reading %s broke down %d times since the daemon started", b.Bus, b.Restarts))
		}
	}
	if p.daemon.survey != nil && !p.daemon.there {
		return append(found, blind(askAs, "whether the buses answer is known to a daemon that this user may not ask"))
	}
	if !p.daemon.there && len(found) == 0 {
		found = append(found, fine("every configured bus is there"))
	}
	return found
}

func seconds(s float64) string {
	return span(time.Duration(s * float64(time.Second)).Round(time.Second))
}

// examineProbes asks whether every probe gives a value that can be believed, and whether any hangs there that nobody reads.
func examineProbes(ctx context.Context, p *patient) (found []sign) {
	if p.daemon.there {
		found = p.livingProbes(ctx)
	}
	if p.daemon.there || p.able() {
		s := find(ctx, p.root, p.cfg, p.daemon.survey)
		if !p.daemon.there {
			s.read(ctx)
			found = append(found, s.silentProbes()...)
		}
		for _, b := range s.Buses {
			for _, f := range b.Probes {
				if f.Place == nil && f.Binds != "" {
					found = append(found, lookAt("write its line under probes, or unplug it; nestmon probes identify says which it is", "%s on %s is bound to nothing, so nobody reads it", f.Identity, b.Bus))
				}
			}
		}
	} else {
		found = append(found, blind(askAs, "probes are read by a daemon that this user may not ask"))
	}
	if len(found) == 0 {
		found = append(found, fine("%s", count(len(p.cfg.Probes), "probe")+" with a value, and none in doubt"))
	}
	return found
}

func (p *patient) livingProbes(ctx context.Context) (found []sign) {
	young := p.daemon.state.Started != nil && p.now.Sub(*p.daemon.state.Started) < latePolls*p.cfg.Poll
	for _, h := range p.daemon.state.Probes {
		if h.Fresh {
			continue
		}
		last := "since the daemon started"
		if h.LastGood != nil {
			last = "since " + h.LastGood.In(p.cfg.location()).Format("2006-01-02 15:04")
		}
		if h.Fault != nil {
			last += ", the last fault was " + *h.Fault
		}
		if young && h.LastGood == nil {
			found = append(found, blind("ask again in a minute", "%s has no value yet: the daemon has just started", h.Probe))
			continue
		}
		found = append(found, fails("look at its plug, its cable and its supply; nestmon probes shows its bus", "%s has no value %s", h.Probe, last))
	}
	for _, d := range doubtsOf(ctx, p.cfg, call(p.cfg.Control)) {
		found = append(found, fromCheck(look, d))
	}
	return found
}

// silentProbes are the configured ones that were read and said nothing.
func (s *survey) silentProbes() (found []sign) {
	for _, b := range s.Buses {
		for _, f := range b.Probes {
			if f.Place != nil && !f.answers() {
				found = append(found, fails("look at its plug, its cable and its supply", "%s (%s) gives %s", f.Place.Probe, f.Identity, orElse(measuredText(f.Values, "celsius"), "nothing")))
			}
		}
	}
	for _, l := range s.Missing {
		text := fmt.Sprintf("%s (%s) was not seen", l.Probe, l.Identity)
		switch {
		case l.Source == radio.Kind:
			found = append(found, blind("start the daemon, which hears it", "%s is heard by the daemon only", l.Probe))
		case l.Unseen:
			found = append(found, blind("start the daemon, which reads it", "%s", text))
		default:
			found = append(found, fails("look at its plug and cable, and compare its number", "%s", text))
		}
	}
	return found
}
