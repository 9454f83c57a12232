package simulated

import "fmt"

// Kind is a kind of nest.
type Kind string

// The kinds of nest.
const (
	WoodenBox  Kind = "wooden-box"
	MetalBox   Kind = "metal-box"
	BuriedTote Kind = "buried-tote"
)

// Floor is the floor of a wooden box; the other kinds have but one.
type Floor string

// The floors.
const (
	SolidFloor Floor = "solid"
	WireFloor  Floor = "wire"
)

// Bedding is a make-up of fur, straw and shavings.
type Bedding string

// The make-ups, from the warmest to one that fails in the cold.
const (
	WinterBedding Bedding = "winter"
	GoodBedding   Bedding = "good"
	SummerBedding Bedding = "summer"
	PoorBedding   Bedding = "poor"
)

// makeup is what a kind of nest is made of. Walls and lids are area/(thickness/conductivity + outer film).
type makeup struct {
	outward  float64 // W/K from wall to outside
	soilward float64 // W/K from wall to soil
	wall     float64 // J/K
	inner    float64 // W/K from air to wall
	exchange float64 // m³/h of outside air, undisturbed
	solar    float64 // K by which full sun warms the outside of the wall
	floor    float64 // m²K/W under the shavings
	volume   float64 // m³
	ground   bool    // it stands on soil, not on a floor at the air's temperature
}

// Material and film figures. Plywood 0.13 W/mK is softwood of 500 kg/m³ and steel 50 W/mK, in trade tables of design
// conductivities; films 0.13 and 0.04 m²K/W are those of ISO 6946, from memory. Areas, wall capacities, exchanges, solar
// excess, floors, cardboard and the 0.20 m of soil at 1.0 W/mK around a tote are assumed.
const (
	innerFilm = 0.13  // m²K/W
	outerFilm = 0.04  // m²K/W
	boxArea   = 0.585 // m² of wall and lid
	toteLid   = 0.135 // m²
	toteArea  = 0.735 // m² inside
	toteSoil  = 0.60  // m² against soil
)

var (
	plywood    = boxArea / (0.012/0.13 + outerFilm)
	steel      = boxArea / (0.0008/50 + outerFilm)
	cardboard  = boxArea / (0.004/0.065 + 0.05 + outerFilm) // with 0.05 m²K/W of trapped air
	plastic    = toteLid / (0.0025/0.22 + outerFilm)
	boxInner   = boxArea / innerFilm
	toteInner  = toteArea / innerFilm
	soilAround = toteSoil / (0.20 / 1.0)
)

// makeup returns what the nest is made of.
func (n Nest) makeup() (makeup, error) {
	switch n.Kind {
	case WoodenBox:
		switch n.Floor {
		case SolidFloor, "":
			return makeup{outward: plywood, wall: 6200, inner: boxInner, exchange: 0.6, solar: 8, floor: 0.262, volume: 0.040}, nil
		case WireFloor:
			return makeup{outward: plywood, wall: 6200, inner: boxInner, exchange: 0.9, solar: 8, floor: 0.06, volume: 0.040}, nil
		}
		return makeup{}, fmt.Errorf("%q is not a floor; write one of: %s, %s", n.Floor, SolidFloor, WireFloor)
	case MetalBox:
		if n.Lined {
			return makeup{outward: cardboard, wall: 2600, inner: boxInner, exchange: 0.6, solar: 14, floor: 0.21, volume: 0.040}, nil
		}
		return makeup{outward: steel, wall: 1700, inner: boxInner, exchange: 0.6, solar: 14, floor: 0.10, volume: 0.040}, nil
	case BuriedTote:
		return makeup{
			outward: plastic, soilward: soilAround, wall: 30000, inner: toteInner,
			exchange: 0.35, solar: 4, floor: 0.15, volume: 0.055, ground: true,
		}, nil
	}
	return makeup{}, fmt.Errorf("%q is not a kind of nest; write one of: %s, %s, %s", n.Kind, WoodenBox, MetalBox, BuriedTote)
}

// layers is bedding as thicknesses and the share of the shell that leaks.
type layers struct{ fur, straw, shavings, leak float64 } // m, m, m, 0..1

// layers returns the bedding's layers. All assumed; in the cold at least 2 in of fur is common practice, no source.
func (b Bedding) layers() (layers, error) {
	switch b {
	case WinterBedding:
		return layers{0.025, 0.03, 0.08, 0.08}, nil
	case GoodBedding, "":
		return layers{0.025, 0.02, 0.05, 0.10}, nil
	case SummerBedding:
		return layers{0.008, 0.005, 0.03, 0.30}, nil
	case PoorBedding:
		return layers{0.003, 0.010, 0.03, 0.45}, nil
	}
	return layers{}, fmt.Errorf("%q is not a bedding; write one of: %s, %s, %s, %s", b, WinterBedding, GoodBedding, SummerBedding, PoorBedding)
}

// spread varies the layers from litter to litter.
type spread struct{ fur, straw, leak float64 }

func (l layers) vary(s spread) layers {
	l.fur *= s.fur
	l.straw *= s.straw
	if s.leak != 1 {
		l.leak = clamp(l.leak*s.leak, 0.04, 0.6)
	}
	return l
}
