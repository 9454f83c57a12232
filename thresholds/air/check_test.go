package air_test

import (
	"math"
	"strings"
	"testing"

	"nestmon/thresholds/air"
)

func TestCheck(t *testing.T) {
	for _, c := range []struct {
		name   string
		tC, rh float64
		want   string // part of the error, "" for accepted
	}{
		{"usual", 20, 55, ""},
		{"coldest", -60, 55, ""},
		{"hottest", 80, 55, ""},
		{"saturated", 20, 100, ""},
		{"driest", 20, 0.1, ""},
		{"too cold", -60.1, 55, "temperature -60.1 °C"},
		{"too hot", 80.1, 55, "temperature 80.1 °C"},
		{"dry of all water", 20, 0, "relative humidity 0 %"},
		{"negative humidity", 20, -1, "write percent"},
		{"above saturation", 20, 100.1, "relative humidity 100.1 %"},
		{"no temperature", math.NaN(), 55, "temperature NaN"},
		{"no humidity", 20, math.NaN(), "humidity NaN"},
		{"infinite", math.Inf(1), 55, "temperature +Inf"},
	} {
		t.Run(c.name, func(t *testing.T) { wantError(t, air.Check(c.tC, c.rh), c.want) })
	}
}

func TestCheckPressure(t *testing.T) {
	for _, c := range []struct {
		name      string
		tC, rh, p float64
		want      string
	}{
		{"sea level", 20, 50, 101325, ""},
		{"mountain", 20, 50, 60000, ""},
		{"hectopascals", 20, 50, 1013.25, "write pascals"},
		{"none", 20, 50, math.NaN(), "write pascals"},
		{"boiling", 80, 100, 40000, "not above the vapour pressure"},
	} {
		t.Run(c.name, func(t *testing.T) { wantError(t, air.CheckPressure(c.tC, c.rh, c.p), c.want) })
	}
}

func wantError(t *testing.T, err error, want string) {
	t.Helper()
	if want == "" {
		if err != nil {
			t.Errorf("refused: %v", err)
		}
	} else if err == nil || !strings.Contains(err.Error(), want) {
		t.Errorf("error %v, want one with %q", err, want)
	}
}
