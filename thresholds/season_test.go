package thresholds_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"nestmon/sensors"
	"nestmon/thresholds"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
	"nestmon/thresholds/nest"
)

// outdoors runs outside air alone, a reading every ten minutes, and gives the season after each, from h hours on.
func outdoors(r *thresholds.Rabbitry, hours int, air func(h float64) float64, see func(h float64, s brood.Season)) (events []alarm.Event) {
	for i := range hours * 6 {
		h := float64(i) / 6
		at := start.Add(time.Duration(i) * 10 * time.Minute)
		events = append(events, r.Observe(at, []sensors.Reading{{Probe: "shade", Time: at, Value: air(h)}})...)
		if see != nil {
			see(h, r.Snapshot().Season)
		}
	}
	return events
}

func weatherOnly(t *testing.T, nests ...nest.Config) *thresholds.Rabbitry {
	t.Helper()
	ps := probes()
	for i := range ps {
		ps[i].Interval, ps[i].StaleAfter = 10*time.Minute, 30*time.Minute
	}
	return made(t, ps, nests...)
}

// daily is a day's course, coldest at three in the night.
func daily(mean, swing, h float64) float64 { return mean - swing*math.Cos(2*math.Pi*(h-3)/24) }

// Weather that comes within days is told of in the evening before the night it brings, or in the morning of the day; five days' means see
// neither by then. A front that brings a frost within hours is told of when it is there.
func TestSuddenWeatherIsToldBeforeIt(t *testing.T) {
	for name, c := range map[string]struct {
		air       func(h float64) float64
		want      brood.Season
		dangerous func(v float64) bool
		from      float64 // h: before it nothing shows
		lead      float64 // h, at least
	}{
		"frost":          {func(h float64) float64 { return daily(8.4-h/24, 4, h) }, brood.Winter, func(v float64) bool { return v < -2 }, 6*24 + 12, 3},
		"heat":           {func(h float64) float64 { return daily(15+1.5*h/24, 5, h) }, brood.Summer, func(v float64) bool { return v > 32 }, 8 * 24, 2},
		"a sudden front": {func(h float64) float64 { return daily(8, 4, h) - min(max(h-6*24-12, 0), 12) }, brood.Winter, func(v float64) bool { return v < -2 }, 6 * 24, -0.5},
	} {
		t.Run(name, func(t *testing.T) {
			asked, danger := math.Inf(1), math.Inf(1)
			outdoors(weatherOnly(t), 10*24, c.air, func(h float64, s brood.Season) {
				if s == c.want {
					asked = min(asked, h)
				}
				if c.dangerous(c.air(h)) {
					danger = min(danger, h)
				}
			})
			if math.IsInf(danger, 1) {
				t.Fatal("the course holds no danger")
			}
			if asked < c.from || danger-asked < c.lead {
				t.Errorf("asked for at hour %.1f, dangerous at %.1f, to be seen from %.1f", asked, danger, c.from)
			}
		})
	}
}

// Two weeks at the edge do not change the make-up daily.
func TestSeasonDoesNotFlip(t *testing.T) {
	for name, mean := range map[string]float64{"edge of winter": 6, "edge of summer": 21} {
		t.Run(name, func(t *testing.T) {
			changes, was := 0, brood.Mild
			outdoors(weatherOnly(t), 28*24, func(h float64) float64 {
				wobble := 3.0
				if int(h/24)%2 == 0 {
					wobble = -3
				}
				return daily(mean+wobble, 4, h)
			}, func(_ float64, s brood.Season) {
				if s != was {
					changes, was = changes+1, s
				}
			})
			if changes > 1 {
				t.Errorf("%d changes in four weeks", changes)
			}
		})
	}
}

func TestMakeupWords(t *testing.T) {
	bare, lined := nest.Config{ID: "elm", Kind: brood.MetalBox}, nest.Config{ID: "ash", Kind: brood.MetalBox, Lined: true}
	wood, tote := nest.Config{ID: "oak", Kind: brood.WoodenBox, Floor: brood.WireFloor}, nest.Config{ID: "yew", Kind: brood.BuriedTote}
	for name, c := range map[string]struct {
		nests       []nest.Config
		air         float64
		says, hides []string
	}{
		"wood in winter":  {[]nest.Config{wood}, -6, []string{"3 inches (7.6 cm)", "over the wire", "-6.0 °C (21.2 °F)"}, []string{"Metal", "pipe"}},
		"metal in winter": {[]nest.Config{bare}, -6, []string{"line the walls with corrugated cardboard"}, []string{"pipe"}},
		"tote in winter":  {[]nest.Config{tote}, -6, []string{"pipe open", "lid"}, []string{"Boxes", "Metal"}},
		"wood in summer":  {[]nest.Config{wood}, 34, []string{"1 inch (2.5 cm)", "screen floor"}, []string{"Metal", "pipe"}},
		"tote in summer":  {[]nest.Config{tote}, 34, []string{"pipe", "1 inch (2.5 cm)"}, []string{"Boxes"}},
		"no nest entered": {nil, -6, []string{"Boxes", "Metal", "Totes"}, nil},
		"bare and lined":  {[]nest.Config{bare, lined}, -6, []string{"Metal"}, nil},
	} {
		t.Run(name, func(t *testing.T) {
			_, e := first(outdoors(weatherOnly(t, c.nests...), 2, func(h float64) float64 { return c.air }, nil), alarm.SeasonSetupDue)
			if side := map[bool]string{true: "day's highest air", false: "day's lowest air"}[c.air > 0]; !strings.Contains(e.Rule, side) {
				t.Errorf("rule %q, want the %s", e.Rule, side)
			}
			for _, s := range c.says {
				if !strings.Contains(e.Text, s) {
					t.Errorf("%q does not say %q", e.Text, s)
				}
			}
			for _, s := range c.hides {
				if strings.Contains(e.Text, s) {
					t.Errorf("%q says %q", e.Text, s)
				}
			}
		})
	}
}

// Bare metal stays asked for in winter, whatever was marked done, until it is entered as lined.
func TestBareMetalInWinter(t *testing.T) {
	for name, c := range map[string]struct {
		lined    bool
		standing int
	}{"bare": {false, 1}, "lined": {true, 0}} {
		t.Run(name, func(t *testing.T) {
			r := weatherOnly(t, nest.Config{ID: "elm", Kind: brood.MetalBox, Lined: c.lined})
			outdoors(r, 2, func(float64) float64 { return -6 }, nil)
			if err := r.Done("", alarm.SeasonSetupDue, start.Add(2*time.Hour)); err != nil {
				t.Fatal(err)
			}
			r.Observe(start.Add(125*time.Minute), nil)
			n := 0
			for _, st := range r.Standing() {
				if st.Name == alarm.SeasonSetupDue {
					if n++; !strings.Contains(st.Text, "elm") || !strings.Contains(st.Text, "cardboard") {
						t.Errorf("%q", st.Text)
					}
					if !strings.Contains(st.Rule, "day's lowest air") || !strings.Contains(st.Rule, "lined") {
						t.Errorf("rule %q", st.Rule)
					}
				}
			}
			if n != c.standing {
				t.Errorf("%d stand, want %d", n, c.standing)
			}
		})
	}
}
