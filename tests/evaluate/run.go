package main

import (
	"context"
	"fmt"
	"math/rand/v2"
	"runtime"
	"slices"
	"sync"
	"time"

	"nestmon/sensors"
	"nestmon/sensors/screen"
	"nestmon/sensors/simulated"
	"nestmon/thresholds"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
	book "nestmon/thresholds/litter"
	"nestmon/thresholds/nest"
)

// rig is one way to equip and enter the same nest. All rigs of a litter watch the same world at once.
type rig int

const (
	oneProbe  rig = iota // cluster, nest air, outside
	twoProbes            // a second cluster probe and CO2
	deadProbe            // the cluster probe never answers
	unentered            // as oneProbe, but nobody entered a litter
	numRigs
)

var rigNames = [numRigs]string{"one probe", "two probes", "cluster probe dead", "no litter entered"}

// record is everything a litter left behind.
type record struct {
	litter
	judged       [numRigs]judged
	fixed        map[string][]stand
	plain        plain
	chills, hots []danger
	happened     []simulated.Happening
	died         time.Time
	killedByHeat bool
	water        []float64          // g of free water in the nest at the end of each day after birth
	learned      thresholds.Learned // by one probe, at the end
	true         truths
}

// judged is what one rig said.
type judged struct {
	events      []alarm.Event
	looks, seen int // at the state after birth; those in which chill was judged
}

// watcher is the decisions of one rig: readings are screened once, then decided on, as the daemon does it.
type watcher struct {
	rig      rig
	probes   map[string]bool
	screen   *screen.Screen
	rabbitry *thresholds.Rabbitry
	batch    []sensors.Reading
	judged   judged
	proposed time.Time
	entered  bool
}

const entersAfter = 12 * time.Hour // the keeper finds and counts the litter

// lookEvery is how often the state is asked whether chill is judged.
const lookEvery = 10 * time.Minute

func newWatcher(g rig, l *litter, probes []sensors.Probe) (*watcher, error) {
	cfg := nest.Config{
		ID: nestID, Kind: brood.Kind(l.nest.Kind), Floor: brood.Floor(l.nest.Floor), Lined: l.nest.Lined,
		Cluster: []string{firstID}, Air: airID,
	}
	mine := map[string]bool{firstID: true, airID: true, outID: true}
	if g == twoProbes {
		cfg.Cluster, cfg.CO2 = []string{firstID, secondID}, co2ID
		mine[secondID], mine[co2ID] = true, true
	}
	probes = slices.DeleteFunc(slices.Clone(probes), func(p sensors.Probe) bool { return !mine[p.ID] })
	r, err := thresholds.New(thresholds.Config{
		Location: time.UTC, Poll: poll, Outside: outID, Probes: probes, Nests: []nest.Config{cfg}, Limits: brood.DefaultTables(),
	})
	if err != nil {
		return nil, err
	}
	w := &watcher{rig: g, probes: mine, rabbitry: r}
	w.screen = screen.New(probes, screen.Watch{Probes: []string{outID}, Outside: true},
		screen.Watch{Probes: append([]string{airID}, cfg.Cluster...)})
	if g != unentered {
		r.SetLitters([]book.Litter{{ID: 1, Nest: nestID, Bred: l.bred.Truncate(day)}}, l.start)
	}
	return w, nil
}

func (w *watcher) observe(t time.Time, readings []sensors.Reading, l *litter) []alarm.Event {
	w.batch = w.batch[:0]
	for _, r := range readings {
		if !w.probes[r.Probe] {
			continue
		}
		if w.rig == deadProbe && r.Probe == firstID {
			r.Fault, r.Value = sensors.NoAnswer, 0
		}
		w.batch = append(w.batch, r)
	}
	w.screen.Apply(w.batch)
	events := w.rabbitry.Observe(t, w.batch)
	for _, e := range events {
		if e.Name == alarm.Kindled && w.proposed.IsZero() {
			w.proposed = e.Time
		}
	}
	w.judged.events = append(w.judged.events, events...)
	if !w.entered && !l.born.IsZero() && t.Sub(l.born) >= entersAfter {
		w.enter(t, l)
	}
	if !l.born.IsZero() && t.After(l.born) && t.Sub(l.born)%lookEvery == 0 {
		w.look()
	}
	return events
}

// enter is the keeper at the first look into the nest: kits are counted, and kindling is dated where no true proposal is there.
func (w *watcher) enter(t time.Time, l *litter) {
	w.entered = true
	if w.rig == unentered {
		return
	}
	b := book.Litter{ID: 1, Nest: nestID, Bred: l.bred.Truncate(day), Born: l.nest.Kits}
	if w.proposed.Before(l.born) {
		b.Kindled = l.born
	}
	w.rabbitry.SetLitters([]book.Litter{b}, t)
}

