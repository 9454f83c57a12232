package brood

// Kind is a kind of nest.
type Kind string

// The kinds of nest.
const (
	WoodenBox  Kind = "wooden-box"
	MetalBox   Kind = "metal-box"
	BuriedTote Kind = "buried-tote"
)

// Kinds lists the kinds of nest.
var Kinds = []Kind{WoodenBox, MetalBox, BuriedTote}

// Season is the make-up a nest is given.
type Season string

// The seasons.
const (
	Winter Season = "winter"
	Mild   Season = "mild"
	Summer Season = "summer"
)

// Seasons lists the seasons.
var Seasons = []Season{Winter, Mild, Summer}

// Floor is the floor of a box.
type Floor string

// The floors.
const (
	SolidFloor Floor = "solid"
	WireFloor  Floor = "wire"
)

// Floors lists the floors.
var Floors = []Floor{SolidFloor, WireFloor}
