package nest

import (
	"time"

	"nestmon/thresholds/brood"
	"nestmon/thresholds/litter"
)

// Numbers of the season's set-up: smoothed daily minima and maxima with hysteresis, and at once when a freeze or heat comes or is to come.
// Found on 60 simulated years, kept on 60 others and two real ones; ours, no source.
const (
	seasonDays   = 5.0 // days of smoothing
	winterBelow  = 2.0 // °C, smoothed daily minimum
	winterAbove  = 8.0
	summerAbove  = 26.0 // °C, smoothed daily maximum
	summerBelow  = 21.0
	suddenFreeze = -2.0 // °C: colder, now or as expected, and the winter make-up is asked for at once
	suddenHeat   = 32.0 // °C, of the summer make-up
	seasonDwell  = 4    // days between two changes, a sudden freeze or heat day apart
	// An hourly report or a poll: a day is known when its outside air was seen in this share of its minutes.
	dayKnown = 0.75

	aheadHours = 12   // h of looking ahead: an evening sees its night, a morning its afternoon
	aheadDecay = 0.90 // an hour: how what today differs from yesterday wears off
	aheadKnown = 15   // minutes of an hour with a reading; an hourly report holds that long
)

// season follows which make-up the weather asks for.
type season struct {
	now     brood.Season // empty while no day is known
	since   time.Time
	decided float64 // °C, the smoothed value or the day's that decided

	until           time.Time
	lowest, highest float64
	minutes, all    int
	mins, maxs      ewma
	sinceChange     int     // days
	yesterday       float64 // °C, its lowest; valid where known
	known           bool
	ground          ground
	ahead           ahead
}

// Season is the make-up the weather asks for; mild while nothing is known.
func (s *season) Season() brood.Season {
	if s.now == "" {
		return brood.Mild
	}
	return s.now
}

func (s *season) step(n *Now, loc *time.Location, out *Channel) {
	if out == nil {
		return
	}
	if !n.Wall.Before(s.until) {
		s.newDay(n)
		s.until = litter.NextDay(n.Wall, loc)
		s.minutes, s.all = 0, 0
	}
	s.all++
	if lowest, highest, ok := s.ahead.step(n, out); ok && s.mins.ok {
		s.sudden(n, lowest, highest)
	}
	if !out.Fresh(n) {
		return
	}
	if s.minutes == 0 {
		s.lowest, s.highest = out.value, out.value
	}
	s.minutes++
	s.lowest, s.highest = min(s.lowest, out.value), max(s.highest, out.value)
	if s.minutes > 1 {
		s.sudden(n, s.lowest, s.highest)
	}
}

// sudden takes what the air has been today, or is expected to be.
func (s *season) sudden(n *Now, lowest, highest float64) {
	switch {
	case lowest < suddenFreeze:
		s.change(n, brood.Winter, lowest)
	case highest > suddenHeat:
		s.change(n, brood.Summer, highest)
	}
}

var seasonWeight = perMinute(seasonDays) // pushed once a day, so its time constant is in days

// putBack says that the wall clock was put back: today ends at another instant.
func (s *season) putBack(now time.Time, loc *time.Location) {
	s.until, s.since = litter.NextDay(now, loc), earlier(s.since, now)
}

func (s *season) newDay(n *Now) {
	s.sinceChange++
	if s.known = false; s.all == 0 || float64(s.minutes) < dayKnown*float64(s.all) || s.all < 12*60 {
		return
	}
	s.close(n, s.lowest, s.highest)
}

// close takes a whole day's lowest and highest air outside.
func (s *season) close(n *Now, lowest, highest float64) {
	s.ground.push((lowest + highest) / 2)
	s.yesterday, s.known = lowest, true
	s.mins.push(lowest, seasonWeight)
	s.maxs.push(highest, seasonWeight)
	low, high := s.mins.value, s.maxs.value
	switch {
	case s.now != "" && s.sinceChange < seasonDwell:
	case s.Season() == brood.Winter && low > winterAbove, s.Season() == brood.Summer && high < summerBelow:
		s.change(n, brood.Mild, low)
	case low < winterBelow && s.Season() != brood.Summer:
		s.change(n, brood.Winter, low)
	case high > summerAbove && s.Season() != brood.Winter:
		s.change(n, brood.Summer, high)
	case s.now == "":
		s.change(n, brood.Mild, low)
	}
}

func (s *season) change(n *Now, to brood.Season, decided float64) {
	if s.now == to {
		return
	}
	s.now, s.since, s.decided, s.sinceChange = to, n.Wall, decided, 0
}

// ahead expects of the next hours what the same hours of yesterday were, shifted by what now differs from then. It sees a frost that comes
// night by night, hours ahead; a front that falls ten degrees in an afternoon is told when it is there.
type ahead struct {
	last         time.Duration // minute seen
	minute, seen int
	sum          float64
	past         [hoursInDay]hourly // of a day; at is the oldest, a day ago
	at           int
}

// hourly is an hour's mean, °C.
type hourly struct {
	Mean float32
	OK   bool
}

// step gives the lowest and highest air expected, once an hour; ok where yesterday is known at this hour.
func (a *ahead) step(n *Now, out *Channel) (lowest, highest float64, ok bool) {
	if n.Mono-a.last > time.Hour { // a gap nobody bridged: the hours no longer lie a day apart
		*a = ahead{}
	}
	a.last = n.Mono
	if out.Fresh(n) {
		a.seen++
		a.sum += out.value
	}
	if a.minute++; a.minute < minutesInHour {
		return 0, 0, false
	}
	now, was := hourly{float32(a.sum / float64(max(a.seen, 1))), a.seen >= aheadKnown}, a.past[a.at]
	a.past[a.at] = now
	a.at = (a.at + 1) % hoursInDay
	a.minute, a.seen, a.sum = 0, 0, 0
	if !now.OK || !was.OK {
		return 0, 0, false
	}
	lowest, highest = float64(now.Mean), float64(now.Mean)
	differs := float64(now.Mean - was.Mean)
	for h := range aheadHours {
		differs *= aheadDecay
		if then := a.past[(a.at+h)%hoursInDay]; then.OK {
			lowest, highest = min(lowest, float64(then.Mean)+differs), max(highest, float64(then.Mean)+differs)
		}
	}
	return lowest, highest, true
}
