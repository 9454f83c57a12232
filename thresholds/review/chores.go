package review

import (
	"cmp"
	"slices"
	"time"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/book"
	"nestmon/thresholds/brood"
	"nestmon/thresholds/litter"
)

// Visits are the doe's comings that the probes showed.
type Visits struct {
	Seen      int
	Expected  bool          // whether the probes can show any: a cluster probe, nest air
	Intervals int           // between two of them, with every hour between measured
	Median    time.Duration // of the intervals
	Longest   time.Duration // without one, every hour measured; also before the first and after the last
	From      time.Time     // when that began
}

// visits reads the doe's visits up to the last day she is watched for.
func (r *Review) visits(in *Input) {
	var came []time.Time
	for _, e := range in.Events {
		if _, ok := r.at(e.Nest, e.Since); ok && e.Name == alarm.Visit && in.age(e.Since) <= brood.VisitLastDay {
			came = append(came, e.Since)
		}
	}
	slices.SortFunc(came, time.Time.Compare)
	r.Visits.Seen, r.Came = len(came), came
	var intervals []time.Duration
	var begin time.Time // of the stretch without a visit
	visited := false    // whether it began with one
	end := func(at time.Time, byVisit bool) {
		if d := at.Sub(begin); !begin.IsZero() && d > r.Visits.Longest {
			r.Visits.Longest, r.Visits.From = d, begin
		}
		if byVisit && visited && !begin.IsZero() {
			intervals = append(intervals, at.Sub(begin))
		}
	}
	for _, h := range r.Hours {
		if h.Age > brood.VisitLastDay {
			break
		}
		if !h.InPile.Judged || !h.InAir.Judged {
			end(h.At, false)
			begin = time.Time{}
			continue
		}
		r.Visits.Expected = true
		if begin.IsZero() {
			begin, visited = h.At, false
		}
		for len(came) > 0 && came[0].Before(h.At.Add(hour)) {
			if !came[0].Before(h.At) {
				end(came[0], true)
				begin, visited = came[0], true
			}
			came = came[1:]
		}
	}
	if n := len(r.Hours); n > 0 && !begin.IsZero() {
		last := begin
		for _, h := range r.Hours {
			if h.Age <= brood.VisitLastDay && h.InPile.Judged && h.InAir.Judged {
				last = later(last, h.At.Add(hour))
			}
		}
		end(last, false)
	}
	if r.Visits.Intervals = len(intervals); len(intervals) > 0 {
		r.Visits.Median = median(intervals)
	}
}

func median(all []time.Duration) time.Duration {
	slices.Sort(all)
	n := len(all)
	return (all[(n-1)/2] + all[n/2]) / 2
}

// Alarm is what was raised of one kind.
type Alarm struct {
	Name     alarm.Name
	Worst    alarm.Severity
	Times    int
	Lasted   time.Duration // in all
	Stands   bool
	Answered int           // by a person
	Median   time.Duration // until then
	Slowest  time.Duration
	First    time.Time
}

// alarms pairs what was raised with who answered it. Notices and chores call for nobody at once and are left out.
func (r *Review) alarms(in *Input) {
	r.Answers = !in.ActsSince.IsZero() && !in.ActsSince.After(r.Record.Kindled)
	waits := map[alarm.Name][]time.Duration{}
	type place struct {
		nest string
		name alarm.Name
	}
	on := map[place]alarm.Event{}
	for i, e := range in.Events {
		at := place{e.Nest, e.Name}
		if _, ok := r.at(e.Nest, e.Time); !ok && on[at].Time.IsZero() || e.Name.Chore() {
			continue
		}
		switch e.State {
		case alarm.Raised:
			if e.Severity < alarm.Warning {
				continue
			}
			a := r.alarm(e.Name)
			a.Worst = max(a.Worst, e.Severity)
			if !on[at].Time.IsZero() {
				continue
			}
			on[at] = e
			a.Times++
			if a.First.IsZero() {
				a.First = e.Time
			}
			if wait, ok := answered(in, e, in.Events[i+1:]); ok {
				waits[e.Name] = append(waits[e.Name], wait)
			}
		case alarm.Cleared:
			if began := on[at]; !began.Time.IsZero() {
				r.ends(e.Name, began.Time, e.Time)
				delete(on, at)
			}
		}
	}
	for at, began := range on {
		r.ends(at.name, began.Time, later(began.Time, r.Until))
		r.alarm(at.name).Stands = true
	}
	for i := range r.Alarms {
		a := &r.Alarms[i]
		if w := waits[a.Name]; len(w) > 0 {
			a.Answered, a.Median = len(w), median(w)
			a.Slowest = w[len(w)-1]
		}
	}
	slices.SortStableFunc(r.Alarms, func(a, b Alarm) int {
		if a.Worst != b.Worst {
			return int(b.Worst) - int(a.Worst)
		}
		return slices.Index(alarm.Names, a.Name) - slices.Index(alarm.Names, b.Name)
	})
}

func (r *Review) ends(name alarm.Name, from, until time.Time) {
	r.alarm(name).Lasted += until.Sub(from)
	if name == alarm.ClusterChill {
		r.chilled = append(r.chilled, [2]time.Time{from, until})
	}
}

func (r *Review) alarm(name alarm.Name) *Alarm {
	i := slices.IndexFunc(r.Alarms, func(a Alarm) bool { return a.Name == name })
	if i < 0 {
		r.Alarms, i = append(r.Alarms, Alarm{Name: name}), len(r.Alarms)
	}
	return &r.Alarms[i]
}

