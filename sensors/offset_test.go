package sensors_test

import (
	"math"
	"slices"
	"strings"
	"testing"

	"nestmon/sensors"
)

func TestOffsetValidate(t *testing.T) {
	good := sensors.Offset{Temperature: -0.31, Date: "2026-11-02", Method: sensors.IcePoint}
	for _, row := range []struct {
		name   string
		change func(o *sensors.Offset)
		want   []string // how each problem begins
	}{
		{"as measured", func(*sensors.Offset) {}, nil},
		{"nothing is off", func(o *sensors.Offset) { o.Temperature = 0 }, nil},
		{"at the edge", func(o *sensors.Offset) { o.Temperature, o.Humidity, o.Method = -3, 10, "reference" }, nil},
		{"beyond what a probe may be off", func(o *sensors.Offset) { o.Temperature = 3.01 }, []string{"temperature: +3.01 °C is more than an offset may correct (3 °C)"}},
		{"humidity beyond", func(o *sensors.Offset) { o.Humidity = -10.5 }, []string{"humidity: -10.5 % is more than an offset may correct (10 %)"}},
		{"no number", func(o *sensors.Offset) { o.Temperature, o.Humidity = math.NaN(), math.NaN() }, []string{"temperature: is no number", "humidity: is no number"}},
		{"endless", func(o *sensors.Offset) { o.Temperature = math.Inf(-1) }, []string{"temperature: -Inf °C is more than"}},
		{"humidity in ice", func(o *sensors.Offset) { o.Humidity = 2 }, []string{"humidity: ice tells nothing of it; write the method it was found by, such as salt"}},
		{"humidity over salt", func(o *sensors.Offset) { o.Humidity, o.Method = 2, "salt" }, nil},
		{"no day", func(o *sensors.Offset) { o.Date = "" }, []string{`date: "" is no date`}},
		{"a day that does not exist", func(o *sensors.Offset) { o.Date = "2026-02-30" }, []string{`date: "2026-02-30" is no date`}},
		{"no method", func(o *sensors.Offset) { o.Method = "" }, []string{`method: "" is no method; write one of: ice-point, `}},
	} {
		t.Run(row.name, func(t *testing.T) {
			o := good
			row.change(&o)
			var got []string
			o.Validate(func(path, problem string) { got = append(got, path+": "+problem) })
			if !slices.EqualFunc(got, row.want, strings.HasPrefix) {
				t.Errorf("got %q, want %q", got, row.want)
			}
		})
	}
}
