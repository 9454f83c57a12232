package simulated

import (
	"math"
	"math/rand/v2"
	"time"
)

// Habits of does and keepers. Published figures, from abstracts on wild-type and laboratory does: 1.12 nursings in 24 h, 86 % at
// night, each near 3 minutes; kits uncover 1-2 h before and regroup within about 30 min after. The rest is assumed.
const (
	nurseFrom, nurseTo = 18.0, 30.0 // the doe's hour lies between, 30 being 6 h next morning
	nurseSD            = 0.7        // h from night to night
	secondNursing      = 0.2        // share of days with one more
	nurseMin, nurseMax = 180.0, 300.0
	expecting          = 90 * time.Minute // kits uncover
	expectingCover     = 0.75
	dispersal          = 30 * time.Minute // kits lie apart after the doe left
	dispersed          = 0.4              // how far at most
	afterCover         = 0.7
	shortVisits        = 0.25 // a day, without nursing
	shortMin, shortMax = 40.0, 120.0
	looksIn            = 0.35 // a day, a person between 8 and 18 h
	lookMin, lookMax   = 60.0, 240.0
	lookCover          = 0.3
	sitsEarly          = 0.5 // a day, from gestation day 27
	sitsFrom           = 27 * 24 * time.Hour
	sitsLate           = 36 * time.Hour // before birth she sits 2-5 times a day
	sitMin, sitMax     = 8 * 60.0, 58 * 60.0
	loafers            = 0.1 // of does
	loafs              = 2.0 // more a day
	loafMin, loafMax   = 1800.0, 3 * 3600.0
	givesUp            = 36 * 24 * time.Hour // after breeding, without kits
	clearDip, weakDip  = 0.15, 0.6           // cover left during a visit
	warmBump           = 0.3
	clearShare         = 0.7 // of visits
	weakShare          = 0.2
	shiftedClear       = 0.45 // in a shifted world
	shiftedWeak        = 0.35
)

// doe is the doe's and the keeper's coming and going at one nest.
type doe struct {
	r                *rand.Rand
	home             float64 // hour of nursing
	often            float64 // sittings a day just before birth
	loafer           bool
	clear, weak      float64 // shares of visits
	next, second     time.Duration
	until, lookUntil time.Duration // in the box; lid open
	nursing, sitting bool
	cover            float64 // left during this visit
	warm             bool    // she lies on the probe
	left             time.Duration
	spread           float64
	before           float64 // cover when she came
	regroup          bool
}

func newDoe(r *rand.Rand, shifted bool) doe {
	d := doe{
		r: r, home: uniform(r, nurseFrom, nurseTo), often: uniform(r, 2, 5), loafer: r.Float64() < loafers,
		clear: clearShare, weak: weakShare, next: never, second: never, left: -dispersal,
	}
	if shifted {
		d.clear, d.weak = shiftedClear, shiftedWeak
	}
	return d
}

func seconds(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }

// plan sets the next nursing at her hour, at least rest hours ahead.
func (d *doe) plan(at time.Duration, hour, rest float64) {
	ahead := math.Mod(d.home-hour+48, 24)
	if ahead < rest {
		ahead += 24
	}
	d.next = at + seconds(3600*max(ahead+nurseSD*d.r.NormFloat64(), 0.1))
}

// comes begins a visit.
func (d *doe) comes(at time.Duration, nursing bool) {
	length := uniform(d.r, shortMin, shortMax)
	if nursing {
		length = uniform(d.r, nurseMin, nurseMax)
	}
	d.until, d.nursing, d.sitting, d.warm = at+seconds(length), nursing, false, false
	switch x := d.r.Float64(); {
	case x < d.clear:
		d.cover = clearDip
	case x < d.clear+d.weak:
		d.cover = weakDip
	default:
		d.cover, d.warm = warmBump, true
	}
}

// sits is how she behaves before birth, through one step of dt seconds.
func (d *doe) sits(at, birth time.Duration, dt float64) (began bool) {
	if at < d.until {
		return false
	}
	d.sitting = false
	rate, lo, hi := sitsEarly, sitMin, sitMax
	if birth-at < sitsLate {
		rate = d.often
	}
	if d.loafer {
		if d.r.Float64() < loafs/(rate+loafs) {
			lo, hi = loafMin, loafMax
		}
		rate += loafs
	}
	if d.r.Float64() >= rate*dt/86400 {
		return false
	}
	d.until, d.sitting, d.nursing, d.warm = at+seconds(uniform(d.r, lo, hi)), true, false, false
	return true
}
