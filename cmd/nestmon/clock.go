package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"sync/atomic"
	"time"

	"nestmon/hardware"
)

// builtAfter is before any build of this program: a clock that says less has never been set.
var builtAfter = time.Date(2026, time.November, 1, 0, 0, 0, 0, time.UTC)

// clockLeap is by how much a clock that was believed may be set at once: longer than any board sleeps, far less than the years by which a clock chip fails.
// Ours, no source.
const clockLeap = 30 * 24 * time.Hour

// A board has no clock of its own that outlives its power. So what the system says is believed or not:
//
//   - not yet set, at a start without a network: time goes on from the newest poll in the archive, so that no litter becomes younger. The polls are marked,
//     and stored with how long the board had been up; once the clock is known they are given their true times (archive);
//   - set: it is followed;
//   - one that was believed and leaps by more than clockLeap, either way: it is not followed, and that is told. Time goes on as before, so no deadline
//     comes or is lost by it. A restart takes the new time.
type steadyClock struct {
	wall   func() time.Time
	up     func() time.Duration         // since the board's start, whatever is done to its clock
	synced func() (known, reached bool) // whether a server set it, as far as the board tells
	mark   string                       // a file that lasts as long as the board is up: a server has set it

	mu     sync.Mutex
	newest time.Time     // poll in the archive
	at     time.Time     // the newest time that was given
	upAt   time.Duration // and when that was
	sure   bool          // it was believed,
	set    bool          // because a server set it, which nothing undoes
	leapt  time.Duration // by which the system's clock is away from what is given
}

// setClock is what to do about a clock that nothing has set.
const setClock = "give the board a network, or set it by hand: sudo timedatectl set-ntp false, then sudo timedatectl set-time '2031-04-03 06:30'"

// errNoToday is what is told who speaks of today while nobody knows which day that is.
var errNoToday = errors.New("the board's clock has not been set since it started, so nobody knows which day it is: say the day (--on and a date, in a command), or " + setClock)

// errNotYet is told who says a day that the board does not know to have come.
var errNotYet = errors.New("the board's clock has not been set since it started, so nobody knows whether that day has come: nothing is saved yet; " + setClock)

// chipPatience is for a clock chip to answer at the start; ours, no source. Its bus may hang, and later answers count too.
const chipPatience = 2 * time.Second

// clockMark is in the folder that the service manager makes in memory (hardware/nestmon.service) and keeps until the board goes down.
const clockMark = "run/nestmon/clock-set"

func newSteadyClock(root string) *steadyClock {
	began := time.Now()
	chip, asked := &atomic.Bool{}, make(chan struct{})
	go func() {
		chip.Store(hardware.ChipAgrees(root, began))
		close(asked)
	}()
	select {
	case <-asked:
	case <-time.After(chipPatience):
	}
	c := &steadyClock{wall: time.Now, up: func() time.Duration { return uptime(began) }, mark: filepath.Join(root, clockMark), synced: func() (known, reached bool) {
		reached, known = hardware.ClockSet(root, chip.Load())
		return known, reached
	}}
	_, err := os.Stat(c.mark)
	c.set = err == nil
	return c
}

// wasSet notes that a server has set the clock: a kernel forgets it after hours without one, and a daemon that starts anew then asks in vain.
func (c *steadyClock) wasSet() {
	c.set = true
	if c.mark != "" {
		_ = os.WriteFile(c.mark, nil, 0o600) // where the folder is not there, a restart has to ask
	}
}

// knows tells the clock how far the archive reaches. What was given before, to an archive that is opened, does not count.
func (c *steadyClock) knows(newest time.Time) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.newest = newest; !c.sure {
		c.at = time.Time{}
	}
}

// believes reports whether the system's clock can be believed: set by a server where the board tells, once since the daemon began, else not before the newest
// poll in the archive; and never before the program was built.
func (c *steadyClock) believes(now time.Time) bool {
	if now.Before(builtAfter) {
		return false
	}
	known, reached := c.synced()
	if reached && !c.set {
		c.wasSet()
	}
	if known || c.set {
		return c.set
	}
	return !now.Before(c.newest)
}

// read is the time, how long the board had been up then, and whether the time is known.
func (c *steadyClock) read() (now time.Time, up time.Duration, known bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	now, up = c.wall(), c.up()
	passed, believed := up-c.upAt, c.believes(now)
	switch goesOn := c.at.Add(passed); {
	case c.sure && now.Round(0).Sub(goesOn.Round(0)).Abs() > clockLeap:
		c.leapt = now.Round(0).Sub(goesOn.Round(0))
		return goesOn, up, true // what was given last stays, so that nothing adds up
	case c.sure, believed:
		c.sure, c.leapt, known = true, 0, believed
	case c.at.IsZero():
		now = later(now, later(builtAfter, c.plausible(now)))
	default:
		now = later(now, goesOn)
	}
	c.at, c.upAt = now, up
	return now, up, known
}

// plausible is the newest poll, unless a clock that was years ahead once has given it its time.
func (c *steadyClock) plausible(now time.Time) time.Time {
	if !now.Before(builtAfter) && c.newest.Sub(now) > clockLeap {
		return time.Time{}
	}
	return c.newest
}

func later(a, b time.Time) time.Time {
	if b.Round(0).After(a.Round(0)) {
		return b
	}
	return a
}

// away says that the system's clock is not followed, and is empty while it is.
func (c *steadyClock) away() string {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.leapt == 0 {
		return ""
	}
	days := c.leapt.Abs().Hours() / 24
	which := "forward"
	if c.leapt < 0 {
		which = "back"
	}
	return fmt.Sprintf("The board's clock leapt %s by %.0f days and is not followed. Set it right; if it is right now, restart nestmon.", which, days)
}

// Now is the time for everybody but a poll.
func (c *steadyClock) Now() time.Time {
	now, _, _ := c.read()
	return now
}
