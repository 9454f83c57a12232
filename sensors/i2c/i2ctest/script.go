package i2ctest

import (
	"fmt"
	"maps"
	"math/rand/v2"
	"slices"
)

// Kind is what goes wrong.
type Kind int

// What may go wrong.
const (
	Nack      Kind = iota // nobody acknowledges
	Timeout               // the controller gives up
	IO                    // the controller fails
	Flip                  // one to three bits of an answer
	StuckLow              // the data line: every answer is zeros, nothing that is written arrives
	StuckHigh             // likewise, ones
	BrownOut              // every chip loses its supply for a moment
	Slow                  // every chip takes several times as long
	MuxReset              // multiplexers alone lose their supply for a moment
	MuxSwitch             // another master switches a multiplexer to a channel
	NumKinds
)

var kindNames = [NumKinds]string{"nack", "timeout", "io", "flip", "stuck-low", "stuck-high", "brown-out", "slow", "mux-reset", "mux-switch"}

func (k Kind) String() string { return kindNames[k] }

// Fault is one thing that goes wrong: before transaction At, counted from the script's begin, and where it lasts, for so many.
type Fault struct {
	Kind    Kind
	At, For int
}

func (f Fault) String() string { return fmt.Sprintf("%v at %d for %d", f.Kind, f.At, f.For) }

const slowness = 6 // times; ours

type script struct {
	faults []Fault
	random *rand.Rand
	n      int
}

// Play lets the faults happen; the random source chooses bits and channels. Without faults all is well again.
func (b *Bus) Play(faults []Fault, random *rand.Rand) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.script = &script{faults: faults, random: random}
	b.slow(1)
}

func (b *Bus) slow(factor int) {
	b.each(func(c Chip) {
		if s, ok := c.(interface{ Slow(factor int) }); ok {
			s.Slow(factor)
		}
	})
}

// tx lets happen what is due, and then the transaction, as far as it does.
func (s *script) tx(b *Bus, addr uint16, w, r []byte) error {
	n := s.n
	s.n++
	flip := false
	var answer *byte
	for _, f := range s.faults {
		if f.At == n {
			s.strike(b, f.Kind)
		}
		if f.Kind == Slow && n == f.At+f.For {
			b.slow(1)
		}
		if n < f.At || n >= f.At+f.For {
			continue
		}
		switch f.Kind {
		case Nack:
			return fmt.Errorf("address 0x%02x: %w", addr, ErrNack)
		case Timeout:
			return ErrTimeout
		case IO:
			return ErrIO
		case Flip:
			flip = true
		case StuckLow:
			answer = new(byte)
		case StuckHigh:
			ones := byte(0xff)
			answer = &ones
		}
	}
	if answer != nil {
		for i := range r {
			r[i] = *answer
		}
		return nil
	}
	err := b.tx(addr, w, r)
	if flip && len(r) > 0 {
		for range 1 + s.random.IntN(3) {
			r[s.random.IntN(len(r))] ^= 1 << s.random.IntN(8)
		}
	}
	return err
}

// strike is what happens in a moment.
func (s *script) strike(b *Bus, k Kind) {
	switch k {
	case BrownOut:
		b.each(Chip.Reset)
	case Slow:
		b.slow(slowness)
	case MuxReset, MuxSwitch:
		for _, addr := range slices.Sorted(maps.Keys(b.Chips)) {
			m, ok := b.Chips[addr].(*PCA9548)
			switch {
			case !ok:
			case k == MuxReset:
				m.Reset()
			default:
				m.Control = 1 << s.random.IntN(len(m.Channels))
			}
		}
	}
}
