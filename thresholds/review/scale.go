package review

import (
	"fmt"
	"math"
	"strconv"
)

// Scale writes temperatures in the keeper's scale.
type Scale struct{ Fahrenheit bool }

// Sign is °F or °C.
func (s Scale) Sign() string {
	if s.Fahrenheit {
		return "°F"
	}
	return "°C"
}

// Of is a temperature in °C on the scale.
func (s Scale) Of(c float64) float64 {
	if s.Fahrenheit {
		return c*9/5 + 32
	}
	return c
}

// Number writes a temperature without its sign.
func (s Scale) Number(c float64) string { return number(s.Of(c)) }

// Range writes from where to where a value went, in whole degrees.
func (s Scale) Range(v Value) string {
	low, high := math.Round(s.Of(v.Min))+0, math.Round(s.Of(v.Max))+0 // no -0
	if low == high {
		return fmt.Sprintf("%.0f %s", low, s.Sign())
	}
	return fmt.Sprintf("%.0f to %.0f %s", low, high, s.Sign())
}

// One writes a temperature that was measured.
func (s Scale) One(c float64) string { return s.Number(c) + " " + s.Sign() }

// Both writes a limit in both scales, the keeper's first.
func (s Scale) Both(c float64) string {
	return s.One(c) + " (" + Scale{!s.Fahrenheit}.One(c) + ")"
}

// number has one decimal, and none where that is 0.
func number(v float64) string {
	v = math.Round(v*10) / 10
	return strconv.FormatFloat(v+0, 'f', -1, 64) // no -0
}
