package simulated_test

import (
	"testing"
	"time"

	"nestmon/sensors/simulated"
)

// course is the demonstration as it truly goes in one nest.
type course struct {
	hot, cold        time.Duration // box air above 35 °C; core of living kits under 30 °C
	hottest, coldest float64       // air, core
	after            float64       // °C of air two hours after it was last hot
	lastHot          time.Time
	wettest, driest  float64 // % RH
	co2              float64 // most
	last             simulated.Truth
}

func runDemo(t *testing.T, start time.Time) (*simulated.Demo, map[string]*course) {
	t.Helper()
	d, err := simulated.NewDemo(start)
	if err != nil {
		t.Fatal(err)
	}
	const spacing = time.Minute
	courses := make(map[string]*course)
	for _, n := range d.Nests {
		courses[n.ID] = &course{coldest: 99, driest: 100}
	}
	for now := d.World.Now(); now.Before(d.End); now = now.Add(spacing) {
		d.World.Advance(now)
		for id, c := range courses {
			x, _ := d.World.Truth(id)
			c.last = x
			c.wettest, c.driest = max(c.wettest, x.Humidity), min(c.driest, x.Humidity)
			c.hottest, c.co2 = max(c.hottest, x.Air), max(c.co2, x.CO2)
			if x.Air > 35 {
				c.hot += spacing
				c.lastHot = now
			}
			if !c.lastHot.IsZero() && now.Equal(c.lastHot.Add(2*time.Hour)) {
				c.after = x.Air
			}
			if x.Kits > 0 {
				c.coldest = min(c.coldest, x.Core)
			}
			if x.Kits > 0 && x.Alive && x.Core < 30 {
				c.cold += spacing
			}
		}
	}
	return d, courses
}

func TestDemoShowsWhatItPromises(t *testing.T) {
	for _, start := range []time.Time{
		time.Date(2025, 9, 1, 0, 0, 0, 0, time.UTC),
		time.Date(2026, 1, 15, 17, 30, 0, 0, time.FixedZone("far", -5*3600)),
	} {
		t.Run(start.Format(time.DateOnly), func(t *testing.T) {
			d, courses := runDemo(t, start)
			for id, c := range courses {
				t.Logf("%-8s hottest air %.1f, over 35 °C %v, coldest core %.1f, under 30 °C %v, RH %.0f..%.0f, CO2 to %.0f",
					id, c.hottest, c.hot, c.coldest, c.cold, c.driest, c.wettest, c.co2)
				if !c.last.Alive || c.last.Core < 36 {
					t.Errorf("%s ends with %+v", id, c.last)
				}
				if c.driest < 20 || c.wettest > 100 {
					t.Errorf("%s: humidity from %.0f to %.0f %%", id, c.driest, c.wettest)
				}
				if id != "yard-1" && c.hot > 0 {
					t.Errorf("%s is over 35 °C for %v; only the metal box in the sun is to be", id, c.hot)
				}
				if id != "north-2" && c.coldest < 33 {
					t.Errorf("%s chills to %.1f °C; only north-2 is to", id, c.coldest)
				}
			}
			if c := courses["yard-1"]; c.hot <= 30*time.Minute || c.after >= 33 {
				t.Errorf("yard-1 is over 35 °C for %v and has %.1f °C two hours later", c.hot, c.after)
			}
			if c := courses["north-2"]; c.cold < 30*time.Minute {
				t.Errorf("north-2 is under 30 °C for %v, at least %.1f °C", c.cold, c.coldest)
			}
			if c := courses["north-1"]; c.co2 < 8000 {
				t.Errorf("north-1 has at most %.0f ppm behind its blocked vent", c.co2)
			}
			kindled := false
			for _, h := range d.World.Happenings("yard-2") {
				kindled = kindled || h.Kind == simulated.Kindled
			}
			if !kindled {
				t.Error("nothing kindles in yard-2")
			}
			for i, line := range d.Script {
				if line.Text == "" || line.Time.After(d.End) || i > 0 && line.Time.Before(d.Script[i-1].Time) {
					t.Errorf("line %d of the script: %+v", i, line)
				}
			}
			for _, l := range d.Litters {
				if days := l.Kindled.Sub(l.Bred).Hours() / 24; days < 30 || days > 32 {
					t.Errorf("%s kindles %.1f days after breeding", l.Nest, days)
				}
			}
		})
	}
}
