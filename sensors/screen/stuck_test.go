package screen_test

import (
	"math"
	"testing"

	"nestmon/sensors"
	"nestmon/sensors/screen"
)

const hour = 3600.0

func TestStuckNestProbe(t *testing.T) {
	still := func(float64) float64 { return 36.5 }
	steep := func(s float64) float64 { return 20 + 4*s/(2*hour) } // 4 K in 2 h
	slow := func(s float64) float64 { return 20 + 2.9*s/(2*hour) }
	for _, row := range []struct {
		name    string
		cluster func(float64) float64
		air     func(float64) float64
		hours   float64
		alone   bool
		want    bool
	}{
		{"stands still while the air moves", still, steep, 2, false, true},
		{"not for long enough", still, func(s float64) float64 { return 20 + s/200 }, 0.9, false, false},
		{"both stand still", still, still, 9, false, false},
		{"the air moved too little", still, slow, 2, false, false},
		{"both move", func(s float64) float64 { return 36 + math.Floor(s/600)*0.06 }, steep, 2, false, false},
		{"no other probe in the nest", still, steep, 9, true, false},
	} {
		t.Run(row.name, func(t *testing.T) {
			watches := []screen.Watch{{Probes: []string{"c", "a"}}}
			if row.alone {
				watches = []screen.Watch{{Probes: []string{"c"}}, {Probes: []string{"a"}}}
			}
			s := screen.New([]sensors.Probe{probe("c", ""), probe("a", "")}, watches...)
			var last sensors.Reading
			for sec := 0.0; sec <= row.hours*hour; sec += 30 {
				last = apply(s, at(sec, "c", temperature, row.cluster(sec)), at(sec, "a", temperature, row.air(sec)))[0]
			}
			if got := s.Stuck("c"); got != row.want {
				t.Errorf("stuck: got %v, want %v", got, row.want)
			}
			if !last.OK() || last.Suspect != row.want {
				t.Errorf("newest reading: got %+v, want suspect %v and no fault", last, row.want)
			}
			if s.Stuck("a") && row.name != "both stand still" {
				t.Error("the probe that moves is called stuck")
			}
			if row.want { // and it is over as soon as it moves
				apply(s, at(row.hours*hour+30, "c", temperature, 36.56))
				if s.Stuck("c") {
					t.Error("still stuck after the value changed")
				}
			}
		})
	}
}

func TestStuckOutsideProbe(t *testing.T) {
	// Hourly reports in whole degrees, as weather records give them.
	for _, row := range []struct {
		name  string
		hours int
		rh    func(h int) float64
		want  bool
	}{
		{"both stand still for 25 h", 25, func(int) float64 { return 51 }, true},
		{"both stand still for 24 h", 24, func(int) float64 { return 51 }, false},
		{"temperature alone, humidity moves", 46, func(h int) float64 { return 50 + float64(h/12) }, false},
	} {
		t.Run(row.name, func(t *testing.T) {
			p := probe("outside", "")
			p.Interval, p.StaleAfter = 0, sensors.StaleLimit
			s := screen.New([]sensors.Probe{p}, screen.Watch{Probes: []string{"outside"}, Outside: true})
			for h := range row.hours + 1 {
				apply(s, at(float64(h)*hour, "outside", temperature, 0), at(float64(h)*hour, "outside", humidity, row.rh(h)))
			}
			if got := s.Stuck("outside"); got != row.want {
				t.Errorf("got %v, want %v", got, row.want)
			}
		})
	}
	t.Run("without humidity nothing is said", func(t *testing.T) {
		s := screen.New([]sensors.Probe{probe("outside", "")}, screen.Watch{Probes: []string{"outside"}, Outside: true})
		for sec := 0.0; sec < 48*hour; sec += 60 {
			apply(s, at(sec, "outside", temperature, 0))
		}
		if s.Stuck("outside") {
			t.Error("a still winter night was called a fault")
		}
	})
}

func TestStuckCountsUnbrokenStretchesOnly(t *testing.T) {
	minute := 60.0
	for _, row := range []struct {
		name      string
		stretches [][2]float64 // s, from and to, one after another
		want      bool
	}{
		{"silence in between", [][2]float64{{0, 40 * minute}, {60 * minute, 70 * minute}}, false},
		{"clock set back, still for an hour since", [][2]float64{{0, 40 * minute}, {-100 * minute, -35 * minute}}, true},
		{"clock set back a moment ago", [][2]float64{{0, 90 * minute}, {-100 * minute, -90 * minute}}, false},
	} {
		t.Run(row.name, func(t *testing.T) {
			s := screen.New([]sensors.Probe{probe("c", ""), probe("a", "")}, screen.Watch{Probes: []string{"c", "a"}})
			polls := 0.0
			for _, stretch := range row.stretches {
				for sec := stretch[0]; sec <= stretch[1]; sec += 30 {
					polls++
					apply(s, at(sec, "c", temperature, 36.5), at(sec, "a", temperature, 10+polls/10))
				}
			}
			if got := s.Stuck("c"); got != row.want {
				t.Errorf("got %v, want %v", got, row.want)
			}
		})
	}
}
