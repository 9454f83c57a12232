package simulated

import (
	"fmt"
	"slices"
	"time"
)

// Line is one line of what was scheduled.
type Line struct {
	Time time.Time
	Text string
}

// Litter is one litter as its keeper would have entered it.
type Litter struct {
	Nest          string
	Bred, Kindled time.Time
	Kits          int
}

// Demo is a world with its script.
type Demo struct {
	World   *World
	Nests   []Nest
	Outside string // probe id
	Script  []Line // in order of time
	Litters []Litter
	End     time.Time
}

// The demonstration's weather, °C. Invented.
var (
	demoMild   = Climate{Low: 13, High: 24, DewPoint: 10, Sun: 0.7}
	demoHeat   = Climate{Low: 21, High: 31, DewPoint: 16, Sun: 1}
	demoAutumn = Climate{Low: 4, High: 13, DewPoint: 3, Sun: 0.4}
	demoFreeze = Climate{Low: -15, High: -7, DewPoint: -17, Sun: 0.6}
)

// demoDays is the length of the demonstration.
const demoDays = 9

// demoSeed makes the does and probes of the demonstration.
const demoSeed = 1

// NewDemo makes an invented rabbitry of five nests, one of each make-up, and lets it begin at local midnight of start's
// day. Two mild days lead into a heat wave, autumn follows within a day, and then a freeze. A bare metal box overheats in
// the sun until the keeper shades it; a vent is blocked; one doe kindles; in the freeze one cluster chills under poor cover and
// is mended.
//
// The freeze is dramatic: some forty-five degrees within four days, and a chill that is neither of the faults by
// which detectors are evaluated nor typical. Everything here is invented, and nothing here measures anything.
func NewDemo(start time.Time) (*Demo, error) {
	y, m, d := start.Date()
	at := func(day, hour, minute int) time.Time {
		return time.Date(y, m, d+day, hour, minute, 0, 0, start.Location())
	}
	script := demoScript(at)
	litter := func(kits int, born time.Time) Nest {
		return Nest{Kits: kits, Kindled: born, Bred: born.AddDate(0, 0, -31), Bedding: GoodBedding, Nominal: true}
	}
	nests := []Nest{
		demoNest(litter(5, at(-10, 4, 0)), "north-1", WoodenBox, 0.1),
		demoNest(litter(7, at(-1, 2, 0)), "north-2", WoodenBox, 0.1),
		demoNest(litter(6, at(-4, 5, 0)), "yard-1", MetalBox, 0.7),
		demoNest(litter(7, at(4, 21, 0)), "yard-2", MetalBox, 0.15),
		demoNest(litter(6, at(-3, 3, 0)), "burrow-1", BuriedTote, 0.2),
	}
	nests[0].CO2 = "north-1-co2"
	nests[1].Floor = WireFloor
	nests[1].Cluster = append(nests[1].Cluster, "north-2-cluster2")
	nests[3].Lined = true
	world, err := New(Config{
		Seed: demoSeed, Start: at(0, 0, 0), Location: start.Location(), Outside: "outside",
		Weather: demoWeather(at), Soil: Soil{Mean: 15}, Nests: nests,
	})
	if err != nil {
		return nil, err
	}
	demo := &Demo{World: world, Nests: nests, Outside: "outside", End: at(demoDays, 0, 0)}
	for _, n := range nests {
		demo.Litters = append(demo.Litters, Litter{Nest: n.ID, Bred: n.Bred, Kindled: n.Kindled, Kits: n.Kits})
	}
	for _, s := range script {
		for _, e := range s.events {
			if err := world.Schedule(e); err != nil {
				return nil, fmt.Errorf("scheduling %q: %w", s.text, err)
			}
		}
		demo.Script = append(demo.Script, Line{s.at, s.text})
	}
	slices.SortStableFunc(demo.Script, func(a, b Line) int { return a.Time.Compare(b.Time) })
	return demo, nil
}

func demoNest(n Nest, id string, kind Kind, exposure float64) Nest {
	n.ID, n.Kind, n.Exposure = id, kind, exposure
	n.Cluster, n.Air = []string{id + "-cluster"}, id+"-air"
	return n
}

func demoWeather(at func(day, hour, minute int) time.Time) Weather {
	return Scenario{Base: demoMild, Spells: []Spell{
		{Climate: demoHeat, From: at(2, 6, 0), To: at(3, 20, 0), Ramp: 18 * time.Hour},
		{Climate: demoAutumn, From: at(4, 18, 0), To: at(demoDays+2, 0, 0), Ramp: 20 * time.Hour},
		{Climate: demoFreeze, From: at(6, 12, 0), To: at(8, 0, 0), Ramp: 20 * time.Hour},
	}}
}

// scene is a line of the script with what it schedules.
type scene struct {
	at     time.Time
	text   string
	events []Event
}

func demoScript(at func(day, hour, minute int) time.Time) []scene {
	fresh := func(nest string, bedding Bedding, when time.Time) Event {
		return Event{Kind: FreshBedding, Nest: nest, Bedding: bedding, From: when}
	}
	return []scene{
		{at(1, 12, 0), "the weather turns: a heat wave is on its way", nil},
		{at(2, 12, 15), "yard-1, a bare metal box, has stood in the sun all morning; the keeper shades it and opens the cover", []Event{
			{Kind: Shade, Nest: "yard-1", From: at(2, 12, 15), To: at(3, 20, 0)},
			{Kind: Inspection, Nest: "yard-1", From: at(2, 12, 15), To: at(2, 12, 19)},
		}},
		{at(3, 20, 0), "the heat wave breaks; the keeper takes the shade from yard-1", nil},
		{at(4, 10, 0), "leaves blow against the vent of north-1", []Event{
			{Kind: VentBlocked, Nest: "north-1", From: at(4, 10, 0), To: at(5, 9, 30)},
		}},
		{at(4, 21, 0), "the doe of yard-2 kindles", nil},
		{at(5, 9, 30), "the keeper clears the vent of north-1 and gives it fresh winter bedding", []Event{
			fresh("north-1", WinterBedding, at(5, 9, 30)),
			{Kind: Inspection, Nest: "north-1", From: at(5, 9, 30), To: at(5, 9, 34)},
		}},
		{at(5, 16, 0), "a freeze is forecast; the keeper gives the other nests winter bedding", []Event{
			fresh("north-2", WinterBedding, at(5, 16, 0)), fresh("yard-1", WinterBedding, at(5, 16, 0)),
			fresh("yard-2", WinterBedding, at(5, 16, 0)), fresh("burrow-1", WinterBedding, at(5, 16, 0)),
		}},
		{at(6, 12, 0), "the freeze is at full strength", nil},
		{at(7, 1, 0), "the fur of north-2 is torn and its kits lie scattered in the cold", []Event{
			{Kind: PoorCover, Nest: "north-2", From: at(7, 1, 0), To: at(7, 4, 0)},
			{Kind: Scatter, Nest: "north-2", From: at(7, 1, 0), To: at(7, 4, 0), Amount: 0.4},
		}},
		{at(7, 4, 0), "the keeper gathers the kits of north-2 and covers them with fur and straw", []Event{
			fresh("north-2", WinterBedding, at(7, 4, 0)),
			{Kind: Inspection, Nest: "north-2", From: at(7, 4, 0), To: at(7, 4, 3)},
		}},
		{at(8, 0, 0), "the freeze lets go", nil},
	}
}
