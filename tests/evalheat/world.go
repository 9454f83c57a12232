package main

import (
	"fmt"
	"math/rand/v2"
	"time"

	"nestmon/sensors"
	"nestmon/sensors/simulated"
)

// The ids in every litter's world.
const (
	nestID   = "nest"
	firstID  = "nest-cluster"
	secondID = "nest-cluster2"
	airID    = "nest-air"
	co2ID    = "nest-co2"
	outID    = "outside"
)

const day = 24 * time.Hour

// poll is the step of the model and the spacing of readings.
const poll = 30 * time.Second

// Draws. All assumed; they are the study's own and belong to no detector.
const (
	runsFrom       = 27 * day // after breeding
	runsTo         = 16 * day // after kindling
	runsEmpty      = 36*day + 12*time.Hour
	gestationMean  = 31.2 // days
	gestationSD    = 0.8
	emptyShare     = 0.08 // of does that never kindle
	quietShare     = 0.40 // of litters that nothing befalls
	stuckShare     = 0.05 // of probes, and so on
	driftShare     = 0.03
	flakyShare     = 0.06
	swappedShare   = 0.02 // of litters
	flakyDropout   = 0.05 // of readings
	flakyCode      = 0.004
	flakySpike     = 0.003
	spikeHeight    = 15.0 // K
	heatWaveTop    = 33.0 // °C to which a heat wave lifts the season's mean
	heatWaveRamp   = 12 * time.Hour
	winterMean     = 4.0 // °C of the season below which a nest gets its winter bedding
	summerMean     = 19.0
	faultEarliest  = 0.5 // days after kindling
	faultLatest    = 8.5
	stuckHours     = 24.0
	driftHours     = 48.0
	climateMean    = 11.0 // °C, of the simulator's year as its description gives it
	climateSwing   = 15.0
	climateColdest = 20.0 // day of the year
)

// makeups are the five kinds of nest.
var makeups = []struct {
	name string
	nest simulated.Nest
}{
	{"ply solid", simulated.Nest{Kind: simulated.WoodenBox, Floor: simulated.SolidFloor}},
	{"ply wire", simulated.Nest{Kind: simulated.WoodenBox, Floor: simulated.WireFloor}},
	{"metal bare", simulated.Nest{Kind: simulated.MetalBox}},
	{"metal lined", simulated.Nest{Kind: simulated.MetalBox, Lined: true}},
	{"tote", simulated.Nest{Kind: simulated.BuriedTote}},
}

// instrument is what is wrong with one probe.
type instrument struct {
	kind string // empty when nothing is
	when span
}

// litter is one litter as drawn.
type litter struct {
	seed       uint64
	shifted    bool
	makeup     string
	season     string
	nest       simulated.Nest
	bred, born time.Time // born is zero where the doe never kindles
	start, end time.Time
	scenario   string // empty when nothing befalls it
	fault      span   // of the scenario
	probes     [2]instrument
	swapped    bool // the first cluster probe and the outside one
	warmer     float64
}

// instrument names what is wrong with the instruments of the first probe, or of either when both are read.
func (l *litter) instrument(both bool) string {
	switch {
	case l.swapped:
		return "swapped"
	case l.probes[0].kind != "":
		return l.probes[0].kind
	case both && l.probes[1].kind != "":
		return l.probes[1].kind
	}
	return ""
}

// draw makes the litter of a seed. Consecutive seeds go round the make-ups.
func draw(seed uint64, shifted bool) litter {
	r := rand.New(rand.NewPCG(seed, 0x6e657374))
	l := litter{seed: seed, shifted: shifted}
	m := makeups[seed%uint64(len(makeups))]
	l.makeup, l.nest = m.name, m.nest
	n := &l.nest
	n.ID, n.Cluster, n.Air, n.CO2 = nestID, []string{firstID, secondID}, airID, co2ID
	n.Exposure = r.Float64() * r.Float64()
	n.Kits = 4 + r.IntN(8)
	n.BirthMass = 0.050 + 0.020*r.Float64()
	l.bred = time.Date(2031, 1, 1, 0, 0, 0, 0, time.UTC).Add(time.Duration(r.Float64() * 365 * float64(day))).Truncate(time.Minute)
	n.Bred = l.bred
	l.start = l.bred.Add(runsFrom)
	born := l.bred.Add(time.Duration((gestationMean + gestationSD*r.NormFloat64()) * float64(day))).Truncate(time.Minute)
	if born.Before(l.start.Add(time.Hour)) {
		born = l.start.Add(time.Hour)
	}
	mean := seasonMean(born)
	l.season, n.Bedding = "mid", simulated.GoodBedding
	switch {
	case mean < winterMean:
		l.season, n.Bedding = "winter", simulated.WinterBedding
	case mean > summerMean:
		l.season, n.Bedding = "summer", simulated.SummerBedding
	}
	if r.Float64() < emptyShare {
		n.Kits, l.end = 0, l.bred.Add(runsEmpty)
	} else {
		l.born, n.Kindled, l.end = born, born, born.Add(runsTo)
	}
	l.befall(r, born, mean)
	for i := range l.probes {
		l.probes[i] = drawInstrument(r, born, l.start, l.end)
	}
	l.swapped = r.Float64() < swappedShare
	return l
}

