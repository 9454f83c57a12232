package nest

import (
	"time"

	"nestmon/sensors"
	"nestmon/thresholds/air"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
	"nestmon/thresholds/litter"
)

// Site is what all nests share: the shade air outside, the season and the doe's heat.
type Site struct {
	loc    *time.Location
	plan   *litter.Days // when chores are due
	air    *Channel
	rh     *Channel
	season season
	does   does
	doe    levels
	cold   levels
	harsh  bool // kits that nobody sees could come to harm
	lost   silence
	supply battery
	nests  []Config // for the words of the season's set-up
	// The nests' word about the probe outside: it reads as a cluster does, or warmer than all nests' air.
	swapped, warmer  claim
	marks            marks
	frost            spell // the does' water freezes
	flying, swarming spell // flies come to damp bedding, and to does and kits
	slots            []alarm.Slot
}

type siteRule struct {
	name  alarm.Name
	judge func(s *Site, n *Now) alarm.Condition
}

// siteRules is every alarm that belongs to no nest.
var siteRules = [...]siteRule{
	{alarm.DoeHeat, (*Site).doeHeat},
	{alarm.DoeCold, (*Site).doeCold},
	{alarm.SeasonSetupDue, (*Site).seasonSetupDue},
	{alarm.ProbeSilent, (*Site).probeSilent},
	{alarm.ProbeFault, (*Site).probeFault},
	{alarm.WaterDue, (*Site).waterDue},
	{alarm.FlyStrikeDue, (*Site).flyStrikeDue},
}

// NewSite makes the watch of what all nests share. outside may name no probe.
func NewSite(outside string, loc *time.Location, plan *litter.Days, channels *Channels) *Site {
	return &Site{
		loc: loc, plan: plan, marks: marks{}, air: channels.Of(outside, sensors.Temperature), rh: channels.Of(outside, sensors.Humidity),
		slots: make([]alarm.Slot, len(siteRules)),
	}
}

// Step moves the site one minute on and appends what changed to events.
func (s *Site) Step(n *Now, events []alarm.Event) []alarm.Event {
	s.season.step(n, s.loc, s.air)
	s.does.step(n, s.loc, s.air, s.rh)
	s.judgeHarsh(n)
	s.spells(n)
	for i := range siteRules {
		name, say := siteRules[i].name, func(c alarm.Condition) alarm.Words { return s.words(siteRules[i].name, c) }
		var c alarm.Condition
		if s.plan.Wants(name) {
			c = siteRules[i].judge(s, n)
		}
		if e, changed := s.slots[i].Apply(n.Wall, "", name, c, say); changed {
			events = append(events, e)
		}
	}
	return events
}

// Day is one whole day of the air outside, °C.
type Day struct {
	Begin, End      time.Time
	Lowest, Highest float64
}

// Weather takes the weeks before today, at least a day, oldest first, in place of what is known of them: the season is smoothed over days, and heat is
// new to a doe for a week.
func (s *Site) Weather(past []Day) {
	was := s.season
	s.season = season{until: s.season.until, lowest: s.season.lowest, highest: s.season.highest, minutes: s.season.minutes, all: s.season.all, ahead: was.ahead}
	s.does.cool, s.does.hotDays, s.does.unused = 0, 0, false
	for _, d := range past {
		s.season.sinceChange++
		s.season.sudden(&Now{Wall: d.Begin}, d.Lowest, d.Highest)
		s.season.close(&Now{Wall: d.End}, d.Lowest, d.Highest)
		s.does.close(d.Highest)
	}
	if today := past[len(past)-1].End; was.since.After(today.Add(time.Minute)) { // a sudden day, not the midnight's reckoning
		s.season.change(&Now{Wall: was.since}, was.now, was.decided)
	}
}

// PutBack says that the wall clock was put back to now.
func (s *Site) PutBack(now time.Time) {
	s.season.putBack(now, s.loc)
	s.does.until = litter.NextDay(now, s.loc)
	s.marks.putBack(now)
	s.frost.putBack(now)
	s.flying.putBack(now)
	s.swarming.putBack(now)
}

// Season is the make-up the weather asks for.
func (s *Site) Season() brood.Season { return s.season.Season() }

// Decided is that of the weather that was seen, empty while there was too little.
func (s *Site) Decided() brood.Season { return s.season.now }

// THI is the rabbit index of the air outside.
func (s *Site) THI(n *Now) (float64, bool) {
	if !s.air.Fresh(n) || !s.rh.Fresh(n) {
		return 0, false
	}
	return air.THI(s.air.value, s.rh.value), true
}

// doeHeat needs the air outside; where its humidity is not known the air is taken as damp.
func (s *Site) doeHeat(n *Now) alarm.Condition {
	if s.air == nil {
		return alarm.Condition{}
	}
	return s.does.judge(n, s.air, s.rh, &s.doe)
}

// doeCold needs the air outside.
func (s *Site) doeCold(n *Now) alarm.Condition {
	if s.air == nil {
		return alarm.Condition{}
	}
	if !s.air.Fresh(n) {
		s.cold.lost(n)
		return alarm.Condition{Hold: true}
	}
	return s.cold.below(n, s.air, brood.Limit{C: brood.DoeColdWarn, Delay: doeColdDelay}, brood.Limit{C: brood.DoeColdUrgent, Delay: doeColdDelay})
}

func (s *Site) probeSilent(n *Now) alarm.Condition {
	c, longest, cut := alarm.Condition{Sure: true}, time.Duration(0), 0
	s.vital(func(ch *Channel) {
		silent := ch.silentFor(n)
		c.Hold = c.Hold || ch.undecided(n)
		if silent <= ch.stale {
			return
		}
		longest = max(longest, silent)
		if ch.cut {
			cut++
		}
		c.Why = s.supply.also(c.Count, ch)
		if c.Count++; c.Count == 1 {
			c.Since, c.Probe, c.Unit = n.Wall.Add(-silent), ch.Probe, "h"
			c.Value, c.Limit, c.HasValue, c.HasLimit = round2(silent.Hours()), ch.stale.Hours(), true, true
		}
	})
	c.Severity = s.lost.step(n, c.Count, longest)
	c.Hold = cut > 0 && cut == c.Count || c.Count == 0 && (c.Hold || s.lost.held())
	return c
}

func (s *Site) probeFault(n *Now) alarm.Condition {
	c := faulty(n, &s.lost.faulty, s.vital)
	if c.Count == 0 {
		failing(n, &s.lost.frays, &c, s.vital)
		c.Hold = c.Hold && c.Count == 0
	}
	return c
}

// vital visits every channel of the site that somebody must be told of when it has nothing to say.
func (s *Site) vital(visit func(c *Channel)) {
	s.Places(visit)
	if s.supply.volts != nil {
		visit(s.supply.volts)
	}
}
