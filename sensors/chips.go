package sensors

import (
	"maps"
	"slices"
)

// Chips whose damage or reset shows as a plausible value. The screen looks for such a value only where the chip is declared.
const (
	ChipDS18B20  = "ds18b20"   // genuine, or a clone that behaves so
	ChipDS18B20D = "ds18b20-d" // clone that powers up at 25 °C or at its last reading
	ChipSHT4x    = "sht4x"     // also sht40, sht41, sht45
	ChipTMP102   = "tmp102"
	ChipBME280   = "bme280"
	ChipSCD4x    = "scd4x" // also scd40, scd41; it has no such value, but warms itself
)

var chips = map[string]struct {
	chip       string // as the screen knows it
	quantities []Quantity
}{
	ChipDS18B20:  {ChipDS18B20, []Quantity{Temperature}},
	ChipDS18B20D: {ChipDS18B20D, []Quantity{Temperature}},
	ChipTMP102:   {ChipTMP102, []Quantity{Temperature}},
	ChipSHT4x:    {ChipSHT4x, []Quantity{Temperature, Humidity}},
	"sht40":      {ChipSHT4x, []Quantity{Temperature, Humidity}},
	"sht41":      {ChipSHT4x, []Quantity{Temperature, Humidity}},
	"sht45":      {ChipSHT4x, []Quantity{Temperature, Humidity}},
	ChipBME280:   {ChipBME280, []Quantity{Temperature, Humidity}},
	"sht3x":      {"sht3x", []Quantity{Temperature, Humidity}},
	"hdc302x":    {"hdc302x", []Quantity{Temperature, Humidity}},
	"dht22":      {"dht22", []Quantity{Temperature, Humidity}},
	"jc42":       {"jc42", []Quantity{Temperature}},
	"mcp9808":    {"mcp9808", []Quantity{Temperature}},
	"lm75":       {"lm75", []Quantity{Temperature}},
	"aht20":      {"aht20", []Quantity{Temperature, Humidity}},
	ChipSCD4x:    {ChipSCD4x, []Quantity{Temperature, Humidity, CO2}},
	"scd40":      {ChipSCD4x, []Quantity{Temperature, Humidity, CO2}},
	"scd41":      {ChipSCD4x, []Quantity{Temperature, Humidity, CO2}},
	"ina219":     {"ina219", []Quantity{Voltage, Current}},
}

// Chip returns the name by which the screen knows a chip and what it measures; ok is false for a chip nestmon has never heard of.
func Chip(name string) (chip string, quantities []Quantity, ok bool) {
	c, ok := chips[name]
	return c.chip, c.quantities, ok
}

// ChipMeasures reports whether a chip is known to measure a quantity.
func ChipMeasures(name string, q Quantity) bool { return slices.Contains(chips[name].quantities, q) }

// ChipNames lists every chip that may be declared, sorted.
func ChipNames() []string { return slices.Sorted(maps.Keys(chips)) }
