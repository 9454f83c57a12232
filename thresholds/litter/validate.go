package litter

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
)

// mayBeOff are the chores whose silence costs no kit and no doe. The others are told whatever the configuration says.
var mayBeOff = []alarm.Name{
	alarm.CheckPregnancyDue, alarm.ConfirmKindlingDue, alarm.RationDue, alarm.TurnBoxDue, alarm.RemoveBoxDue, alarm.HideBoxDue,
	alarm.WeanDue, alarm.SeasonSetupDue, alarm.WaterDue, alarm.FlyStrikeDue, alarm.ResealToteDue,
}

// whyNotOff says what the silence of the others costs.
var whyNotOff = map[alarm.Name]string{
	alarm.BoxDue:          "without a box kits are born on the floor and cool within minutes",
	alarm.KindlingOverdue: "a doe that is overdue may die of it",
	alarm.InspectDue:      "dead kits and strays are found by nothing else",
	alarm.CollectDue:      "kits leave the tote by themselves soon after",
	alarm.BeddingDue:      "wet bedding kills kits",
	alarm.VentilationDue:  "used air harms kits before the cold does",
	alarm.ReturnBoxDue:    "kits indoors are fed by nobody",
}

// bound is one number of the days and what it may be.
type bound struct {
	path          string
	value, lo, hi float64
	unit          string
	what          string // the number in words
}

func (w Window) bounds(path string, lo, hi int, of string) []bound {
	return []bound{
		{path + ".from", float64(w.From), float64(lo), float64(hi), "", of},
		{path + ".to", float64(w.To), float64(lo), float64(hi), "", of},
	}
}

// The ends of what can be meant; ours, no source. A doe is called overdue, and her veterinarian, no later than shipped.
const (
	lastPregnant = 40
	lastVet      = 35
	lastBoxIn    = 31 // kits come from day 31 on
	longestLook  = 18 * time.Hour
	longestInn   = 24 * time.Hour
)

func (d *Days) bounds() []bound {
	const after, age = "days after breeding", "days after kindling"
	day := func(path string, value, lo, hi int, of string) bound {
		return bound{path, float64(value), float64(lo), float64(hi), "", of}
	}
	span := func(path string, value, lo, hi time.Duration) bound {
		return bound{path, value.Hours(), lo.Hours(), hi.Hours(), "h", "hours with their unit, such as 14h"}
	}
	clock := func(path string, value int) bound { return day(path, value, 0, 23, "an hour of the day") }
	return slices.Concat(
		d.Pregnancy.bounds("check_pregnancy", 1, lastPregnant, after), d.BoxIn.bounds("box_in", 1, lastBoxIn, after),
		d.Kindling.bounds("kindling", 20, lastPregnant, after), d.Expected.bounds("expected", 20, lastPregnant, after),
		d.Strays.bounds("strays", 20, lastPregnant, after),
		[]bound{day("overdue", d.Overdue, 28, lastVet, after), day("veterinarian", d.Vet, 28, lastVet, after)},
		d.Ration.bounds("ration", 0, brood.LastClusterDay, age), d.Collect.bounds("collect", 1, brood.LastClusterDay, age),
		[]bound{
			day("emerged", d.Emerged, 1, brood.LastClusterDay, age), day("turn_box", d.TurnBox, 1, brood.LastClusterDay, age),
			day("box_out.winter", d.BoxOut.Winter, BoxOutEarliest, 60, age), day("box_out.mild", d.BoxOut.Mild, BoxOutEarliest, 60, age),
			day("box_out.summer", d.BoxOut.Summer, BoxOutEarliest, 60, age),
			day("hide_box.after", d.HideBox.After, 0, 30, "days after the box came out"), day("hide_box.days", d.HideBox.Days, 1, 60, "days"),
			day("bedding.first", d.Bedding.First, 1, brood.LastClusterDay, age), day("bedding.second", d.Bedding.Second, 1, brood.LastClusterDay, age),
			day("bedding.every", d.Bedding.Every, 1, 7, "days"),
		},
		d.Wean.bounds("wean", 21, brood.LastDay, age),
		[]bound{
			day("wean_at", d.WeanAt, 21, brood.LastDay, age),
			span("inspect.every", d.Inspect.Every, 4*time.Hour, longestLook), clock("inspect.from", d.Inspect.From), day("inspect.until", d.Inspect.Until, 1, 24, "an hour of the day"),
			span("indoors.back", d.Indoors.Back, time.Hour, longestInn), span("indoors.late", d.Indoors.Late, time.Hour, longestInn),
			clock("water.morning", d.Water.Morning), clock("water.evening", d.Water.Evening),
			{"water.below", d.Water.Below, -5, 5, "°C", "degrees Celsius"},
			{"flies.above", d.Flies.Above, 5, 35, "°C", "degrees Celsius"},
			{"flies.damp", d.Flies.Damp, 5, 35, "°C", "degrees Celsius"},
			day("flies.every", d.Flies.Every, 1, 7, "days"),
			day("reseal.years", d.Reseal.Years, 1, 30, "years"), day("reseal.wet", d.Reseal.Wet, 1, 60, "days"),
		},
	)
}

