package main

import (
	"math"
	"slices"
	"time"

	"nestmon/thresholds/alarm"
)

// Windows of a hit, and of what excuses an alarm.
const (
	windowBefore = 3 * time.Hour // of the onset
	windowAfter  = 3 * time.Hour
	windowLeast  = time.Hour // after the onset, where the danger is short
	excuseAfter  = time.Hour // of a danger or a fault
)

// window is the time in which an alarm belongs to a danger. The strict one begins with the fault or three hours before the
// onset, whichever is later, the reference window whichever is earlier.
func window(d danger, fault span, strict bool) span {
	w := span{d.onset.Add(-windowBefore), earliest(d.onset.Add(windowAfter), latest(d.end, d.onset.Add(windowLeast)))}
	caused := fault.length() > 0 && !fault.from.After(d.onset) && d.onset.Before(fault.to.Add(causeSlack))
	switch {
	case !caused:
	case strict:
		w.from = latest(w.from, fault.from)
	default:
		w.from = earliest(w.from, fault.from)
	}
	return w
}

// excused is all time in which an alarm is no false one: dangers from three hours before to an hour after, the scenario and an hour, and what follows a death by heat.
func (r *record) excused(dangers []danger) []span {
	var all []span
	for _, d := range dangers {
		all = append(all, span{d.onset.Add(-windowBefore), d.end.Add(excuseAfter)})
	}
	if r.scenario != "" {
		all = append(all, span{r.fault.from, r.fault.to.Add(excuseAfter)})
	}
	if r.killedByHeat {
		all = append(all, span{r.died, r.end})
	}
	return union(all)
}

// rule says how to find an alarm's stands in a record.
type rule struct {
	name   string
	stands func(r *record) []stand
}

// hits is how a rule met dangers.
type hits struct {
	n, hit, before, stood int
	leads                 []float64       // min, of the hits; 0 for one that stood before its window
	edges                 []float64       // min, of the hits that began in their window
	windows               []time.Duration // of every danger
}

// score is a rule over many litters.
type score struct {
	name           string
	strict, wide   hits // all dangers
	deep, deepWide hits
	clean          []time.Duration       // after birth with nothing wrong, by litter
	bare           time.Duration         // before birth, or without kits
	wrong          [alarm.Urgent + 1]int // after birth, by severity
	wrongBy        []float64             // all after birth, by litter
	urgentBy       []float64
	early          [alarm.Urgent + 1]int // before birth
	foretold       int                   // of the wrong ones: stood until a danger came, only longer before it than its window
	stands         time.Duration         // in clean time
}

// measure scores a rule. Which names the dangers and keep those among them that count, all where it is nil; all of them excuse.
func measure(rl rule, records []*record, which func(*record) []danger, keep func(danger) bool) score {
	s := score{name: rl.name}
	for _, r := range records {
		stands, dangers := rl.stands(r), which(r)
		for _, d := range dangers {
			if keep != nil && !keep(d) {
				continue
			}
			for _, strict := range []bool{true, false} {
				all, deep := &s.strict, &s.deep
				if !strict {
					all, deep = &s.wide, &s.deepWide
				}
				w := window(d, r.fault, strict)
				all.meet(d, w, stands)
				if d.deep {
					deep.meet(d, w, stands)
				}
			}
		}
		s.falseAlarms(r, stands, dangers)
	}
	return s
}

// meet notes whether a danger was found: an alarm began in the window, or one stood at the onset.
func (h *hits) meet(d danger, w span, stands []stand) {
	h.n++
	h.windows = append(h.windows, w.length())
	lead, stood, hit := 0.0, false, false
	for _, s := range stands {
		if s.holds(d.onset) && s.from.Before(w.from) {
			hit, stood, lead = true, true, 0
			break
		}
		if w.holds(s.from) {
			hit, lead = true, d.onset.Sub(s.from).Minutes()
			break
		}
	}
	if !hit {
		return
	}
	h.hit++
	h.leads = append(h.leads, lead)
	if lead >= 0 {
		h.before++
	}
	if stood {
		h.stood++
	} else {
		h.edges = append(h.edges, lead)
	}
}

