package onewire_test

import (
	"context"
	"errors"
	"fmt"
	"testing"
	"time"

	"nestmon/sensors"
	"nestmon/sensors/ds18b20"
	"nestmon/sensors/onewire"
	"nestmon/sensors/onewire/onewiretest"
	"nestmon/sensors/sourcetest"
)

const genuine = onewiretest.Genuine

func TestConformance(t *testing.T) {
	for _, way := range ways {
		t.Run(way.name, func(t *testing.T) {
			sourcetest.Run(t, func(t *testing.T) sourcetest.Rig {
				b := way.make(t, genuine, genuine, genuine)
				unplugged := func(off bool) func(string) {
					return func(id string) { b.chips[id[1]-'0'].Unplugged = off }
				}
				return sourcetest.Rig{Source: b.Source, Vanish: unplugged(true), Return: unplugged(false), Hang: b.hang}
			})
		})
	}
}

// hang makes the next message to the bus wait.
func (b *barn) hang() (release func()) {
	wait := make(chan struct{})
	if b.netlink != nil {
		b.netlink.Hang = wait
	} else {
		b.i2c.Fault = func() error { <-wait; return nil }
	}
	return func() { close(wait) }
}

// The temperatures of the DS18B20 datasheet, table 1, as quoted in Rinsen/OneWire #3 and in periph's ds18b20_test.go. 85 °C is also
// the power-on value.
func TestTemperaturesOfTheDatasheet(t *testing.T) {
	for _, way := range ways {
		leaf(t, way.name, func(t *testing.T) {
			b := way.make(t, genuine)
			for raw, want := range map[int16]any{
				0x07d0: 125.0, 0x0550: sensors.NotConverted, 0x0191: 25.0625, 0x00a2: 10.125, 0x0008: 0.5,
				0x0000: 0.0, -0x0008: -0.5, -0x00a2: -10.125, -0x0191: -25.0625, -0x0370: -55.0,
			} {
				b.chips[0].Raw = raw
				b.expect(t, want)
			}
		})
	}
}

func TestTwentyProbesAreOneConversionInUnderTwoSeconds(t *testing.T) {
	for _, way := range ways {
		leaf(t, way.name, func(t *testing.T) {
			b := way.make(t, make([]onewiretest.Make, 20)...)
			want := make([]any, 20)
			for n := range want {
				want[n] = 30 + float64(n)
			}
			b.expect(t, want...)
			if b.line.Converts != 1 {
				t.Errorf("%d conversions on the wire, want one", b.line.Converts)
			}
			took := b.clock.Now()
			t.Logf("bits, I2C at 100 kHz and the wait: %v, of which %v a probe", took, (took-onewire.Conversion)/20)
			if took >= 2*time.Second {
				t.Errorf("took %v of emulated time", took)
			}
			if each := (took - onewire.Conversion) / 20; each > onewire.Scratchpad {
				t.Errorf("a scratchpad took %v, more than the %v a poll is planned with", each, onewire.Scratchpad)
			}
		})
	}
}

func TestClonesAreReadWhereAnnounced(t *testing.T) {
	for _, way := range ways {
		leaf(t, way.name, func(t *testing.T) {
			b := way.make(t, genuine, onewiretest.CloneC, onewiretest.CloneD, onewiretest.CloneE, onewiretest.CloneD)
			b.probes[4].Clone = ""
			b.remake(t)
			b.expect(t, 30.0, 31.0, 32.0, 33.0, sensors.WrongProbe)
			if p := b.Probes(); p[0].Chip != sensors.ChipDS18B20 || p[2].Chip != sensors.ChipDS18B20D || p[2].StaleAfter != 90*time.Second {
				t.Errorf("got %+v", p)
			}
		})
	}
}

