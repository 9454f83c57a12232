package nest

import (
	"time"

	"nestmon/sensors"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
	"nestmon/thresholds/litter"
)

// Watch is one nest: its channels, what has been learned of it, and its alarms.
type Watch struct {
	cfg     Config
	loc     *time.Location
	tables  *brood.Tables
	plan    *litter.Days // when chores are due
	cluster []*Channel
	air     *Channel // temperature
	airRH   *Channel
	co2     *Channel
	cage    *Channel // the doe's air
	cageRH  *Channel
	site    *Site

	book  litter.Litter // as entered by the keeper; Bred and Kindled may be zero
	has   bool          // a litter is entered
	days  days
	slots []alarm.Slot // one for each rule

	heat                   nestHeat
	cold, clusterHeat, doe levels
	forecast               forecast
	pile                   pile
	birth                  birth
	visits                 visits
	damp                   damp
	wet                    wetCell
	lost                   silence
	learned                learned
	due                    dueList
	marks                  marks
	house                  house
}

// levels is a warning and a critical limit on one value.
type levels struct{ warn, crit dwell }

func (l *levels) lost(n *Now) { l.warn.lost(n); l.crit.lost(n) }

// rule is one alarm: its name and the function that judges it.
type rule struct {
	name  alarm.Name
	judge func(w *Watch, n *Now) alarm.Condition
}

// rules is every alarm of a nest. A new alarm is a row here, a function, its words and its basis.
var rules = [...]rule{
	{alarm.NestHeat, (*Watch).nestHeat},
	{alarm.ClusterHeat, (*Watch).clusterHeatRule},
	{alarm.HeatExpected, (*Watch).heatExpected},
	chillRule: {alarm.ClusterChill, (*Watch).clusterChill},
	{alarm.NestCold, (*Watch).nestCold},
	{alarm.CheckNest, (*Watch).checkNest},
	{alarm.DoeHeat, (*Watch).doeHeat},
	{alarm.ProbeSilent, (*Watch).probeSilent},
	{alarm.ProbeFault, (*Watch).probeFault},
	{alarm.VisitOverdue, (*Watch).visitOverdue},
	{alarm.ToteWet, (*Watch).toteWet},
	{alarm.VentilationDue, (*Watch).ventilationDue},
	{alarm.BeddingDue, (*Watch).beddingDue},
	lookRule: {alarm.InspectDue, (*Watch).inspectDue},
	byClock(alarm.BoxDue),
	byClock(alarm.KindlingOverdue),
	byClock(alarm.TurnBoxDue),
	byClock(alarm.RemoveBoxDue),
	byClock(alarm.CollectDue),
	byClock(alarm.WeanDue),
	byClock(alarm.CheckPregnancyDue),
	byClock(alarm.ConfirmKindlingDue),
	byClock(alarm.RationDue),
	byClock(alarm.HideBoxDue),
	{alarm.ReturnBoxDue, (*Watch).returnBoxDue},
	{alarm.FlyStrikeDue, (*Watch).flyStrikeDue},
	{alarm.ResealToteDue, (*Watch).resealToteDue},
}

// Where rules has the chill and the inspection.
const (
	chillRule = 3
	lookRule  = 13
)

// New makes the watch of one nest. The tables and the site with its days are shared.
func New(cfg Config, loc *time.Location, tables *brood.Tables, channels *Channels, site *Site) *Watch {
	w := &Watch{cfg: cfg, loc: loc, tables: tables, plan: site.plan, site: site, marks: marks{}}
	for _, id := range cfg.Cluster {
		w.cluster = append(w.cluster, channels.Of(id, sensors.Temperature))
	}
	w.air, w.airRH = channels.Of(cfg.Air, sensors.Temperature), channels.Of(cfg.Air, sensors.Humidity)
	w.cage, w.cageRH = channels.Of(cfg.Cage, sensors.Temperature), channels.Of(cfg.Cage, sensors.Humidity)
	w.co2 = channels.Of(cfg.CO2, sensors.CO2)
	w.slots = make([]alarm.Slot, len(rules))
	site.nests = append(site.nests, cfg)
	w.days.age = unknownAge
	w.Forget()
	w.newLitter()
	return w
}

// Forget drops the detectors' last minutes, after a gap too long to bridge. What was learned of the nest and its litter stays.
func (w *Watch) Forget() {
	w.pile.forget()
	w.birth = birth{proposed: w.birth.proposed}
	w.forecast.forget()
	w.visits.forget()
	w.damp.moisture.forget()
	w.learned.forget()
}

// PutBack says that the wall clock was put back to now: dates that were worked out ahead of it are worked out anew, and what was
// done at times that have not come yet is not known to be done.
func (w *Watch) PutBack(now time.Time) {
	w.days.until, w.due.until = time.Time{}, time.Time{}
	w.learned.putBack(now.In(w.loc))
	w.birth.proposed = earlier(w.birth.proposed, now)
	w.visits.last = earlier(w.visits.last, now)
	if w.visits.openedAt.After(now) {
		w.visits.openedAt = time.Time{}
	}
	w.marks.putBack(now)
	w.visits.entered = w.marks.looked()
}

// SetLitter enters the nest's litter, or takes it out when l is nil. A litter that is new to the nest begins with a clean sheet.
func (w *Watch) SetLitter(l *litter.Litter) {
	if l == nil {
		if w.has {
			w.has, w.book = false, litter.Litter{}
			w.newLitter()
		}
		return
	}
	if !w.has || w.book.ID != l.ID {
		w.newLitter()
	}
	w.has, w.book = true, *l
	w.days.until = time.Time{}
	w.due.until = time.Time{}
}

func (w *Watch) newLitter() {
	w.birth = birth{}
	w.pile.newLitter()
	w.visits.newLitter()
	w.damp.newLitter()
	w.house = house{}
	w.days, w.due = days{age: unknownAge}, dueList{}
}

// Look works out the litter's days at once, so that what was entered shows before the next minute.
func (w *Watch) Look(n *Now) { w.days.step(w, n) }

// Step moves the watch one minute on and appends what changed to events.
func (w *Watch) Step(n *Now, events []alarm.Event) []alarm.Event {
	w.days.step(w, n)
	w.house.step(w, n)
	w.pile.step(w, n)
	w.forecast.step(w, n)
	events = w.birth.step(w, n, events)
	events = w.visits.step(w, n, events)
	w.damp.step(w, n)
	w.wet.step(w, n)
	w.learned.step(w, n)
	w.due.step(w, n)
	for i := range rules {
		name, say := rules[i].name, func(c alarm.Condition) alarm.Words { return w.words(rules[i].name, c) }
		var c alarm.Condition
		if w.plan.Wants(name) {
			c = rules[i].judge(w, n)
		}
		if e, changed := w.slots[i].Apply(n.Wall, w.cfg.ID, name, c, say); changed {
			events = append(events, e)
		}
	}
	return events
}

func (w *Watch) note(n *Now, name alarm.Name, since time.Time, c alarm.Condition, words alarm.Words) alarm.Event {
	return alarm.Event{
		Time: n.Wall, Since: since, Nest: w.cfg.ID, Name: name, State: alarm.Noted, Severity: alarm.Notice,
		Value: c.Value, HasValue: c.HasValue, Limit: c.Limit, HasLimit: c.HasLimit, Unit: c.Unit, Probe: c.Probe,
		Text: words.Text, Rule: words.Rule, Source: words.Source,
	}
}