func (s *score) falseAlarms(r *record, stands []stand, dangers []danger) {
	excused := r.excused(dangers)
	birth := r.born
	if birth.IsZero() {
		birth = r.end
	}
	clean := span{birth, r.end}.without(excused)
	s.clean = append(s.clean, total(clean))
	s.bare += birth.Sub(r.start)
	s.stands += overlap(clean, spans(stands))
	n, urgent := 0.0, 0.0
	for _, st := range stands {
		if within(excused, st.from) {
			continue
		}
		worst := alarm.None
		for _, up := range st.rises {
			if !within(excused, up.at) {
				worst = max(worst, up.severity)
			}
		}
		if st.from.Before(birth) {
			s.early[worst]++
			continue
		}
		s.wrong[worst]++
		n++
		if slices.ContainsFunc(dangers, func(d danger) bool { return st.holds(d.onset) }) {
			s.foretold++
		}
		if worst == alarm.Urgent {
			urgent++
		}
	}
	s.wrongBy, s.urgentBy = append(s.wrongBy, n), append(s.urgentBy, urgent)
}

const week = 7 * day

func weeks(d time.Duration) float64 { return float64(d) / float64(week) }

func (s *score) cleanWeeks() float64 {
	var d time.Duration
	for _, c := range s.clean {
		d += c
	}
	return weeks(d)
}

// standingShare is the share of clean time in which the alarm stands.
func (s *score) standingShare() float64 {
	if s.cleanWeeks() == 0 {
		return 0
	}
	return weeks(s.stands) / s.cleanWeeks()
}

// rate is false alarms after birth per clean nest-week.
func (s *score) rate() ratio    { return byLitter(s.wrongBy, s.clean) }
func (s *score) urgents() ratio { return byLitter(s.urgentBy, s.clean) }

// chance is the share of such windows that an alarm as frequent and as long, but blind to the danger, would have hit.
func (s *score) chance(h *hits) float64 {
	if len(h.windows) == 0 {
		return 0
	}
	sum := 0.0
	for _, w := range h.windows {
		sum += 1 - (1-s.standingShare())*math.Exp(-s.rate().value*weeks(w))
	}
	return sum / float64(len(h.windows))
}

// ratio is a share or a rate with its 95 % interval.
type ratio struct{ value, low, high float64 }

const z95 = 1.959964

// wilson is the 95 % interval of a share by Wilson 1927, J. Am. Stat. Assoc. 22:209, from memory.
func wilson(n, all int) ratio {
	if all == 0 {
		return ratio{math.NaN(), 0, 1}
	}
	p, m := float64(n)/float64(all), float64(all)
	centre := (p + z95*z95/(2*m)) / (1 + z95*z95/m)
	half := z95 / (1 + z95*z95/m) * math.Sqrt(p*(1-p)/m+z95*z95/(4*m*m))
	return ratio{p, max(centre-half, 0), min(centre+half, 1)}
}

// byLitter is a rate per week with a 95 % interval in which the litter, not the alarm, is the independent unit: the ratio
// estimator's linearised variance. None at all gives the rule of three as its upper end.
func byLitter(counts []float64, times []time.Duration) ratio {
	n, t := 0.0, 0.0
	for i, c := range counts {
		n, t = n+c, t+weeks(times[i])
	}
	switch {
	case t == 0:
		return ratio{math.NaN(), 0, math.Inf(1)}
	case n == 0:
		return ratio{0, 0, 3 / t}
	}
	rate, sum := n/t, 0.0
	for i, c := range counts {
		d := c - rate*weeks(times[i])
		sum += d * d
	}
	half := z95 * math.Sqrt(sum) / t
	return ratio{rate, max(rate-half, 0), rate + half}
}

// quantile of values, by the nearest rank; NaN of none.
func quantile(values []float64, q float64) float64 {
	if len(values) == 0 {
		return math.NaN()
	}
	sorted := slices.Clone(values)
	slices.Sort(sorted)
	return sorted[int(math.Round(q*float64(len(sorted)-1)))]
}
