package nest

import (
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/litter"
)

// Has reports whether a chore can be one of a nest.
func (w *Watch) Has(chore alarm.Name) bool {
	return slices.ContainsFunc(rules[:], func(r rule) bool { return r.name == chore })
}

// Has reports whether a chore can be one of the whole site.
func (s *Site) Has(chore alarm.Name) bool {
	return slices.ContainsFunc(siteRules[:], func(r siteRule) bool { return r.name == chore })
}

// Done records that a chore was done, and reports whether that is new.
func (s *Site) Done(name alarm.Name, at time.Time) bool { return s.marks.add(name, at) }

// Undone strikes a mark.
func (s *Site) Undone(name alarm.Name, at time.Time) { s.marks.strike(name, at) }

// Agenda visits what is due in the nest, what comes before until, and what was done since. Its alarms were judged last at judged.
func (w *Watch) Agenda(n *Now, judged, since, until time.Time, visit func(d litter.Due)) {
	a := agenda{n, judged, since, until, w.marks, map[alarm.Name]bool{}, map[alarm.Name]bool{}, visit}
	w.duties(n, a.take)
	if w.plan.Wants(alarm.BeddingDue) {
		w.beddingAgain(until, a.take)
	}
	for i := range rules {
		a.standing(&w.slots[i], w.named(), func(c alarm.Condition) alarm.Words { return w.words(rules[i].name, c) })
	}
	a.done()
}

// Agenda visits what is due for the whole site, what comes before until, and what was done since. Its alarms were judged last at judged.
func (s *Site) Agenda(n *Now, judged, since, until time.Time, visit func(d litter.Due)) {
	a := agenda{n, judged, since, until, s.marks, map[alarm.Name]bool{}, map[alarm.Name]bool{}, visit}
	for _, f := range [...]func(*Now) (litter.Due, bool){s.water, s.flies} {
		if d, ok := f(n); ok && s.plan.Wants(d.Event) {
			a.take(d)
		}
	}
	for i := range siteRules {
		a.standing(&s.slots[i], "", func(c alarm.Condition) alarm.Words { return s.words(siteRules[i].name, c) })
	}
	a.done()
}

// agenda collects the chores of one place.
type agenda struct {
	n            *Now
	judged       time.Time
	since, until time.Time
	marks        marks
	due, told    map[alarm.Name]bool // chores that are due, and those that were told as done
	visit        func(d litter.Due)
}

// take takes a chore that has a date.
func (a *agenda) take(d litter.Due) {
	done := !d.Done.IsZero()
	a.told[d.Event] = a.told[d.Event] || done
	a.due[d.Event] = a.due[d.Event] || !done && !a.n.Wall.Before(d.From)
	if d.Over(a.n.Wall) || !d.From.Before(a.until) && !done || done && d.Done.Before(a.since) {
		return
	}
	d.Text = sentence(d.Text)
	a.visit(d)
}

// undated are the chores that the weather and the probes bring, and that they alone end.
var undated = []alarm.Name{alarm.VentilationDue, alarm.SeasonSetupDue}

// standing takes a chore that stands and has no date: the weather or the probes bring it, or it was brought back by a restart. A mark hides one
// of the former until they have been asked again.
func (a *agenda) standing(slot *alarm.Slot, named string, words func(alarm.Condition) alarm.Words) {
	st := slot.Standing()
	before := st.Since
	if slices.Contains(undated, st.Name) {
		before = later(before, a.judged)
	}
	if !slot.On() || !st.Name.Chore() || a.due[st.Name] || a.marks.last(st.Name).After(before) {
		return
	}
	said := alarm.Words{Text: st.Text, Rule: st.Rule, Source: st.Source}
	if c, ok := slot.Condition(); ok {
		said = words(c)
	}
	d := litter.Due{Event: st.Name, From: st.Since, Text: sentence(strings.TrimPrefix(said.Text, named)), Rule: said.Rule, Source: said.Source}
	if st.Severity >= alarm.Warning {
		d.Late = st.Since
	}
	a.visit(d)
}

// done takes the newest mark of every chore that was done for a time which is no longer in sight.
func (a *agenda) done() {
	for _, name := range alarm.Names {
		if at := a.marks.last(name); !at.IsZero() && !at.Before(a.since) && !a.told[name] {
			a.visit(litter.Due{Event: name, From: at, Done: at, Text: sentence(name.Plain())})
		}
	}
}

// sentence begins with a capital and ends with a full stop.
func sentence(text string) string {
	first, size := utf8.DecodeRuneInString(text)
	return string(unicode.ToUpper(first)) + strings.TrimSuffix(text[size:], ".") + "."
}
