package main

import (
	"fmt"
	"math"
	"sync"
	"time"

	"nestmon/thresholds/book"
)

// measured is a reading that somebody outside has seen.
type measured struct {
	probe string
	steps int // of a DS18B20
}

// seen is when and how often.
type seen struct {
	first, last time.Time // of the readings' own times
	loose       bool      // less than a minute before a power cut: it may be gone
	before      time.Duration
}

// ledger is all that the daemon has acknowledged: readings that its page showed, which it does after they are stored; entries into the litter book and acts
// that it said were saved; alarms that its page showed. And all that was asked, answered or not.
type ledger struct {
	mu       sync.Mutex
	readings map[measured]*seen
	entries  map[int64]book.Entry
	notes    map[string]bool // of notes that were asked for
	acts     []done
	alarms   map[shown]bool
	newest   time.Time // of the readings
}

// done is an act between its request and its answer; the archive knows when.
type done struct {
	nest        string
	sent, saved time.Time
}

type shown struct {
	nest, event string
	at          time.Time
}

func newLedger() *ledger {
	return &ledger{
		readings: map[measured]*seen{}, entries: map[int64]book.Entry{}, notes: map[string]bool{}, alarms: map[shown]bool{},
	}
}

func stepsOf(c float64) int { return int(math.Round(c / step)) }

func (l *ledger) saw(s state) {
	l.mu.Lock()
	defer l.mu.Unlock()
	for _, v := range s.values() {
		if v.Value == nil || v.Time == nil {
			continue
		}
		key := measured{v.Probe, stepsOf(*v.Value)}
		r := l.readings[key]
		if r == nil {
			r = &seen{first: *v.Time}
			l.readings[key] = r
		}
		r.last = *v.Time
		l.newest = *v.Time
	}
	for _, a := range s.Alarms {
		nest := ""
		if a.Nest != nil {
			nest = *a.Nest
		}
		l.alarms[shown{nest, a.Event, a.Time}] = true
	}
}

// cut notes a power cut: what was shown within the time for which the archive may wait is not promised.
func (l *ledger) cut(at time.Time, wait time.Duration) {
	l.mu.Lock()
	defer l.mu.Unlock()
	for _, r := range l.readings {
		if r.before == 0 { // of this life
			r.before = max(at.Sub(r.first), time.Millisecond)
			r.loose = r.before <= wait
		}
	}
}

func (l *ledger) sawSince(t time.Time) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.newest.After(t)
}

func (l *ledger) ask(note string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.notes[note] = true
}

func (l *ledger) saved(all []book.Entry) {
	l.mu.Lock()
	defer l.mu.Unlock()
	for _, e := range all {
		l.entries[e.ID] = e
	}
}

func (l *ledger) did(a done) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.acts = append(l.acts, a)
}

func (l *ledger) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return fmt.Sprintf("%d readings, %d entries of the litter book, %d acts, %d alarms acknowledged", len(l.readings), len(l.entries), len(l.acts), len(l.alarms))
}
