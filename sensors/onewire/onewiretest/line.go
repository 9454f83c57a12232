// Package onewiretest emulates a 1-Wire line bit by bit: DS18B20 chips, genuine and cloned, that are searched, addressed, converted and
// read as the datasheet says, behind a DS2482 bridge of which periph's driver notices nothing, or behind the kernel's netlink. Time is
// what the bits take: nothing waits, and what a poll costs can be added up.
//
// The line is what goes wrong in a barn: held low, cut, noisy; chips fall off, lose their supply, convert slowly or not at all.
package onewiretest

import (
	"context"
	"time"
)

// Clock is emulated time since the emulation began: what the bits took, and what was waited.
type Clock struct {
	Since time.Time // where it is set, the time of package time since then passes too: for those who wait by that
	at    time.Duration
}

// Now is how much time has passed.
func (c *Clock) Now() time.Duration {
	if c.Since.IsZero() {
		return c.at
	}
	return c.at + time.Since(c.Since)
}

// Advance lets time pass.
func (c *Clock) Advance(d time.Duration) { c.at += d }

// Sleep lets time pass for one who waits, unless ctx has ended.
func (c *Clock) Sleep(ctx context.Context, d time.Duration) error {
	c.Advance(d)
	return ctx.Err()
}

// Times of the DS18B20 datasheet, AC electrical characteristics (from memory): the longest slot and the shortest reset, which is what
// masters do.
const (
	resetTime = 2 * 480 * time.Microsecond
	slotTime  = 121 * time.Microsecond // 120 and 1 of recovery
)

// Line is one data wire and what hangs on it. It is used by one goroutine at a time.
type Line struct {
	Clock  *Clock
	Slaves []*DS18B20
	Low    bool        // held down by water or a bitten cable
	Cut    bool        // broken before the first chip
	Noise  func() bool // asked for every bit; true spoils it
	// Converts counts Convert T commands on the wire, however many chips heard one.
	Converts int
}

// Reset is the reset pulse. It tells whether a chip was there, and whether the line stayed low.
func (l *Line) Reset() (present, short bool) {
	l.Clock.Advance(resetTime)
	if l.Low {
		return true, true // low while presence is sampled, and after
	}
	for _, s := range l.heard() {
		s.reset()
		present = true
	}
	return present != l.spoilt(), false
}

// Write is one write slot.
func (l *Line) Write(bit bool) {
	l.Clock.Advance(slotTime)
	if l.Low {
		return
	}
	bit = bit != l.spoilt()
	began := false
	for _, s := range l.heard() {
		before := s.Conversions
		s.hear(bit, l.Clock.Now())
		began = began || s.Conversions > before
	}
	if began {
		l.Converts++
	}
}

// Read is one read slot: every chip may pull the line down.
func (l *Line) Read() bool {
	l.Clock.Advance(slotTime)
	if l.Low {
		return false
	}
	bit := true
	for _, s := range l.heard() {
		bit = s.say(l.Clock.Now()) && bit
	}
	return bit != l.spoilt()
}

// Triplet is one step of a search: a bit, its complement, and the way taken, which is dir where both ways are open.
func (l *Line) Triplet(dir bool) (bit, complement, taken bool) {
	bit, complement = l.Read(), l.Read()
	taken = bit
	if !bit && !complement {
		taken = dir
	}
	l.Write(taken)
	return bit, complement, taken
}

// PutByte writes eight bits, the lowest first.
func (l *Line) PutByte(b byte) {
	for i := range 8 {
		l.Write(b>>i&1 == 1)
	}
}

// GetByte reads eight bits, the lowest first.
func (l *Line) GetByte() (b byte) {
	for i := range 8 {
		if l.Read() {
			b |= 1 << i
		}
	}
	return b
}

func (l *Line) spoilt() bool { return l.Noise != nil && l.Noise() }

func (l *Line) heard() (all []*DS18B20) {
	if l.Cut {
		return nil
	}
	for _, s := range l.Slaves {
		if !s.Unplugged {
			all = append(all, s)
		}
	}
	return all
}
