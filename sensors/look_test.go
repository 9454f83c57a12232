package sensors_test

import (
	"context"
	"slices"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"nestmon/sensors"
)

// free is a bus that can be read between polls. Each reading's value is its number, and reads are when they began.
type free struct {
	bus
	takes func(n int) time.Duration
	not   bool
	reads []time.Duration
}

func newFree(name string, takes func(n int) time.Duration) *free {
	f, begin := &free{takes: takes}, time.Now()
	f.name = name
	f.read = func(context.Context) []sensors.Reading {
		f.reads = append(f.reads, time.Since(begin))
		n := len(f.reads)
		time.Sleep(takes(n))
		return f.both(float64(n))
	}
	return f
}

func (f *free) Again() bool { return !f.not }

func always(d time.Duration) func(int) time.Duration { return func(int) time.Duration { return d } }

// watched polls every ten seconds for so many polls while somebody looks, and returns what the polls brought and what the look saw.
func watched(t *testing.T, polls int, sources ...sensors.Source) (polled [][]sensors.Reading, seen map[string][]float64, health []sensors.BusHealth) {
	t.Helper()
	p := sensors.NewPoller(sources, quiet())
	defer p.Close()
	var mu sync.Mutex
	seen = map[string][]float64{}
	ctx, end := context.WithCancel(t.Context())
	var looking sync.WaitGroup
	looking.Go(func() {
		p.Look(ctx, sensors.Look{Every: 10 * time.Second, Rest: 2 * time.Second, Take: func(_ time.Time, readings []sensors.Reading) {
			mu.Lock()
			defer mu.Unlock()
			for _, r := range readings {
				if r.Quantity == sensors.Temperature {
					v := r.Value
					if !r.OK() {
						v = -1
					}
					seen[r.Probe] = append(seen[r.Probe], v)
				}
			}
		}})
	})
	synctest.Wait()
	late, over := context.WithCancel(t.Context())
	over()
	p.Look(late, sensors.Look{Every: 10 * time.Second, Take: func(time.Time, []sensors.Reading) { t.Error("a look that was over before it began is told") }})
	for begin := time.Now(); len(polled) < polls; {
		polled = append(polled, p.Poll(t.Context(), 8*time.Second))
		time.Sleep(time.Duration(len(polled))*10*time.Second - time.Since(begin))
	}
	health = p.Buses()
	end()
	looking.Wait()
	return polled, seen, health
}

func TestALookReadsBetweenPollsWhereThatTakesNothingFromThem(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		quick, slow, radio := newFree("quick", always(time.Second)), newFree("slow", always(6*time.Second)), newFree("radio", always(0))
		radio.not = true
		polled, seen, health := watched(t, 3, quick, slow, radio)
		for i, got := range polled {
			expect(t, "poll", got, "quick-1=ok slow-1=ok radio-1=ok")
			if own := got[0].Value; i > 0 && own < 2*float64(i) {
				t.Errorf("poll %d has reading %v of the quick bus: none was made between", i, own)
			}
		}
		if len(quick.reads) != 9 || len(slow.reads) != 3 || len(radio.reads) != 3 {
			t.Errorf("reads in three polls: quick %d, want 9; slow %d and radio %d, want those of the polls", len(quick.reads), len(slow.reads), len(radio.reads))
		}
		for i := 1; i < len(quick.reads); i++ {
			if at := quick.reads[i]; at-quick.reads[i-1] < 3*time.Second && at%(10*time.Second) != 0 {
				t.Errorf("the quick bus began to be read at %v: it had no rest since %v", at, quick.reads[i-1])
			}
			if at := quick.reads[i] % (10 * time.Second); at > 8*time.Second {
				t.Errorf("the quick bus began to be read %v after a poll: that does not fit in before the next", at)
			}
		}
		for probe, reads := range map[string]int{"quick-1": len(quick.reads), "slow-1": 3, "radio-1": 3} {
			if len(seen[probe]) != reads || !slices.IsSorted(seen[probe]) {
				t.Errorf("the look saw %v of %s, want each of %d readings once", seen[probe], probe, reads)
			}
		}
		for _, h := range health {
			if !h.Up || h.Hung != 0 {
				t.Errorf("%s is said to be down: %+v", h.Bus, h)
			}
		}
	})
}

// An extra reading that takes longer than any before it holds the next poll up, and is nothing that the poll returns.
func TestAPollReadsForItselfAfterAnExtraReading(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := newFree("row", func(n int) time.Duration {
			if n == 4 { // at 9 s
				return 4 * time.Second
			}
			return time.Second
		})
		polled, seen, _ := watched(t, 2, f)
		expect(t, "the first poll", polled[0], "row-1=ok")
		expect(t, "the second poll", polled[1], "row-1=ok")
		own, at := polled[1][0].Value, f.reads[int(polled[1][0].Value)-1]
		if own < 3 || at < 10*time.Second || at > 14*time.Second {
			t.Errorf("the second poll returned reading %v, begun at %v; want one begun in its own time", own, at)
		}
		if len(seen["row-1"]) != len(f.reads) {
			t.Errorf("the look saw %v of %d readings", seen["row-1"], len(f.reads))
		}
	})
}

// A bus that hangs in an extra reading is told as one that hangs in a poll, and the look hears of it.
func TestAnExtraReadingThatHangs(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := newFree("row", func(n int) time.Duration {
			if n == 2 {
				return 25 * time.Second // from 3 s to 28 s
			}
			return time.Second
		})
		polled, seen, _ := watched(t, 4, f)
		for i, want := range []string{"row-1=ok", "row-1=timed-out", "row-1=bus-down", "row-1=ok row-1=ok"} {
			expect(t, "poll", polled[i], want)
		}
		if got := seen["row-1"]; !slices.Equal(got[:5], []float64{1, -1, -1, 2, 3}) {
			t.Errorf("the look saw %v", got)
		}
	})
}

func TestNothingIsReadBetweenPollsWhileNobodyLooks(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := newFree("row", always(time.Second))
		p := sensors.NewPoller([]sensors.Source{f}, quiet())
		defer p.Close()
		ctx, end := context.WithCancel(t.Context())
		end()
		p.Poll(t.Context(), 8*time.Second)
		p.Look(ctx, sensors.Look{Every: 10 * time.Second, Take: func(time.Time, []sensors.Reading) { t.Error("told after the end") }})
		time.Sleep(9 * time.Second)
		p.Poll(t.Context(), 8*time.Second)
		if len(f.reads) != 2 {
			t.Errorf("%d readings in two polls", len(f.reads))
		}
	})
}
