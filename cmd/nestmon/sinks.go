package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"slices"
	"strings"
	"sync"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/archive"
	"nestmon/exporter/phone"
	"nestmon/exporter/phone/push"
	"nestmon/exporter/query"
	"nestmon/exporter/web"
	"nestmon/sensors"
	"nestmon/thresholds"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/alarm/quality"
	"nestmon/thresholds/calls"
)

// sinks is every way out of the daemon.
type sinks struct {
	fanout   *exporter.Fanout
	pumps    []*exporter.Pump // readings
	direct   []exporter.MessageSink
	channels []*exporter.Pump   // messages, one for each of direct
	memory   []*exporter.Memory // messages that could not be stored, likewise
	spare    []*exporter.Pump   // from there
	phone    phone.Config
	words    phone.Writer
	replies  *replies
	heart    *phone.Heartbeat // nil where nobody outside wants to hear of the daemon
	page     *web.Server
	fatal    chan error
	scraped  func() time.Time // when metrics were fetched last, nil where they are not served
	now      func() time.Time
	log      *slog.Logger
}

// outlet is what one kind of sink is made with.
type outlet struct {
	cfg      *config
	archive  *archive.Archive
	log      *slog.Logger
	now      func() time.Time
	page     *web.Server
	keeper   exporter.Keeper // what people tell the daemon by way of a sink
	push     push.Net
	book     exporter.Bookkeeper
	report   func(litter int64) (web.Page, error)
	litters  func() (web.Page, error)
	tuner    web.Tuner
	calendar web.CalendarFunc
	bench    web.Bench
	quality  func(days int) (quality.Report, error)
}

