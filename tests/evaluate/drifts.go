package main

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"time"

	"nestmon/sensors/simulated"
	"nestmon/thresholds/nest"
)

// A probe in an empty nest whose scale runs away slowly and stays so, unlike the drift that is drawn for litters: that is over in two days.
const driftEach = 4 // litters of a run for each nest

// driftRates are K a day; the first is of sound probes.
var driftRates = []float64{0, 0.25, 0.5, 1}

// drifting is what was said of the probes of an empty nest.
type drifting struct {
	told  bool
	after float64 // days
	right bool    // of the probe that drifts, and of no other
}

// driftIn lives through the ten days of an empty nest in which its first cluster probe or its air probe drifts, up or down.
func driftIn(seed uint64, rate float64, shifted bool) (said [2]drifting, err error) {
	l := draw(seed, shifted)
	l.nest.Kits, l.nest.Kindled, l.born = 0, time.Time{}, time.Time{}
	l.scenario, l.probes, l.swapped, l.end = "", [2]instrument{}, false, l.bred.Add(runsEmpty)
	world, err := l.world()
	if err != nil {
		return said, err
	}
	probe := firstID
	if seed/uint64(len(makeups))%2 == 1 {
		probe = airID
	}
	if rate > 0 {
		if seed/uint64(2*len(makeups))%2 == 1 {
			rate = -rate
		}
		if err := world.Schedule(simulated.Event{Kind: simulated.Drift, Nest: nestID, Probe: probe, From: l.start, Amount: rate / 24}); err != nil {
			return said, err
		}
	}
	now := l.start
	source, err := world.Source("simulated", func() time.Time { return now })
	if err != nil {
		return said, err
	}
	var watchers [2]*watcher
	for g := range watchers {
		if watchers[g], err = newWatcher(rig(g), &l, source.Probes()); err != nil {
			return said, err
		}
	}
	spikes := rand.New(rand.NewPCG(seed, 0x7370696b65))
	for ; now.Before(l.end); now = now.Add(poll) {
		readings := source.Read(context.Background())
		l.tamper(spikes, readings)
		for g, w := range watchers {
			w.observe(now, readings, &l)
			if now.Hour() != 6 || now.Minute() != 0 || now.Second() != 0 || said[g].told {
				continue
			}
			said[g].right = true
			for _, d := range w.rabbitry.Snapshot().Doubts {
				if d.Why == nest.DoubtDrifting || d.Why == nest.DoubtScale {
					said[g].told, said[g].after = true, now.Sub(l.start).Hours()/24
					said[g].right = said[g].right && d.Probe == probe
				}
			}
		}
	}
	return said, nil
}

func (p *report) drifts(nests int) {
	var rows [][]string
	for _, rate := range driftRates {
		var told, right [2]int
		var after [2][]float64
		for k := range nests {
			said, err := driftIn(p.first+uint64(k), rate, p.world == "shifted")
			if err != nil {
				p.err = err
				return
			}
			for g, s := range said {
				if !s.told {
					continue
				}
				told[g]++
				after[g] = append(after[g], s.after)
				if s.right {
					right[g]++
				}
			}
		}
		row := []string{fmt.Sprint(rate), fmt.Sprint(nests)}
		for g := range told {
			days := math.NaN()
			if len(after[g]) > 0 {
				days = quantile(after[g], 0.5)
			}
			row = append(row, percent(wilson(told[g], nests)), hours(days), short(right[g], told[g]))
		}
		rows = append(rows, row)
	}
	p.table("A scale that creeps away", "Empty nests, ten days from day 27; a cluster probe or the air probe drifts, up or down, and stays so. Right is told of that probe and no other.",
		[]string{"K a day", "nests", "one probe: told %", "days p50", "right %", "two probes: told %", "days p50", "right %"}, rows)
}
