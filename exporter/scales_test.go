package exporter_test

import (
	"testing"

	"nestmon/exporter"
)

func TestFahrenheitFirst(t *testing.T) {
	for text, want := range map[string]string{
		"nest air 41.0 °C (105.8 °F), limit 34.0 °C (93.2 °F)": "nest air 105.8 °F (41.0 °C), limit 93.2 °F (34.0 °C)",
		"probe -10.2 °C (13.6 °F), by +0.4 °C (+0.7 °F)":       "probe 13.6 °F (-10.2 °C), by +0.7 °F (+0.4 °C)",
		"raised by 0.7 °C (1.3 °F) ± 0.4 °C":                   "raised by 1.3 °F (0.7 °C) ± 0.4 °C",
		"105.8 °F (41.0 °C); at 28 °C and 40 %; straw (8 cm)":  "105.8 °F (41.0 °C); at 28 °C and 40 %; straw (8 cm)",
	} {
		if got := exporter.FahrenheitFirst(text); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}
