package main

import (
	"context"
	"fmt"
	"math/rand/v2"
	"net/http"
	"sync"
	"time"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/book"
)

// load is what goes on while a daemon is killed: probes change, a page is open, somebody writes into the litter book, and somebody acknowledges.
type load struct {
	board          *board
	ledger         *ledger
	random         *rand.Rand // of the writer
	life           int
	asked          int // notes so far
	began, dressed time.Time
	hot            time.Duration        // for which the last nest was too hot
	bred           map[string]int64     // entries by nest that are not struck, as far as was answered
	changed        map[string]time.Time // when that was, by nest
}

// Of what the probes measure: every life has values of its own, so that a reading is known by its value.
const (
	coolest  = 5.0  // °C
	hot      = 41.0 // °C, urgent in any nest after ten minutes
	hotFor   = 15 * time.Minute
	calledBy = 13 * time.Minute // of heat, whatever happens to the daemon
	lifeMod  = 480              // lives before a value comes again, 30 °C in steps of a sixteenth
)

// dress gives every probe the value of this life. The air of the last nest is hot for the first quarter of an hour.
func (l *load) dress() error {
	l.life++
	l.dressed = time.Now()
	if l.began.IsZero() {
		l.began = time.Now()
	}
	for i := range probes() {
		c := coolest + float64((l.life*7+i*53)%lifeMod)*step
		if i == len(probes())-2 && time.Since(l.began) < hotFor {
			l.hot = time.Since(l.began)
			c = hot + float64(l.life%16)*step
		} else if i%2 == 1 {
			c = min(c, 24) // air that troubles nobody
		}
		if err := l.board.warm(i, c); err != nil {
			return err
		}
	}
	return nil
}

// run is the load until ctx ends.
func (l *load) run(ctx context.Context) {
	var all sync.WaitGroup
	all.Go(func() { l.watch(ctx) })
	all.Go(func() { l.write(ctx) })
	all.Wait()
}

// Pauses of those who ask; ours, no source.
const (
	looksEvery  = 25 * time.Millisecond
	writesEvery = 30 * time.Millisecond
	stands      = 75 * time.Second // a chore is due, and is not: alarms come and go with the minute
)

func (l *load) watch(ctx context.Context) {
	for ; ctx.Err() == nil; time.Sleep(looksEvery) {
		if s, err := l.board.state(); err == nil {
			l.ledger.saw(s)
		}
	}
}

// awaitReading waits until the page has shown a reading of this life, or the daemon has ended.
func (l *load) awaitReading(most time.Duration) {
	began := time.Now()
	for time.Since(began) < most && l.board.lives() && !l.ledger.sawSince(l.dressed) {
		time.Sleep(time.Millisecond)
	}
}

type answer struct{ Stored []book.Entry }

// write enters, strikes and acknowledges. What the book refuses is no matter: it is asked at random.
func (l *load) write(ctx context.Context) {
	if l.bred == nil {
		l.bred, l.changed = map[string]int64{}, map[string]time.Time{}
	}
	for ; ctx.Err() == nil; time.Sleep(time.Duration(l.random.Int64N(int64(writesEvery)))) {
		nest := fmt.Sprintf("n%d", 1+l.random.IntN(nests))
		var a answer
		switch l.random.IntN(4) {
		case 0, 1:
			l.asked++
			note := fmt.Sprintf("note %d of life %d", l.asked, l.life)
			l.ledger.ask(note)
			if l.board.ask(http.MethodPost, "/control/enter", []book.Entry{{What: book.Noted, At: time.Now(), Nest: nest, Note: note}}, &a) == nil {
				l.ledger.saved(a.Stored)
			}
		case 2: // a box is due, and a look, within the minute, until the entry is struck
			if time.Since(l.changed[nest]) < stands {
				continue
			}
			l.changed[nest] = time.Now()
			if id := l.bred[nest]; id != 0 {
				if l.board.ask(http.MethodPost, "/control/correct", map[string]any{"entry": id, "strike": true}, &a) == nil {
					l.ledger.saved(a.Stored)
				}
				delete(l.bred, nest)
				continue
			}
			day := time.Now().UTC().Truncate(24*time.Hour).AddDate(0, 0, -31)
			if l.board.ask(http.MethodPost, "/control/enter", []book.Entry{{What: book.Bred, At: day, Day: true, Nest: nest, Doe: "Sorrel"}}, &a) == nil {
				l.ledger.saved(a.Stored)
				l.bred[nest] = a.Stored[0].ID
			}
		case 3:
			sent := time.Now()
			act := alarm.Act{Action: alarm.Acknowledge, Nest: nest}
			if l.board.ask(http.MethodPost, "/control/act", act, nil) == nil {
				l.ledger.did(done{nest, sent, time.Now()})
			}
		}
	}
}
