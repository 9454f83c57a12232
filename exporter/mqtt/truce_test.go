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
		n := p.ended(lasted, now)
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
	kicked(steady) // one that lasted: it was none
	for range quarrelsome - 1 {
		kicked(time.Second)
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
	if kicked(steady); p.rests != 0 || p.short != 0 {
		t.Error("a connection that lasted is not the end of it")
	}
}
