package mqtt

import (
	"errors"
	"testing"
	"time"
)

func TestTruce(t *testing.T) {
	now := time.Date(2026, 7, 14, 12, 0, 0, 0, time.UTC)
	why := errors.New("another client")
	p := &truce{}
	kicked := func(lasted time.Duration) int {
		n := p.ended(lasted, true, now)
		if n > 0 {
			p.because(why)
		}
		return n
	}
	for i := range quarrelsome - 1 {
		if n := kicked(time.Second); n != 0 || p.resting(now) != nil {
			t.Fatalf("a quarrel after %d connections", i+1)
		}
	}
	for _, byBroker := range []bool{true, false} {
		p.ended(steady, byBroker, now) // one that lasted, and ended by the broker or by a cable that was pulled: it was none
		for range quarrelsome - 1 {
			if n := kicked(time.Second); n != 0 {
				t.Fatalf("a quarrel over %d connections although one lasted", n)
			}
		}
	}
	if n := p.ended(time.Second, false, now); n != 0 || p.short != quarrelsome-1 {
		t.Errorf("a bad line is a quarrel: %d, %d", n, p.short)
	}
	rest := firstRest
	for i := range 12 {
		if n := kicked(time.Second); n != quarrelsome+i {
			t.Fatalf("told of %d connections, want %d", n, quarrelsome+i)
		}
		if err := p.resting(now.Add(rest - 1)); !errors.Is(err, why) {
			t.Errorf("rest %d ends before %v: %v", i, rest, err)
		}
		if now = now.Add(rest); p.resting(now) != nil {
			t.Errorf("rest %d goes on after %v", i, rest)
		}
		if i < mostDoubled {
			rest *= 2
		}
	}
	if p.ended(steady, false, now); p.rests != 0 || p.short != 0 {
		t.Error("a connection that lasted is not the end of it")
	}
}