// openSinks makes every sink the configuration names. When one cannot be made the others are closed again.
func openSinks(o outlet) (*sinks, error) {
	s := &sinks{fatal: make(chan error, 1), now: o.now, log: o.log}
	if o.cfg.Phone != nil {
		s.phone = *o.cfg.Phone
	}
	var err error
	if s.replies, err = openReplies(o.archive, o.cfg.answerAddress()); err != nil {
		return nil, err
	}
	s.words = phone.Writer{Display: o.cfg.Site.Display, Zone: o.cfg.location(), Site: o.cfg.Site.Name, Config: s.phone, Link: s.replies.link}
	s.page = web.New(pageConfig(o.cfg), web.Site{
		Name: o.cfg.Site.Name, Display: o.cfg.Site.Display, Zone: o.cfg.location(), Poll: o.cfg.Poll, Probes: o.cfg.probes(),
	}, history(o.archive), o.log.With("sink", "page"))
	s.page.Options = web.Options{Keeper: o.keeper, Test: s.trialOfPage, Called: s.called, Store: o.archive, Calendar: o.calendar, Book: o.book, Report: o.report, Litters: o.litters, Queries: queries(o.cfg, o.archive, o.log)}
	s.page.Options.Bench, s.page.Options.Calls, s.page.Options.Quality = o.bench, callsOf(o.cfg), o.quality
	s.page.Options.Tuner = o.tuner
	s.page.Options.Tables = o.cfg.tables
	o.page = s.page
	var publishers []exporter.Publisher
	for _, k := range sinkKinds {
		if _, on := k.target(o.cfg); !on {
			continue
		}
		made, err := k.open(o)
		publishers = append(publishers, made.publishers...)
		if made.scraped != nil {
			s.scraped = made.scraped
		}
		if err != nil {
			ctx, cancel := context.WithTimeout(context.Background(), time.Second)
			defer cancel()
			for _, p := range publishers {
				err = errors.Join(err, p.Close(ctx))
			}
			return nil, err
		}
		for _, r := range made.readings {
			s.pumps = append(s.pumps, exporter.NewReadingPump(r, o.archive, s.options()))
		}
		s.direct = append(s.direct, made.messages...)
	}
	if _, on := pageTarget(o.cfg); !on {
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
		memory := &exporter.Memory{}
		s.memory = append(s.memory, memory)
		s.channels = append(s.channels, exporter.NewMessagePump(m, o.archive, s.options()))
		s.spare = append(s.spare, exporter.NewMessagePump(m, memory, s.options()))
	}
	if b := s.phone.Heartbeat; b != nil {
		var err error
		if s.heart, err = phone.NewHeartbeat(*b, o.cfg.Poll, s.options()); err != nil {
			return nil, err
		}
	}
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

// write makes the messages of calls. How things stand is asked only where somebody is called.
func (s *sinks) write(all []calls.Call, now time.Time, stands func() thresholds.Snapshot) (out []exporter.Message) {
	for _, c := range all {
		out = append(out, s.words.Write(c, now, stands()))
	}
	return out
}

// called reports whether an alarm calls anybody. A channel on which phones sign up is a way only to those that have.
func (s *sinks) called() bool {
	return slices.ContainsFunc(s.direct, func(m exporter.MessageSink) bool {
		door, ok := m.(exporter.Phones)
		if !ok {
			return true
		}
		all, err := door.List()
		return err == nil && slices.ContainsFunc(all, func(p exporter.Phone) bool { return p.Gone.IsZero() })
	})
}

// deafAfter is how long every channel of a contact fails before somebody else is called. Ours, no source: some tries.
const deafAfter = 2 * time.Minute

// deaf reports whether no channel of a contact works.
func (s *sinks) deaf(contact string) bool {
	names := s.phone.ChannelsOf([]string{contact})
	for i, p := range s.channels {
		if h := both(p.Health(), s.spare[i].Health()); slices.Contains(names, p.Name()) && (h.OK || s.now().Sub(h.Since) < deafAfter) {
			return false
		}
	}
	return true
}

// sendUnstored sends messages that could not be stored from memory, as the others are sent from the archive.
func (s *sinks) sendUnstored(messages []exporter.Message) {
	for i := range messages {
		messages[i].Body += "\n\nThe archive cannot be written: this message is kept in memory alone."
	}
	for i, p := range s.spare {
		for _, m := range messages {
			if len(m.To) == 0 || slices.Contains(m.To, p.Name()) {
				s.memory[i].Put(m)
			}
		}
		p.Wake()
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
	for _, p := range s.pumps {
		all = append(all, p.Health())
	}
	for i, p := range s.channels {
		all = append(all, both(p.Health(), s.spare[i].Health()))
	}
	if s.heart != nil {
		all = append(all, s.heart.Health())
	}
	return all
}

// both is the health of a channel with two pumps.
func both(stored, spare exporter.SinkHealth) exporter.SinkHealth {
	h := stored
	if h.OK && !spare.OK {
		h = spare
	}
	h.Sent, h.Failed, h.Pending = stored.Sent+spare.Sent, stored.Failed+spare.Failed, stored.Pending+spare.Pending
	if h.Refused = stored.Refused + spare.Refused; spare.RefusedAt.After(stored.RefusedAt) {
		h.RefusedAt, h.RefusedWhy = spare.RefusedAt, spare.RefusedWhy
	} else {
		h.RefusedAt, h.RefusedWhy = stored.RefusedAt, stored.RefusedWhy
	}
	if spare.LastOK.After(h.LastOK) {
		h.LastOK = spare.LastOK
	}
	if h.OldestAt.IsZero() || !spare.OldestAt.IsZero() && spare.OldestAt.Before(h.OldestAt) {
		h.OldestAt = spare.OldestAt
	}
	return h
}

// past finds the sink that can be sent past readings again.
func (s *sinks) past(name string) (*exporter.Pump, error) {
	if len(s.pumps) == 0 {
		return nil, errors.New("no sink here takes past readings; write publish: {influxdb: ...} into the configuration and restart")
	}
	var names []string
	for _, p := range s.pumps {
		if p.Name() == name {
			return p, nil
		}
		names = append(names, p.Name())
	}
	return nil, fmt.Errorf("there is no sink %q that takes past readings; write --sink %s", name, strings.Join(names, " or "))
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
	for _, p := range slices.Concat(s.pumps, s.channels, s.spare) {
		stops = append(stops, p.Stop)
	}
	if s.heart != nil {
		stops = append(stops, s.heart.Stop)
	}
	errs := make([]error, len(stops))
	for i, stop := range stops {
		wait.Go(func() { errs[i] = stop(ctx) })
	}
	wait.Wait()
	return errors.Join(errs...)
}

// queries is the past as graphing tools ask for it.
func queries(cfg *config, a *archive.Archive, log *slog.Logger) http.Handler {
	places := map[string]query.Place{}
	for probe, at := range cfg.places() {
		places[probe] = query.Place(at)
	}
	return query.New(query.Config{Site: cfg.Site.ID, Version: version(), Probes: cfg.probes(), Places: places}, a, log)
}

// callsOf is who is called as the page shows it: names and times, no address.
func callsOf(c *config) web.Calls {
	if c.Phone == nil {
		return web.Calls{}
	}
	plan := c.Phone.Plan(c.location())
	v := web.Calls{RepeatS: plan.Every().Seconds(), Escalate: plan.Steps()}
	if plan.Quiet.From != plan.Quiet.To {
		v.QuietFrom, v.QuietTo = plan.Quiet.From.String(), plan.Quiet.To.String()
		v.QuietHolds = cmp.Or(plan.Holds, alarm.Warning).String()
	}
	if plan.AllWell != calls.Never {
		v.AllWell = plan.AllWell.String()
	}
	for _, who := range plan.Contacts {
		contact := web.Contact{Name: who.Name, Channels: []web.Channel{}}
		for _, name := range c.Phone.ChannelsOf([]string{who.Name}) {
			for _, ch := range c.Phone.Channels {
				if ch.Name == name {
					contact.Channels = append(contact.Channels, web.Channel{Name: name, AtLeast: ch.Level()})
				}
			}
		}
		v.Contacts = append(v.Contacts, contact)
	}
	return v
}

// history is the past as the page asks for it.
func history(a *archive.Archive) web.History {
	return web.History{
		Events: func(from, to time.Time, limit int) ([]alarm.Event, error) {
			newest, err := a.Events(from, to, limit)
			slices.Reverse(newest)
			return newest, err
		},
		Acts: func(from, to time.Time, limit int) ([]alarm.Act, error) {
			newest, err := a.Acts(from, to, limit)
			slices.Reverse(newest)
			return newest, err
		},
		Series: func(probe string, q sensors.Quantity, from, to time.Time, buckets int) ([]web.Point, error) {
			points, err := a.Series(probe, q, from, to, buckets)
			return pointsOf(points), err
		},
		Lines: func(wanted []web.Line, edges []time.Time) ([][]web.Point, error) {
			all := make([]archive.Line, len(wanted))
			for i, w := range wanted {
				all[i] = archive.Line(w)
			}
			lines, err := a.Lines(all, edges)
			out := make([][]web.Point, len(lines))
			for i, points := range lines {
				out[i] = pointsOf(points)
			}
			return out, err
		},
		Weightiest: func(nests []string, from, to time.Time, most int) ([]alarm.Event, int, error) {
			return a.WeightiestOf(nests, from, to, most, alarm.Visit)
		},
		Ends: a.EndsOf,
		Kept: a.Kept,
	}
}

func pointsOf(points []archive.Point) []web.Point {
	out := make([]web.Point, len(points))
	for i, p := range points {
		out[i] = web.Point{Time: p.Time, Min: p.Min, Mean: p.Mean, Max: p.Max}
	}
	return out
}
