package nest

import (
	"time"

	"nestmon/sensors"
	"nestmon/thresholds/air"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
)

// Site is what all nests share: the shade air outside, the season and the doe's heat.
type Site struct {
	loc    *time.Location
	air    *Channel
	rh     *Channel
	season season
	does   does
	doe    levels
	cold   levels
	faulty level
	done   time.Time // the season's set-up was marked done
	slots  []alarm.Slot
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
}

// NewSite makes the watch of what all nests share. outside may name no probe.
func NewSite(outside string, loc *time.Location, channels *Channels) *Site {
	return &Site{
		loc: loc, air: channels.Of(outside, sensors.Temperature), rh: channels.Of(outside, sensors.Humidity),
		slots: make([]alarm.Slot, len(siteRules)),
	}
}

// Step moves the site one minute on and appends what changed to events.
func (s *Site) Step(n *Now, events []alarm.Event) []alarm.Event {
	s.season.step(n, s.loc, s.air)
	s.does.step(n, s.loc, s.air, s.rh)
	for i := range siteRules {
		slot, name := &s.slots[i], siteRules[i].name
		c := siteRules[i].judge(s, n)
		e, changed := slot.Apply(n.Wall, "", name, c)
		if !changed {
			continue
		}
		if e.State == alarm.Raised {
			e.Text = siteWords(name, c)
			slot.Say(e.Text)
		} else {
			e.Text = over("", name)
		}
		events = append(events, e)
	}
	return events
}

// Season is the make-up the weather asks for.
func (s *Site) Season() brood.Season { return s.season.Season() }

// THI is the rabbit index of the air outside.
func (s *Site) THI(n *Now) (float64, bool) {
	if !s.air.Fresh(n) || !s.rh.Fresh(n) {
		return 0, false
	}
	return air.THI(s.air.value, s.rh.value), true
}

// doeHeat needs the air outside; humidity makes it an index, without it the dry bulb alone is judged.
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
		s.cold.lost()
		return alarm.Condition{Hold: true}
	}
	return s.cold.below(n, s.air, brood.Limit{C: brood.DoeColdWarn, Delay: doeColdDelay}, brood.Limit{C: brood.DoeColdUrgent, Delay: doeColdDelay})
}

func (s *Site) seasonSetupDue(_ *Now) alarm.Condition {
	season := s.season.Season()
	if season == brood.Mild || !s.done.Before(s.season.since) {
		return alarm.Condition{}
	}
	return alarm.Condition{Severity: alarm.Notice, Since: s.season.since, Why: string(season), Value: round2(s.season.decided), HasValue: true, Unit: "C", Probe: s.air.Probe}
}

func (s *Site) probeSilent(n *Now) alarm.Condition {
	if s.air == nil || !s.air.known || s.air.silentFor(n) <= s.air.stale {
		return alarm.Condition{}
	}
	silent := s.air.silentFor(n)
	return alarm.Condition{
		Severity: alarm.Warning, Since: n.Wall.Add(-silent), Value: round2(silent.Hours()), HasValue: true, Limit: round2(s.air.stale.Hours()), HasLimit: true, Unit: "h", Probe: s.air.Probe,
	}
}

func (s *Site) probeFault(n *Now) alarm.Condition {
	c := alarm.Condition{}
	for _, ch := range []*Channel{s.air, s.rh} {
		switch {
		case ch == nil:
			continue
		case ch.wrong >= wrongRun:
			c.Why = string(ch.fault)
		case ch.suspects > 1 && n.Mono-ch.oddSince >= oddFor:
			c.Why = whyOdd
		default:
			continue
		}
		c.Count++
		c.Probe, c.Severity = ch.Probe, alarm.Warning
	}
	s.faulty.step(n, c.Count > 0)
	c.Since = s.faulty.since
	return c
}
