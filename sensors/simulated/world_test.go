package simulated_test

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"nestmon/sensors"
	"nestmon/sensors/simulated"
	"nestmon/sensors/sourcetest"
)

var start = time.Date(2025, 2, 1, 0, 0, 0, 0, time.UTC)

func twoNests() []simulated.Nest {
	return []simulated.Nest{
		{
			ID: "a", Kind: simulated.WoodenBox, Bedding: simulated.WinterBedding, Kits: 7, Kindled: start.Add(-48 * time.Hour),
			Cluster: []string{"a-cluster", "a-cluster2"}, Air: "a-air", CO2: "a-co2",
		},
		{
			ID: "b", Kind: simulated.BuriedTote, Bedding: simulated.WinterBedding, Kits: 6, Kindled: start.Add(30 * time.Hour),
			Cluster: []string{"b-cluster"}, Air: "b-air",
		},
	}
}

func world(t testing.TB, change func(c *simulated.Config)) *simulated.World {
	t.Helper()
	c := simulated.Config{Seed: 7, Start: start, Outside: "outside", Nests: twoNests()}
	if change != nil {
		change(&c)
	}
	w, err := simulated.New(c)
	if err != nil {
		t.Fatal(err)
	}
	return w
}

func schedule(t testing.TB, w *simulated.World, e simulated.Event) {
	t.Helper()
	if err := w.Schedule(e); err != nil {
		t.Fatal(err)
	}
}

