package simulated

import (
	"math"
	"math/rand/v2"
	"time"

	"nestmon/sensors"
)

// Probes and the way they lie. All assumed; decayLength matters most and wants measuring first.
const (
	decayLength            = 4.0       // cm from the cluster's surface over which its warmth falls to 1/e
	shiftedDecayLo         = 2.0       // cm; these four in a shifted world
	shiftedDecayHi         = 5.0       // cm
	shiftedLag             = 630.0     // s at most
	shiftedWander          = 1.0       // cm
	doeDecay               = 12.0      // cm, from a doe who sits in an empty nest
	doeWarmth              = 30.0      // °C of the straw under her
	doeShare               = 0.55      // of it that reaches a probe at her side
	doeTouch               = 36.5      // °C of a probe she lies on
	nominalGap             = 0.8       // cm between cluster and probe, the median
	gapSpread              = 0.5       // of its logarithm
	badlyPlaced            = 0.12      // of first probes
	farLo, farHi           = 4.0, 9.0  // cm of a bad place, and of a jump
	secondGap              = 1.5       // cm at most that a second probe lies farther
	wanderSD               = 0.5       // cm
	wanderTime             = 6 * 3600. // s
	wanderSmooth           = 900.0     // s
	jumpsYoung, jumpsOld   = 0.08, 0.3 // a day, to and from day 10
	jumpsOlder             = 10.0      // days
	jumpMin, jumpMax       = 3., 30.   // h
	jumpLag                = 1200.0    // s
	shiftedJumpLo          = 600.0     // s
	shiftedJumpHi          = 6000.0    // s
	towardSecond           = 0.5       // of jumps away from the first probe
	secondJump             = 0.6       // of the first's jump
	clusterLagLo           = 60.0      // s
	clusterLagHi           = 300.0     // s
	airLag                 = 90.0      // s
	clusterOffset          = 0.25      // K sd
	airOffset              = 0.3       // K sd
	humidityOffset         = 2.0       // % sd
	clusterNoise, airNoise = 0.03, 0.1 // K sd
	humidityNoise          = 0.4       // % sd
	co2Noise               = 60.0      // ppm sd
	clusterStep            = 0.0625    // K, 12 bits of a DS18B20
	wetFromHumidity        = 99.0      // % from which a humidity probe is wet
	wetFor                 = 2 * time.Hour
	outsideCO2             = 420.0 // ppm, the round figure of today's open air
	powerOn                = 85.0  // °C, a DS18B20's register before its first conversion, datasheet

	burstsADay   = 1.0 // of dropouts, with Config.Flaws
	burstSeconds = 300.0
	rareShare    = 0.0002 // of readings that are error codes, and of spikes
	spikeSize    = 15.0   // K
)

// where a probe hangs.
type where uint8

const (
	inCluster where = iota
	inAir
	inAirCO2
	outside
)

// probe is one probe, its place and its faults.
type probe struct {
	sensors.Probe
	at     where
	nest   *nest // nil outside
	r      *rand.Rand
	flaws  bool
	second bool

	gap            float64 // cm from the cluster, at rest
	lag            float64 // s
	offset, skewed float64 // K, % RH
	felt           float64 // °C, after the lag
	wetUntil       time.Duration
	burstUntil     time.Duration
	events         []planned

	values  [3]float64 // by sensors.Quantity, as read
	absent  bool
	started bool
}

func newProbe(id string, at where, n *nest, c *Config) *probe {
	q := &probe{at: at, nest: n, r: stream(c.Seed, "probe "+id), flaws: c.Flaws, lag: airLag}
	q.Probe = sensors.Probe{ID: id, Interval: c.Poll, StaleAfter: sensors.DefaultStaleAfter(c.Poll)}
	q.offset, q.skewed = airOffset*q.r.NormFloat64(), humidityOffset*q.r.NormFloat64()
	switch at {
	case inCluster:
		q.Chip, q.Quantities = sensors.ChipDS18B20, []sensors.Quantity{sensors.Temperature}
		q.offset *= clusterOffset / airOffset
		most := clusterLagHi
		if c.Shifted {
			most = shiftedLag
		}
		q.lag = uniform(q.r, clusterLagLo, most)
		q.gap = nominalGap * lognormal(q.r, gapSpread)
		if far := uniform(q.r, farLo, farHi); q.r.Float64() < badlyPlaced {
			q.gap = far
		}
		if n.Nominal {
			q.gap = nominalGap
		}
	case inAirCO2:
		q.Chip, q.Quantities = "scd4x", []sensors.Quantity{sensors.CO2}
	case inAir:
		q.Chip, q.Quantities = sensors.ChipSHT4x, []sensors.Quantity{sensors.Temperature, sensors.Humidity}
	case outside:
		q.Chip, q.Quantities = sensors.ChipSHT4x, []sensors.Quantity{sensors.Temperature, sensors.Humidity}
		q.lag = 0
	}
	return q
}

