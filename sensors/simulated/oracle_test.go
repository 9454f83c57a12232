package simulated

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"
)

// oracle is one row of testdata/heat_oracles.csv: closed forms of textbook cases, each with its basis in its last column.
type oracle struct {
	name, params, quantity string
	seconds, want          float64
}

func oracles(t *testing.T, name string) []oracle {
	t.Helper()
	f, err := os.Open("testdata/heat_oracles.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var found []oracle
	for _, row := range rows[1:] {
		if row[0] != name {
			continue
		}
		s, err1 := strconv.ParseFloat(row[2], 64)
		want, err2 := strconv.ParseFloat(row[4], 64)
		if err1 != nil || err2 != nil {
			t.Fatalf("row %v: %v %v", row, err1, err2)
		}
		found = append(found, oracle{row[0], row[1], row[3], s, want})
	}
	if len(found) == 0 {
		t.Fatalf("no rows of case %s", name)
	}
	return found
}

// stepper is the tolerance, °C, that suits a stepper; one node under constant neighbours is exact.
const (
	stepper = 0.01
	exact   = 1e-6
)

func TestOneNodeAfterAStep(t *testing.T) {
	const c, ua, q, out, start = 1800, 0.6, 5.0, -12.0, 37.0
	for _, o := range oracles(t, "A_step") {
		temperature := start
		whole, rest := math.Modf(o.seconds / 30)
		for range int(whole) {
			temperature = relax(temperature, c, ua, q+ua*out, 30)
		}
		temperature = relax(temperature, c, ua, q+ua*out, rest*30)
		tolerance := exact
		if strings.Contains(o.quantity, "t(30C)") {
			tolerance = 1e-5 // the time is given to a millisecond
		}
		near(t, o.params+" "+o.quantity, temperature, o.want, tolerance)
	}
}

func TestLagBehindARamp(t *testing.T) {
	for _, o := range oracles(t, "C_ramp") {
		felt := 10.0
		for s := 0.0; s < o.seconds; s += 30 {
			felt = follow(felt, 10+2*(s+30)/3600, 1800, 30) // a probe is fed the temperature at the end of the step
		}
		near(t, o.params, felt, o.want, stepper)
	}
}

func TestTwoNodes(t *testing.T) {
	const c1, c2, u12, u2, q, out = 1500, 6000, 1.2, 0.8, 6.0, -15.0
	run := func(seconds, dt float64) (t1, t2 float64) {
		t1, t2 = 20, 10
		for s := 0.0; s < seconds; s += dt {
			t1, t2 = relax(t1, c1, u12, q+u12*t2, dt), relax(t2, c2, u12+u2, u12*t1+u2*out, dt)
		}
		return t1, t2
	}
	for _, o := range oracles(t, "D_two_node") {
		seconds := o.seconds
		if strings.HasSuffix(o.quantity, "ss") {
			seconds = 14 * 86400
		}
		for _, pace := range []struct{ step, tolerance float64 }{{2, stepper}, {30, 0.06}} { // s, °C: the model's own step last
			t1, t2 := run(seconds, pace.step)
			got := t1
			if strings.HasPrefix(o.quantity, "T2") {
				got = t2
			}
			near(t, o.quantity+" of "+o.params, got, o.want, pace.tolerance)
		}
	}
}

func TestLagOfAProbe(t *testing.T) {
	for _, o := range oracles(t, "E_sensor_lag") {
		near(t, o.params, follow(20, 40, 8, o.seconds), o.want, exact)
		halves := follow(follow(20, 40, 8, o.seconds/2), 40, 8, o.seconds/2)
		near(t, o.params+" in two steps", halves, o.want, exact)
	}
}

func TestSoilWave(t *testing.T) {
	year := time.Date(2025, 1, 1, 0, 0, 0, 0, time.UTC)
	for _, o := range oracles(t, "F_soil") {
		_, depth, _ := strings.Cut(o.params, "depth=")
		z, err := strconv.ParseFloat(strings.TrimSuffix(depth, " m"), 64)
		if err != nil {
			t.Fatal(err)
		}
		s := Soil{Mean: 15, Amplitude: 15, Coldest: 10, Depth: z, Diffusivity: 0.05 / 86400, Year: 365}
		near(t, o.params, s.At(year.Add(time.Duration(o.seconds)*time.Second)), o.want, exact)
	}
}
