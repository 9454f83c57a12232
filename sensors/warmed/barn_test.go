package warmed_test

import (
	"math"
	"math/rand/v2"
	"time"

	"nestmon/sensors/warmed"
)

// conversion is how long a DS18B20 at 12 bit holds its bus: 760 to 787 ms measured against a Linux 6.1 kernel.
const conversion = 770 * time.Millisecond

// step is a DS18B20's at 12 bit (data sheet, configuration register).
const step = 1.0 / 16

// barn is a simulated barn with probes; all of it is invented, nothing was measured in a hand.
type barn struct {
	rng    *rand.Rand
	buses  [][]int
	fails  float64 // share of readings without a value
	noise  float64 // K, of one reading
	air    []float64
	drift  []float64                       // K/s, of each probe by itself
	common float64                         // K/s, of all
	sway   float64                         // K, of the barn's slow wave
	turn   float64                         // s, its length
	hand   float64                         // °C
	lag    float64                         // s, time constant of a steel probe in a closed hand
	loose  map[int]float64                 // times that lag, of a probe in a hand that is not closed
	held   map[int]time.Duration           // since the begin
	let    time.Duration                   // when those held until then were let go, 0 for not yet
	bends  map[int]func(s float64) float64 // K, of each probe, s after the watch asked for one
	asked  time.Duration                   // when it did, since the begin
	begin  time.Time

	watch *warmed.Watch
	now   time.Time
}

// newBarn makes one from a seed: from hard frost to a summer day, drifting by up to 2 K in ten minutes.
func newBarn(seed uint64, probes, buses int) *barn {
	rng := rand.New(rand.NewPCG(seed, 1))
	between := func(low, high float64) float64 { return low + (high-low)*rng.Float64() }
	b := &barn{
		rng: rng, buses: make([][]int, buses), noise: between(0.01, 0.06), common: between(-2, 2) / 600, sway: between(0, 0.5), turn: between(200, 1500),
		hand: between(30, 35), lag: between(15, 50), held: map[int]time.Duration{}, begin: time.Date(2031, 3, 9, 6, 0, 0, 0, time.UTC),
	}
	level := between(-10, 26)
	for i := range probes {
		b.buses[i%buses] = append(b.buses[i%buses], i)
		b.air = append(b.air, level+between(-3, 3))
		b.drift = append(b.drift, between(-0.5, 0.5)/600)
	}
	return b
}

// read is what probe i says at a time.
func (b *barn) read(i int, at time.Time) float64 {
	s := at.Sub(b.begin).Seconds()
	v := b.air[i] + (b.drift[i]+b.common)*s + b.sway*math.Sin(2*math.Pi*s/b.turn)
	if since, held := b.held[i]; held && at.Sub(b.begin) > since {
		until := s
		if since < b.let {
			until = b.let.Seconds()
		}
		lag := b.lag * max(1, b.loose[i])
		v += (b.hand - v) * (1 - math.Exp(-(until-since.Seconds())/lag)) * math.Exp(-(s-until)/(4*lag)) // in air it cools more slowly
	}
	if bend := b.bends[i]; bend != nil && b.asked > 0 && s > b.asked.Seconds() {
		v += bend(s - b.asked.Seconds())
	}
	v += b.noise * b.rng.NormFloat64()
	return math.Round(v/step) * step
}

// outcome is what came of a search.
type outcome struct {
	warmed.Verdict
	after   time.Duration // from the grip, or from the first word that one may grip
	several []int         // probes that were said to be held besides another
}

// run reads every bus one probe after another until something is named or the time is over. The probes of hold are gripped a moment after
// the watch asks for it.
func (b *barn) run(hold []int, moment, limit time.Duration) outcome {
	b.watch, b.now = warmed.New(len(b.air)), b.begin
	return b.search(hold, moment, limit)
}

// next lets go of what was named, and grips another a while later.
func (b *barn) next(hold int, moment, limit time.Duration) outcome {
	for i := range b.held {
		b.let = b.now.Sub(b.begin)
		b.watch.Release(i)
	}
	return b.search([]int{hold}, moment, limit)
}

func (b *barn) search(hold []int, moment, limit time.Duration) outcome {
	w, now := b.watch, b.now
	defer func() { b.now = now }()
	var gripped time.Time
	var several []int
	for {
		for _, bus := range b.buses { // all buses at once: each takes one conversion
			i := w.Next(bus, now)
			at := now.Add(conversion)
			if b.rng.Float64() < b.fails {
				w.Fail(i, at)
			} else {
				w.Add(i, at, b.read(i, at))
			}
		}
		now = now.Add(conversion)
		v := w.Verdict(now)
		if gripped.IsZero() && v.State != warmed.Learning {
			gripped, b.asked = now.Add(moment), now.Sub(b.begin)
			for _, i := range hold {
				b.held[i] = gripped.Sub(b.begin)
			}
		}
		if v.State == warmed.Several {
			several = append(several, v.Probe, v.Other)
		}
		if v.State == warmed.Named || !gripped.IsZero() && now.Sub(gripped) > limit || now.Sub(b.begin) > time.Hour {
			return outcome{v, now.Sub(gripped), several}
		}
	}
}
