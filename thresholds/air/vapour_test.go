package air_test

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"nestmon/thresholds/air"
)

// Sources are on each row of checks.csv: ASHRAE 2017 through PsychroLib's tests, steam tables, IAPWS R14-08.
func TestPublishedValues(t *testing.T) {
	for _, r := range load(t, "checks.csv", 29) {
		in := map[string]float64{}
		for pair := range strings.SplitSeq(r["inputs"], ";") {
			name, text, _ := strings.Cut(pair, "=")
			v, err := strconv.ParseFloat(strings.Fields(text)[0], 64)
			if err != nil {
				t.Fatal(err)
			}
			in[name] = v
		}
		want := r.num(t, "expected")
		tol := r["tolerance_magnus"]
		saturation := air.SaturationPressure
		if in["t"] < 0 {
			saturation = air.SaturationPressureIce
		}
		var got float64
		switch r["quantity"] {
		case "sat_vapour_pressure":
			got = saturation(in["t"])
		case "sublimation_pressure":
			got = air.SaturationPressureIce(in["T"] - 273.15)
		case "sat_humidity_ratio":
			// Saturation over ice is the humidity over water that has the same vapour pressure.
			rh := 100 * saturation(in["t"]) / air.SaturationPressure(in["t"])
			got = air.HumidityRatio(in["t"], rh, in["p"])
		case "dew_point":
			got = air.DewPoint(in["t"], in["rh"])
		case "std_atm_pressure":
			got, tol = air.PressureAt(in["z"]), r["tolerance"]
		default:
			t.Fatalf("checks.csv: quantity %q is not checked", r["quantity"])
		}
		near(t, r["quantity"]+" "+r["inputs"], got, want, tolerance(t, tol, want))
	}
}

// psychrolib 1.1.1, MIT. Only from 5 °C, and the dew point only above 0 °C: below, it means ice.
func TestPsychrolibGrid(t *testing.T) {
	const percent = 0.35 / 100 // Magnus against the reference equations differs by up to 0.31 %
	rows, dewRows := 0, 0
	for _, r := range load(t, "psychrolib.csv", 340) {
		tC, rh, p := r.num(t, "t_c"), r.num(t, "rh_pct"), r.num(t, "p_pa")
		if tC < 5 {
			continue
		}
		rows++
		at := r["t_c"] + " °C " + r["rh_pct"] + " %: "
		for name, got := range map[string]float64{
			"psat_pa": air.SaturationPressure(tC), "vap_pres_pa": air.VapourPressure(tC, rh),
			"hum_ratio_kg_kg": air.HumidityRatio(tC, rh, p), "abs_hum_g_m3": air.AbsoluteHumidity(tC, rh),
		} {
			want := r.num(t, name)
			near(t, at+name, got, want, want*percent)
		}
		if td := r.num(t, "dew_point_c"); td > 0 {
			dewRows++
			near(t, at+"dew point", air.DewPoint(tC, rh), td, 0.05)
		}
	}
	if rows != 200 || dewRows != 156 {
		t.Errorf("compared %d rows and %d dew points, want 200 and 156", rows, dewRows)
	}
}

// WMO Magnus by closed form, and Sonntag 1990 by numerical inverse: RH over water at every temperature.
func TestDewAndFrostPointOverWater(t *testing.T) {
	for _, r := range load(t, "dewpoint_over_water.csv", 340) {
		tC, rh := r.num(t, "t_c"), r.num(t, "rh_water_pct")
		at := r["t_c"] + " °C " + r["rh_water_pct"] + " %: "
		dew := air.DewPoint(tC, rh)
		near(t, at+"dew point", dew, r.num(t, "dew_point_wmo_magnus_c"), 0.001)
		across := 0.1
		if dew <= -40 {
			across = 0.2
		}
		near(t, at+"dew point (Sonntag)", dew, r.num(t, "dew_point_sonntag_c"), across)
		near(t, at+"vapour pressure", air.VapourPressure(tC, rh), r.num(t, "vap_pres_wmo_pa"), 0.001)
		// The table divides by a gas constant of 461.523 J/(kg·K), 2.4e-5 away from the Vaisala constant.
		abs := r.num(t, "abs_hum_g_m3_wmo")
		near(t, at+"absolute humidity", air.AbsoluteHumidity(tC, rh), abs, 3e-5*abs+0.5e-5)

		frost, ok := air.FrostPoint(tC, rh)
		if want := r["frost_point_sonntag_c"] != ""; ok != want {
			t.Errorf("%sfrost point: ok %v, want %v", at, ok, want)
		} else if ok {
			near(t, at+"frost point (Sonntag)", frost, r.num(t, "frost_point_sonntag_c"), across)
		}
	}
}

// The trap in one row: half-saturated air at -20 °C, by Sonntag 1990. Taken over ice it would frost at -27.02.
func TestIceAndWaterAreNotMixed(t *testing.T) {
	near(t, "dew point", air.DewPoint(-20, 50), -27.77, 0.1)
	frost, _ := air.FrostPoint(-20, 50)
	near(t, "frost point", frost, -25.08, 0.1)
}

func TestDewPointProperties(t *testing.T) {
	for tC := -60.0; tC <= 80; tC += 0.5 {
		below := math.Inf(-1)
		for rh := 0.5; rh <= 100; rh += 0.5 {
			td := air.DewPoint(tC, rh)
			if td > tC {
				t.Fatalf("dew point %v is above the air at %v °C %v %%", td, tC, rh)
			}
			if td <= below {
				t.Fatalf("dew point does not rise with humidity at %v °C %v %%", tC, rh)
			}
			if tC > -60 && td <= air.DewPoint(tC-0.5, rh) {
				t.Fatalf("dew point does not rise with temperature at %v °C %v %%", tC, rh)
			}
			back := 100 * air.SaturationPressure(td) / air.SaturationPressure(tC)
			near(t, "humidity from dew point", back, rh, 1e-9*rh)
			if frost, ok := air.FrostPoint(tC, rh); ok && (frost < td-1e-12 || frost > 0) {
				t.Fatalf("frost point %v is not between dew point %v and 0", frost, td)
			}
			below = td
		}
	}
}

// The dew point must not jump where the air freezes; a switch of the whole formula to ice makes one of 1.04 °C.
func TestNoJumpAtFreezing(t *testing.T) {
	near(t, "dew point across 0 °C", air.DewPoint(-0.001, 50), air.DewPoint(0, 50), 0.01)
}

func FuzzDewPointRoundTrip(f *testing.F) {
	f.Add(20.0, 50.0)
	f.Add(-60.0, 1e-6)
	f.Add(80.0, 100.0)
	f.Fuzz(func(t *testing.T, tC, rh float64) {
		if air.Check(tC, rh) != nil || rh < 1e-6 {
			t.Skip()
		}
		td := air.DewPoint(tC, rh)
		if td > tC {
			t.Fatalf("dew point %v above the air", td)
		}
		near(t, "vapour pressure", air.SaturationPressure(td), air.VapourPressure(tC, rh), 1e-8*air.VapourPressure(tC, rh))
	})
}

func BenchmarkDewPoint(b *testing.B) {
	b.ReportAllocs()
	sum, tC := 0.0, 20.0
	for b.Loop() {
		sum += air.DewPoint(tC, 55)
		tC += 1e-9
	}
	if math.IsNaN(sum) {
		b.Fatal("NaN")
	}
}
