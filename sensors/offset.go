package sensors

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"
)

// Offset is what a probe is known to read wrong by: it is added to every value once the screen has looked at what the chip itself said.
type Offset struct {
	Temperature float64 `yaml:"temperature"` // °C
	Humidity    float64 `yaml:"humidity"`    // % RH
	Date        string  `yaml:"date"`        // of the comparison, 2006-01-02
	Method      string  `yaml:"method"`      // one of Methods
}

// IcePoint is a comparison with melting ice.
const IcePoint = "ice-point"

// Methods are the ways in which an offset can be found.
var Methods = []string{IcePoint, "side-by-side", "reference", "salt"}

// Beyond these a probe is not a little off, it is broken or of another kind. A clone of the DS18B20 may be off by up to 3 °C
// (cpetrich/counterfeit_DS18B20, 2019); 10 % RH is several times what the data sheets of the chips in chips.go allow (ours, no source).
const (
	MostTemperatureOffset = 3.0  // °C
	MostHumidityOffset    = 10.0 // % RH
)

// Saturated is a humidity at which a cell says no more than that it is wet, % RH; ours, no source. What it is wrong by elsewhere is not
// taken from it there: a wet cell would pass for a dry one.
const Saturated = 99.0

// Of is what is added to the values of q.
func (o Offset) Of(q Quantity) float64 {
	switch q {
	case Temperature:
		return o.Temperature
	case Humidity:
		return o.Humidity
	}
	return 0
}

// YetToCome reports whether the day of the comparison, in loc, has not begun. It is for a warning only: a board that starts without a clock may
// take every day for one to come.
func (o Offset) YetToCome(now time.Time, loc *time.Location) bool {
	day, err := time.ParseInLocation(time.DateOnly, o.Date, loc)
	return err == nil && day.After(now)
}

// Validate reports what is wrong with the offset, by key below it.
func (o Offset) Validate(report func(path, problem string)) {
	for _, part := range []struct {
		key, unit   string
		value, most float64
		remedy      string
	}{
		{"temperature", "°C", o.Temperature, MostTemperatureOffset, "repeat the ice bath; if it reads the same again, replace the probe"},
		{"humidity", "%", o.Humidity, MostHumidityOffset, "let the sensor dry and compare it again; if it reads the same again, replace the probe"},
	} {
		switch {
		case math.IsNaN(part.value):
			report(part.key, "is no number; write what the comparison gave, or leave it out")
		case math.Abs(part.value) > part.most:
			report(part.key, fmt.Sprintf("%+g %s is more than an offset may correct (%g %s): such a probe is broken or of another kind; %s",
				part.value, part.unit, part.most, part.unit, part.remedy))
		case part.key == "humidity" && part.value != 0 && o.Method == IcePoint:
			report(part.key, "ice tells nothing of it; write the method it was found by, such as salt, or remove it")
		}
	}
	if _, err := time.Parse(time.DateOnly, o.Date); err != nil {
		report("date", fmt.Sprintf("%q is no date; write the day of the comparison, such as 2026-11-02", o.Date))
	}
	if !slices.Contains(Methods, o.Method) {
		report("method", fmt.Sprintf("%q is no method; write one of: %s", o.Method, strings.Join(Methods, ", ")))
	}
}
