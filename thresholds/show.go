package thresholds

import (
	"cmp"
	"slices"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/nest"
)

// Snapshot makes a picture of everything at the last Observe. It shares nothing with the rabbitry.
func (r *Rabbitry) Snapshot() Snapshot {
	s := Snapshot{Time: r.now.Wall, Season: r.site.Season(), Alarms: r.Standing()}
	r.site.Places(func(c *nest.Channel) { s.Outside.Values = append(s.Outside.Values, r.value(Outside, c)) })
	s.Outside.THI, s.Outside.HasTHI = r.site.THI(&r.now)
	r.site.Battery(func(c *nest.Channel) { s.Battery.Values = append(s.Battery.Values, r.value(Battery, c)) })
	for _, w := range r.nests {
		s.Nests = append(s.Nests, r.nestState(w, s.Alarms))
	}
	s.Doubts = r.doubts()
	return s
}

func (r *Rabbitry) doubts() (all []Doubt) {
	say := func(probe string, why nest.Doubt) {
		if d := (Doubt{probe, why}); !slices.Contains(all, d) {
			all = append(all, d)
		}
	}
	r.site.Doubts(&r.now, say)
	for _, w := range r.nests {
		w.Doubts(&r.now, say)
	}
	return all
}

// Standing lists what is on: the most severe first, then in the order of alarm.Names, which begins with what kills kits fastest, then
// the newest.
func (r *Rabbitry) Standing() []alarm.Standing {
	all := r.site.Standing(nil)
	for _, w := range r.nests {
		all = w.Standing(all)
	}
	for i := range r.faults {
		if f := &r.faults[i]; f.slot.On() {
			all = append(all, f.slot.Standing())
		}
	}
	slices.SortStableFunc(all, func(a, b alarm.Standing) int {
		return cmp.Or(int(b.Severity)-int(a.Severity), rank(a.Name)-rank(b.Name), b.Time.Compare(a.Time))
	})
	return all
}

// Alarming reports whether an event asks for help rather than for husbandry when convenient: every alarm, and a chore from warning up.
func Alarming(e alarm.Event) bool { return !e.Name.Chore() || e.Severity >= alarm.Warning }

func rank(name alarm.Name) int { return slices.Index(alarm.Names, name) }

func (r *Rabbitry) nestState(w *nest.Watch, standing []alarm.Standing) NestState {
	cfg := w.Config()
	s := NestState{ID: cfg.ID, Kind: cfg.Kind, Litter: w.Litter(), AgeDays: w.Age(), Stage: r.stage(w)}
	clusters := 0
	w.Places(func(role nest.Role, c *nest.Channel) {
		as := Role(role)
		if role == nest.Cluster {
			if clusters++; clusters == 2 {
				as = Cluster2
			}
		}
		s.Values = append(s.Values, r.value(as, c))
	})
	s.Core, s.HasCore = w.Core(&r.now)
	s.Learned = w.Learned(r.nests)
	s.Limits = limits(w)
	for _, j := range w.Judged(&r.now) {
		s.Judged = append(s.Judged, Judgement(j))
	}
	for _, a := range standing {
		if a.Nest == cfg.ID && Alarming(a.Event) {
			s.Severity = max(s.Severity, a.Severity)
		}
	}
	return s
}

func (r *Rabbitry) value(role Role, c *nest.Channel) Value {
	v := Value{Role: role, Probe: c.Probe, Quantity: c.Quantity, Fresh: c.Fresh(&r.now)}
	v.Value, v.Time = c.Last()
	return v
}

func limits(w *nest.Watch) LimitsInForce {
	a, c, ok := w.Limits()
	l := LimitsInForce{AirHot: &a.HeatWarn.C, AirHotUrgent: &a.HeatCritical.C}
	if !ok {
		return l
	}
	l.AirCold, l.ClusterCold, l.ClusterHot = &a.ColdWarn.C, &c.ChillWarn.C, &c.HeatWarn.C
	return l
}

// stage tells where a nest is; it is waited for from the day on which the box is due.
func (r *Rabbitry) stage(w *nest.Watch) Stage {
	age, bred := w.Age(), w.DaysBred()
	switch {
	case w.Litter() == nil || w.Gone():
		return Empty
	case w.Out():
		return OutOfBox
	case age >= 0:
		return Nursing
	case bred >= r.cfg.Days.BoxIn.From:
		return Waiting
	case bred >= 0:
		return Bred
	}
	return Empty
}