// What a chip does wrong: each in the second of three chips.
func TestFaultsOfOneChip(t *testing.T) {
	for _, row := range []struct {
		name string
		do   func(c *onewiretest.DS18B20)
		want any
	}{
		{"never converted since power came back", func(c *onewiretest.DS18B20) { c.PowerUp(); c.Deaf = 1 }, sensors.NotConverted},
		{"conversion failed", func(c *onewiretest.DS18B20) { c.Fails = true }, sensors.NotConverted},
		{"slower than the datasheet and just powered", func(c *onewiretest.DS18B20) { c.PowerUp(); c.Takes = time.Second }, sensors.NotConverted},
		{"off the line", func(c *onewiretest.DS18B20) { c.Unplugged = true }, sensors.NoAnswer},
		{"a bit flipped in every answer", func(c *onewiretest.DS18B20) { c.Spoil = func(pad []byte) { pad[0] ^= 4 } }, sensors.BadChecksum},
		{"a bit flipped in one answer", func(c *onewiretest.DS18B20) {
			c.Spoil = func(pad []byte) { pad[0] ^= 4; c.Spoil = nil }
		}, 31.0},
		{"nine zero bytes, whose checksum is right", func(c *onewiretest.DS18B20) { c.Spoil = func(pad []byte) { clear(pad) } }, sensors.StuckLow},
		{"0 °C is a temperature", func(c *onewiretest.DS18B20) { c.Set(0) }, 0.0},
		// Accepted, as the package says: nobody acknowledges a Convert T.
		{"did not hear the command, and answers with its last conversion", func(c *onewiretest.DS18B20) { c.Set(40); c.Deaf = 1 }, 31.0},
		{"slower than the datasheet", func(c *onewiretest.DS18B20) { c.Set(40); c.Takes = time.Second }, 31.0},
	} {
		for _, way := range ways {
			leaf(t, row.name+", "+way.name, func(t *testing.T) {
				b := way.make(t, genuine, genuine, genuine)
				b.expect(t, 30.0, 31.0, 32.0)
				row.do(b.chips[1])
				b.expect(t, 30.0, row.want, 32.0)
				b.line.Slaves[1] = onewiretest.New(address(1), genuine, 31)
				b.expect(t, 30.0, 31.0, 32.0)
			})
		}
	}
}

func TestFaultsOfTheLine(t *testing.T) {
	for _, row := range []struct {
		name string
		do   func(l *onewiretest.Line, on bool)
		want sensors.Fault
	}{
		{"held low", func(l *onewiretest.Line, on bool) { l.Low = on }, sensors.StuckLow},
		{"cut", func(l *onewiretest.Line, on bool) { l.Cut = on }, sensors.NoAnswer},
	} {
		for _, way := range ways {
			leaf(t, row.name+", "+way.name, func(t *testing.T) {
				b := way.make(t, genuine, genuine)
				b.expect(t, 30.0, 31.0)
				row.do(b.line, true)
				b.expect(t, row.want, row.want)
				row.do(b.line, false)
				b.expect(t, 30.0, 31.0)
			})
		}
	}
}

// A line that fails between the conversion and the read must not pass off as a temperature.
func TestALineHeldLowHalfWay(t *testing.T) {
	for _, way := range ways {
		each(t, 400, func(t *testing.T, after int) {
			b := way.make(t, genuine, genuine)
			bits := 0
			b.line.Noise = func() bool { bits++; b.line.Low = bits >= after; return false }
			for n, r := range b.Read(t.Context()) {
				if r.OK() && r.Value != 30+float64(n) || !r.OK() && r.Value != 0 {
					t.Errorf("%s, held low after %d bits: %+v", way.name, after, r)
				}
			}
		})
	}
}

