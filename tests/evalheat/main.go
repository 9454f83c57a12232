// Command evalheat is scratch.
package main

import (
	"context"
	"encoding/gob"
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"sync"
	"time"

	"nestmon/sensors"
	"nestmon/sensors/simulated"
	"nestmon/thresholds/alarm"
)

type D struct {
	Onset, End time.Time
	Deep       bool
	Cause      string
}

// Cache is one litter.
type Cache struct {
	Start        time.Time
	Vals         []float32 // 5 per poll, NaN fault; suspect in Sus
	Sus          []byte
	Core         []float32 // per minute
	TrueAir      []float32
	Doe          []byte
	Chills, Hots []D
	Died         time.Time
	KilledByHeat bool
	LookedIn     []time.Time
	Skipped      bool
}

var ids = [5]string{firstID, airID, airID, outID, outID}
var qs = [5]sensors.Quantity{sensors.Temperature, sensors.Temperature, sensors.Humidity, sensors.Temperature, sensors.Humidity}

func path(seed uint64, shifted bool) string {
	w := "usual"
	if shifted {
		w = "shifted"
	}
	return filepath.Join("/tmp/heatcache", fmt.Sprintf("%s-%d.gob", w, seed))
}

func capture(seed uint64, shifted bool) error {
	if _, err := os.Stat(path(seed, shifted)); err == nil {
		return nil
	}
	l := draw(seed, shifted)
	world, err := l.world()
	if err != nil {
		return err
	}
	now := l.start
	source, err := world.Source("simulated", func() time.Time { return now })
	if err != nil {
		return err
	}
	w, err := newWatcher(oneProbe, &l, source.Probes())
	if err != nil {
		return err
	}
	c := Cache{Start: l.start}
	truth := labels{born: l.born}
	spikes := rand.New(rand.NewPCG(l.seed, 0x7370696b65))
	for i := 0; now.Before(l.end); now, i = now.Add(poll), i+1 {
		readings := source.Read(context.Background())
		l.tamper(spikes, readings)
		state, _ := world.Truth(nestID)
		truth.see(state)
		w.batch = w.batch[:0]
		for _, r := range readings {
			if w.probes[r.Probe] {
				w.batch = append(w.batch, r)
			}
		}
		w.screen.Apply(w.batch)
		var v [5]float32
		var s byte
		for k := range v {
			v[k] = float32(math.NaN())
		}
		for _, r := range w.batch {
			for k := range ids {
				if ids[k] == r.Probe && qs[k] == r.Quantity && r.OK() {
					v[k] = float32(r.Value)
					if r.Suspect {
						s |= 1 << k
					}
				}
			}
		}
		c.Vals = append(c.Vals, v[:]...)
		c.Sus = append(c.Sus, s)
		if i%2 == 0 {
			c.Core = append(c.Core, float32(state.Core))
			c.TrueAir = append(c.TrueAir, float32(state.Air))
			d := byte(0)
			if state.Doe {
				d = 1
			}
			if state.Open {
				d |= 2
			}
			c.Doe = append(c.Doe, d)
		}
	}
	truth.close(l.end)
	for _, d := range truth.chills {
		c.Chills = append(c.Chills, D{d.onset, d.end, d.deep, l.causeOf(d)})
	}
	for _, d := range truth.hots {
		c.Hots = append(c.Hots, D{d.onset, d.end, d.deep, l.causeOf(d)})
	}
	c.Died, c.KilledByHeat = truth.died, truth.killedByHeat
	for _, h := range world.Happenings(nestID) {
		if h.Kind == simulated.LookedIn {
			c.LookedIn = append(c.LookedIn, h.Time)
		}
	}
	hi := float32(-99)
	for _, v := range c.TrueAir {
		hi = max(hi, v)
	}
	if hi < 25.5 && len(c.Hots) == 0 {
		c.Skipped = true
		c.Vals, c.Sus, c.Core, c.TrueAir, c.Doe = nil, nil, nil, nil, nil
	}
	f, err := os.Create(path(seed, shifted) + ".tmp")
	if err != nil {
		return err
	}
	if err := gob.NewEncoder(f).Encode(&c); err != nil {
		return err
	}
	f.Close()
	return os.Rename(path(seed, shifted)+".tmp", path(seed, shifted))
}

