package screen_test

import (
	"testing"

	"nestmon/sensors"
	"nestmon/sensors/screen"
)

func TestOddValuesAreSuspectUntilASecondAgrees(t *testing.T) {
	for _, row := range []struct {
		name    string
		spacing float64 // s
		values  []float64
		suspect string // one letter a value: . true, s suspect
	}{
		{"quiet", 30, []float64{36.5, 36.5, 36.56, 36.5, 36.44, 36.5, 36.5, 36.56}, "........"},
		{"one spike", 30, []float64{36.5, 36.5, 36.5, 36.5, 36.5, 44, 36.5, 36.5}, ".....s.."},
		{"spike down and up", 30, []float64{36.5, 36.5, 36.5, 36.5, 30, 44, 36.5}, "....ss."},
		{"a step that persists", 30, []float64{36.5, 36.5, 36.5, 36.5, 30, 30, 30, 30, 30.06}, "....s...."},
		{"a fall that goes on", 30, []float64{36.5, 36.5, 36.5, 36.5, 34, 32, 30.5, 29, 28}, "....s...."},
		{"faster than a probe can follow", 5, []float64{28.4, 28.4, 34.5, 28.4}, "..s."},
		{"step back and forth, slow", 30, []float64{20, 20, 20, 20, 25, 25, 20, 20, 20}, "....s...."},
		{"hourly weather that jumps by 11 K and stays", 3600, []float64{-3, -3, -3, -3, 8, 8, 7}, "......."},
	} {
		t.Run(row.name, func(t *testing.T) {
			p := probe("a1", "")
			if row.spacing > 30 {
				p.StaleAfter = sensors.StaleLimit
			}
			s := screen.New([]sensors.Probe{p})
			got := ""
			for i, v := range row.values {
				r := apply(s, at(float64(i)*row.spacing, "a1", temperature, v))[0]
				switch {
				case !r.OK():
					t.Fatalf("value %d (%v) was rejected: %s", i, v, r.Fault)
				case r.Suspect:
					got += "s"
				default:
					got += "."
				}
				if r.Value != v {
					t.Errorf("value %d was replaced: got %v, want %v", i, r.Value, v)
				}
			}
			if got != row.suspect {
				t.Errorf("got %s, want %s", got, row.suspect)
			}
		})
	}
}

// A fire-like warming has this shape in a real log of a mote (28.4, 36.39, …, 56.56 °C within half a minute, back under
// 30 °C after another 75 s; Suthaharan and others 2010, mote 1); the values between those are invented here.
func TestAFastTrueWarmingPasses(t *testing.T) {
	values := []float64{
		28.41, 28.4, 28.39, 28.4, 28.4, 28.41, 28.4, 28.4,
		36.39, 42.1, 47.9, 52.6, 55.2, 56.56, 55.1, 51.9, 47.3, 43.4, 40.2, 38.1, 36.6, 35.2, 34.1, 33, 32.1, 31.3, 30.6, 29.9, 29.4, 29.1,
	}
	for _, spacing := range []float64{5, 30, 120} {
		p := probe("mote", "")
		p.StaleAfter = sensors.DefaultStaleAfter(p.Interval * 4)
		s := screen.New([]sensors.Probe{p})
		suspects := 0
		for i, v := range values {
			r := apply(s, at(float64(i)*spacing, "mote", temperature, v))[0]
			if !r.OK() || r.Value != v {
				t.Errorf("every %v s, value %d: %v became %+v", spacing, i, v, r)
			}
			if r.Suspect {
				suspects++
			}
		}
		if suspects > 3 { // a turn of direction may cost one each time
			t.Errorf("every %v s: %d of %d values stay suspect, so an alarm would starve", spacing, suspects, len(values))
		}
	}
}

func TestAfterSilenceNothingIsOdd(t *testing.T) {
	s := screen.New([]sensors.Probe{probe("a1", "")}) // stale after 90 s
	for i := range 8 {
		apply(s, at(float64(i)*30, "a1", temperature, 36.5))
	}
	if r := apply(s, at(7*30+91, "a1", temperature, 20))[0]; r.Suspect {
		t.Error("a value after 91 s of silence was judged by those before it")
	}
}