// order is two numbers that must not be the wrong way round. The second is told.
type order struct {
	first, second string
	apart         float64 // by how much the second is greater at least
}

var orders = []order{
	{"check_pregnancy.from", "check_pregnancy.to", 0},
	{"check_pregnancy.to", "box_in.from", 1},
	{"box_in.from", "box_in.to", 0},
	{"box_in.to", "expected.to", 0},
	{"kindling.from", "kindling.to", 0},
	{"kindling.from", "expected.from", 0},
	{"expected.from", "expected.to", 0},
	{"expected.to", "kindling.to", 0},
	{"expected.to", "overdue", 1},
	{"overdue", "veterinarian", 0},
	{"strays.from", "strays.to", 0},
	{"ration.from", "ration.to", 0},
	{"collect.from", "collect.to", 0},
	{"collect.to", "emerged", 1},
	{"turn_box", "box_out.winter", 1},
	{"turn_box", "box_out.mild", 1},
	{"turn_box", "box_out.summer", 1},
	{"bedding.first", "bedding.second", 1},
	{"wean.from", "wean.to", 0},
	{"wean.from", "wean_at", 0},
	{"wean_at", "wean.to", 0},
	{"inspect.from", "inspect.until", 4},
	{"indoors.back", "indoors.late", 0},
	{"water.morning", "water.evening", 4},
	{"flies.damp", "flies.above", 0},
}

// Validate reports every number that cannot be meant, with the path of its key.
func (d *Days) Validate(report func(path, problem string)) {
	fine, of := map[string]bool{}, map[string]bound{}
	for _, b := range d.bounds() {
		of[b.path] = b
		if fine[b.path] = b.value >= b.lo && b.value <= b.hi; !fine[b.path] {
			report(b.path, fmt.Sprintf("%s is outside %s to %s; write %s", b.say(b.value), b.say(b.lo), b.say(b.hi), b.what))
		}
	}
	for _, o := range orders {
		a, b := of[o.first], of[o.second]
		if !fine[a.path] || !fine[b.path] || b.value >= a.value+o.apart {
			continue
		}
		least := "at least " + b.say(a.value+o.apart)
		report(b.path, fmt.Sprintf("%s does not fit %s: %s; write %s here, or change that", b.say(b.value), a.path, a.say(a.value), least))
	}
	for i, name := range d.Off {
		at := fmt.Sprintf("off[%d]", i)
		switch why, never := whyNotOff[name]; {
		case never:
			report(at, fmt.Sprintf("%s cannot be switched off, for %s; remove it", name, why))
		case !slices.Contains(mayBeOff, name):
			report(at, fmt.Sprintf("%q is no chore; write one of: %s", name, strings.Join(names(mayBeOff), ", ")))
		}
	}
}

func (b bound) say(v float64) string {
	if b.unit == "" {
		return fmt.Sprintf("%g", v)
	}
	if b.unit == "h" {
		return fmt.Sprintf("%gh", v)
	}
	return fmt.Sprintf("%g %s", v, b.unit)
}

func names(all []alarm.Name) []string {
	out := make([]string, len(all))
	for i, n := range all {
		out[i] = string(n)
	}
	return out
}
