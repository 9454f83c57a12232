package i2ctest

// Model is an emulated chip as a test meets it that knows nothing of it.
type Model struct {
	Chip Chip
	Set  func(values []float64) // what it is to measure from now on, in the order of its driver's quantities
	// Spans holds what may be set for each quantity, and Off how far a right answer may lie from what was set: the chip's resolution.
	Spans [][2]float64
	Off   []float64
	// Checksum says that each word of an answer carries one. Without it no driver can tell a flipped bit from a measurement.
	Checksum bool
}

// Models makes an emulated chip by the name of its driver.
var Models = map[string]func() Model{
	"hdc302x": func() Model {
		c := NewHDC302x(20, 50)
		return Model{Chip: c, Set: func(v []float64) { c.Celsius, c.Humidity = v[0], v[1] }, Spans: air, Off: []float64{0.01, 0.01}, Checksum: true}
	},
	"sht4x": func() Model {
		c := &SHT4x{Celsius: 20, Humidity: 50, Serial: 0x0f4a2b17}
		return Model{Chip: c, Set: func(v []float64) { c.Celsius, c.Humidity = v[0], v[1] }, Spans: air, Off: []float64{0.01, 0.01}, Checksum: true}
	},
}

// air is what nests and yards have, °C and % RH.
var air = [][2]float64{{-30, 50}, {5, 95}}