// source makes a source whose every Read happens the spacing later than the one before.
func source(t testing.TB, w *simulated.World, spacing time.Duration, ids ...string) *simulated.Source {
	t.Helper()
	now := w.Now()
	s, err := w.Source("simulated", func() time.Time { now = now.Add(spacing); return now }, ids...)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func TestConformance(t *testing.T) {
	sourcetest.Run(t, func(t *testing.T) sourcetest.Rig {
		w := world(t, nil)
		s := source(t, w, 30*time.Second)
		nests := map[string]string{"a-cluster": "a", "a-cluster2": "a", "a-air": "a", "a-co2": "a", "b-cluster": "b", "b-air": "b"}
		return sourcetest.Rig{
			Source: s,
			Vanish: func(probe string) {
				schedule(t, w, simulated.Event{
					Kind: simulated.Dropout, Nest: nests[probe], Probe: probe, From: w.Now(), To: w.Now().Add(30 * time.Second),
				})
			},
			Return: func(string) {}, // by the next read half a minute has passed
		}
	})
}

// trace reads some probes for two days.
func trace(t testing.TB, w *simulated.World, spacing time.Duration, ids ...string) []sensors.Reading {
	t.Helper()
	s := source(t, w, spacing, ids...)
	var all []sensors.Reading
	for range int(48 * time.Hour / spacing) {
		all = append(all, s.Read(t.Context())...)
	}
	return all
}

func TestOneSeedIsOneWorld(t *testing.T) {
	first := trace(t, world(t, nil), time.Minute)
	if again := trace(t, world(t, nil), time.Minute); !slices.Equal(first, again) {
		t.Error("the same seed gave another world")
	}
	other := world(t, func(c *simulated.Config) { c.Seed++ })
	if slices.Equal(first, trace(t, other, time.Minute)) {
		t.Error("another seed gave the same world")
	}
}

func TestOtherNestsChangeNothing(t *testing.T) {
	both := trace(t, world(t, nil), time.Minute, "a-cluster", "a-cluster2", "a-air", "a-co2")
	alone := world(t, func(c *simulated.Config) { c.Nests = c.Nests[:1] })
	if !slices.Equal(both, trace(t, alone, time.Minute, "a-cluster", "a-cluster2", "a-air", "a-co2")) {
		t.Error("nest a reads differently without nest b")
	}
}

func TestReadingsDependOnTimeAlone(t *testing.T) {
	dense, sparse := trace(t, world(t, nil), 30*time.Second, "a-air"), trace(t, world(t, nil), 10*time.Minute, "a-air")
	at := make(map[time.Time]sensors.Reading)
	for _, r := range dense {
		if r.Quantity == sensors.Temperature {
			at[r.Time] = r
		}
	}
	for _, r := range sparse {
		if r.Quantity == sensors.Temperature && at[r.Time] != r {
			t.Fatalf("read every ten minutes: %v, read every half: %v", r, at[r.Time])
		}
	}
}

func TestReadingsAreNearTheTruth(t *testing.T) {
	w := world(t, func(c *simulated.Config) {
		for i := range c.Nests {
			c.Nests[i].Nominal = true
		}
	})
	s := source(t, w, 10*time.Minute, "a-air", "a-co2", "a-cluster", "outside")
	for range 200 {
		readings := s.Read(t.Context())
		truth, _ := w.Truth("a")
		outside, _ := w.Outside()
		for _, check := range []struct {
			what            string
			got, want, most float64 // five standard deviations of offset and noise, and what a lag may hide
		}{
			{"air", readings[0].Value, truth.Air, 5},
			{"humidity", readings[1].Value, truth.Humidity, 25},
			{"co2", readings[2].Value, truth.CO2, 3000},
			{"outside", readings[4].Value, outside, 2},
		} {
			if truth.Open || truth.Doe { // air is stirred faster than a probe follows
				continue
			}
			if math.Abs(check.got-check.want) > check.most {
				t.Errorf("%s %s: read %.2f, is %.2f", truth.Time.Format(time.TimeOnly), check.what, check.got, check.want)
			}
		}
		if c := readings[3].Value; c > truth.Core+2 || math.Mod(c, 0.0625) != 0 {
			t.Errorf("cluster reads %v with the core at %.2f", c, truth.Core)
		}
	}
}

// lives is what must come of each event at nest a, half a day of it later.
func TestEvents(t *testing.T) {
	from, to := start.Add(time.Hour), start.Add(8*time.Hour)
	calm := func(c *simulated.Config) {
		c.Weather = simulated.Climate{Low: -10, High: -10, DewPoint: -14}
		c.Nests = c.Nests[:1]
		c.Nests[0].Nominal = true
	}
	read := func(w *simulated.World, probe string) sensors.Reading {
		return source(t, w, 0, probe).Read(t.Context())[0]
	}
	plain := world(t, calm)
	plain.Advance(to.Add(-time.Minute))
	usual, _ := plain.Truth("a")
	usualRead := read(plain, "a-cluster")
	for _, test := range []struct {
		name  string
		event simulated.Event
		holds func(w *simulated.World, now simulated.Truth) bool
	}{
		{"poor cover chills", simulated.Event{Kind: simulated.PoorCover}, func(_ *simulated.World, now simulated.Truth) bool { return now.Core < usual.Core-1 }},
		{"scatter chills", simulated.Event{Kind: simulated.Scatter}, func(_ *simulated.World, now simulated.Truth) bool { return now.Core < 30 }},
		{"starving burns the reserve", simulated.Event{Kind: simulated.Starve}, func(_ *simulated.World, now simulated.Truth) bool { return now.Reserve <= usual.Reserve && now.Alive }},
		{"the dead are cold", simulated.Event{Kind: simulated.Death}, func(_ *simulated.World, now simulated.Truth) bool { return !now.Alive && now.Core < 15 }},
		{"a blocked vent keeps CO2", simulated.Event{Kind: simulated.VentBlocked}, func(_ *simulated.World, now simulated.Truth) bool { return now.CO2 > 3*usual.CO2 }},
		{"wet costs effort", simulated.Event{Kind: simulated.Wet}, func(_ *simulated.World, now simulated.Truth) bool {
			return now.Water > usual.Water+200 && now.Effort > usual.Effort
		}},
		{"fresh bedding is dry", simulated.Event{Kind: simulated.FreshBedding}, func(_ *simulated.World, now simulated.Truth) bool { return now.Water < usual.Water }},
		{"shade uncovers", simulated.Event{Kind: simulated.Shade}, func(_ *simulated.World, now simulated.Truth) bool { return now.Cover < 0.3 }},
		{"an inspection lets the cold in", simulated.Event{Kind: simulated.Inspection}, func(_ *simulated.World, now simulated.Truth) bool { return now.Open && now.Air < usual.Air }},
		{"a visit wets", simulated.Event{Kind: simulated.DoeVisit}, func(_ *simulated.World, now simulated.Truth) bool { return now.Water > usual.Water+10 }},
		{"a pulled probe reads the air", simulated.Event{Kind: simulated.ProbePulled}, func(w *simulated.World, now simulated.Truth) bool {
			return math.Abs(read(w, "a-cluster").Value-now.Air) < 1.5
		}},
		{"a stuck probe repeats itself", simulated.Event{Kind: simulated.Stuck, Probe: "a-cluster"}, func(w *simulated.World, _ simulated.Truth) bool {
			before := read(w, "a-cluster").Value
			w.Advance(w.Now().Add(30 * time.Second))
			return read(w, "a-cluster").Value == before
		}},
		{"a dropout is a fault", simulated.Event{Kind: simulated.Dropout, Probe: "a-cluster"}, func(w *simulated.World, _ simulated.Truth) bool {
			return read(w, "a-cluster").Fault == sensors.NoAnswer && read(w, "a-cluster2").OK()
		}},
		{"an error code is 85 °C", simulated.Event{Kind: simulated.ErrorCode, Probe: "a-cluster"}, func(w *simulated.World, _ simulated.Truth) bool { return read(w, "a-cluster").Value == 85 }},
		{"a drift runs away", simulated.Event{Kind: simulated.Drift, Probe: "a-cluster", Amount: -1}, func(w *simulated.World, _ simulated.Truth) bool {
			return math.Abs(read(w, "a-cluster").Value-usualRead.Value+7) < 0.3
		}},
	} {
		t.Run(test.name, func(t *testing.T) {
			w := world(t, calm)
			e := test.event
			e.Nest, e.From, e.To = "a", from, to
			schedule(t, w, e)
			w.Advance(to.Add(-time.Minute))
			now, ok := w.Truth("a")
			if !ok || !test.holds(w, now) {
				t.Errorf("got %+v\nwithout the event %+v", now, usual)
			}
		})
	}
}

func TestUnusable(t *testing.T) {
	for _, test := range []struct {
		name   string
		change func(c *simulated.Config)
		want   string
	}{
		{"no start", func(c *simulated.Config) { c.Start = time.Time{} }, "start is missing"},
		{"long step", func(c *simulated.Config) { c.Step = time.Hour }, "step 1h0m0s"},
		{"kind", func(c *simulated.Config) { c.Nests[1].Kind = "bucket" }, `nests[1] b: "bucket" is not a kind of nest; write one of: wooden-box`},
		{"floor", func(c *simulated.Config) { c.Nests[0].Floor = "sand" }, `"sand" is not a floor`},
		{"bedding", func(c *simulated.Config) { c.Nests[0].Bedding = "hay" }, `"hay" is not a bedding`},
		{"nest twice", func(c *simulated.Config) { c.Nests[1].ID = "a" }, "the id is there twice"},
		{"probe twice", func(c *simulated.Config) { c.Nests[1].Air = "a-air" }, `probe "a-air" hangs in two places`},
		{"probe id", func(c *simulated.Config) { c.Outside = "Out" }, `probe id "Out" cannot be an id`},
		{"no kits", func(c *simulated.Config) { c.Nests[0].Kits = 0 }, "kindled without kits"},
		{"grams", func(c *simulated.Config) { c.Nests[0].BirthMass = 60 }, "birth mass 60 kg"},
		{"three probes", func(c *simulated.Config) { c.Nests[0].Cluster = []string{"x", "y", "z"} }, "at most two"},
		{"sun", func(c *simulated.Config) { c.Nests[0].Exposure = 2 }, "exposure 2"},
	} {
		t.Run(test.name, func(t *testing.T) {
			c := simulated.Config{Start: start, Nests: twoNests()}
			test.change(&c)
			if _, err := simulated.New(c); err == nil || !strings.Contains(err.Error(), test.want) {
				t.Errorf("got %v, want %q in it", err, test.want)
			}
		})
	}
	w := world(t, nil)
	if _, err := w.Source("x", time.Now, "a-air", "c-air"); err == nil || !strings.Contains(err.Error(), `no probe "c-air"`) {
		t.Errorf("source of a strange probe: %v", err)
	}
	for _, test := range []struct {
		event simulated.Event
		want  string
	}{
		{simulated.Event{Kind: "flood", Nest: "a", From: start}, `"flood" is not an event; write one of: death`},
		{simulated.Event{Kind: simulated.Wet, Nest: "c", From: start}, `no nest "c"`},
		{simulated.Event{Kind: simulated.Wet, Nest: "a"}, "no beginning"},
		{simulated.Event{Kind: simulated.Shade, Nest: "a", From: start, To: start}, "ends before it begins"},
		{simulated.Event{Kind: simulated.Shade, Nest: "a", Probe: "a-air", From: start}, "befalls a nest"},
		{simulated.Event{Kind: simulated.Stuck, Nest: "a", Probe: "b-air", From: start}, `no probe "b-air"`},
		{simulated.Event{Kind: simulated.FreshBedding, Nest: "a", Bedding: "hay", From: start}, `"hay" is not a bedding`},
	} {
		if err := w.Schedule(test.event); err == nil || !strings.Contains(err.Error(), test.want) {
			t.Errorf("%+v: got %v, want %q in it", test.event, err, test.want)
		}
	}
}

// A doe nurses 1.12 times in 24 h, 86 % of it at night (published, wild-type does); the model's habits come near.
func TestNursingRhythm(t *testing.T) {
	w := world(t, func(c *simulated.Config) {
		c.Weather = simulated.Climate{Low: 5, High: 12, DewPoint: 2}
		c.Nests = nil
		for i := range 40 {
			c.Nests = append(c.Nests, simulated.Nest{
				ID: "n" + string(rune('a'+i%26)) + string(rune('a'+i/26)), Kind: simulated.WoodenBox, Kits: 7, Kindled: start.Add(-48 * time.Hour),
			})
		}
		c.Step = time.Minute
	})
	const days = 10
	w.Advance(start.Add(days * 24 * time.Hour))
	nursings, night := 0, 0
	for i := range 40 {
		for _, h := range w.Happenings("n" + string(rune('a'+i%26)) + string(rune('a'+i/26))) {
			if h.Kind != simulated.Nursed {
				continue
			}
			nursings++
			if hour := h.Time.Hour(); hour >= 18 || hour < 6 {
				night++
			}
		}
	}
	if rate := float64(nursings) / 40 / days; rate < 1.05 || rate > 1.3 {
		t.Errorf("%.2f nursings a day", rate)
	}
	if share := float64(night) / float64(nursings); share < 0.75 || share > 0.95 {
		t.Errorf("%.0f %% of nursings at night", 100*share)
	}
}

// With flaws every probe loses about five minutes a day and shows a few error codes; without, nothing but what is scheduled.
func TestFlaws(t *testing.T) {
	count := func(flaws bool) (lost, codes int) {
		w := world(t, func(c *simulated.Config) { c.Flaws = flaws })
		s := source(t, w, 30*time.Second, "a-cluster")
		for range 20 * 2880 {
			switch r := s.Read(t.Context())[0]; {
			case !r.OK():
				lost++
			case r.Value == 85:
				codes++
			}
		}
		return lost, codes
	}
	if lost, codes := count(false); lost+codes != 0 {
		t.Errorf("a sound probe loses %d readings and shows %d codes", lost, codes)
	}
	lost, codes := count(true) // 20 days of ten readings each, and 0.02 % of 57,600
	if lost < 60 || lost > 500 || codes < 2 || codes > 30 {
		t.Errorf("%d readings lost and %d codes in 20 days", lost, codes)
	}
}

func TestShiftedWorldIsAnother(t *testing.T) {
	plain := trace(t, world(t, nil), 10*time.Minute, "a-cluster")
	if slices.Equal(plain, trace(t, world(t, func(c *simulated.Config) { c.Shifted = true }), 10*time.Minute, "a-cluster")) {
		t.Error("a shifted world reads the same")
	}
}

func TestNoAllocationPerStep(t *testing.T) {
	w := world(t, func(c *simulated.Config) { c.Nests = c.Nests[:1]; c.Nests[0].Kindled = time.Time{} })
	to := w.Now()
	if n := testing.AllocsPerRun(100, func() { to = to.Add(5 * time.Minute); w.Advance(to) }); n >= 1 {
		t.Errorf("%v allocations in ten steps", n)
	}
}

func BenchmarkNestStep(b *testing.B) {
	w := world(b, func(c *simulated.Config) { c.Nests = c.Nests[:1] })
	to := w.Now()
	b.ReportAllocs()
	for b.Loop() {
		to = to.Add(30 * time.Second)
		w.Advance(to)
	}
}
