package onewire_test

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"runtime"
	"testing"
	"time"

	"nestmon/sensors/onewire/onewiretest"
)

// script does random harm to a barn.
type script struct {
	*rand.Rand
	*barn
	until []func() // undoes at the end of the poll what was done for it
}

// harms are what may happen in a poll.
var harms = []func(s *script){
	func(s *script) { s.line.Low = true; s.later(func() { s.line.Low = false }) },
	func(s *script) { s.line.Cut = true; s.later(func() { s.line.Cut = false }) },
	func(s *script) { s.after(func() { s.line.Low = true }); s.later(func() { s.line.Low = false }) },
	func(s *script) { s.after(func() { s.line.Cut = true }); s.later(func() { s.line.Cut = false }) },
	func(s *script) { c := s.chip(); c.Unplugged = !c.Unplugged },
	func(s *script) { c := s.chip(); s.after(func() { c.Unplugged = !c.Unplugged }) },
	func(s *script) { s.chip().PowerUp() },
	func(s *script) { c := s.chip(); s.after(c.PowerUp) },
	func(s *script) { c := s.chip(); c.Fails = true; s.later(func() { c.Fails = false }) },
	func(s *script) { s.chip().Deaf = 1 + s.IntN(2) },
	func(s *script) {
		c := s.chip()
		c.Takes = 900 * time.Millisecond
		s.later(func() { c.Takes = 750 * time.Millisecond })
	},
	func(s *script) { // one to three bits: the Dallas CRC sees them all
		c := s.chip()
		c.Spoil = func(pad []byte) {
			for range 1 + s.IntN(3) {
				pad[s.IntN(9)] ^= 1 << s.IntN(8)
			}
		}
		s.later(func() { c.Spoil = nil })
	},
	func(s *script) { // noise that spoils commands too
		rate := 0.004 * s.Float64()
		s.line.Noise = func() bool { return s.Float64() < rate }
	},
	func(s *script) { s.chip().Store([]byte{0x1f, 0x3f, 0x5f, 0x7f}[s.IntN(4)]) },
	func(s *script) { s.fail(1) },
	func(s *script) { s.fail(5) },
	func(s *script) { s.fail(1 << 20) },
	func(s *script) {
		if s.netlink != nil {
			s.netlink.Short = s.IntN(10)
			s.later(func() { s.netlink.Short = 0 })
		}
	},
	func(s *script) {
		if s.bridge != nil {
			s.bridge.Stuck = true
			s.later(func() { s.bridge.Stuck = false })
		}
	},
	func(s *script) {
		if s.bridge != nil {
			s.after(s.bridge.Reset)
		}
	},
}

func (s *script) later(undo func()) { s.until = append(s.until, undo) }

func (s *script) chip() *onewiretest.DS18B20 { return s.chips[s.IntN(len(s.chips))] }

// after does something at a random bit of the poll.
func (s *script) after(do func()) {
	left := s.IntN(500)
	s.line.Noise = func() bool {
		if left--; left == 0 {
			do()
		}
		return false
	}
}

// fail lets n messages, or I2C transactions, fail from some point of the poll on.
func (s *script) fail(n int) {
	skip := s.IntN(8)
	if s.bridge != nil {
		skip = s.IntN(200)
	}
	lost := func() bool { skip--; return skip < 0 && skip >= -n }
	if s.netlink != nil {
		s.netlink.Lose = lost
		s.later(func() { s.netlink.Lose = nil })
		return
	}
	s.i2c.Fault = func() error {
		if lost() {
			return errors.New("sysfs-i2c: connection timed out")
		}
		return nil
	}
	s.later(func() { s.i2c.Fault = nil })
}

