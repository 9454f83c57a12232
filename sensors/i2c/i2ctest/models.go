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
	"aht20": func() Model {
		c := NewAHT20()
		return Model{Chip: c, Set: func(v []float64) { c.Set(v[0], v[1]) }, Spans: air, Off: []float64{0.01, 0.01}, Checksum: true}
	},
	"bme280": func() Model {
		c := NewBME280()
		return Model{Chip: c, Set: func(v []float64) { c.Set(v[0], v[1]) }, Spans: air, Off: []float64{0.02, 0.05}}
	},
	"ina219": func() Model {
		c := NewINA219(12, 0)
		return Model{Chip: c, Set: func(v []float64) { c.Volts, c.ShuntVolts = v[0], v[1]*0.1 }, Spans: [][2]float64{{5, 30}, {-3, 3}}, Off: []float64{0.01, 0.01}}
	},
	"mcp9808": func() Model {
		c := NewMCP9808(20)
		return Model{Chip: c, Set: func(v []float64) { c.Celsius = v[0] }, Spans: air[:1], Off: []float64{0.04}}
	},
	"scd4x": func() Model {
		c := NewSCD4x()
		return Model{
			Chip: c, Set: func(v []float64) { c.Set(v[0], v[1], v[2]) },
			Spans: append(air[:2:2], [2]float64{400, 5000}), Off: []float64{0.01, 0.01, 1}, Checksum: true,
		}
	},
	"tmp102": func() Model { // below zero only: a first 0 °C of this chip is dropped by the screen, whoever read it
		c := NewTMP102(-20)
		return Model{Chip: c, Set: func(v []float64) { c.Celsius = v[0] }, Spans: [][2]float64{{-30, -0.1}}, Off: []float64{0.04}}
	},
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
