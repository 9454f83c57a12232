package simulated

import "math"

// Physiology of kits. "published" means printed in the abstract of a study on newborn rabbits; the rest is assumed.
const (
	setPoint      = 37.4   // °C that kits defend
	restingHeat   = 6.0    // W/kg of a 60 g kit: near 18 ml O2/kg/min, Hull 1965, from memory
	restingMass   = 0.06   // kg
	summit        = 3.5    // times resting, reached at 20 °C on day 1-2, published
	effort        = 0.9    // share of resting heat added per K below the set-point
	warmest       = 1.25   // times resting: where the Q10 of 2.2 ends
	tissueHeat    = 3470.0 // J/kgK of body
	packing       = 600.0  // kg/m³ of a heap of kits
	meeh          = 10.0   // cm² per g^0.667: body surface, from memory
	scarce        = 18.0   // kJ per kit, below which the summit falls
	weakest       = 0.15   // of the summit is left with no reserve
	birthReserve  = 1700.0 // kJ/kg, from the fat that newborns burn in a day at 20 °C unfed, published
	mostReserve   = 2000.0 // kJ/kg
	lethalHeat    = 43.5   // °C core
	lethalCold    = 8.0    // °C core
	birthCore     = 37.0   // °C
	birthCover    = 0.5
	birthWater    = 20.0             // g of free water
	milkEnergy    = 0.8 * 0.85 * 8.4 // kJ/g: digested, kept, of milk's 8.4
	deadEvap      = 0.4              // of the living kit's evaporation
	flushedEvap   = 1.5              // more evaporation when flushed
	evapPerMass   = 2.0              // g/h per kg at a deficit of 40 g/m³
	hotFrom       = setPoint         // °C core at which kits begin to part and uncover
	hotSpan       = 1.2              // K until they lie fully apart
	flushedFrom   = 38.6             // °C core at which the skin begins to flush, fully 1 K above
	coatDays      = 10.0             // days between the coat figures
	coatBirth     = 0.04             // m²K/W; this and the next two were fitted to the published fall of conductance
	coatTen       = 0.19             // with age, 1 : 0.52 : 0.44 at day 1, 10, 20
	coatTwenty    = 0.25
	huddleSurface = 0.5 // of a kit's surface stays exposed however many huddle
)

// brood is the litter as one lumped body.
type brood struct {
	kits    float64 // 0 before birth and after the nest was emptied
	alive   bool
	core    float64 // °C
	reserve float64 // kJ per kit

	// Set by grow.
	age     float64 // days
	mass    float64 // kg per kit
	surface float64 // m² per kit
	radius  float64 // m of the heap, a half sphere
	coat    float64 // m²K/W
	resting float64 // W of the litter at 37 °C
}

// grow sets what depends on age. The curve gives 114 and 139 g at 5 and 7 days for 60 g at birth, heavier than the
// published 88-94 and 111-120 g.
func (k *brood) grow(birthMass, age float64) {
	k.age = age
	k.mass = birthMass + 0.001*(9.5*age+0.25*age*age)
	k.surface = 1e-4 * meeh * math.Pow(1000*k.mass, 0.667)
	k.radius = math.Cbrt(1.5 / math.Pi * k.kits * k.mass / packing)
	k.resting = restingHeat * math.Pow(k.mass/restingMass, -0.2) * k.kits * k.mass
	if age < coatDays {
		k.coat = coatBirth + (coatTen-coatBirth)*age/coatDays
	} else {
		k.coat = coatTen + (coatTwenty-coatTen)*min(age/coatDays-1, 1)
	}
}

// heatCapacity is the litter's, J/K.
func (k *brood) heatCapacity() float64 { return k.kits * k.mass * tissueHeat }

// behaviour says how far the kits lie apart for heat and how far their skin is flushed, each 0..1.
func (k *brood) behaviour() (hot, flushed float64) {
	if k.kits == 0 {
		return 0, 0
	}
	return clamp((k.core-hotFrom)/hotSpan, 0, 1), clamp(k.core-flushedFrom, 0, 1)
}

// exposed is the surface, m², through which the litter loses heat when it lies apart by 0..1.
func (k *brood) exposed(apart float64) float64 {
	huddled := huddleSurface + (1-huddleSurface)/k.kits
	return k.kits * k.surface * (huddled + (1-huddled)*apart)
}

// basal is the heat, W, the litter cannot help producing.
func (k *brood) basal() float64 {
	const q10 = 0.0788457360364270 // ln(2.2)/10, per K
	return k.resting * min(math.Exp(q10*(k.core-37)), warmest)
}

// heat is what the litter produces now, W.
func (k *brood) heat() float64 {
	if k.kits == 0 || !k.alive {
		return 0
	}
	basal := k.basal()
	most := summit * k.resting * clamp(k.reserve/scarce, weakest, 1) / (1 + math.Exp((25-k.core)/2))
	return clamp(basal+effort*k.resting*(setPoint-k.core), basal, max(basal, most))
}

// metabolise lets the litter die or burn for dt seconds, and returns the heat, W.
func (k *brood) metabolise(dt float64) float64 {
	if k.core > lethalHeat || k.core < lethalCold {
		k.alive = false
	}
	heat := k.heat()
	if heat > 0 {
		k.reserve = max(k.reserve-heat/k.kits*dt/1000, 0)
	}
	return heat
}

// evaporation is the vapour, g/h, that leaves the kits into air holding v g/m³.
func (k *brood) evaporation(flushed, v float64) float64 {
	if k.kits == 0 {
		return 0
	}
	e := evapPerMass * k.kits * k.mass * (1 + flushedEvap*flushed) * clamp(saturated(k.core)-v, 0, deficitMax) / 40
	if !k.alive {
		e *= deadEvap
	}
	return e
}

// nurse gives every kit its meal of milk.
func (k *brood) nurse() {
	meal := min(12+1.6*k.age, 30) // g
	k.reserve = min(k.reserve+milkEnergy*meal, mostReserve*k.mass)
}
