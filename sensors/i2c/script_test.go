package i2c

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"nestmon/sensors"
	"nestmon/sensors/i2c/chip"
	"nestmon/sensors/i2c/i2ctest"
)

const (
	polls   = 6 // of a script, with faults
	calm    = 5 // polls after them, at the last of which all must be well
	poll    = 30 * time.Second
	between = 2 * time.Minute // of the calm polls: longer than any chip is left alone
)

// Whatever happens on a bus, a reading is what the chip measured or it is a fault; and when it is over, the chip is read again. In a
// synctest bubble a goroutine left behind or a wait without end fails the test. A driver joins by its line in drivers.go.
func TestRandomFaults(t *testing.T) {
	n := 10_000
	if testing.Short() {
		n /= 10
	}
	all := tally{usual: map[string]int{}}
	for seed := range n {
		d := drivers[seed%len(drivers)]
		if i2ctest.Models[d.Name] == nil {
			t.Fatalf("%s cannot be emulated; add it to Models", d.Name)
		}
		synctest.Test(t, func(t *testing.T) { play(t, d, uint64(seed), &all) })
		if t.Failed() {
			break
		}
	}
	t.Logf("%d readings with a value, %d with a fault, %v; transactions %v", all.values, all.refused, all.kinds, all.usual)
	if all.values == 0 || all.refused == 0 || slices.Contains(all.kinds[:], 0) {
		t.Error("something never happened: the scripts test less than they say")
	}
}

type tally struct {
	usual           map[string]int // transactions of the polls of a script without faults, by place
	values, refused int
	kinds           [i2ctest.NumKinds]int
}

// stage is a bus with the chip that is asked, and another like it that nobody asks.
type stage struct {
	bus           *i2ctest.Bus
	asked, decoy  i2ctest.Model
	source        *Source
	random        *rand.Rand
	truth, untrue []float64
	place         string
}

// play lets one script happen. The first at each place is without faults.
func play(t *testing.T, d chip.Driver, seed uint64, all *tally) {
	s := set(t, d, rand.New(rand.NewPCG(seed, 0)))
	var faults []i2ctest.Fault
	usual, known := all.usual[s.place]
	if known {
		faults = s.faults(all, usual)
	}
	s.bus.Play(faults, s.random)
	for n := range polls + calm {
		pause := poll
		if n >= polls {
			s.bus.Play(nil, s.random)
			pause = between
		}
		if n == polls && !known {
			all.usual[s.place] = s.bus.Transactions()
		}
		s.measure()
		readings := s.source.Read(t.Context())
		for i, r := range readings {
			switch off := s.asked.Off[i]; {
			case r.OK() && (r.Value < s.truth[i]-off || r.Value > s.truth[i]+off):
				t.Errorf("seed %d, poll %d: %s gives %v for %v (the other chip: %v)\n%v", seed, n, d.Name, r.Value, s.truth[i], s.untrue[i], faults)
			case r.OK():
				all.values++
			case n == polls+calm-1 || !known && r.Fault != sensors.Settling:
				t.Errorf("seed %d, poll %d: %s gives %s while nothing is wrong\n%v", seed, n, d.Name, r.Fault, faults)
			default:
				all.refused++
			}
		}
		time.Sleep(pause)
	}
	if err := s.source.Close(); err != nil {
		t.Errorf("seed %d: %v", seed, err)
	}
}

// set builds a stage: the chip hangs on the bus itself, or behind a multiplexer with its double on the next channel.
func set(t *testing.T, d chip.Driver, random *rand.Rand) *stage {
	s := &stage{asked: i2ctest.Models[d.Name](), decoy: i2ctest.Models[d.Name](), random: random, place: d.Name}
	address := d.Addresses[random.IntN(len(d.Addresses))]
	c := ProbeConfig{Entry: sensors.Entry{ID: "asked", Source: Kind}, Chip: d.Name, Bus: "i2c-1", Address: address}
	s.bus = &i2ctest.Bus{Chips: map[uint16]i2ctest.Chip{}}
	const muxed = 0x70
	if random.IntN(2) == 0 {
		s.bus.Chips[address] = s.asked.Chip
	} else {
		m, channel := &i2ctest.PCA9548{}, random.IntN(channels)
		m.Channels[channel] = map[uint16]i2ctest.Chip{address: s.asked.Chip}
		m.Channels[(channel+1)%channels] = map[uint16]i2ctest.Chip{address: s.decoy.Chip}
		s.bus.Chips[muxed] = m
		s.place += " behind a multiplexer"
		c = behind(c, muxed, channel)
	}
	s.source = source(t, s.bus, c)
	return s
}

// measure lets both chips measure something else from now on.
func (s *stage) measure() {
	s.truth, s.untrue = nil, nil
	for _, span := range s.asked.Spans {
		within := func() float64 { return span[0] + s.random.Float64()*(span[1]-span[0]) }
		s.truth, s.untrue = append(s.truth, within()), append(s.untrue, within())
	}
	s.asked.Set(s.truth)
	s.decoy.Set(s.untrue)
}

// faults makes a script. Where no checksum tells a flipped bit or a line that is held for one answer from a measurement, no driver can:
// such chips get faults of the data line for whole polls, and no flipped bits.
func (s *stage) faults(all *tally, usual int) []i2ctest.Fault {
	var script []i2ctest.Fault
	for range 1 + s.random.IntN(5) {
		f := i2ctest.Fault{Kind: i2ctest.Kind(s.random.IntN(int(i2ctest.NumKinds))), At: s.random.IntN(usual), For: 1 + s.random.IntN(12)}
		if !s.asked.Checksum {
			switch f.Kind {
			case i2ctest.Flip:
				continue
			case i2ctest.StuckLow, i2ctest.StuckHigh:
				f.At, f.For = 0, 1<<20
			}
		}
		all.kinds[f.Kind]++
		script = append(script, f)
	}
	return script
}

// Beside an error no driver gives a value, and its complaint can be told to a person.
func TestFaultsHaveStories(t *testing.T) {
	for _, d := range drivers {
		synctest.Test(t, func(t *testing.T) {
			bus := &i2ctest.Bus{}
			c, err := d.Open(bus, d.Addresses[0], chip.Options{})
			if c != nil || err == nil || !strings.HasPrefix(err.Error(), d.Name+": ") {
				t.Errorf("%s on an empty bus: got %v, %v", d.Name, c, fmt.Sprint(err))
			}
		})
	}
}
