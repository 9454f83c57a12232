package main

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"time"
)

// fault is something that goes wrong now and then, of the barn's time. How often and for how long is ours, no source: often enough that a month holds
// several of each.
type fault struct {
	name         string
	every, lasts time.Duration // the means
	begin, end   func() error

	on    bool
	next  time.Time // when it begins or ends
	times int
}

// fate lets them come and go.
type fate struct {
	random *rand.Rand
	pace   float64 // 1 for the told month; a real hour has no time for what comes once in four days
	all    []*fault
}

func (f *fate) after(mean time.Duration) time.Duration {
	return time.Duration(f.random.ExpFloat64() * float64(mean) / f.pace)
}

// step begins and ends what is due. A fault that cannot be made is worth an error once.
func (f *fate) step(now time.Time) error {
	for _, x := range f.all {
		switch {
		case x.next.IsZero():
			x.next = now.Add(f.after(x.every))
		case now.Before(x.next):
		case x.on:
			x.on, x.next = false, now.Add(f.after(x.every))
			if err := x.end(); err != nil {
				return fmt.Errorf("ending %s: %w", x.name, err)
			}
		default:
			x.on, x.next = true, now.Add(f.after(x.lasts))
			x.times++
			if err := x.begin(); err != nil {
				return fmt.Errorf("beginning %s: %w", x.name, err)
			}
		}
	}
	return nil
}

// rest ends all that is on.
func (f *fate) rest() error {
	for _, x := range f.all {
		if x.on {
			x.on = false
			if err := x.end(); err != nil {
				return fmt.Errorf("ending %s: %w", x.name, err)
			}
		}
	}
	return nil
}

// standing lists what is on, and counts says how often each was.
func (f *fate) standing() string {
	var names []string
	for _, x := range f.all {
		if x.on {
			names = append(names, x.name)
		}
	}
	return strings.Join(names, ", ")
}

func (f *fate) counts() string {
	var all []string
	for _, x := range f.all {
		all = append(all, fmt.Sprintf("%s %d", x.name, x.times))
	}
	return strings.Join(all, ", ")
}
