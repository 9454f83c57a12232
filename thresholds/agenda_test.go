package thresholds_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"nestmon/sensors"
	"nestmon/thresholds"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
	"nestmon/thresholds/litter"
	"nestmon/thresholds/nest"
)

// shed is a rabbitry of three nests whose probes report every half hour: enough for chores.
func shed(t testing.TB, loc *time.Location) *thresholds.Rabbitry {
	t.Helper()
	var ps []sensors.Probe
	for _, id := range []string{"shade", "oak-air", "elm-air", "tote-air"} {
		ps = append(ps, sensors.Probe{ID: id, Quantities: []sensors.Quantity{sensors.Temperature, sensors.Humidity}, Interval: 30 * time.Minute, StaleAfter: 2 * time.Hour})
	}
	r, err := thresholds.New(thresholds.Config{
		Location: loc, Poll: 30 * time.Minute, Outside: "shade", Probes: ps, Limits: brood.DefaultTables(),
		Nests: []nest.Config{
			{ID: "oak", Kind: brood.WoodenBox, Air: "oak-air"},
			{ID: "elm", Kind: brood.MetalBox, Lined: true, Air: "elm-air"},
			{ID: "tote", Kind: brood.BuriedTote, Air: "tote-air", Sealed: litter.Date{Year: start.Year() - 5, Month: start.Month(), Day: start.Day() + 4}},
		},
	})
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func at(hours float64) time.Time { return start.Add(time.Duration(hours * float64(time.Hour))) }

// observe lets half an hour pass.
func observe(r *thresholds.Rabbitry, now time.Time, outside float64) {
	var batch []sensors.Reading
	for _, id := range []string{"shade", "oak-air", "elm-air", "tote-air"} {
		batch = append(batch, sensors.Reading{Probe: id, Quantity: sensors.Temperature, Time: now, Value: outside},
			sensors.Reading{Probe: id, Quantity: sensors.Humidity, Time: now, Value: 60})
	}
	r.Observe(now, batch)
}

// choresOn is every chore that stands, with its severity.
func choresOn(r *thresholds.Rabbitry) map[string]alarm.Severity {
	all := map[string]alarm.Severity{}
	for _, st := range r.Standing() {
		if st.Name.Chore() {
			all[st.Nest+" "+string(st.Name)] = st.Severity
		}
	}
	return all
}

// Whatever the agenda says is due stands as a chore then, a warning where it is overdue, and whatever stands is on the agenda as due.
// Litters, marks, strikes and weather are drawn at random.
func TestAgendaAgreesWithAlarms(t *testing.T) {
	seeds, days := 5, 12
	if testing.Short() {
		seeds = 2
	}
	loc, err := time.LoadLocation("America/Denver")
	if err != nil {
		t.Fatal(err)
	}
	told := map[alarm.Name]bool{}
	for seed := range seeds {
		rnd := rand.New(rand.NewPCG(uint64(seed), 7))
		r := shed(t, loc)
		var book []litter.Litter
		for i, id := range []string{"oak", "elm", "tote"} {
			l := litter.Litter{ID: int64(i + 1), Nest: id, Bred: at(-24 * float64(rnd.IntN(62)))}
			if start.Sub(l.Bred) > 30*24*time.Hour {
				l.Kindled = l.Bred.AddDate(0, 0, 31)
				l.Born = rnd.IntN(12)
			}
			if id != "tote" && rnd.IntN(3) == 0 {
				l.Indoors = at(float64(rnd.IntN(200)))
			}
			book = append(book, l)
		}
		r.SetLitters(book, start)
		mean, lastDone := rnd.Float64()*30-6, thresholds.Task{}
		for half := range days * 48 {
			now := at(float64(half) / 2)
			observe(r, now, mean+6*math.Sin(float64(half)*math.Pi/24))
			stands, due := choresOn(r), map[string]alarm.Severity{}
			agenda := r.Agenda(now, now.AddDate(0, 0, 7))
			for _, task := range agenda {
				if task.Text == "" {
					t.Fatalf("seed %d: %s says nothing", seed, task.Chore)
				}
				if !task.Done.IsZero() || now.Before(task.From) {
					continue
				}
				severity := alarm.Notice
				if task.State(now, loc) == thresholds.Overdue {
					severity = alarm.Warning
				}
				due[task.Nest+" "+string(task.Chore)] = severity
				told[task.Chore] = true
			}
			if half > 0 && fmt.Sprint(due) != fmt.Sprint(stands) { // the first poll judges nothing
				t.Fatalf("seed %d, %s: the agenda has %v, but %v stands", seed, now.In(loc), due, stands)
			}
			switch k := rnd.IntN(40); {
			case k == 0 && len(agenda) > 0:
				lastDone = agenda[rnd.IntN(len(agenda))]
				lastDone.Done = now.Add(-time.Duration(rnd.IntN(300)) * time.Minute)
				_ = r.Done(lastDone.Nest, lastDone.Chore, lastDone.Done) // some are refused
			case k == 1 && !lastDone.Done.IsZero():
				if err := r.Undone(lastDone.Nest, lastDone.Chore, lastDone.Done); err != nil {
					t.Fatal(err)
				}
			}
		}
	}
	if least := 12; len(told) < least {
		t.Errorf("only %v were ever due", told)
	}
}

// What the agenda says is coming stands when its time has come, if nobody does it before.
func TestWhatIsComingComes(t *testing.T) {
	for name, book := range map[string][]litter.Litter{
		"pregnant":   {{ID: 1, Nest: "oak", Bred: at(-24 * 8)}, {ID: 2, Nest: "tote", Bred: at(-24 * 25)}, {ID: 3, Nest: "elm", Bred: at(-24 * 30)}},
		"with kits":  {{ID: 1, Nest: "oak", Kindled: at(-24*12 + 5)}, {ID: 2, Nest: "tote", Kindled: at(-24*8 - 3)}, {ID: 3, Nest: "elm", Kindled: at(-24*19 + 9)}},
		"in the end": {{ID: 1, Nest: "oak", Kindled: at(-24 * 26)}, {ID: 2, Nest: "tote", Kindled: at(-24 * 24)}, {ID: 3, Nest: "elm", Kindled: at(-3), Indoors: at(2)}},
	} {
		t.Run(name, func(t *testing.T) {
			r := shed(t, time.UTC)
			r.SetLitters(book, start)
			promised := map[string]bool{}
			for half := range 10 * 48 {
				now := at(float64(half) / 2)
				observe(r, now, 14)
				stands := choresOn(r)
				for _, task := range r.Agenda(now, now.AddDate(0, 0, 3)) {
					key := task.Nest + " " + string(task.Chore)
					if now.Before(task.From) && half < 7*48 {
						promised[fmt.Sprintf("%s at %s", key, task.From.Format(time.RFC3339))] = true
					}
				}
				for key := range promised {
					var nestID, chore, from string
					if _, err := fmt.Sscanf(key, "%s %s at %s", &nestID, &chore, &from); err != nil {
						t.Fatal(key, err)
					}
					due, err := time.Parse(time.RFC3339, from)
					if err != nil {
						t.Fatal(err)
					}
					if now.Before(due) {
						continue
					}
					if _, on := stands[nestID+" "+chore]; !on {
						t.Errorf("%s: %s was promised, and %v stands", now, key, stands)
					}
					delete(promised, key)
				}
			}
		})
	}
}

// A chore marked done stays away as long as it should, whenever it was marked.
func TestMarksAreRemembered(t *testing.T) {
	kits := func(days float64) litter.Litter {
		return litter.Litter{ID: 1, Nest: "oak", Kindled: at(-24 * days), Born: 6}
	}
	for name, c := range map[string]struct {
		litter  litter.Litter
		nest    string
		chore   alarm.Name
		done    float64 // h
		until   float64 // h, to which it is watched
		want    bool    // it stands then
		outside float64
	}{
		"the box put in a day early":      {litter.Litter{ID: 1, Nest: "oak", Bred: at(-24 * 25)}, "oak", alarm.BoxDue, 12, 96, false, 12},
		"marked before it was bred":       {litter.Litter{ID: 1, Nest: "oak", Bred: at(-24 * 25)}, "oak", alarm.BoxDue, -24 * 26, 96, true, 12},
		"bedding the day before":          {kits(12), "oak", alarm.BeddingDue, 30, 72, false, 12},
		"bedding two days before":         {kits(11), "oak", alarm.BeddingDue, 30, 96, true, 12},
		"every third day after":           {kits(21), "oak", alarm.BeddingDue, 10, 71, false, 12},
		"and no longer":                   {kits(21), "oak", alarm.BeddingDue, 10, 73, true, 12},
		"a turn is a change":              {kits(13), "oak", alarm.TurnBoxDue, 30, 60, false, 12},
		"overdue, looked at":              {litter.Litter{ID: 1, Nest: "oak", Bred: at(-24 * 33)}, "oak", alarm.KindlingOverdue, 10, 47, false, 12},
		"and yet the veterinarian":        {litter.Litter{ID: 1, Nest: "oak", Bred: at(-24 * 33)}, "oak", alarm.KindlingOverdue, 10, 49, true, 12},
		"water till the evening":          {litter.Litter{}, "", alarm.WaterDue, 8, 16, false, -3},
		"and then again":                  {litter.Litter{}, "", alarm.WaterDue, 8, 18, true, -3},
		"flies on the next day":           {litter.Litter{}, "", alarm.FlyStrikeDue, 32, 53, false, 24},
		"and on the day after":            {litter.Litter{}, "", alarm.FlyStrikeDue, 32, 55, true, 24},
		"a tote is sealed for five years": {litter.Litter{}, "tote", alarm.ResealToteDue, -24 * 300, 24 * 6, false, 12},
	} {
		t.Run(name, func(t *testing.T) {
			r := shed(t, time.UTC)
			if c.litter.ID != 0 {
				r.SetLitters([]litter.Litter{c.litter}, start)
			}
			done, marked := at(c.done), false
			mark := func() {
				for range 2 { // the same twice is once
					if err := r.Done(c.nest, c.chore, done); err != nil {
						t.Fatal(err)
					}
				}
				marked = true
			}
			for half := range int(2*c.until) + 1 {
				now := at(float64(half) / 2)
				observe(r, now, c.outside)
				if !marked && !now.Before(done) {
					mark()
				}
			}
			key := c.nest + " " + string(c.chore)
			if c.chore == alarm.TurnBoxDue {
				key = "oak " + string(alarm.BeddingDue)
			}
			if _, on := choresOn(r)[key]; on != c.want {
				t.Errorf("stands: %v, want %v", on, c.want)
			}
			if !c.want && c.done > 0 { // struck, it counts again
				if err := r.Undone(c.nest, c.chore, done); err != nil {
					t.Fatal(err)
				}
				observe(r, at(c.until+0.5), c.outside)
				if _, on := choresOn(r)[key]; !on {
					t.Error("struck, it does not come back")
				}
			}
		})
	}
}

// A mark that belongs elsewhere, or cannot be true, is refused and changes nothing.
func TestMarksThatAreRefused(t *testing.T) {
	r := shed(t, time.UTC)
	r.SetLitters([]litter.Litter{{ID: 1, Nest: "oak", Kindled: at(-24 * 5)}}, start)
	observe(r, start, 12)
	for name, err := range map[string]error{
		"water of a nest":    r.Done("oak", alarm.WaterDue, start),
		"bedding of no nest": r.Done("", alarm.BeddingDue, start),
		"the box of kits":    r.Done("oak", alarm.RemoveBoxDue, start),
		"struck heat":        r.Undone("oak", alarm.NestHeat, start),
	} {
		if err == nil {
			t.Errorf("%s was taken", name)
		}
	}
	if tasks := r.Agenda(start, start.AddDate(0, 0, 60)); slices.ContainsFunc(tasks, func(t thresholds.Task) bool { return !t.Done.IsZero() }) {
		t.Errorf("something is done: %+v", tasks)
	}
}

// What the probes or the weather ask for, and a mark does not end, stays on the agenda as it stays an alarm.
func TestAMarkHidesNothingThatStands(t *testing.T) {
	for name, c := range map[string]struct {
		tr    trace
		nest  string
		chore alarm.Name
	}{
		"vents":      {trace{minutes: 400, litters: newborn(6), cluster: constant(34), air: constant(27), humidity: constant(91), outside: constant(24)}, "oak", alarm.VentilationDue},
		"bare metal": {trace{minutes: 3 * 1440, kind: brood.MetalBox, cluster: constant(34), air: constant(-8), outside: constant(-10)}, "", alarm.SeasonSetupDue},
	} {
		t.Run(name, func(t *testing.T) {
			c.tr.did = map[int]alarm.Name{c.tr.minutes - 60: c.chore}
			r, _ := c.tr.run(t)
			if !standing(r, c.chore) {
				t.Fatal("it does not stand")
			}
			now := start.Add(time.Duration(c.tr.minutes) * time.Minute)
			if !slices.ContainsFunc(r.Agenda(now, now.AddDate(0, 0, 7)), func(task thresholds.Task) bool {
				return task.Chore == c.chore && task.Done.IsZero()
			}) {
				t.Error("it stands as an alarm, and is not on the agenda")
			}
		})
	}
}

// Kits that were moved lie in another nest: whoever moved them has looked, and what was done there before was done to others.
func TestMovedKits(t *testing.T) {
	r := shed(t, time.UTC)
	kits := litter.Litter{ID: 1, Nest: "oak", Kindled: at(-24 * 16), Since: at(8), Born: 6}
	for half := range 18 {
		observe(r, at(float64(half)/2), 12)
		if half == 2 {
			if err := r.Done("oak", alarm.TurnBoxDue, at(1)); err != nil {
				t.Fatal(err)
			}
		}
		r.SetLitters([]litter.Litter{kits}, at(float64(half)/2))
	}
	observe(r, at(9), 12)
	stands := choresOn(r)
	if _, on := stands["oak inspect-due"]; on {
		t.Error("a look is asked for an hour after they were moved")
	}
	if _, on := stands["oak turn-box-due"]; !on {
		t.Errorf("the box was turned for others: %v", stands)
	}
}
