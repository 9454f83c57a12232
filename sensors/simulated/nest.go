package simulated

import (
	"time"
)

// HappeningKind is what truly happened in a nest, scripted or not.
type HappeningKind string

// What happens.
const (
	Kindled  HappeningKind = "kindled"
	Nursed   HappeningKind = "nursed"
	Visited  HappeningKind = "visited" // the doe, without nursing
	Sat      HappeningKind = "sat"     // the doe, before birth
	LookedIn HappeningKind = "looked-in"
	Died     HappeningKind = "died"
)

// Happening is the beginning of something that happened.
type Happening struct {
	Time time.Time
	Kind HappeningKind
}

// nest is one nest with everything that happens in it.
type nest struct {
	Nest
	box
	draws  spread
	birth  time.Duration // never, when there is none
	mating time.Duration // never, when there is no doe
	doe    doe
	place  place
	events []planned
	shade  bool
	grown  time.Duration // when the kits were last measured
	log    []Happening
}

// growEvery is how often the kits are measured anew.
const growEvery = 10 * time.Minute

func newNest(n Nest, c *Config, origin time.Time) (*nest, error) {
	if err := n.complete(); err != nil {
		return nil, err
	}
	made, err := n.makeup()
	if err != nil {
		return nil, err
	}
	if _, err := n.Bedding.layers(); err != nil {
		return nil, err
	}
	traits := stream(c.Seed, "litter "+n.ID)
	w := &nest{Nest: n, draws: spread{lognormal(traits, 0.25), lognormal(traits, 0.25), lognormal(traits, 0.3)}}
	if n.Nominal {
		w.draws = spread{1, 1, 1}
	}
	w.doe = newDoe(stream(c.Seed, "doe "+n.ID), c.Shifted)
	w.place = newPlace(stream(c.Seed, "place "+n.ID), n.Nominal, c.Shifted)
	w.birth, w.mating = never, never
	if !n.Kindled.IsZero() {
		w.birth = n.Kindled.Sub(origin)
	}
	if !n.Bred.IsZero() {
		w.mating = n.Bred.Sub(origin)
	}
	w.made, w.vent, w.target, w.cover = made, 1, 1, 1
	return w, nil
}

// settle puts the nest into the state from which the world's first, unseen day leads to its start.
func (n *nest) settle(s surroundings, hour float64) {
	n.air, n.wall, n.vapour, n.sorbed = s.air, s.air, s.vapour, 0.7
	n.bedding = s.air
	if n.birth < 0 {
		n.bear(0, hour)
		n.water = 30
		n.bedding = (s.air + birthCore) / 2
	}
	n.litter.core = max(n.litter.core, n.bedding)
}

// bear brings the litter.
func (n *nest) bear(at time.Duration, hour float64) {
	n.litter = brood{kits: float64(n.Kits), alive: true, core: birthCore, reserve: birthReserve * n.BirthMass}
	n.cover, n.water = birthCover, n.water+birthWater
	n.grow(at)
	n.doe.until = min(n.doe.until, at)
	n.doe.plan(at, hour, 0)
}

func (n *nest) grow(at time.Duration) {
	n.litter.grow(n.BirthMass, max(at-n.birth, 0).Hours()/24)
	n.grown = at
}

// advance moves the nest from at through one step.
func (n *nest) advance(at, step time.Duration, now time.Time, hour float64, s surroundings) {
	if n.litter.kits == 0 && at >= n.birth {
		n.bear(at, hour)
		n.note(now, Kindled)
	}
	if n.litter.kits > 0 && at-n.grown >= growEvery {
		n.grow(at)
	}
	bedding := n.Bedding
	n.target, n.scatter, n.vent, n.lid, n.shade = 1, 0, 1, false, false
	starved := false
	for i := range n.events {
		e := &n.events[i]
		if !e.rules(at) || e.done {
			continue
		}
		switch e.Kind {
		case PoorCover:
			bedding = PoorBedding
		case Scatter:
			n.scatter, n.target = max(n.scatter, e.Amount), min(n.target, 1-0.95*e.Amount)
		case Starve:
			starved = true
		case VentBlocked:
			n.vent = e.Amount
		case Shade:
			n.shade, n.target = true, min(n.target, shadedCover)
		default:
			e.done = true
			n.once(e, at, now)
			bedding = n.Bedding
		}
	}
	n.bed, _ = bedding.layers() // checked when it came
	n.bed = n.bed.vary(n.draws)
	n.comings(at, step.Seconds(), now, hour, starved)
	s.sun *= n.Exposure
	if n.shade {
		s.sun = 0
	}
	n.place.move(step.Seconds(), n.litter.age)
	alive := n.litter.alive
	n.step(step.Seconds(), s)
	if alive && !n.litter.alive {
		n.note(now, Died)
	}
}

const shadedCover = 0.2 // of the cover that a keeper leaves on kits in the heat, assumed

// once does what happens at one moment.
func (n *nest) once(e *planned, at time.Duration, now time.Time) {
	switch e.Kind {
	case Death:
		if n.litter.alive {
			n.litter.alive = false
			n.note(now, Died)
		}
	case Wet:
		n.water += e.Amount
	case FreshBedding:
		n.water, n.sorbed, n.cover = 0, min(n.sorbed, 0.6), 1
		if e.Bedding != "" {
			n.Bedding = e.Bedding
		}
	case DoeVisit:
		n.visit(at, now, true)
	case Inspection:
		n.look(at, now)
		if e.to != never {
			n.doe.lookUntil = e.to
		}
	}
}

func (n *nest) note(now time.Time, kind HappeningKind) {
	n.log = append(n.log, Happening{now, kind})
}
