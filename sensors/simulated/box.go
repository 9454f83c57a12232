package simulated

import "math"

// Heat and moisture of a nest. Assumed where no source is named.
const (
	furK      = 0.039 // W/mK: 4.2 clo per inch = 0.651 m²K/W per 25.4 mm, published for rabbit fur
	strawK    = 0.055 // W/mK, loose: 0.045-0.06 dry, 0.054-0.072 moist, secondary
	shavingsK = 0.10  // W/mK, loose: 0.120 at 80 kg/m³ to 0.060 at 180 kg/m³, published
	coatFilm  = 0.125 // m²K/W from an uncovered kit's skin to box air

	airHeat     = 1.2 * 1006.0 / 3600 // W/K per m³/h: density times specific heat
	airStore    = 1500.0              // J/K of wall lining and air, beside the wall
	beddingHeat = 600.0               // J/K
	beddingFilm = 8.0                 // W/m²K from the straw's outside to box air
	emptyRadius = 0.1                 // m, the mound of bedding without kits
	lidLoss     = 25.0                // W/K through an open lid
	lidExchange = 40.0                // m³/h through an open lid
	doeHeat     = 12.0                // W of a doe in the box

	coverTime    = 600.0  // s in which kits pull their cover to where they want it
	vaporisation = 2430.0 // J/g at skin temperature
	bedEvap      = 0.0016 // m³/h per g of free water
	bedEvapMax   = 60.0   // g of free water beyond which the wet surface no longer grows
	deficitMax   = 60.0   // g/m³
	sorption     = 6.0    // g/h per unit of relative humidity between bedding and air
	sorptionRoom = 75.0   // g per unit of relative humidity held by the bedding
	condensation = 6.0    // m³/h: mass transfer to the wall
	wetFrom      = 60.0   // g of free water from which insulation suffers
	wetSpan      = 300.0  // g over which it suffers fully
	wetFactor    = 1.5    // conductivity then rises by this share

	respiratoryQuotient = 0.8  // litter and doe; with 20.1 J per ml O2: 143 L/h per kW, low for young animals
	oxygenHeat          = 20.1 // J/ml O2
)

// surroundings is what surrounds a nest during one step.
type surroundings struct {
	air    float64 // °C
	vapour float64 // g/m³
	sun    float64 // 0..1 as it falls on this nest
	soil   float64 // °C at the tote's depth
}

// box is the physical state of one nest. The upper fields are set from outside, the lower ones move with step.
type box struct {
	made   makeup
	bed    layers
	litter brood

	target  float64 // cover the nest offers, 0..1
	scatter float64 // 0 huddled .. 1 apart
	vent    float64 // share of the nominal air exchange
	lid     bool    // open
	doe     bool    // in the box

	cover   float64 // in place, 0..1
	bedding float64 // °C
	wall    float64 // °C
	air     float64 // °C, quasi-steady
	vapour  float64 // g/m³
	sorbed  float64 // relative humidity in the bedding, 0..1
	water   float64 // g of free water
	co2     float64 // ppm above outside
}

// step moves the nest through dt seconds.
func (b *box) step(dt float64, s surroundings) {
	k := &b.litter
	m := &b.made
	hot, flushed := k.behaviour()
	shell, open, floor, mound := b.conductances(hot, flushed)
	exchange := m.exchange * b.vent
	lid := 0.0
	if b.lid {
		lid, exchange = lidLoss, exchange+lidExchange
	}
	doe := 0.0
	if b.doe {
		doe = doeHeat
	}
	under := s.air
	if m.ground {
		under = s.soil
	}

	// Heat. Box air holds almost nothing and is always in balance with its neighbours.
	vent := airHeat*exchange + lid
	b.air = (mound*b.bedding + open*k.core + m.inner*b.wall + vent*s.air + doe) / (mound + open + m.inner + vent)
	heat := k.metabolise(dt)
	breath := k.evaporation(flushed, b.vapour)
	latent := breath * vaporisation / 3600
	core, bedding := k.core, b.bedding
	if k.kits > 0 {
		k.core = relax(core, k.heatCapacity(), shell+open+floor, heat-latent+shell*bedding+open*b.air+floor*under, dt)
	} else {
		shell, core = 0, bedding
	}
	b.bedding = relax(bedding, beddingHeat, shell+mound, shell*core+mound*b.air, dt)
	if k.kits == 0 {
		k.core = b.bedding
	}
	out := s.air + m.solar*s.sun
	b.wall = relax(b.wall, m.wall+airStore, m.inner+m.outward+m.soilward, m.inner*b.air+m.outward*out+m.soilward*s.soil, dt)
	b.cover = follow(b.cover, b.target*(1-0.95*hot), coverTime, dt)
	b.moisten(dt/3600, breath, exchange, s)
	carbon := respiratoryQuotient * (heat + doe) / oxygenHeat * 3600 // ml/h, which are ppm·m³/h
	b.co2 = relax(b.co2, m.volume, exchange, carbon, dt/3600)
}

// conductances returns, in W/K, core to bedding, core to air, core to floor and bedding to air.
func (b *box) conductances(hot, flushed float64) (shell, open, floor, mound float64) {
	k := &b.litter
	if k.kits == 0 {
		return 0, 0, 0, 2 * math.Pi * beddingFilm * emptyRadius * emptyRadius
	}
	wet := 1 + wetFactor*clamp((b.water-wetFrom)/wetSpan, 0, 1)
	exposed := k.exposed(max(b.scatter, hot))
	inside := k.radius + b.bed.fur
	outside := inside + b.bed.straw
	resistance := ((1/k.radius-1/inside)/furK + (1/inside-1/outside)/strawK) / (2 * math.Pi * wet)
	covered := b.cover * (1 - b.bed.leak)
	shell = covered / (resistance + k.coat/exposed)
	open = (1 - covered) * exposed / (k.coat*(1-0.8*flushed) + coatFilm)
	floor = math.Pi * k.radius * k.radius * (1 + b.scatter) / (b.bed.shavings/(shavingsK*wet) + b.made.floor + k.coat)
	mound = 2 * math.Pi * beddingFilm * outside * outside
	return shell, open, floor, mound
}

// moisten moves vapour, the bedding's sorbed moisture and its free water through dt hours.
func (b *box) moisten(dt, breath, exchange float64, s surroundings) {
	wet := 0.5*b.bedding + 0.5*b.air
	if b.litter.kits > 0 {
		wet = 0.4*b.litter.core + 0.3*b.bedding + 0.3*b.air
	}
	drying := min(bedEvap*min(b.water, bedEvapMax)*clamp(saturated(wet)-b.vapour, 0, deficitMax), b.water/dt)
	full, dew := saturated(b.air), saturated(b.wall)
	before := b.vapour
	in := breath + drying + sorption*b.sorbed + exchange*s.vapour
	out := sorption/full + exchange
	v := relax(before, b.made.volume, out, in, dt)
	if v > dew { // the wall is wet, or frosted
		v = relax(before, b.made.volume, out+condensation, in+condensation*dew, dt)
	}
	b.vapour = min(v, full) // the rest falls out on straw and fur
	b.sorbed = relax(b.sorbed, sorptionRoom, sorption, sorption*b.vapour/full, dt)
	b.water -= drying * dt
}

// humidity is the relative humidity of box air over water, %.
func (b *box) humidity() float64 { return 100 * min(b.vapour/saturated(b.air), 1) }
