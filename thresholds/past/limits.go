package past

import (
	"slices"
	"time"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/book"
	"nestmon/thresholds/brood"
	"nestmon/thresholds/litter"
)

// Limits are the limits of a nest, °C. A nil limit was not in force.
type Limits struct {
	ClusterCold, ClusterHot *float64 // warning limits on the cluster
	AirCold, AirHot         *float64 // warning limits on nest air
	AirHotUrgent            *float64
}

// Band is a time with the same limits, of one litter or of none.
type Band struct {
	From, To     time.Time
	Litter       int64        // 0 where none counted
	Day, LastDay int          // of its age, -1 where that is not known
	Proposed     bool         // nobody has confirmed its kindling
	DayOnly      bool         // only the day of its birth is known
	Season       brood.Season // as the book has it of that litter; empty where it does not
	Limits
}

// Input is what is known of a nest.
type Input struct {
	Nest     string
	Kind     brood.Kind
	From, To time.Time

	Records  []*book.Record      // of every litter
	Entries  []book.Entry        // in force about the nest, in order
	Proposed map[int64]time.Time // kindlings that were read from the probes, by litter
	Events   []alarm.Event       // of the nest and of the site, in order; of what is over after To, the end too
	Standing []alarm.Standing    // what is on now

	Tables   brood.Tables
	Location *time.Location
}

// nest is the nest of an input, with what is asked of it again and again.
type nest struct {
	*Input
	lain    []litter.Litter // each stay of a litter as one
	records map[int64]*book.Record
	boxes   []book.Entry // that take the box out or put it in
}

func (in *Input) open() *nest {
	n := &nest{Input: in, records: map[int64]*book.Record{}}
	for _, r := range in.Records {
		for i, s := range r.Stays {
			if s.Nest != in.Nest {
				continue
			}
			l := litter.Litter{ID: r.ID, Nest: s.Nest, Bred: r.Bred, Kindled: r.Kindled, Ended: s.Until}
			if i > 0 {
				l.Since = s.From
			}
			if !s.Until.IsZero() && s.Until.Before(r.Kindled) {
				l.Kindled = time.Time{} // elsewhere
			}
			n.lain, n.records[r.ID] = append(n.lain, l), r
		}
	}
	for _, e := range in.Entries {
		if did(e, alarm.RemoveBoxDue) || did(e, alarm.BoxDue) {
			n.boxes = append(n.boxes, e)
		}
	}
	return n
}

func (n *nest) kindled(l *litter.Litter) time.Time {
	if l.Kindled.IsZero() && l.Ended.IsZero() {
		return n.Proposed[l.ID]
	}
	return l.Kindled
}

func (n *nest) current(at time.Time) (l *litter.Litter, turns time.Time) {
	return litter.Current(n.lain, n.Nest, at, n.kindled, n.Location)
}

// Bands gives the limits from one end of the input to the other, without a gap.
func Bands(in *Input) []Band {
	n := in.open()
	turns := n.turns()
	var out []Band
	l, next := n.current(n.From)
	for i, at := range turns[:len(turns)-1] {
		if !next.IsZero() && !at.Before(next) { // it is dear: it looks at every litter that ever lay there
			l, next = n.current(at)
		}
		b := n.band(at, l)
		b.From, b.To = at, turns[i+1]
		if last := len(out) - 1; last >= 0 && out[last].joins(&b) {
			out[last].To, out[last].LastDay = b.To, b.LastDay
			continue
		}
		out = append(out, b)
	}
	return out
}

// turns are the instants at which limits may change, both ends among them.
func (n *nest) turns() []time.Time {
	all := []time.Time{n.From, n.To}
	add := func(t time.Time) {
		if t.After(n.From) && t.Before(n.To) {
			all = append(all, t)
		}
	}
	for at := n.From; at.Before(n.To); {
		_, next := n.current(at)
		if next.IsZero() {
			break
		}
		add(next)
		at = next
	}
	for i := range n.lain {
		kindled, ended := n.kindled(&n.lain[i]), n.lain[i].Ended
		if kindled.IsZero() || kindled.After(n.To) || !ended.IsZero() && ended.Before(n.From) {
			continue
		}
		for day := range brood.LastDay + 1 {
			add(litter.StartOf(kindled, day, n.Location))
		}
	}
	for _, e := range n.boxes {
		add(e.At)
	}
	slices.SortFunc(all, time.Time.Compare)
	return slices.CompactFunc(all, time.Time.Equal)
}

// band is what held from an instant on, with the litter that counted then.
func (n *nest) band(at time.Time, l *litter.Litter) Band {
	b := Band{Day: -1, LastDay: -1}
	kits := false
	if l != nil && (l.Ended.IsZero() || at.Before(l.Ended)) {
		r := n.records[l.ID]
		b.Litter, b.Season = l.ID, r.Season
		if kindled := n.kindled(l); !kindled.IsZero() && !at.Before(kindled) {
			b.Day = litter.Day(kindled, at, n.Location)
			b.LastDay, b.Proposed = b.Day, l.Kindled.IsZero()
			b.DayOnly = slices.ContainsFunc(r.Entries, func(e book.Entry) bool { return e.What == book.Kindled && e.Day })
			kits = b.Day <= brood.LastClusterDay && !n.boxOut(l, kindled, at)
		}
	}
	air := n.Tables.Air(b.Day, brood.Mild) // seasons differ in delays alone
	b.AirHot, b.AirHotUrgent = &air.HeatWarn.C, &air.HeatCritical.C
	if cluster, ok := n.Tables.Cluster(max(b.Day, 0), brood.Mild); ok && kits {
		b.AirCold, b.ClusterCold, b.ClusterHot = &air.ColdWarn.C, &cluster.ChillWarn.C, &cluster.HeatWarn.C
	}
	return b
}

// boxOut reports whether the kits' box had been taken out, and not put in again.
func (n *nest) boxOut(l *litter.Litter, kindled, at time.Time) bool {
	back, out := l.Since, time.Time{}
	for _, e := range n.boxes {
		switch {
		case e.At.After(at):
		case did(e, alarm.BoxDue) && e.At.After(back):
			back = e.At
		case did(e, alarm.RemoveBoxDue) && e.At.After(out):
			out = e.At
		}
	}
	return n.Kind != brood.BuriedTote && !out.Before(litter.StartOf(kindled, litter.BoxOutEarliest, n.Location)) && out.After(back)
}

func did(e book.Entry, chore alarm.Name) bool { return slices.Contains(e.Done(), chore) }

// joins reports whether o goes on as b does.
func (b *Band) joins(o *Band) bool {
	same := func(x, y *float64) bool { return x == nil && y == nil || x != nil && y != nil && *x == *y }
	return b.Litter == o.Litter && (b.Day < 0) == (o.Day < 0) && same(b.ClusterCold, o.ClusterCold) && same(b.ClusterHot, o.ClusterHot) &&
		same(b.AirCold, o.AirCold) && same(b.AirHot, o.AirHot) && same(b.AirHotUrgent, o.AirHotUrgent)
}