// scenarios are what may befall a litter: from and to are days after kindling, length hours.
var scenarios = []struct {
	name              string
	from, to          float64 // days
	shortest, longest float64 // h
	kind              simulated.EventKind
}{
	{"poor cover", 0, 0, 18, 48, simulated.PoorCover},
	{"scatter", faultEarliest, faultLatest, 6, 24, simulated.Scatter},
	{"starve", 0.2, 4.2, 72, 72, simulated.Starve},
	{"death", faultEarliest, faultLatest, 0, 0, simulated.Death},
	{"heat wave", faultEarliest, faultLatest, 72, 72, ""},
	{"vent blocked", faultEarliest, faultLatest, 60, 60, simulated.VentBlocked},
	{"wet", faultEarliest, faultLatest, 60, 60, simulated.Wet},
	{"probe pulled", faultEarliest, faultLatest, 12, 36, simulated.ProbePulled},
}

func (l *litter) befall(r *rand.Rand, born time.Time, mean float64) {
	quiet, which := r.Float64() < quietShare, r.IntN(len(scenarios))
	s := scenarios[which]
	from := born.Add(days(between(r, s.from, s.to)))
	length := days(between(r, s.shortest, s.longest) / 24)
	if quiet || l.born.IsZero() {
		return
	}
	l.scenario, l.fault = s.name, span{from, from.Add(length)}
	switch s.name {
	case "death": // nobody takes the litter out
		l.fault.to = l.end
	case "heat wave":
		l.warmer = min(max(heatWaveTop-mean, 0), 25)
	}
}

func drawInstrument(r *rand.Rand, born, start, end time.Time) instrument {
	x, from, length := r.Float64(), born.Add(days(between(r, faultEarliest, faultLatest))), r.Float64()
	switch {
	case x < stuckShare:
		return instrument{"stuck", span{from, from.Add(days((6 + (stuckHours-6)*length) / 24))}}
	case x < stuckShare+driftShare:
		return instrument{"drift", span{from, from.Add(days((24 + (driftHours-24)*length) / 24))}}
	case x < stuckShare+driftShare+flakyShare:
		return instrument{"flaky", span{start, end}}
	}
	return instrument{}
}

// world makes the simulated world of the litter, with everything scheduled.
func (l *litter) world() (*simulated.World, error) {
	weather := simulated.Weather(simulated.NewYear(l.seed))
	if l.scenario == "heat wave" {
		weather = heatWave{weather, l.fault, l.warmer}
	}
	w, err := simulated.New(simulated.Config{
		Seed: l.seed, Start: l.start, Step: poll, Poll: poll, Outside: outID, Weather: weather,
		Nests: []simulated.Nest{l.nest}, Flaws: true, Shifted: l.shifted,
	})
	if err != nil {
		return nil, err
	}
	for _, e := range l.script() {
		if err := w.Schedule(e); err != nil {
			return nil, fmt.Errorf("litter %d: %w", l.seed, err)
		}
	}
	return w, nil
}

func (l *litter) script() []simulated.Event {
	var all []simulated.Event
	for _, s := range scenarios {
		if s.name != l.scenario || s.kind == "" {
			continue
		}
		e := simulated.Event{Kind: s.kind, Nest: nestID, From: l.fault.from}
		switch s.kind {
		case simulated.Death, simulated.Wet:
		default:
			e.To = l.fault.to
		}
		all = append(all, e)
	}
	for i, id := range l.nest.Cluster {
		p := l.probes[i]
		on := func(kind simulated.EventKind, amount float64) {
			all = append(all, simulated.Event{Kind: kind, Nest: nestID, Probe: id, From: p.when.from, To: p.when.to, Amount: amount})
		}
		switch p.kind {
		case "stuck":
			on(simulated.Stuck, 0)
		case "drift":
			on(simulated.Drift, 0)
		case "flaky":
			on(simulated.Dropout, flakyDropout)
			on(simulated.ErrorCode, flakyCode)
		}
	}
	return all
}

// tamper does to readings what the simulator has no event for: the spikes of a flaky probe, and two swapped cables.
func (l *litter) tamper(r *rand.Rand, readings []sensors.Reading) {
	first, outside := -1, -1
	for i := range readings {
		reading := &readings[i]
		if reading.Quantity != sensors.Temperature {
			continue
		}
		for k, id := range l.nest.Cluster {
			if reading.Probe == id && l.probes[k].kind == "flaky" && r.Float64() < flakySpike {
				reading.Value += spikeHeight
			}
		}
		switch reading.Probe {
		case firstID:
			first = i
		case outID:
			outside = i
		}
	}
	if l.swapped {
		a, b := &readings[first], &readings[outside]
		a.Value, b.Value, a.Fault, b.Fault = b.Value, a.Value, b.Fault, a.Fault
	}
}

// heatWave lifts a weather for a while.
type heatWave struct {
	base   simulated.Weather
	when   span
	warmer float64 // K
}

// At implements simulated.Weather.
func (h heatWave) At(t time.Time) simulated.Conditions {
	c := h.base.At(t)
	if t.Before(h.when.from) || t.After(h.when.to) {
		return c
	}
	rise := min(1, float64(min(t.Sub(h.when.from), h.when.to.Sub(t)))/float64(heatWaveRamp))
	c.Temperature += h.warmer * rise
	c.DewPoint += h.warmer * rise / 2 // warm air from afar is moister, not in proportion
	if c.Sun > 0 {
		c.Sun = min(1, 1.5*c.Sun+0.3*simulated.Daylight(t))
	}
	return c
}

// seasonMean is the simulated climate's mean, °C, on that day.
func seasonMean(t time.Time) float64 {
	return climateMean - climateSwing*cosYear(float64(t.YearDay()-1)-climateColdest)
}