// play runs one script, and returns how many values were accepted and how many of them were not of this poll.
func (s *script) play(polls int) (accepted, old int, err error) {
	past := make([]map[float64]bool, len(s.chips))
	for n := range past {
		past[n] = map[float64]bool{}
	}
	s.clock.Advance(time.Second) // an hour of 0 means never
	for poll := range polls {
		for n, c := range s.chips {
			c.Set(float64(s.IntN(70*16)-20*16) / 16)
			past[n][float64(c.Raw)/16] = true
		}
		for range s.IntN(3) {
			harms[s.IntN(len(harms))](s)
		}
		before, start := s.line.Converts, s.clock.Now()
		for n, r := range s.Read(context.Background()) {
			switch truth := float64(s.chips[n].Raw) / 16; {
			case !r.OK() && r.Value != 0:
				return 0, 0, fmt.Errorf("poll %d: a value beside a fault: %+v", poll, r)
			case !r.OK():
			case same(r.Value, truth):
				accepted++
			case s.chips[n].Said < start && s.excused(n, r.Value, past[n]):
				accepted++
				old++
			default:
				return 0, 0, fmt.Errorf("poll %d: %s is %v, and was read as %v: chip %+v, from %v", poll, r.Probe, truth, r.Value, *s.chips[n], start)
			}
		}
		if n := s.line.Converts - before; n > 2 {
			return 0, 0, fmt.Errorf("poll %d: %d conversions", poll, n)
		}
		if open := s.leaks(); open != 0 {
			return 0, 0, fmt.Errorf("poll %d: %d left open", poll, open)
		}
		for _, undo := range s.until {
			undo()
		}
		s.until, s.line.Noise = nil, nil
		s.clock.Advance(30 * time.Second)
	}
	for _, c := range s.chips { // all is mended
		c.Unplugged, c.Deaf = false, 0
	}
	for n, r := range s.Read(context.Background()) {
		if !r.OK() || !same(r.Value, float64(s.chips[n].Raw)/16) {
			return 0, 0, fmt.Errorf("after all was mended: %+v", r)
		}
	}
	return accepted, old, nil
}

// same allows for the bits that a lower resolution does not have.
func same(got, truth float64) bool {
	return got == truth || got == math.Floor(truth*2)/2 || got == math.Floor(truth*4)/4 || got == math.Floor(truth*8)/8
}

// excused reports whether a chip that ended no conversion in this poll may answer so by the package's story: with what it converted
// before, or, of family D, with the value of its start. If it converted at 9 bit and was set to 12 since, up to half a degree of that
// is bits without meaning.
func (s *script) excused(n int, got float64, past map[float64]bool) bool {
	if m := s.chips[n].Make; (m == onewiretest.CloneD || m == onewiretest.CloneDOld) && got == 25 {
		return true
	}
	for v := range past {
		if math.Abs(got-v) < 0.5 {
			return true
		}
	}
	return false
}

func TestRandomHarmGivesNoWrongValue(t *testing.T) {
	makes := []onewiretest.Make{genuine, genuine, onewiretest.CloneC, onewiretest.CloneD, onewiretest.CloneDOld, onewiretest.CloneE}
	for _, way := range ways {
		t.Run(way.name, func(t *testing.T) {
			scripts := 1500
			if testing.Short() {
				scripts /= 10
			}
			routines := runtime.NumGoroutine()
			type sum struct{ accepted, old int }
			sums := make([]sum, scripts)
			each(t, scripts, func(t *testing.T, i int) {
				r := rand.New(rand.NewPCG(uint64(i), 1))
				b := way.make(t, makes[r.IntN(6)], makes[r.IntN(6)], makes[r.IntN(6)])
				s := &script{Rand: r, barn: b}
				accepted, old, err := s.play(8)
				if err != nil {
					t.Errorf("script %d: %v", i, err)
				}
				sums[i] = sum{accepted, old}
			})
			var all sum
			for _, s := range sums {
				all.accepted, all.old = all.accepted+s.accepted, all.old+s.old
			}
			t.Logf("%d scripts, %d values accepted, of which %d of an earlier conversion or of a clone's start", scripts, all.accepted, all.old)
			if all.accepted < 8*scripts {
				t.Error("less than a third of the readings were values: nothing was tried")
			}
			if n := runtime.NumGoroutine(); n > routines+2 {
				t.Errorf("%d goroutines before, %d after", routines, n)
			}
		})
	}
}