func load(seed uint64, shifted bool) (*Cache, error) {
	f, err := os.Open(path(seed, shifted))
	if err != nil {
		return nil, err
	}
	defer f.Close()
	c := new(Cache)
	return c, gob.NewDecoder(f).Decode(c)
}

func probesOf() []sensors.Probe {
	mk := func(id string, q ...sensors.Quantity) sensors.Probe {
		return sensors.Probe{ID: id, Quantities: q, Interval: poll, StaleAfter: sensors.DefaultStaleAfter(poll)}
	}
	return []sensors.Probe{mk(firstID, sensors.Temperature), mk(airID, sensors.Temperature, sensors.Humidity), mk(outID, sensors.Temperature, sensors.Humidity)}
}

func rerun(seed uint64, shifted bool, g rig, tr bool) (*record, *Cache, error) {
	l := draw(seed, shifted)
	c, err := load(seed, shifted)
	if err != nil {
		return nil, nil, err
	}
	out := &record{litter: l, fixed: map[string][]stand{}}
	for _, d := range c.Chills {
		out.chills = append(out.chills, danger{d.Onset, d.End, d.Deep, d.Cause})
	}
	for _, d := range c.Hots {
		out.hots = append(out.hots, danger{d.Onset, d.End, d.Deep, d.Cause})
	}
	out.died, out.killedByHeat = c.Died, c.KilledByHeat
	if c.Skipped {
		return out, c, nil
	}
	w, err := newWatcher(g, &l, probesOf())
	if err != nil {
		return nil, nil, err
	}
	batch := make([]sensors.Reading, 0, 5)
	n := len(c.Sus)
	for i := range n {
		now := l.start.Add(time.Duration(i) * poll)
		batch = batch[:0]
		for k := range ids {
			v := c.Vals[5*i+k]
			r := sensors.Reading{Probe: ids[k], Quantity: qs[k], Time: now, Value: math.Round(float64(v)*10000) / 10000, Suspect: c.Sus[i]&(1<<k) != 0}
			if v != v || (g == deadProbe && k == 0) {
				r.Value, r.Fault = 0, sensors.NoAnswer
			}
			batch = append(batch, r)
		}
		events := w.rabbitry.Observe(now, batch)
		for _, e := range events {
			if e.Name == alarm.Kindled && w.proposed.IsZero() {
				w.proposed = e.Time
			}
			if tr && (e.Name == alarm.NestHeat || e.Name == alarm.ClusterHeat || e.Name == alarm.HeatExpected || e.Name == alarm.Inspection) {
				fmt.Printf("%s   ** %s %s %s %.2f/%.2f %s | %s\n", now.Format("01-02 15:04"), e.Name, e.State, e.Severity, e.Value, e.Limit, e.Probe, e.Text)
			}
		}
		w.judged.events = append(w.judged.events, events...)
		if !w.entered && !l.born.IsZero() && now.Sub(l.born) >= entersAfter {
			w.enter(now, &l)
		}
		if tr && i%20 == 0 {
			fmt.Printf("%s age %s core %.1f air %.2f cl %.2f out %.2f doe %d\n", now.Format("01-02 15:04"), out.age(now), c.Core[i/2], c.Vals[5*i+1], c.Vals[5*i], c.Vals[5*i+3], c.Doe[i/2])
		}
	}
	for k := range out.judged {
		out.judged[k] = w.judged
	}
	return out, c, nil
}

