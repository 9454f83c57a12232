package simulated

import "time"

// Climate is the same day again and again: coldest at 3 h, warmest at 15 h local time.
type Climate struct {
	Low, High float64 // °C
	DewPoint  float64 // °C
	Sun       float64 // at noon, 0..1
}

// At implements Weather.
func (c Climate) At(t time.Time) Conditions {
	return Conditions{
		Temperature: (c.Low+c.High)/2 + (c.High-c.Low)/2*swing(t),
		DewPoint:    c.DewPoint,
		Sun:         c.Sun * Daylight(t),
	}
}

// Spell is a climate that rules for a while: a heat wave, a freeze.
type Spell struct {
	Climate
	From, To time.Time     // at full strength
	Ramp     time.Duration // in which it comes before From and goes after To
}

// weight is how far the spell rules, 0..1, smooth at both ends.
func (s Spell) weight(t time.Time) float64 {
	away := max(s.From.Sub(t), t.Sub(s.To))
	switch {
	case away <= 0:
		return 1
	case away >= s.Ramp:
		return 0
	}
	x := 1 - float64(away)/float64(s.Ramp)
	return x * x * (3 - 2*x)
}

// Scenario is weather by script: spells upon a base, later ones upon earlier ones.
type Scenario struct {
	Base   Weather
	Spells []Spell
}

// At implements Weather.
func (s Scenario) At(t time.Time) Conditions {
	c := s.Base.At(t)
	for i := range s.Spells {
		if w := s.Spells[i].weight(t); w > 0 {
			c = blend(c, s.Spells[i].At(t), w)
		}
	}
	return c
}
