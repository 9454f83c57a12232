package main

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"time"

	"nestmon/exporter/web"
	"nestmon/thresholds/alarm"
)

// outlook is one side of a look back: a replay, and the alarms it raised.
type outlook struct {
	replay replay
	batch  batch
	spells []*web.PreviewSpell // in order of their beginnings
	open   map[place]*web.PreviewSpell
	heard  func(alarm.Event) // of every event; nil but in tests
}

// note takes an event. Chores are no alarms.
func (o *outlook) note(e alarm.Event) error {
	if o.heard != nil {
		o.heard(e)
	}
	if e.Name.Chore() || e.State == alarm.Noted {
		return nil
	}
	at := place{e.Nest, e.Name}
	s := o.open[at]
	if e.State == alarm.Cleared {
		if s != nil {
			s.To = &e.Time
			delete(o.open, at)
		}
		return nil
	}
	if s == nil {
		if len(o.spells) == mostSpells {
			return fmt.Errorf("these limits would raise more than %d alarms, which cannot be meant; look at them again", mostSpells)
		}
		s = &web.PreviewSpell{Nest: e.Nest, Event: e.Name, From: e.Time}
		o.spells, o.open[at] = append(o.spells, s), s
	}
	if e.Severity > s.Severity {
		s.Severity, s.Unit, s.Value, s.Limit = e.Severity, e.Unit, nil, nil
		if e.HasValue {
			s.Value = &e.Value
		}
		if e.HasLimit {
			s.Limit = &e.Limit
		}
	}
	return nil
}

// byPlace are the alarms that stood after from.
func (o *outlook) byPlace(from time.Time) map[place][]*web.PreviewSpell {
	all := map[place][]*web.PreviewSpell{}
	for _, s := range o.spells {
		if s.To == nil || s.To.After(from) {
			at := place{s.Nest, s.Event}
			all[at] = append(all[at], s)
		}
	}
	return all
}

// result compares the two sides.
func (b *lookback) result() *web.PreviewResult {
	r := &web.PreviewResult{
		From: b.from, To: b.to, Polls: b.polls, Most: mostListed,
		Nests: []web.PreviewNest{}, Kinds: []web.PreviewKind{}, Come: []web.PreviewSpell{}, Go: []web.PreviewSpell{}, Differ: []web.PreviewPair{},
	}
	ids := b.d.cfg.nestIDs()
	for _, id := range ids {
		r.Nests = append(r.Nests, *b.nests[id])
	}
	now, then := b.sides[0].byPlace(b.from), b.sides[1].byPlace(b.from)
	for _, nest := range append(slices.Clone(ids), "") {
		for _, name := range alarm.Names {
			at := place{nest, name}
			if len(now[at]) == 0 && len(then[at]) == 0 {
				continue
			}
			r.Kinds = append(r.Kinds, web.PreviewKind{Nest: nest, Event: name, Now: b.measure(now[at]), Then: b.measure(then[at])})
			compare(r, now[at], then[at])
		}
	}
	inTime := func(x, y web.PreviewSpell) int { return cmp.Or(x.From.Compare(y.From), cmp.Compare(x.Nest, y.Nest)) }
	slices.SortStableFunc(r.Come, inTime)
	slices.SortStableFunc(r.Go, inTime)
	slices.SortStableFunc(r.Differ, func(x, y web.PreviewPair) int { return inTime(x.Then, y.Then) })
	r.Counts = [3]int{len(r.Come), len(r.Go), len(r.Differ)}
	r.Come, r.Go, r.Differ = newestOf(r.Come), newestOf(r.Go), newestOf(r.Differ)
	return r
}

func newestOf[T any](all []T) []T { return all[max(len(all)-mostListed, 0):] }

func (b *lookback) measure(all []*web.PreviewSpell) (m web.PreviewMeasure) {
	for _, s := range all {
		m.Alarms++
		if s.Severity == alarm.Urgent {
			m.Urgent++
		}
		from, to := s.From, b.end(s)
		if from.Before(b.from) {
			from = b.from
		}
		m.Hours += to.Sub(from).Hours()
	}
	m.Hours = math.Round(m.Hours*100) / 100
	return m
}

// end is when an alarm was over, or the last that is known of it.
func (b *lookback) end(s *web.PreviewSpell) time.Time {
	if s.To != nil {
		return *s.To
	}
	return b.to
}

// compare parts the alarms of one place: those that overlap are the same one.
func compare(r *web.PreviewResult, now, then []*web.PreviewSpell) {
	over := func(s *web.PreviewSpell, t time.Time) bool { return s.To != nil && !s.To.After(t) }
	for len(now) > 0 || len(then) > 0 {
		switch {
		case len(then) == 0 || len(now) > 0 && over(now[0], then[0].From):
			r.Go, now = append(r.Go, *now[0]), now[1:]
		case len(now) == 0 || over(then[0], now[0].From):
			r.Come, then = append(r.Come, *then[0]), then[1:]
		default:
			if differ(now[0], then[0]) {
				r.Differ = append(r.Differ, web.PreviewPair{Now: *now[0], Then: *then[0]})
			}
			now, then = now[1:], then[1:]
		}
	}
}

func differ(a, b *web.PreviewSpell) bool {
	moved := func(x, y time.Time) bool { return x.Sub(y).Abs() > spellMoved }
	switch {
	case a.Severity != b.Severity || moved(a.From, b.From) || (a.To == nil) != (b.To == nil):
		return true
	}
	return a.To != nil && moved(*a.To, *b.To)
}
