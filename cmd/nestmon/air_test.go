package main

import (
	"bytes"
	"context"
	"encoding/json"
	"math"
	"slices"
	"strings"
	"testing"
)

// calling runs one command as main does and returns what it wrote.
func calling(t *testing.T, args ...string) (code int, out, errs string) {
	t.Helper()
	var o, e bytes.Buffer
	code = run(context.Background(), args, stdio{strings.NewReader(""), &o, &e})
	return code, o.String(), e.String()
}

// answer runs a command that must succeed and gives its JSON object, with the keys in order.
func answer(t *testing.T, args ...string) (values map[string]any, keys []string) {
	t.Helper()
	code, out, errs := calling(t, append(args, "--json")...)
	if code != exitDone || errs != "" {
		t.Fatalf("%v: exit %d, %s", args, code, errs)
	}
	d := json.NewDecoder(strings.NewReader(out))
	if err := d.Decode(&values); err != nil {
		t.Fatal(err)
	}
	if d.More() {
		t.Errorf("%v: more than one value: %s", args, out)
	}
	for line := range strings.Lines(out) {
		if key, ok := strings.CutPrefix(line, `  "`); ok {
			keys = append(keys, key[:strings.Index(key, `"`)])
		}
	}
	return values, keys
}

func TestAirJSON(t *testing.T) {
	got, keys := answer(t, "air", "--temp", "25", "--rh", "80")
	want := []string{
		"temperature_c", "humidity_pct", "pressure_pa", "saturation_vapour_pressure_pa", "vapour_pressure_pa", "dew_point_c",
		"frost_point_c", "absolute_humidity_g_m3", "humidity_ratio_kg_kg", "thi_c", "thi_class",
	}
	if !slices.Equal(keys, want) {
		t.Errorf("keys %v, want %v", keys, want)
	}
	// PsychroLib 2.5.0's own example, 25 °C and 80 %: dew point 21.3094; ASHRAE 2017: saturation 3169.7 Pa at 25 °C.
	number(t, got, "dew_point_c", 21.3094, 0.1)
	number(t, got, "saturation_vapour_pressure_pa", 3169.7, 0.006*3169.7)
	number(t, got, "vapour_pressure_pa", 0.8*3169.7, 0.006*3169.7)
	number(t, got, "pressure_pa", 101325, 0)
	if got["frost_point_c"] != nil || got["thi_class"] != "none" {
		t.Errorf("frost point %v, class %v", got["frost_point_c"], got["thi_class"])
	}
}

func TestAirInTheColdIsOverWater(t *testing.T) {
	got, _ := answer(t, "air", "--temp", "-4F", "--rh", "50%")
	// Sonntag 1990 at -20 °C, 50 % over water.
	number(t, got, "dew_point_c", -27.77, 0.1)
	number(t, got, "frost_point_c", -25.08, 0.1)
	if got["thi_class"] != "not-classed" {
		t.Errorf("class %v", got["thi_class"])
	}
}

func TestAirPressure(t *testing.T) {
	// ASHRAE 2017, chapter 1, table 1: 89875 Pa at 1000 m.
	got, _ := answer(t, "air", "--temp", "95F", "--rh", "30", "--altitude", "1000")
	number(t, got, "pressure_pa", 89875, 1)
	if got["thi_class"] != "very-severe" {
		t.Errorf("35 °C, 30 %%: class %v", got["thi_class"])
	}
	got, _ = answer(t, "air", "--temp", "25", "--rh", "100", "--pressure", "101325")
	number(t, got, "humidity_ratio_kg_kg", 0.020173, 0.01*0.020173) // ASHRAE 2017, chapter 1, table 2
}

func TestAirForPeople(t *testing.T) {
	code, out, errs := calling(t, "air", "--temp", "95F", "--rh", "30")
	if code != exitDone || errs != "" {
		t.Fatalf("exit %d, %s", code, errs)
	}
	for _, want := range []string{"35.0 °C", "95.0 °F", "very-severe", "101325 Pa", "Magnus"} {
		if !strings.Contains(out, want) {
			t.Errorf("%q is missing in\n%s", want, out)
		}
	}
	for line := range strings.Lines(out) {
		if strings.HasPrefix(line, "rabbit THI") && strings.Contains(line, "°F") {
			t.Errorf("the index is shown in °F: %s", line)
		}
	}
}

func TestAirRefused(t *testing.T) {
	for _, c := range []struct {
		name, want string
		args       []string
	}{
		{"no temperature", "--temp is missing", []string{"--rh", "50"}},
		{"no humidity", "--rh is missing", []string{"--temp", "20"}},
		{"words", "write it like 35, 35C or 95F", []string{"--temp", "warm", "--rh", "50"}},
		{"Fahrenheit unmarked", "mark Fahrenheit like 95F", []string{"--temp", "95", "--rh", "50"}},
		{"too cold", "-61 °C", []string{"--temp", "-61", "--rh", "50"}},
		{"not a number", "NaN", []string{"--temp", "nan", "--rh", "50"}},
		{"humidity not a number", "NaN", []string{"--temp", "20", "--rh", "nan"}},
		{"no water at all", "relative humidity 0 %", []string{"--temp", "20", "--rh", "0"}},
		{"too damp", "relative humidity 101 %", []string{"--temp", "20", "--rh", "101"}},
		{"hectopascals", "write pascals", []string{"--temp", "20", "--rh", "50", "--pressure", "1013"}},
		{"both pressures", "write one of them", []string{"--temp", "20", "--rh", "50", "--pressure", "101325", "--altitude", "0"}},
		{"too high", "altitude 9000 m", []string{"--temp", "20", "--rh", "50", "--altitude", "9000"}},
		{"stray word", `"20" is not expected here`, []string{"20"}},
		{"unknown flag", "-humidity", []string{"--humidity", "20"}},
	} {
		t.Run(c.name, func(t *testing.T) { refused(t, append([]string{"air"}, c.args...), c.want) })
	}
}

func TestAirAsksAboutAFraction(t *testing.T) {
	code, out, errs := calling(t, "air", "--temp", "20", "--rh", "0.5", "--json")
	if code != exitDone || !strings.HasPrefix(out, "{") || !strings.Contains(errs, "write --rh 50") {
		t.Errorf("exit %d, out %q, errors %q", code, out, errs)
	}
}

// refused checks that a command ends as wrong use, says why on the error stream and writes no answer.
func refused(t *testing.T, args []string, want string) {
	t.Helper()
	code, out, errs := calling(t, args...)
	if code != exitWrongUse || out != "" || !strings.Contains(errs, want) {
		t.Errorf("exit %d, out %q, errors %q; want 2 and %q", code, out, errs, want)
	}
}

func number(t *testing.T, values map[string]any, key string, want, tolerance float64) {
	t.Helper()
	got, ok := values[key].(float64)
	if !ok || !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s is %v, want %v ± %v", key, values[key], want, tolerance)
	}
}
