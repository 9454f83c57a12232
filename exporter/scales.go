package exporter

import "regexp"

// inBoth is how the decisions write a temperature, or a difference of two.
var inBoth = regexp.MustCompile(`([-+]?\d+(?:\.\d+)? °C) \(([-+]?\d+(?:\.\d+)? °F)\)`)

// FahrenheitFirst turns round what is said in both scales, for people who read the first number only.
func FahrenheitFirst(text string) string { return inBoth.ReplaceAllString(text, "$2 ($1)") }
