package air_test

import (
	"math"
	"testing"

	"nestmon/thresholds/air"
)

// bandNames are the words of the tables for our classes.
var bandNames = map[string]air.HeatClass{
	"not classed": air.NotClassed, "absence": air.NoStress, "moderate": air.Moderate,
	"severe": air.Severe, "very severe": air.VerySevere,
}

// Closed form of the index, computed outside the project.
func TestTHIVectors(t *testing.T) {
	for _, r := range load(t, "thi_vectors.csv", 47) {
		tC, rh := r.num(t, "db_c"), r.num(t, "rh_pct")
		got := air.THI(tC, rh)
		near(t, "THI "+r["db_c"]+"/"+r["rh_pct"], got, r.num(t, "thi"), r.num(t, "tolerance"))
		if r["kind"] == "vector" {
			if class := air.Class(got, tC); class != bandNames[r["class"]] {
				t.Errorf("%s °C %s %%: class %s, want %s", r["db_c"], r["rh_pct"], class, r["class"])
			}
		}
	}
}

// The studies are named on each row of thi_published.csv.
func TestTHIPublished(t *testing.T) {
	checked := map[string]int{}
	for _, r := range load(t, "thi_published.csv", 30) {
		use := r["use"]
		checked[use]++
		switch use {
		case "triple":
			got := air.THI(r.num(t, "db_c"), r.num(t, "rh_pct"))
			near(t, r["source"], got, r.num(t, "thi_published"), r.num(t, "tolerance"))
		case "inputs_published":
			tC := r.num(t, "db_c")
			got := air.THI(tC, r.num(t, "rh_pct"))
			near(t, r["source"], got, r.num(t, "thi_computed"), r.num(t, "tolerance"))
			if class := air.Class(got, tC); class != bandNames[r["class_by_bands"]] {
				t.Errorf("%s: class %s, want %s", r["source"], class, r["class_by_bands"])
			}
		case "class_check":
			if class := air.Class(r.num(t, "thi_published"), 25); class != bandNames[r["class_published"]] {
				t.Errorf("%s: class %s, want %s", r["source"], class, r["class_published"])
			}
		}
	}
	if checked["triple"] != 2 || checked["class_check"] != 2 || checked["inputs_published"] != 14 {
		t.Errorf("checked %v", checked)
	}
}

func TestClassOnTheUnroundedValue(t *testing.T) {
	for _, c := range []struct {
		name    string
		thi, tC float64
		want    air.HeatClass
	}{
		{"just under moderate, shown as 27.8", 27.7999, 30, air.NoStress},
		{"moderate edge", 27.8, 27.8, air.Moderate},
		{"just under severe", math.Nextafter(28.9, 0), 30, air.Moderate},
		{"severe edge", 28.9, 30, air.Severe},
		{"just under very severe", 29.9999, 30, air.Severe},
		{"very severe edge", 30, 30, air.VerySevere},
		{"classed from 20 °C", 20, 20, air.NoStress},
		{"not below", 19.99, 19.99, air.NotClassed},
	} {
		t.Run(c.name, func(t *testing.T) {
			if got := air.Class(c.thi, c.tC); got != c.want {
				t.Errorf("class %s, want %s", got, c.want)
			}
		})
	}
}

func TestTHIProperties(t *testing.T) {
	for tC := -40.0; tC <= 60; tC += 0.1 {
		if air.THI(tC, 100) != tC {
			t.Fatalf("at 100 %% the index must be the dry bulb %v itself, got %v", tC, air.THI(tC, 100))
		}
		for rh := 1.0; rh < 100; rh++ {
			here := air.THI(tC, rh)
			if slope := (air.THI(tC+0.1, rh) - here) / 0.1; slope < 0.69-1e-9 {
				t.Fatalf("slope %v in temperature at %v °C %v %%, want at least 0.69", slope, tC, rh)
			}
			moister := air.THI(tC, rh+1)
			if tC > 14.5 && moister <= here || tC < 14.3 && moister >= here {
				t.Fatalf("humidity turns the wrong way at %v °C %v %%", tC, rh)
			}
		}
	}
	for rh := 0.0; rh <= 100; rh++ {
		if air.THI(14.4, rh) != 14.4 {
			t.Errorf("index at 14.4 °C and %v %% is %v", rh, air.THI(14.4, rh))
		}
	}
}

// The °F livestock index, brought to °C, has 0.55 for 0.31 (formula from memory, quoted for sheep and goats): the two
// must not be taken for each other in the dry heat where they differ most.
func TestNotTheFahrenheitIndex(t *testing.T) {
	fahrenheit := 95 - (0.55-0.55*0.30)*(95-58)
	inC := (fahrenheit - 32) * 5 / 9
	if math.Abs(air.THI(35, 30)-inC) < 3 {
		t.Errorf("index %v at 35 °C 30 %% is the livestock index %v", air.THI(35, 30), inC)
	}
	if air.Class(air.THI(35, 30), 35) != air.VerySevere {
		t.Error("35 °C at 30 % is very severe for a rabbit")
	}
}

func BenchmarkTHI(b *testing.B) {
	b.ReportAllocs()
	sum, tC := 0.0, 20.0
	for b.Loop() {
		sum += air.THI(tC, 55)
		tC += 1e-9
	}
	if math.IsNaN(sum) {
		b.Fatal("NaN")
	}
}
