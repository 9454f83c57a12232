package onewiretest

import (
	"time"

	"periph.io/x/conn/v3/onewire"
)

// Make is whose chip it is. What the clones do differently is of counterfeit_DS18B20's README (cpetrich, 2019).
type Make uint8

// The makes.
const (
	Genuine   Make = iota
	CloneC         // 12 bit only
	CloneD         // byte 7 is 66, powers up at 25 °C
	CloneDOld      // family D that powers up at its last reading
	CloneE         // byte 7 is ff
)

// Raw values without a conversion (DS18B20 datasheet, table 1; README for the others).
const (
	powerOn  = 0x0550 // 85 °C
	powerOnD = 0x0190 // 25 °C
	failed   = 0x07ff
)

// Slowest is how long a conversion takes at 12 bit at most (DS18B20 datasheet, tCONV).
const Slowest = 750 * time.Millisecond

// DS18B20 is one chip.
type DS18B20 struct {
	Address   onewire.Address
	Make      Make
	Raw       int16         // what there is to measure, in 1/16 °C
	Takes     time.Duration // a conversion at 12 bit
	Fails     bool          // conversions end in the code of failure
	Deaf      int           // so many Convert T more go unheard
	Unplugged bool
	Spoil     func(pad []byte) // what happens to the nine bytes on their way, nil for nothing

	Conversions  int           // begun
	Said         time.Duration // when the conversion ended whose result was last read, 0 for none since power came
	EEPROMWrites int

	pad        [8]byte
	eeprom     [3]byte // TH, TL, configuration
	converting bool
	converted  time.Duration
	ready      time.Duration

	state state
	bit   int    // position in what is heard or said
	in    byte   // command being heard
	out   []byte // bytes being said
}

type state uint8

const (
	idle state = iota // until the next reset
	romCommand
	matching
	searching // bit, complement, direction: bit counts thirds
	command
	saying
	writing
	busy // answers whether it still converts
)

// New makes a chip as it comes from its bag, just powered.
func New(a onewire.Address, m Make, celsius float64) *DS18B20 {
	s := &DS18B20{Address: a, Make: m, Raw: int16(celsius * 16), Takes: Slowest, eeprom: [3]byte{0x4b, 0x46, 0x7f}}
	s.PowerUp()
	return s
}

// Set changes what there is to measure.
func (s *DS18B20) Set(celsius float64) { s.Raw = int16(celsius * 16) }

// Store sets what the chip recalls at power-up as its configuration byte, and now.
func (s *DS18B20) Store(config byte) { s.eeprom[2], s.pad[4] = config, config }

// PowerUp is what a gap in the supply does.
func (s *DS18B20) PowerUp() {
	raw := uint16(powerOn)
	switch s.Make {
	case CloneD:
		raw = powerOnD
	case CloneDOld:
		if raw = uint16(s.pad[1])<<8 | uint16(s.pad[0]); s.pad[7] == 0 {
			raw = powerOnD
		}
	}
	s.pad = [8]byte{byte(raw), byte(raw >> 8), s.eeprom[0], s.eeprom[1], s.eeprom[2], 0xff, 0x0c, 0x10}
	switch s.Make {
	case CloneD, CloneDOld:
		s.pad[5], s.pad[7] = 0x00, 0x66
	case CloneE:
		s.pad[5], s.pad[7] = 0x00, 0xff
	}
	s.converting, s.converted, s.state = false, 0, idle
}

func (s *DS18B20) reset() { s.state, s.bit, s.in = romCommand, 0, 0 }

// hear takes a bit the master wrote.
func (s *DS18B20) hear(bit bool, now time.Duration) {
	s.finish(now)
	switch s.state {
	case romCommand, command:
		if bit {
			s.in |= 1 << s.bit
		}
		if s.bit++; s.bit == 8 {
			in := s.in
			s.bit, s.in = 0, 0
			if s.state == romCommand {
				s.state = romCommands[in]
			} else {
				s.obey(in, now)
			}
		}
	case matching:
		s.follow(s.bit, bit)
		if s.bit++; s.bit == 64 && s.state == matching {
			s.state, s.bit = command, 0
		}
	case searching:
		if s.bit%3 == 2 {
			s.follow(s.bit/3, bit)
		}
		if s.bit++; s.bit == 3*64 {
			s.state = idle // a selected chip would take a command; no master here sends one after a search
		}
	case writing:
		s.store(bit)
	}
}

// romCommands of the datasheet; what is not listed leaves the chip idle.
var romCommands = map[byte]state{0xcc: command, 0x55: matching, 0xf0: searching}

func (s *DS18B20) follow(n int, bit bool) {
	if bit != s.romBit(n) {
		s.state = idle
	}
}

func (s *DS18B20) romBit(n int) bool { return s.Address>>n&1 == 1 }

func (s *DS18B20) obey(command byte, now time.Duration) {
	s.state = idle
	switch command {
	case 0x44:
		if s.Deaf > 0 {
			s.Deaf--
			return
		}
		s.Conversions++
		s.converting, s.ready, s.state = true, now+s.Takes>>(3-s.resolution()), busy
	case 0xbe:
		s.Said = s.converted
		s.out = append(s.pad[:8:8], crc(s.pad[:8]))
		if s.Spoil != nil {
			s.Spoil(s.out)
		}
		s.state = saying
	case 0x4e:
		s.state = writing
	case 0x48:
		copy(s.eeprom[:], s.pad[2:5])
		s.EEPROMWrites++
	case 0xb8:
		copy(s.pad[2:5], s.eeprom[:])
	}
}

func (s *DS18B20) resolution() int { return int(s.pad[4] >> 5 & 3) }

// store takes TH, TL and the configuration of Write Scratchpad; bits without meaning stay as they are.
func (s *DS18B20) store(bit bool) {
	at := &s.pad[2+s.bit/8]
	mask := byte(1) << (s.bit % 8)
	if config := s.bit >= 16; !config || mask&0x60 != 0 && s.Make != CloneC {
		*at &^= mask
		if bit {
			*at |= mask
		}
	}
	if s.bit++; s.bit == 24 {
		s.state = idle
	}
}

// say is the bit of a read slot; a chip with nothing to say lets the line go.
func (s *DS18B20) say(now time.Duration) bool {
	s.finish(now)
	switch s.state {
	case saying:
		if s.bit == 8*len(s.out) {
			return true
		}
		bit := s.out[s.bit/8]>>(s.bit%8)&1 == 1
		s.bit++
		return bit
	case searching:
		bit := s.romBit(s.bit/3) != (s.bit%3 == 1)
		if s.bit%3 == 2 {
			return true // a master that reads where it should write
		}
		s.bit++
		return bit
	case busy:
		return !s.converting
	}
	return true
}

// finish ends a conversion whose time has come.
func (s *DS18B20) finish(now time.Duration) {
	if !s.converting || now < s.ready {
		return
	}
	s.converting, s.converted = false, s.ready
	raw := uint16(s.Raw)
	if s.Fails {
		raw = failed
	}
	raw |= 1<<(3-s.resolution()) - 1 // bits without meaning, as bad as they come
	s.pad[0], s.pad[1] = byte(raw), byte(raw>>8)
}

// crc is the Dallas CRC-8, x⁸+x⁵+x⁴+1, bit by bit.
func crc(b []byte) (c byte) {
	for _, x := range b {
		for range 8 {
			mix := (c ^ x) & 1
			c >>= 1
			if mix == 1 {
				c ^= 0x8c
			}
			x >>= 1
		}
	}
	return c
}
