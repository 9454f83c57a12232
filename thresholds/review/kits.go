package review

import (
	"fmt"
	"slices"
	"time"

	"nestmon/thresholds/book"
	"nestmon/thresholds/litter"
)

// Loss is what was lost on one day, beside what was measured then.
type Loss struct {
	Age    int
	Date   litter.Date
	Kits   int
	Causes []Cause // as they were entered

	Outside Value         // of that day
	Pile    Value         // of the hours around it: from noon of the day before to its end, as far as kits lay in a nest with a cluster probe
	Judged  int           // hours of it
	Cold    int           // of those, hours under the limit
	Hot     int           // and over it, whole or in part
	Missing int           // and without a value
	Chill   time.Duration // for which the alarm for a chilled pile stood meanwhile
	Limits  Limits
}

// Cause is what one entry named; empty where kits were only missing at a count.
type Cause struct {
	Cause book.Cause
	Kits  int
}

// A loss is set beside what was measured from noon of the day before on: what is found in the morning happened in the night. Ours, no source.

// Survival is how many kits lived at the end of a day.
type Survival struct {
	Name      string
	Day       int
	Alive, Of int    // of those born alive and fostered in less those fostered out until then
	Why       string // empty, or why it is not known
}

// survivalDays are those of which litters are compared: most losses fall into the first three days and nearly all into the first ten (common
// practice; 70-78 % of losses in week 1, Rashwan & Marai 2000, as quoted).
var survivalDays = []int{3, 10, 21}

// kits follows the number of kits through the book.
func (r *Review) kits(in *Input) {
	left, known := 0, false
	for _, e := range r.Record.Entries {
		kits := 0
		if e.Kits != nil {
			kits = *e.Kits
		}
		switch e.What {
		case book.Kindled:
			left, known = kits, e.Kits != nil
		case book.FosteredIn:
			r.In, left = r.In+kits, left+kits
		case book.FosteredOut:
			r.Out, left = r.Out+kits, left-kits
		case book.Lost:
			left -= kits
			r.lose(in, e.At, Cause{e.Cause, kits})
		case book.Collected, book.Weaned:
			if e.Kits == nil {
				continue
			}
			if known && kits < left {
				r.lose(in, e.At, Cause{Kits: left - kits})
			}
			left, known = kits, true
		}
	}
	for i := range r.Losses {
		r.around(in, &r.Losses[i])
	}
	r.Left, r.Of = max(left, 0), r.of(in, r.Age)
	for _, day := range survivalDays {
		r.Survival = append(r.Survival, r.survived(in, fmt.Sprintf("day %d", day), day))
	}
	wean := Survival{Name: "weaning", Day: r.WeanedAt}
	switch {
	case r.Record.Born == nil:
		wean.Why = uncounted
	case r.Left == 0 && r.Lost > 0:
		wean.Of = r.Of
	case r.WeanedAt >= 0:
		wean.Alive, _ = r.Record.Alive(r.Record.Weaned, in.Location)
		wean.Of = r.of(in, r.WeanedAt)
	case r.Open:
		wean.Why = "not weaned yet"
	default:
		wean.Why = "no weaning in the book"
	}
	r.Survival = append(r.Survival, wean)
}

const uncounted = "nobody counted them at birth"

// lose adds to the losses of a day.
func (r *Review) lose(in *Input, at time.Time, c Cause) {
	r.Lost += c.Kits
	age := in.age(at)
	i, there := slices.BinarySearchFunc(r.Losses, age, func(l Loss, age int) int { return l.Age - age })
	if !there {
		r.Losses = slices.Insert(r.Losses, i, Loss{Age: age, Date: litter.DateOf(at, in.Location)})
	}
	l := &r.Losses[i]
	l.Kits += c.Kits
	for j := range l.Causes {
		if l.Causes[j].Cause == c.Cause {
			l.Causes[j].Kits += c.Kits
			return
		}
	}
	l.Causes = append(l.Causes, c)
}

// around puts beside a loss what was measured.
func (r *Review) around(in *Input, l *Loss) {
	for _, o := range r.Outside {
		if in.age(o.At) == l.Age {
			l.Outside = l.Outside.Join(o.Value)
		}
	}
	begin := litter.DateOf(in.Record.Kindled, in.Location).Add(l.Age - 1).Noon(in.Location)
	end := litter.NextDay(begin.AddDate(0, 0, 1), in.Location)
	for _, c := range r.chilled {
		l.Chill += max(0, earlier(c[1], end).Sub(later(c[0], begin)))
	}
	for _, h := range r.Hours {
		if h.At.Before(begin) || !h.At.Before(end) {
			continue
		}
		limits, _ := r.On(h.Age)
		switch {
		case !h.InPile.Expected && !limits.Pile: // measured, and beyond the age that has limits
			l.Pile = l.Pile.Join(h.Cluster)
			continue
		case !h.InPile.Expected:
			continue
		case !h.InPile.Judged:
			l.Missing++
			continue
		}
		l.Limits = limits
		l.Pile = l.Pile.Join(h.Cluster)
		l.Judged++
		if h.InPile.Cold {
			l.Cold++
		}
		if h.InPile.Hot || h.InPile.HotInPart {
			l.Hot++
		}
	}
}

// of is of how many kits a share is, by a day.
func (r *Review) of(in *Input, day int) (n int) {
	for _, e := range r.Record.Entries {
		if e.Kits == nil || in.age(e.At) > day {
			continue
		}
		switch e.What {
		case book.Kindled, book.FosteredIn:
			n += *e.Kits
		case book.FosteredOut:
			n -= *e.Kits
		}
	}
	return n
}

func (r *Review) survived(in *Input, name string, day int) Survival {
	s := Survival{Name: name, Day: day}
	at := litter.DateOf(in.Record.Kindled, in.Location).Add(max(day, 0)).Noon(in.Location)
	alive, known := r.Record.Alive(at, in.Location)
	none := known && alive <= 0
	switch {
	case in.age(in.Now) <= day && !none:
		s.Why = "not that old yet"
	case r.Record.Born == nil:
		s.Why = uncounted
	case !r.Open && r.Age < day && !none:
		s.Why = "the book ends before"
	default:
		s.Alive, s.Of = max(alive, 0), r.of(in, day)
	}
	return s
}
