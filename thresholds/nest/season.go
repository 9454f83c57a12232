package nest

import (
	"time"

	"nestmon/thresholds/brood"
	"nestmon/thresholds/litter"
)

// Numbers of the season's set-up: smoothed daily minima and maxima with hysteresis, from 120 simulated years; ours, no source.
const (
	seasonDays   = 5.0 // days of smoothing
	winterBelow  = 3.0 // °C, smoothed daily minimum
	winterAbove  = 7.0
	summerAbove  = 28.0 // °C, smoothed daily maximum
	summerBelow  = 24.0
	suddenFreeze = -5.0 // °C, one day's minimum is enough
	suddenHeat   = 35.0 // °C, one day's maximum is enough
	seasonDwell  = 4    // days between two changes, a sudden freeze or heat day apart
	// An hourly report or a poll: a day is known when its outside air was seen in this share of its minutes.
	dayKnown = 0.75
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
	sinceChange     int // days
	ground          ground
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

// sudden takes what today's air has been so far.
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
	if s.all == 0 || float64(s.minutes) < dayKnown*float64(s.all) || s.all < 12*60 {
		return
	}
	s.close(n, s.lowest, s.highest)
}

// close takes a whole day's lowest and highest air outside.
func (s *season) close(n *Now, lowest, highest float64) {
	s.ground.push((lowest + highest) / 2)
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
