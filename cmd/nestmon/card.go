package main

import (
	"errors"
	"fmt"
	"time"
)

// Waiting for the card; ours, no source. A tired SD card may pause for a second or two and goes on; one that pauses for longer must
// not hold up an alarm. The end waits a little too, for what is being written.
const (
	cardPatience = 5 * time.Second
	cardClosing  = 3 * time.Second
)

var errCard = errors.New("the card does not answer")

// card makes the writes to the archive one at a time and waits for none of them for ever: a system call that hangs cannot be
// cancelled, only left behind.
type card struct {
	patience time.Duration
	busy     chan struct{} // holds a mark while a write is under way
}

func newCard() card { return card{patience: cardPatience, busy: make(chan struct{}, 1)} }

// write runs fn. After an error that is errCard fn may still end, or be under way.
func (c card) write(fn func() error) error {
	select {
	case c.busy <- struct{}{}:
	default:
		return fmt.Errorf("%w: the write before has not ended", errCard)
	}
	return within(c.patience, func() error {
		err := fn()
		<-c.busy
		return err
	})
}

// within runs fn and waits for it that long.
func within(patience time.Duration, fn func() error) error {
	done := make(chan error, 1)
	go func() { done <- fn() }()
	timer := time.NewTimer(patience)
	defer timer.Stop()
	select {
	case err := <-done:
		return err
	case <-timer.C:
		return fmt.Errorf("%w within %v", errCard, patience)
	}
}
