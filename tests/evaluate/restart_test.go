package main

import (
	"bytes"
	"context"
	"encoding/json"
	"flag"
	"math/rand/v2"
	"reflect"
	"testing"
	"time"

	"nestmon/thresholds/alarm"
)

// cutsPerLitter is how often each litter's watcher is stopped and begun anew, at instants that depend on the seed alone.
const cutsPerLitter = 60

// restarted is how many more litters a stopped watcher lives through. Two hundred take some minutes:
//
//	go test ./tests/evaluate -run ARestartChangesNothing -restarted 200 -v
var restarted = flag.Int("restarted", 0, "`litters`, from seed 1, that TestARestartChangesNothing lives through as well")

// Whatever befalls a litter, a watcher that is stopped again and again, its state saved and loaded into a new one, says byte for byte
// what one says that was never stopped, and remembers the same.
func TestARestartChangesNothing(t *testing.T) {
	long(t)
	scenarios, causes, rigs := map[string]bool{}, map[string]bool{}, map[rig]bool{}
	seeds := []uint64{2, 3, 4, 9, 13} // a quiet one, four that something befalls, three of them by probes that are not sound
	for seed := range uint64(*restarted) {
		seeds = append(seeds, seed+1)
	}
	for _, seed := range seeds {
		l := draw(seed, seed%4 == 0)
		scenarios[l.scenario], causes[l.instrument(true)], rigs[rigOf(l)] = true, true, true
		stopAndGo(t, l)
	}
	if len(scenarios) < 5 || len(causes) < 4 || len(rigs) < int(numRigs) {
		t.Errorf("only scenarios %v, instruments %v and rigs %v were lived through", scenarios, causes, rigs)
	}
}

func rigOf(l litter) rig { return rig(l.seed % uint64(numRigs)) }

func stopAndGo(t *testing.T, l litter) {
	t.Helper()
	world, err := l.world()
	if err != nil {
		t.Fatal(err)
	}
	now := l.start
	source, err := world.Source("simulated", func() time.Time { return now })
	if err != nil {
		t.Fatal(err)
	}
	g := rigOf(l)
	fresh := func() *watcher {
		w, err := newWatcher(g, &l, source.Probes())
		if err != nil {
			t.Fatal(err)
		}
		return w
	}
	whole, cut := fresh(), fresh()
	spikes, when := rand.New(rand.NewPCG(l.seed, 1)), rand.New(rand.NewPCG(l.seed, 2))
	share := float64(cutsPerLitter) / float64(l.end.Sub(l.start)/poll)
	cuts, said := 0, 0
	for ; now.Before(l.end); now = now.Add(poll) {
		readings := source.Read(context.Background())
		l.tamper(spikes, readings)
		for _, w := range []*watcher{whole, cut} {
			w.observe(now, readings, &l)
		}
		if w, c := lines(t, whole.judged.events[said:]), lines(t, cut.judged.events[said:]); !bytes.Equal(w, c) {
			t.Fatalf("litter %d, %v, after %d cuts:\nwhole %s\ncut   %s", l.seed, now, cuts, w, c)
		}
		said = len(whole.judged.events)
		if when.Float64() >= share {
			continue
		}
		cuts++
		state := cut.rabbitry.Save(cut.screen.State()...)
		if !bytes.Equal(state, whole.rabbitry.Save(whole.screen.State()...)) {
			t.Fatalf("litter %d, %v: after %d cuts something else is remembered", l.seed, now, cuts)
		}
		next := fresh()
		if err := next.rabbitry.Load(state, next.screen.State()...); err != nil {
			t.Fatal(err)
		}
		next.rabbitry.Resume(cut.rabbitry.Standing())
		cut.rabbitry, cut.screen = next.rabbitry, next.screen
		if a, b := whole.rabbitry.Snapshot(), cut.rabbitry.Snapshot(); !reflect.DeepEqual(a, b) {
			t.Fatalf("litter %d, %v, after %d cuts:\nwhole %+v\ncut   %+v", l.seed, now, cuts, a, b)
		}
	}
	if cuts < cutsPerLitter/2 || said == 0 {
		t.Errorf("litter %d: %d cuts and %d events prove little", l.seed, cuts, said)
	}
}

func lines(t *testing.T, events []alarm.Event) []byte {
	t.Helper()
	var out bytes.Buffer
	enc := json.NewEncoder(&out)
	for _, e := range events {
		if err := enc.Encode(e); err != nil {
			t.Fatal(err)
		}
	}
	return out.Bytes()
}