// answered finds who first did something about an alarm before it was raised anew.
func answered(in *Input, raised alarm.Event, then []alarm.Event) (wait time.Duration, ok bool) {
	until, over := in.Now, false
	for _, e := range then {
		if e.Nest != raised.Nest || e.Name != raised.Name {
			continue
		}
		if e.State == alarm.Raised && over {
			until = e.Time
			break
		}
		over = over || e.State == alarm.Cleared
	}
	for _, a := range in.Acts {
		if a.Nest == raised.Nest && (a.Event == raised.Name || a.Event == "") && !a.At.Before(raised.Time) && a.At.Before(until) && answers[a.Action] {
			return a.At.Sub(raised.Time), true
		}
	}
	return 0, false
}

// answers are the deeds that show that somebody has seen an alarm.
var answers = map[alarm.Action]bool{alarm.Acknowledge: true, alarm.Shelve: true, alarm.TakeOut: true}

// Change is a change of the bedding.
type Change struct {
	Age     int
	At      time.Time
	Day     bool       // only the day is known
	Chore   alarm.Name // that it was marked as; empty where an entry named the bedding
	Bedding string
	Depth   float64 // cm
}

// rebeds are the chores by which a nest gets dry bedding.
var rebeds = map[alarm.Name]bool{alarm.BeddingDue: true, alarm.TurnBoxDue: true, alarm.SeasonSetupDue: true}

// bedding lists the changes of bedding while kits lay there.
func (r *Review) bedding(in *Input) {
	for _, e := range in.Entries {
		nest := e.Nest
		if e.What == book.Moved {
			nest = e.To
		}
		s, ok := r.during(nest, e)
		newNest := e.What == book.Moved && e.Bedding != "" && s.From.Equal(e.At)
		if !ok || !rebeds[e.Chore] && !newNest {
			continue
		}
		r.Bedding = append(r.Bedding, Change{in.age(e.At), e.At, e.Day, e.Chore, e.Bedding, e.Depth})
	}
	slices.SortStableFunc(r.Bedding, func(a, b Change) int {
		return cmp.Or(cmp.Compare(a.Age, b.Age), cmp.Compare(b.Bedding, a.Bedding), a.At.Compare(b.At)) // what names the bedding first
	})
	r.Bedding = slices.CompactFunc(r.Bedding, func(a, b Change) bool {
		return a.Age == b.Age && (a.Bedding == "" || b.Bedding == "" || a.Bedding == b.Bedding)
	})
}

// during finds the span in which something was done in a nest, or where none is named, at the whole site. What gives only a day was done
// within it.
func (r *Review) during(nest string, e book.Entry) (Span, bool) {
	for _, s := range r.Spans {
		if nest != "" && nest != s.Nest || nest == "" && e.Litter != 0 && e.Litter != r.Record.ID {
			continue
		}
		if s.holds(e.At) || e.Day && r.ageOf(s.From) == r.ageOf(e.At) {
			return s, true
		}
	}
	return Span{}, false
}

// Day is one day of the litter's life.
type Day struct {
	Age                int
	Date               litter.Date
	Nest               string // in which kits lay, the last of the day; empty for none
	Pile, Air, Outside Value
	Cold, Hot          int // hours of the pile: mean under the limit; over it, whole or in part
	AirCold, AirHot    int
	Blank              int // hours in which a probe brought nothing
	Judged             int // hours of which something was judged
	Visits, Opened     int // by the probes
	Marked             int // looks that were marked, or that an entry shows
	Lost               int
	Bedding            bool
}

// days puts all that is known of each day together.
func (r *Review) days(in *Input) {
	first := litter.DateOf(in.Record.Kindled, in.Location)
	for d := 0; d <= r.Age; d++ {
		r.Days = append(r.Days, Day{Age: d, Date: first.Add(d)})
	}
	on := func(age int) *Day {
		if age < 0 || age >= len(r.Days) {
			return &Day{}
		}
		return &r.Days[age]
	}
	for _, h := range r.Hours {
		d := on(h.Age)
		d.Nest = h.Nest
		d.Pile, d.Air = d.Pile.Join(h.Cluster), d.Air.Join(h.Air)
		for _, c := range []struct {
			to  *int
			yes bool
		}{
			{&d.Cold, h.InPile.Cold},
			{&d.Hot, h.InPile.Hot || h.InPile.HotInPart},
			{&d.AirCold, h.InAir.Cold},
			{&d.AirHot, h.InAir.Hot || h.InAir.HotInPart},
			{&d.Blank, h.Blank()},
			{&d.Judged, h.InPile.Judged || h.InAir.Judged},
		} {
			if c.yes {
				*c.to++
			}
		}
	}
	for _, o := range r.Outside {
		d := on(in.age(o.At))
		d.Outside = d.Outside.Join(o.Value)
	}
	for _, e := range in.Events {
		if _, ok := r.at(e.Nest, e.Since); ok {
			switch e.Name {
			case alarm.Visit:
				on(in.age(e.Since)).Visits++
			case alarm.Inspection:
				on(in.age(e.Since)).Opened++
			}
		}
	}
	for _, e := range in.Entries {
		if _, ok := r.during(e.Nest, e); ok && slices.Contains(e.Done(), alarm.InspectDue) {
			on(in.age(e.At)).Marked++
		}
	}
	for _, l := range r.Losses {
		on(l.Age).Lost += l.Kits
	}
	for _, b := range r.Bedding {
		on(b.Age).Bedding = true
	}
}