// beside makes q the second probe of a nest: never badly placed, somewhat farther away, on the other side.
func (q *probe) beside() {
	q.second = true
	q.gap = nominalGap * lognormal(q.r, gapSpread)
	if q.nest.Nominal {
		q.gap = nominalGap
	}
	q.gap += uniform(q.r, 0, secondGap)
}

// distance is how far, cm, the probe lies from the cluster now.
func (q *probe) distance() float64 {
	p := &q.nest.place
	if q.second {
		return max(0, max(0, q.gap-p.smooth)+secondJump*p.side*p.jump)
	}
	return max(0, q.gap+p.smooth) + p.jump
}

// warmthAt is how warm it is x cm beside the cluster, with warmth falling to 1/e over decay cm: between cluster and surroundings by distance, nearer to box air where
// the cover is open.
func (b *box) warmthAt(x, decay float64) float64 {
	around := (b.bedding + b.air) / 2
	t := around + (b.litter.core-around)*math.Exp(-x/decay)
	bare := (1 - b.cover) / 2
	return t*(1-bare) + b.air*bare
}

// feels is the temperature at the probe's tip.
func (q *probe) feels(air float64, pulled bool) float64 {
	n := q.nest
	switch {
	case q.at == outside:
		return air
	case q.at != inCluster || pulled:
		return n.air
	case n.box.doe && n.doe.warm:
		return doeTouch
	case n.box.doe && n.doe.sitting:
		return n.air + (doeWarmth-n.air)*doeShare*math.Exp(-q.distance()/doeDecay)
	}
	return n.warmthAt(q.distance(), n.place.decay)
}

// step lets the probe feel for dt seconds and convert at the end of them. It converts at every step, whether it is read or not, so
// that a reading depends on the world's time alone.
func (q *probe) step(at time.Duration, dt float64, s surroundings) {
	var pulled, stuck bool
	q.absent = false
	code, drift := 0.0, 0.0
	for i := range q.events {
		e := &q.events[i]
		if !e.rules(at) {
			continue
		}
		switch e.Kind {
		case ProbePulled:
			pulled = true
		case Stuck:
			stuck = true
		case Dropout:
			q.absent = q.absent || q.r.Float64() < e.Amount
		case ErrorCode:
			code = max(code, e.Amount)
		case Drift:
			drift += e.Amount * (at - e.from).Hours()
		}
	}
	t := q.feels(s.air, pulled)
	if q.started && q.lag > 0 {
		t = follow(q.felt, t, q.lag, dt)
	}
	q.felt = t
	if q.flaws {
		code += rareShare
		if q.r.Float64() < burstsADay*dt/86400 {
			q.burstUntil = at + seconds(burstSeconds*2*q.r.Float64())
		}
		q.absent = q.absent || at < q.burstUntil
	}
	if stuck && q.started {
		return
	}
	q.started = true
	switch q.at {
	case inCluster:
		v := t + q.offset + drift + clusterNoise*q.r.NormFloat64()
		q.values[sensors.Temperature] = math.Round(v/clusterStep) * clusterStep
	case inAirCO2:
		q.values[sensors.CO2] = max(0, q.nest.co2+outsideCO2+co2Noise*q.r.NormFloat64())
		return
	default:
		q.values[sensors.Temperature] = t + q.offset + drift + airNoise*q.r.NormFloat64()
		q.values[sensors.Humidity] = q.humidity(at, s)
	}
	if code > 0 && q.r.Float64() < code {
		q.values[sensors.Temperature] = powerOn
	}
	if q.flaws && q.r.Float64() < rareShare {
		q.values[sensors.Temperature] += spikeSize
	}
}

// humidity is what the probe reads, %.
func (q *probe) humidity(at time.Duration, s surroundings) float64 {
	if q.at == outside {
		return clamp(100*s.vapour/saturated(s.air)+q.skewed, 0, 100)
	}
	rh := q.nest.humidity()
	if rh >= wetFromHumidity {
		q.wetUntil = at + wetFor
	}
	if at < q.wetUntil {
		return 100
	}
	return clamp(rh+q.skewed+humidityNoise*q.r.NormFloat64(), 0, 100)
}
