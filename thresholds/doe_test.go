package thresholds_test

import (
	"encoding/csv"
	"os"
	"strconv"
	"testing"
	"time"

	"nestmon/sensors"
	"nestmon/thresholds"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
	"nestmon/thresholds/nest"
)

// shade feeds shade air minute by minute and returns what it led to. A humidity of 0 is none.
func shade(r *thresholds.Rabbitry, from time.Time, minutes int, air func(at time.Time) (tC, rh float64)) (events []alarm.Event) {
	for m := range minutes {
		at := from.Add(time.Duration(m) * time.Minute)
		tC, rh := air(at)
		batch := []sensors.Reading{{Probe: "shade", Time: at, Value: tC}, {Probe: "shade", Time: at, Quantity: sensors.Humidity, Value: rh}}
		if rh == 0 {
			batch = batch[:1]
		}
		events = append(events, r.Observe(at, batch)...)
	}
	return events
}

func doeWorst(events []alarm.Event) (worst alarm.Severity) {
	for _, e := range events {
		if e.Name == alarm.DoeHeat && e.State == alarm.Raised {
			worst = max(worst, e.Severity)
		}
	}
	return worst
}

func still(tC, rh float64) func(time.Time) (float64, float64) {
	return func(time.Time) (float64, float64) { return tC, rh }
}

// The air of published studies, each named in its row of thi_published.csv, and the classes' edges of thi_vectors.csv: no alarm below
// the moderate class, a warning in the moderate and the severe one, urgent in the very severe.
func TestDoeHeatByPublishedAir(t *testing.T) {
	levels := map[string]alarm.Severity{"not classed": alarm.None, "absence": alarm.None, "moderate": alarm.Warning, "severe": alarm.Warning, "very severe": alarm.Urgent}
	judged := 0
	for file, class := range map[string]string{"thi_published.csv": "class_by_bands", "thi_vectors.csv": "class"} {
		f, err := os.Open("air/testdata/" + file)
		if err != nil {
			t.Fatal(err)
		}
		rows, err := csv.NewReader(f).ReadAll()
		f.Close()
		if err != nil {
			t.Fatal(err)
		}
		column := map[string]int{}
		for i, name := range rows[0] {
			column[name] = i
		}
		for _, row := range rows[1:] {
			tC, err1 := strconv.ParseFloat(row[column["db_c"]], 64)
			rh, err2 := strconv.ParseFloat(row[column["rh_pct"]], 64)
			want, ok := levels[row[column[class]]]
			if err1 != nil || err2 != nil || rh == 0 || !ok {
				continue
			}
			if tC >= brood.DoeUrgentDryBulb {
				want = alarm.Urgent
			}
			judged++
			if got := doeWorst(shade(rabbitry(t, brood.WoodenBox), start.Add(10*time.Hour), 40, still(tC, rh))); got != want {
				t.Errorf("%s: %g °C at %g %% is %s, want %s (%s)", file, tC, rh, got, want, row[column[class]])
			}
		}
	}
	if judged < 30 {
		t.Errorf("only %d rows were judged", judged)
	}
}

// Heat is new to a doe for the first seven days above 28 °C after fourteen cooler ones: every class counts one lower, and dry air of
// 32 °C is urgent (McNitt et al., Rabbit Production: above 32 °C unacclimatised stock may die; the days are judgement).
func TestHeatIsNewToADoe(t *testing.T) {
	days := func(cool, hot int) (past []nest.Day) {
		for i := range cool + hot {
			b := start.AddDate(0, 0, i-cool-hot)
			d := nest.Day{Begin: b, End: b.AddDate(0, 0, 1), Lowest: 10, Highest: 27}
			if i >= cool {
				d.Highest = 30
			}
			past = append(past, d)
		}
		return past
	}
	for name, c := range map[string]struct {
		cool, hot int
		tC, rh    float64
		want      alarm.Severity
	}{
		"first hot day, 32 °C in dry air":     {14, 0, 32, 10, alarm.Urgent},
		"first hot day, 31.9 °C in dry air":   {14, 0, 31.9, 10, alarm.Warning},
		"first hot day, an index of 26.8":     {14, 0, 28.9, 52, alarm.Warning},
		"first hot day, an index of 29":       {14, 0, 30.6, 68, alarm.Urgent},
		"thirteen cool days are too few":      {13, 0, 32, 10, alarm.None},
		"seventh hot day":                     {14, 6, 32, 10, alarm.Urgent},
		"eighth hot day":                      {14, 7, 32, 10, alarm.None},
		"an index of 29 to one that is used":  {14, 7, 30.6, 68, alarm.Warning},
		"still cool enough on the first day":  {14, 0, 27.9, 20, alarm.None},
		"used to it, 35 °C in the driest air": {14, 7, 35, 5, alarm.Urgent},
	} {
		t.Run(name, func(t *testing.T) {
			r := rabbitry(t, brood.WoodenBox)
			r.Weather(days(c.cool, c.hot))
			if got := doeWorst(shade(r, start.Add(10*time.Hour), 40, still(c.tC, c.rh))); got != c.want {
				t.Errorf("%s, want %s", got, c.want)
			}
		})
	}
}

// A severe afternoon is urgent after a night without four hours below an index of 26 (judgement), and only then.
func TestNightWithoutRelief(t *testing.T) {
	evening := start.Add(18 * time.Hour)
	severe := func(at time.Time) bool { return at.After(evening.Add(18 * time.Hour)) } // from noon on: 31 °C at 72 % is an index of 29.6
	for name, c := range map[string]struct {
		begin  time.Time
		cooler time.Duration // how long the night is cool
		rh     float64
		want   alarm.Severity
	}{
		"five cool hours":                   {evening, 5 * time.Hour, 72, alarm.Warning},
		"three cool hours":                  {evening, 3 * time.Hour, 72, alarm.Urgent},
		"only the end of the night is seen": {evening.Add(9 * time.Hour), 0, 72, alarm.Warning},
	} {
		t.Run(name, func(t *testing.T) {
			r := rabbitry(t, brood.WoodenBox)
			events := shade(r, c.begin, int(evening.Add(20*time.Hour).Sub(c.begin).Minutes()), func(at time.Time) (float64, float64) {
				switch {
				case severe(at):
					return 31, c.rh
				case at.Sub(evening) >= 5*time.Hour && at.Sub(evening) < 5*time.Hour+c.cooler:
					return 22, 80
				}
				return 27, 90
			})
			if got := doeWorst(events); got != c.want {
				t.Errorf("%s, want %s", got, c.want)
			}
		})
	}
}

// Without humidity the air is taken as damp: the index of saturated air is the dry bulb itself.
func TestDoeHeatWithoutHumidity(t *testing.T) {
	for tC, want := range map[float64]alarm.Severity{27.7: alarm.None, 27.8: alarm.Warning, 29.9: alarm.Warning, 30: alarm.Urgent} {
		if got := doeWorst(shade(rabbitry(t, brood.WoodenBox), start, 40, still(tC, 0))); got != want {
			t.Errorf("%g °C is %s, want %s", tC, got, want)
		}
	}
}
