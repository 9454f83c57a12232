package review

import (
	"slices"
	"time"

	"nestmon/thresholds/brood"
)

// Limits are the limits of some days of age, in °C.
type Limits struct {
	From, To                             int     // days
	Pile                                 bool    // whether the pile has any at that age
	Cold, ColdCritical, Hot, HotCritical float64 // of the pile
	AirCold, AirHot, AirHotCritical      float64
}

// limitsOn are those of a day. A limit that is for information only is none: the critical one stands there.
func limitsOn(t *brood.Tables, day int) Limits {
	l := Limits{From: day, To: day}
	a := t.Air(day, brood.Mild) // seasons differ in delays alone
	l.AirCold, l.AirHot, l.AirHotCritical = a.ColdWarn.C, a.HeatWarn.C, a.HeatCritical.C
	if c, ok := t.Cluster(day, brood.Mild); ok {
		l.Pile, l.Cold, l.ColdCritical, l.Hot, l.HotCritical = true, c.ChillWarn.C, c.ChillCritical.C, c.HeatWarn.C, c.HeatCritical.C
		if c.ChillWarn.Notice {
			l.Cold = l.ColdCritical
		}
	}
	return l
}

// limits lists those of all days that kits lay in a nest with a probe, days alike as one.
func (r *Review) limits(in *Input) {
	last := -1
	for _, s := range r.Spans {
		if s.Watched() {
			last = in.age(s.Until)
		}
	}
	for d := 0; d <= last; d++ {
		l := limitsOn(&in.Tables, d)
		if n := len(r.Limits); n > 0 {
			same := r.Limits[n-1]
			same.From, same.To = d, d
			if same == l {
				r.Limits[n-1].To = d
				continue
			}
		}
		r.Limits = append(r.Limits, l)
	}
}

// On gives the limits of a day of age; ok is false where no kits lay in a nest with a probe.
func (r *Review) On(day int) (l Limits, ok bool) {
	for _, l := range r.Limits {
		if l.From <= day && day <= l.To {
			return l, true
		}
	}
	return Limits{}, false
}

// Verdict is what one hour was in one place.
type Verdict struct {
	Expected              bool // it has limits, a probe, and kits lay there for all of it
	Judged                bool // and a value
	Few                   bool // of less than half of the usual readings
	Cold, ColdCritical    bool // the mean was under the limit
	Hot                   bool // the mean was over the limit
	HotCritical           bool // the highest was over the critical limit
	ColdInPart, HotInPart bool // only the lowest or the highest was beyond it
}

// fewReadings is the share of the usual readings of an hour under which the rest may have been otherwise; ours, no source.
const fewReadings = 0.5

// against holds a value against limits.
func against(v Value, usual int, cold, coldCritical, hot, hotCritical float64) Verdict {
	d := Verdict{Expected: true, Judged: v.Known()}
	if !d.Judged {
		return d
	}
	d.Few = float64(v.N) < fewReadings*float64(usual)
	d.Cold, d.ColdCritical, d.Hot, d.HotCritical = v.Mean < cold, v.Mean < coldCritical, v.Mean > hot, v.Max > hotCritical
	d.ColdInPart, d.HotInPart = !d.Cold && v.Min < cold, !d.Hot && v.Max > hot
	return d
}

// Seen is one hour in which kits lay in a nest with a probe.
type Seen struct {
	Hour
	Age    int
	InPile Verdict
	InAir  Verdict
}

// Blank reports whether a probe brought nothing that was expected.
func (s Seen) Blank() bool {
	return s.InPile.Expected && !s.InPile.Judged || s.InAir.Expected && !s.InAir.Judged
}

// Judged counts the hours of one place.
type Judged struct {
	Probe                          bool // whether any nest had one
	Expected, Judged, Few          int
	Cold, ColdInPart, ColdCritical int
	Hot, HotInPart, HotCritical    int
	Low, High                      Sample // of the judged hours
}

// Missing is the hours without any value.
func (j Judged) Missing() int { return j.Expected - j.Judged }

// wellMeasured is the share of hours with their readings from which a stretch counts as measured; ours, no source.
const wellMeasured = 0.95

// Whole reports whether hardly anything is missing.
func (j Judged) Whole() bool {
	return j.Expected > 0 && float64(j.Judged-j.Few) >= wellMeasured*float64(j.Expected)
}

func (j *Judged) add(at time.Time, v Value, d Verdict) {
	if d.Judged {
		if j.Judged == 0 || v.Min < j.Low.Min {
			j.Low = Sample{at, v}
		}
		if j.Judged == 0 || v.Max > j.High.Max {
			j.High = Sample{at, v}
		}
	}
	for _, c := range []struct {
		to  *int
		yes bool
	}{
		{&j.Expected, d.Expected},
		{&j.Judged, d.Judged},
		{&j.Few, d.Few},
		{&j.Cold, d.Cold},
		{&j.ColdInPart, d.ColdInPart},
		{&j.ColdCritical, d.ColdCritical},
		{&j.Hot, d.Hot},
		{&j.HotInPart, d.HotInPart},
		{&j.HotCritical, d.HotCritical},
	} {
		if c.yes {
			*c.to++
		}
	}
}

// judge holds every hour in which kits lay in a nest with a probe against the limits of its day.
func (r *Review) judge(in *Input) {
	type key struct {
		nest string
		at   int64
	}
	rows := make(map[key]Hour, len(in.Hours))
	for _, h := range in.Hours {
		rows[key{h.Nest, h.At.Unix()}] = h
	}
	usualPile := usual(in.Hours, func(h Hour) Value { return h.Cluster })
	usualAir := usual(in.Hours, func(h Hour) Value { return h.Air })
	for _, s := range r.Spans {
		r.Pile.Probe, r.Nest.Probe = r.Pile.Probe || s.Cluster, r.Nest.Probe || s.Air
		if !s.Watched() {
			continue
		}
		for at := wholeHour(s.From, false); at.Before(s.Until); at = at.Add(hour) {
			h := rows[key{s.Nest, at.Unix()}]
			h.Nest, h.At = s.Nest, at
			seen := Seen{Hour: h, Age: in.age(at)}
			if l, ok := r.On(seen.Age); ok && !at.Before(s.first) && at.Before(s.last) {
				if s.Cluster && l.Pile {
					seen.InPile = against(h.Cluster, usualPile, l.Cold, l.ColdCritical, l.Hot, l.HotCritical)
				}
				if s.Air {
					seen.InAir = against(h.Air, usualAir, l.AirCold, l.AirCold, l.AirHot, l.AirHotCritical)
				}
			}
			r.Pile.add(at, h.Cluster, seen.InPile)
			r.Nest.add(at, h.Air, seen.InAir)
			r.Hours = append(r.Hours, seen)
		}
	}
	if len(r.Spans) > 0 && r.Spans[0].first.Sub(in.Record.Kindled) > hour {
		r.Late = r.Spans[0].first
	}
	for _, o := range in.Outside {
		if !o.At.Before(wholeHour(in.Record.Kindled, false)) && o.At.Before(r.Until) {
			r.Outside = append(r.Outside, o)
		}
	}
}

// usual is the middle of the numbers of readings in an hour.
func usual(hours []Hour, of func(Hour) Value) int {
	var all []int
	for _, h := range hours {
		if v := of(h); v.Known() {
			all = append(all, v.N)
		}
	}
	if len(all) == 0 {
		return 0
	}
	slices.Sort(all)
	return all[len(all)/2]
}