func all(first uint64, n int, shifted bool, do func(i int, seed uint64) error) {
	work := make(chan int)
	var wait sync.WaitGroup
	for range 2 {
		wait.Go(func() {
			for i := range work {
				if err := do(i, first+uint64(i)); err != nil {
					panic(err)
				}
			}
		})
	}
	for i := range n {
		work <- i
	}
	close(work)
	wait.Wait()
}

func main() {
	first := flag.Uint64("first", 1, "")
	n := flag.Int("n", 100, "")
	shifted := flag.Bool("shifted", false, "")
	cap := flag.Bool("capture", false, "")
	cases := flag.Bool("cases", false, "")
	split := flag.Bool("split", false, "")
	rg := flag.Int("rig", 0, "")
	tr := flag.Int64("trace", -1, "")
	dosun := flag.Bool("sun", false, "")
	dofx := flag.Bool("fx", false, "")
	flag.Parse()
	if *dosun {
		sunScan(*first, *n, *shifted)
		return
	}
	if *dofx {
		fx(*first, *n, *shifted)
		return
	}
	if *tr >= 0 {
		_, _, err := rerun(uint64(*tr), *shifted, rig(*rg), true)
		if err != nil {
			panic(err)
		}
		return
	}
	if *cap {
		all(*first, *n, *shifted, func(_ int, seed uint64) error { return capture(seed, *shifted) })
		return
	}
	records := make([]*record, *n)
	caches := make([]*Cache, *n)
	all(*first, *n, *shifted, func(i int, seed uint64) error {
		var err error
		records[i], caches[i], err = rerun(seed, *shifted, rig(*rg), false)
		if !*cases {
			caches[i] = nil
		}
		return err
	})
	w := "usual"
	if *shifted {
		w = "shifted"
	}
	p := &report{w: os.Stdout, world: w, first: *first, records: records}
	rules := append(heatRules(oneProbe), said("nest-heat", 0, alarm.Notice, alarm.NestHeat), said("nest-heat, warning up", 0, alarm.Warning, alarm.NestHeat), said("cluster-heat", 0, alarm.Notice, alarm.ClusterHeat), said("cluster-heat urgent", 0, alarm.Urgent, alarm.ClusterHeat), said("heat-expected", 0, alarm.Notice, alarm.HeatExpected), said("heat-expected, warning up", 0, alarm.Warning, alarm.HeatExpected), said("any heat, warning up", 0, alarm.Warning, alarm.NestHeat, alarm.ClusterHeat, alarm.HeatExpected))
	scores := p.scores(rules, hotsOf)
	p.pair("Heat", scores)
	if *split {
		p.split("Heat, split", rules[1:4], hotsOf)
	}
	if *cases {
		p.heatCases(caches, rules[1], "urgent")
		p.heatCases(caches, rules[8], "expected")
	}
}

func (p *report) heatCases(caches []*Cache, rl rule, what string) {
	for i, r := range p.records {
		excused := r.excused(hotsOf(r))
		for _, s := range rl.stands(r) {
			if within(excused, s.from) {
				continue
			}
			c := caches[i]
			at := int(s.from.Sub(r.start) / time.Minute)
			hiCore, hiAir, air := float32(0), float32(0), float32(0)
			for k := max(at-30, 0); k < min(at+360, len(c.Core)); k++ {
				hiCore, hiAir = max(hiCore, c.Core[k]), max(hiAir, c.TrueAir[k])
			}
			air = c.TrueAir[at]
			ago := float32(-1)
			if at > 60 {
				ago = c.TrueAir[at-60]
			}
			fmt.Printf("false %s: seed %d %s %s kits %d %s age %s for %.1f h worst %v; air %.1f (1h ago %.1f) next 6 h: air %.1f core %.1f scen %q instr %q exp %.2f\n", what, r.seed, r.makeup, r.season, r.nest.Kits, s.from.Format(stamp), r.age(s.from), s.length().Hours(), s.rises[len(s.rises)-1].severity, air, ago, hiAir, hiCore, r.scenario, r.instrument(false), r.nest.Exposure)
		}
	}
}
