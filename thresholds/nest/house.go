package nest

import (
	"fmt"
	"time"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/litter"
)

// Numbers of a nest that is carried indoors, as in nights of hard frost (common practice, no source).
const (
	houseRest = 24 * 60        // min after it came back in which no visit of the doe is missed: she nurses about once a day, mostly in the dark
	houseMost = 36 * time.Hour // from then on it is judged as if it stood outside, for somebody may have forgotten to enter that it does; ours
)

// house is a nest that stands indoors, without the doe and out of the weather. Its own probes are judged as everywhere: heat and chill do
// not depend on where it stands.
type house struct {
	on   bool
	rest int // min until visits are counted again
}

func (h *house) step(w *Watch, n *Now) {
	since := w.book.Indoors
	in := w.has && !w.days.ended && !since.IsZero() && !n.Wall.Before(since) && n.Wall.Sub(w.indoors()) < houseMost
	if in != h.on {
		h.on = in
		w.carried()
	}
	if h.rest = max(h.rest-1, 0); in {
		h.rest = houseRest
	}
}

// indoors is since when the kits are there without having been with the doe.
func (w *Watch) indoors() time.Time { return later(w.book.Indoors, w.marks.last(alarm.ReturnBoxDue)) }

// carried takes that the nest has come into other air: what its air was going to do says nothing any more, and a person has moved the kits.
func (w *Watch) carried() {
	w.forecast.forget()
	w.damp.moisture.forget()
	w.learned.forget()
	w.visits.forget()
	w.visits.lidAgo = 0
}

// comeBack is when a nest that is indoors must be back with the doe. It is over when that is entered.
func (w *Watch) comeBack(n *Now) (d litter.Due, ok bool) {
	if w.book.Indoors.IsZero() || n.Wall.Before(w.book.Indoors) || !w.hasKits() {
		return d, false
	}
	since, p := w.indoors(), w.plan.Indoors
	d = litter.Due{
		Event: alarm.ReturnBoxDue, From: since.Add(p.Back), Late: w.plan.Inspect.Daytime(since.Add(p.Late), w.loc),
		Text: fmt.Sprintf("take it back to the doe, or let her nurse where it stands and mark this done: it has been indoors since %s, and she nurses about once a day, mostly in the dark. "+
			"Then enter that it is back. Where a probe stayed behind in the cage, take its alarms out of service while the nest is indoors: what it reads is not the kits",
			since.In(w.loc).Format("Mon 15:04")),
		Rule:   fmt.Sprintf("%s indoors without the doe; a warning after %s, by day", lasting(p.Back), lasting(p.Late)),
		Source: "1.12 visits in 24 h, 86 % of them in the dark (Hoy & Selzer, World Rabbit Science); the hours: " + oursChosen,
	}
	if p != litter.DefaultDays().Indoors {
		d.Source = configured + "indoors"
	}
	return d, true
}

func (w *Watch) returnBoxDue(n *Now) alarm.Condition {
	d, ok := w.comeBack(n)
	return stands(n, d, ok)
}
