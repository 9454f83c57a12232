package main

import (
	"math"
	"testing"
)

func TestTemperatureFlag(t *testing.T) {
	for _, c := range []struct {
		text string
		want float64
	}{
		{"35", 35},
		{"35C", 35},
		{"35c", 35},
		{"35 °C", 35},
		{"95F", 35},
		{"95f", 35},
		{"95°F", 35},
		{" 95 °F ", 35},
		{"-40F", -40},
		{"-12.5", -12.5},
		{"32F", 0},
	} {
		var got celsius
		if err := got.Set(c.text); err != nil || math.Abs(got.value-c.want) > 1e-12 {
			t.Errorf("%q: %v, %v; want %v", c.text, got.value, err, c.want)
		}
	}
	for _, text := range []string{"", "F", "warm", "35K", "95FF", "95FC", "35,5", "°C"} {
		var got celsius
		if err := got.Set(text); err == nil {
			t.Errorf("%q was read as %v", text, got.value)
		}
	}
}

func TestFahrenheitBothWays(t *testing.T) {
	for _, c := range []struct{ c, f float64 }{{-40, -40}, {0, 32}, {35, 95}, {100, 212}} {
		if toFahrenheit(c.c) != c.f || fromFahrenheit(c.f) != c.c {
			t.Errorf("%v °C and %v °F: %v and %v", c.c, c.f, toFahrenheit(c.c), fromFahrenheit(c.f))
		}
	}
}
