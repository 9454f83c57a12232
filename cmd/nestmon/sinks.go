package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/archive"
	"nestmon/exporter/phone"
	"nestmon/exporter/web"
	"nestmon/sensors"
	"nestmon/thresholds/alarm"
)

// sinks is every way out of the daemon.
type sinks struct {
	fanout   *exporter.Fanout
	pumps    []*exporter.Pump // readings
	channels []*exporter.Pump // messages
	direct   []exporter.MessageSink
	phone    phone.Config
	told     *phone.Told
	display  string
	zone     *time.Location
	page     *web.Server
	fatal    chan error
	now      func() time.Time
	log      *slog.Logger
}

// outlet is what one kind of sink is made with.
type outlet struct {
	cfg     *config
	archive *archive.Archive
	log     *slog.Logger
	now     func() time.Time
	page    *web.Server
}

// openSinks makes every sink the configuration names. When one cannot be made the others are closed again.
func openSinks(o outlet) (*sinks, error) {
	s := &sinks{display: o.cfg.Site.Display, zone: o.cfg.location(), fatal: make(chan error, 1), now: o.now, log: o.log}
	s.page = web.New(pageConfig(o.cfg), web.Site{
		Name: o.cfg.Site.Name, Display: o.cfg.Site.Display, Zone: s.zone, Poll: o.cfg.Poll, Probes: o.cfg.probes(),
	}, history(o.archive), o.log.With("sink", "page"))
	o.page = s.page
	var publishers []exporter.Publisher
	for _, k := range sinkKinds {
		if _, on := k.target(o.cfg); !on {
			continue
		}
		made, err := k.open(o)
		if err != nil {
			ctx, cancel := context.WithTimeout(context.Background(), time.Second)
			defer cancel()
			for _, p := range publishers {
				err = errors.Join(err, p.Close(ctx))
			}
			return nil, err
		}
		publishers = append(publishers, made.publishers...)
		for _, r := range made.readings {
			s.pumps = append(s.pumps, exporter.NewReadingPump(r, o.archive, s.options()))
		}
		s.direct = append(s.direct, made.messages...)
	}
	if o.cfg.Publish.Page == nil {
		publishers = append(publishers, s.page) // without an address, for the commands
	}
	names := make([]string, len(s.direct))
	for i, m := range s.direct {
		names[i] = m.Name()
	}
	if err := o.archive.SetChannels(names); err != nil {
		return nil, fmt.Errorf("archive: %w", err)
	}
	for _, m := range s.direct {
		s.channels = append(s.channels, exporter.NewMessagePump(m, o.archive, s.options()))
	}
	if o.cfg.Phone != nil {
		s.phone = *o.cfg.Phone
	}
	standing, err := o.archive.Standing()
	if err != nil {
		return nil, fmt.Errorf("reading standing alarms: %w", err)
	}
	s.told = phone.NewTold(s.phone.Level(), standing)
	s.fanout = exporter.NewFanout(s.options(), publishers...)
	return s, nil
}

func (s *sinks) options() exporter.Options {
	return exporter.Options{Log: s.log, Now: s.now, Fatal: func(err error) {
		select {
		case s.fatal <- err:
		default:
		}
	}}
}

// compose makes the messages that these events owe to people.
func (s *sinks) compose(events []alarm.Event, now time.Time) []exporter.Message {
	var out []exporter.Message
	for _, e := range events {
		if _, tell := s.told.Take(e); tell {
			m := phone.Compose(e, s.display, s.zone)
			if after := s.phone.Hold(e, now, s.zone); after.After(now) {
				m.After = after
			}
			out = append(out, m)
		}
	}
	return out
}

// directTimeout bounds a message that is sent past the archive.
const directTimeout = 20 * time.Second

// sendUnstored sends messages that could not be stored straight to every channel, once. It waits for none of them.
func (s *sinks) sendUnstored(ctx context.Context, messages []exporter.Message) {
	for _, m := range messages {
		m.Body += "\n\nThe archive cannot be written, so this message is not repeated."
		for _, to := range s.direct {
			go func() {
				ctx, cancel := context.WithTimeout(ctx, directTimeout)
				defer cancel()
				if err := to.Send(ctx, m); err != nil {
					s.log.Warn("a message that could not be stored was not sent either", "sink", to.Name(), "err", err)
				}
			}()
		}
	}
}

func (s *sinks) wake(messages bool) {
	for _, p := range s.pumps {
		p.Wake()
	}
	if messages {
		for _, p := range s.channels {
			p.Wake()
		}
	}
}

func (s *sinks) health() []exporter.SinkHealth {
	all := s.fanout.Health()
	for _, p := range append(append([]*exporter.Pump{}, s.pumps...), s.channels...) {
		all = append(all, p.Health())
	}
	return all
}

// severity is how bad it is when a sink fails: losing the phone is worse than losing a graph.
func (s *sinks) severity(name string) alarm.Severity {
	for _, m := range s.direct {
		if m.Name() == name {
			return alarm.Warning
		}
	}
	return alarm.Notice
}

func (s *sinks) stop(ctx context.Context) error {
	var wait sync.WaitGroup
	stops := []func(context.Context) error{s.fanout.Stop}
	for _, p := range append(append([]*exporter.Pump{}, s.pumps...), s.channels...) {
		stops = append(stops, p.Stop)
	}
	errs := make([]error, len(stops))
	for i, stop := range stops {
		wait.Go(func() { errs[i] = stop(ctx) })
	}
	wait.Wait()
	return errors.Join(errs...)
}

// history is the past as the page asks for it.
func history(a *archive.Archive) web.History {
	return web.History{
		Events: func(from, to time.Time, limit int) ([]alarm.Event, error) {
			newest, err := a.Events(from, to, limit)
			for i, j := 0, len(newest)-1; i < j; i, j = i+1, j-1 {
				newest[i], newest[j] = newest[j], newest[i]
			}
			return newest, err
		},
		Series: func(probe string, q sensors.Quantity, from, to time.Time, buckets int) ([]web.Point, error) {
			points, err := a.Series(probe, q, from, to, buckets)
			out := make([]web.Point, len(points))
			for i, p := range points {
				out[i] = web.Point{Time: p.Time, Min: p.Min, Mean: p.Mean, Max: p.Max}
			}
			return out, err
		},
	}
}
