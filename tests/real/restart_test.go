package real_test

import (
	"bytes"
	"encoding/json"
	"testing"
	"time"

	"nestmon/sensors"
	"nestmon/sensors/screen"
	"nestmon/thresholds"
	"nestmon/thresholds/brood"
	"nestmon/thresholds/nest"
)

// judged is screen and decisions in one process, so that they can be stopped anywhere.
type judged struct {
	screen   *screen.Screen
	rabbitry *thresholds.Rabbitry
}

func (j *judged) observe(t *testing.T, poll []sensors.Reading) []byte {
	t.Helper()
	poll = append([]sensors.Reading{}, poll...)
	j.screen.Apply(poll)
	var out bytes.Buffer
	enc := json.NewEncoder(&out)
	for _, e := range j.rabbitry.Observe(poll[0].Time, poll) {
		if err := enc.Encode(e); err != nil {
			t.Fatal(err)
		}
	}
	return out.Bytes()
}

// course is what one real instrument has measured.
type course struct {
	name, zone string
	outside    bool // else it hangs in a nest
	every      time.Duration
	polls      func(t *testing.T, c course) [][]sensors.Reading
}

func (c course) poll(t *testing.T, at time.Time, temperature, humidity string) []sensors.Reading {
	return []sensors.Reading{
		{Probe: "probe", Quantity: sensors.Temperature, Time: at, Value: number(t, temperature)},
		{Probe: "probe", Quantity: sensors.Humidity, Time: at, Value: number(t, humidity)},
	}
}

func (c course) fresh(t *testing.T) *judged {
	t.Helper()
	zone, err := time.LoadLocation(c.zone)
	if err != nil {
		t.Fatal(err)
	}
	probes := []sensors.Probe{{ID: "probe", Quantities: sensors.Quantities[:2], Interval: c.every, StaleAfter: sensors.DefaultStaleAfter(c.every)}}
	cfg := thresholds.Config{Location: zone, Poll: c.every, Probes: probes, Limits: brood.DefaultTables()}
	if c.outside {
		cfg.Outside = "probe"
	} else {
		cfg.Nests = []nest.Config{{ID: "oak", Kind: brood.WoodenBox, Air: "probe"}}
	}
	r, err := thresholds.New(cfg)
	if err != nil {
		t.Fatal(err)
	}
	return &judged{screen.New(probes, screen.Watch{Probes: []string{"probe"}, Outside: c.outside}), r}
}

// Over real readings, too, a state saved and loaded again and again changes no byte of what is said or remembered, in zones with and
// without summer time.
func TestRealReadingsThroughRestarts(t *testing.T) {
	slowed := func(t *testing.T, c course) (all [][]sensors.Reading) {
		for i, r := range motes(t, "1") {
			all = append(all, c.poll(t, time.Date(2010, 5, 9, 0, 0, 0, 0, time.UTC).Add(time.Duration(i)*c.every), r["temperature"], r["humidity"]))
		}
		return all
	}
	year := func(file, humidity string) func(*testing.T, course) [][]sensors.Reading {
		return func(t *testing.T, c course) (all [][]sensors.Reading) {
			for _, r := range table(t, "NESTMON_WEATHER", file) {
				if r["temp_c"] == "" || r[humidity] == "" {
					continue
				}
				at, err := time.Parse(time.RFC3339, r["time"])
				if err != nil {
					t.Fatal(err)
				}
				all = append(all, c.poll(t, at, r["temp_c"], r[humidity]))
			}
			return all
		}
	}
	for _, c := range []course{
		{"a mote's fast warming, slowed", "UTC", false, 2 * time.Minute, slowed},
		{"Beijing 2010", "Asia/Shanghai", true, time.Hour, year("beijing_2010_year.csv", "rh_pct_derived")},
		{"Newark 2013", "America/New_York", true, time.Hour, year("nyc_ewr_2013_year.csv", "rh_pct")},
	} {
		t.Run(c.name, func(t *testing.T) {
			whole, cut, said := c.fresh(t), c.fresh(t), 0
			for i, poll := range c.polls(t, c) {
				w, again := whole.observe(t, poll), cut.observe(t, poll)
				if !bytes.Equal(w, again) {
					t.Fatalf("poll %d:\nwhole %s\ncut   %s", i, w, again)
				}
				said += len(w)
				if i%97 != 41 {
					continue
				}
				state := cut.rabbitry.Save(cut.screen.State()...)
				if !bytes.Equal(state, whole.rabbitry.Save(whole.screen.State()...)) {
					t.Fatalf("poll %d: something else is remembered", i)
				}
				next := c.fresh(t)
				if err := next.rabbitry.Load(state, next.screen.State()...); err != nil {
					t.Fatal(err)
				}
				cut = next
			}
			if said == 0 {
				t.Error("nothing was said, which proves little")
			}
		})
	}
}