// The chips would answer, with what they last converted.
func TestNothingIsReadThatWasNotConverted(t *testing.T) {
	for _, way := range ways {
		leaf(t, way.name, func(t *testing.T) {
			b := way.make(t, genuine, genuine)
			b.expect(t, 30.0, 31.0)
			b.chips[0].Set(40)
			b.line.Cut = true
			b.Sleep = func(ctx context.Context, d time.Duration) error { b.line.Cut = false; return b.clock.Sleep(ctx, d) }
			b.expect(t, sensors.NoAnswer, sensors.NoAnswer)
			b.line.Cut = false
			b.expect(t, 40.0, 31.0)
		})
	}
}

// One line of a bridge fails, and the others are waited for.
func TestALineThatDidNotConvertIsLeftAlone(t *testing.T) {
	leaf(t, "channels", func(t *testing.T) {
		b := bridged(t, genuine)
		far := &onewiretest.Line{Clock: b.clock, Slaves: []*onewiretest.DS18B20{onewiretest.New(address(1), genuine, 31)}}
		*b.bridge = *onewiretest.NewDS2482(b.clock, b.line, far)
		b.probes = append(b.probes, b.probes[0])
		b.probes[1].ID, b.probes[1].ROM, b.probes[1].Bus = "p1", ds18b20.ROM(address(1)), b.probes[0].Bus+"/1"
		b.remake(t)
		b.expect(t, 30.0, 31.0)
		far.Cut = true
		b.Sleep = func(ctx context.Context, d time.Duration) error { far.Cut = false; return b.clock.Sleep(ctx, d) }
		b.expect(t, 30.0, sensors.NoAnswer)
	})
}

func TestLowResolutionIsMendedWithoutEEPROM(t *testing.T) {
	for _, way := range ways {
		leaf(t, way.name, func(t *testing.T) {
			b := way.make(t, genuine, onewiretest.CloneC)
			c := b.chips[0]
			c.Store(0x1f)
			c.Set(25.4375)
			b.expect(t, 25.0, 31.0) // 9 bit: the three bits without meaning are ones here, and masked
			b.expect(t, 25.4375, 31.0)
			c.PowerUp()
			b.expect(t, 25.0, 31.0) // the EEPROM still says 9
			if c.EEPROMWrites != 0 {
				t.Errorf("%d writes of the EEPROM, of which some clones endure eight", c.EEPROMWrites)
			}
		})
	}
}

func TestNothingIsAskedAfterTheEnd(t *testing.T) {
	for _, way := range ways {
		leaf(t, way.name, func(t *testing.T) {
			b := way.make(t, genuine, genuine)
			ctx, cancel := context.WithCancel(t.Context())
			b.Sleep = func(context.Context, time.Duration) error { cancel(); return ctx.Err() }
			for _, r := range b.Read(ctx) {
				if r.Fault != sensors.TimedOut {
					t.Errorf("ended while converting: got %+v", r)
				}
			}
			b.Sleep = b.clock.Sleep
			b.expect(t, 30.0, 31.0)
			if err := b.Close(); err != nil {
				t.Fatal(err)
			}
			before := b.line.Converts
			b.expect(t, sensors.BusDown, sensors.BusDown)
			if b.line.Converts != before {
				t.Error("a closed source converted")
			}
		})
	}
}

func TestReadingsTellWhenTheyWereConverted(t *testing.T) {
	b := bridged(t, genuine, genuine)
	got := b.Read(t.Context())
	if !got[0].Time.Equal(got[1].Time) {
		t.Errorf("one conversion at %v and %v", got[0].Time, got[1].Time)
	}
}

const transactions = 130 // of a poll of two probes through the bridge, and some more

func TestAnI2CErrorIsMendedInTheSamePoll(t *testing.T) {
	// The text is of periph's sysfs on a bus with a NACK; its ds248x then repeats the error at every later call.
	nack := errors.New("sysfs-i2c: remote I/O error")
	each(t, transactions, func(t *testing.T, at int) {
		b := bridged(t, genuine, genuine)
		n := 0
		b.i2c.Fault = func() error {
			if n++; n == at+1 {
				return nack
			}
			return nil
		}
		b.expect(t, 30.0, 31.0)
	})
	b := bridged(t, genuine, genuine)
	b.i2c.Fault = func() error { return nack }
	b.expect(t, sensors.BusDown, sensors.BusDown)
	b.i2c.Fault = nil
	b.expect(t, 30.0, 31.0)
}