func (w *watcher) look() {
	w.judged.looks++
	for _, j := range w.rabbitry.Snapshot().Nests[0].Judged {
		if j.Danger == "chill" && j.Judged {
			w.judged.seen++
		}
	}
}

// knows reports whether the litter is known to be there.
func (w *watcher) knows() bool { return w.entered || !w.proposed.IsZero() }

// observe lives through one litter with the first rigs, of which one is the least.
func observe(l litter, rigs rig, tr *trace) (*record, error) {
	world, err := l.world()
	if err != nil {
		return nil, err
	}
	now := l.start
	source, err := world.Source("simulated", func() time.Time { return now })
	if err != nil {
		return nil, err
	}
	watchers := make([]*watcher, rigs)
	for g := range rigs {
		if watchers[g], err = newWatcher(g, &l, source.Probes()); err != nil {
			return nil, fmt.Errorf("litter %d: %w", l.seed, err)
		}
	}
	out := &record{litter: l, fixed: map[string][]stand{}, plain: plain{bred: l.bred}}
	var runs []*fixedRun
	for _, f := range append(slices.Clone(fixedChill), fixedHeat...) {
		runs = append(runs, &fixedRun{fixedRule: f})
	}
	truth, course := labels{born: l.born}, course{born: l.born}
	spikes := rand.New(rand.NewPCG(l.seed, 0x7370696b65))
	for ; now.Before(l.end); now = now.Add(poll) {
		readings := source.Read(context.Background())
		l.tamper(spikes, readings)
		state, _ := world.Truth(nestID)
		truth.see(state)
		if since := now.Sub(l.born); !l.born.IsZero() && since > 0 && since%day == 0 {
			out.water = append(out.water, state.Water)
		}
		around, _ := world.Outside()
		course.see(state, around)
		for _, w := range watchers {
			events := w.observe(now, readings, &l)
			tr.see(now, w, events, state)
		}
		p := shown(now, watchers[oneProbe])
		for _, r := range runs {
			r.step(p)
		}
		out.plain.step(p)
	}
	truth.close(l.end)
	out.chills, out.hots, out.died, out.killedByHeat = truth.chills, truth.hots, truth.died, truth.killedByHeat
	for _, ds := range [][]danger{out.chills, out.hots} {
		for i := range ds {
			ds[i].cause = l.causeOf(ds[i])
		}
	}
	for _, r := range runs {
		out.fixed[r.name] = r.close(l.end)
	}
	for g, w := range watchers {
		out.judged[g] = w.judged
	}
	out.happened = world.Happenings(nestID)
	out.learned, out.true = watchers[oneProbe].rabbitry.Snapshot().Nests[0].Learned, course.close(l.makeup)
	return out, nil
}

// shown is what the fixed rules see of a poll.
func shown(t time.Time, w *watcher) probed {
	p := probed{at: t, kindled: w.knows()}
	for _, r := range w.batch {
		if !r.OK() || r.Suspect || r.Quantity != sensors.Temperature {
			continue
		}
		switch r.Probe {
		case firstID:
			p.cluster, p.hasCluster = r.Value, true
		case airID:
			p.air, p.has = r.Value, true
		}
	}
	return p
}

// causeSlack is how long after a fault what follows is still its doing.
const causeSlack = 3 * time.Hour

func (l *litter) causeOf(d danger) string {
	if l.scenario != "" && (span{l.fault.from, l.fault.to.Add(causeSlack)}).holds(d.onset) {
		return l.scenario
	}
	return "no fault"
}

// observeAll lives through litters on all cores; the order of the records is that of the seeds.
func observeAll(first uint64, n int, shifted bool, done func(int)) ([]*record, error) {
	records, errs := make([]*record, n), make([]error, n)
	work := make(chan int)
	var wait sync.WaitGroup
	var mu sync.Mutex
	finished := 0
	for range min(runtime.GOMAXPROCS(0), n) {
		wait.Go(func() {
			for i := range work {
				records[i], errs[i] = observe(draw(first+uint64(i), shifted), numRigs, nil)
				mu.Lock()
				finished++
				done(finished)
				mu.Unlock()
			}
		})
	}
	for i := range n {
		work <- i
	}
	close(work)
	wait.Wait()
	for _, err := range errs {
		if err != nil {
			return nil, err
		}
	}
	return records, nil
}