func TestABridgeThatHangsOrLosesItsSupply(t *testing.T) {
	b := bridged(t, genuine, genuine)
	b.bridge.Stuck = true
	b.expect(t, sensors.BusDown, sensors.BusDown)
	b.bridge.Stuck = false
	b.expect(t, 30.0, 31.0)
	b.bridge.Reset()
	b.expect(t, 30.0, 31.0)
	each(t, transactions, func(t *testing.T, at int) {
		b, n := bridged(t, genuine, genuine), 0
		b.i2c.Fault = func() error {
			if n++; n == at+1 {
				b.bridge.Reset()
			}
			return nil
		}
		for i, r := range b.Read(t.Context()) {
			if r.OK() && r.Value != 30+float64(i) {
				t.Errorf("supply lost before transaction %d: got %+v", at, r)
			}
		}
	})
}

func TestALostMessageIsMendedInTheSamePoll(t *testing.T) {
	for at := range 3 { // messages of a poll of two probes
		b := netlinked(t, genuine, genuine)
		n := 0
		b.netlink.Lose = func() bool { n++; return n == at+1 }
		b.expect(t, 30.0, 31.0)
		if b.netlink.Opened > 3 {
			t.Errorf("%d sockets for one lost message", b.netlink.Opened)
		}
	}
	b := netlinked(t, genuine, genuine)
	b.netlink.Lose = func() bool { return true }
	b.expect(t, sensors.BusDown, sensors.BusDown)
	b.netlink.Lose = nil
	b.expect(t, 30.0, 31.0)
}

func TestAShortAnswerIsNoTemperature(t *testing.T) {
	for short := 1; short <= 9; short++ {
		b := netlinked(t, genuine)
		b.netlink.Short = short
		for _, r := range b.Read(t.Context()) {
			if r.OK() || r.Fault == sensors.StuckLow {
				t.Errorf("%d bytes missing: got %+v", short, r)
			}
		}
	}
}

func TestAMasterThatComesLater(t *testing.T) {
	b := netlinked(t, genuine)
	b.netlink.Absent = true
	b.expect(t, sensors.BusDown)
	b.netlink.Absent = false
	b.expect(t, 30.0)
}

func TestChannelsOfADS2482x800(t *testing.T) {
	b := bridged(t, genuine, genuine)
	lines := []*onewiretest.Line{b.line}
	for n := 1; n < 8; n++ {
		lines = append(lines, &onewiretest.Line{Clock: b.clock})
	}
	*b.bridge = *onewiretest.NewDS2482(b.clock, lines...)
	lines[5].Slaves = []*onewiretest.DS18B20{onewiretest.New(address(2), genuine, 32), onewiretest.New(address(3), genuine, 33)}
	for n, bus := 2, b.probes[0].Bus; n < 4; n++ {
		b.probes = append(b.probes, onewire.ProbeConfig{
			Entry: sensors.Entry{ID: fmt.Sprintf("p%d", n), Source: onewire.Kind}, Bus: bus + "/5", ROM: ds18b20.ROM(address(n)),
		})
	}
	b.remake(t)
	start := b.clock.Now()
	b.expect(t, 30.0, 31.0, 32.0, 33.0)
	if took := b.clock.Now() - start; took > 2*onewire.Conversion {
		t.Errorf("took %v: the channels did not convert at once", took)
	}
	b.line.Low = true // the channel that is selected when the driver begins
	b.expect(t, sensors.StuckLow, sensors.StuckLow, 32.0, 33.0)
	b.line.Low = false
	b.bridge.Stray = true
	b.expect(t, 30.0, 31.0, sensors.BusDown, sensors.BusDown)
}
