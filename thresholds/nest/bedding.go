package nest

import (
	"fmt"
	"time"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
	"nestmon/thresholds/litter"
)

// soakedShare is the share of the load that is enough once moisture or a leak has been found in the nest since bedding was changed; ours, no
// source.
const soakedShare = 0.5

// nextBedding is the age in days at which bedding is due, the latest such day that has come or the next one. Due are the calendar's days, and between
// them the day on which the kits have soiled what lies there as much as practice lets them: an early day for a big litter, never a late
// one. Humidity does not decide it, for wet bedding cannot be read from nest air; what it found in nests that leak or do not breathe brings the
// day forward. It needs the litter book.
func (w *Watch) nextBedding() (day int, byLoad, ok bool) {
	if !w.hasKits() {
		return 0, false, false
	}
	changed := w.changed()
	day, came := w.plan.Bedding.Day(changed, w.days.age)
	switch load, soiled := w.loadDay(max(changed, 0), brood.LastClusterDay); {
	case !came:
		day = w.plan.Bedding.Next(changed)
		if soiled && load < day {
			return load, true, true
		}
	case soiled && load <= w.days.age && load > day:
		return load, true, true
	}
	return day, false, day <= brood.LastClusterDay
}

// changed is the kits' age in days when bedding was changed last, -1 for not since they were born.
func (w *Watch) changed() int {
	if at := w.marks.bedded(); at.After(w.kindled()) {
		return litter.Day(w.kindled(), at, w.loc)
	}
	return -1
}

// loadDay is the age in days at which the load since a change is due, none up to last.
func (w *Watch) loadDay(changed, last int) (day int, ok bool) {
	limit := brood.BeddingLoad(w.cfg.Kind, w.site.season.Season(), w.plan.Bedding.First)
	if w.damp.soaked {
		limit *= soakedShare
	}
	for day = changed + 1; day <= last; day++ {
		if float64(w.kits())*brood.KitDays(changed, day) >= limit {
			return day, true
		}
	}
	return 0, false
}

func (w *Watch) bedding(*Now) (d litter.Due, ok bool) {
	day, byLoad, ok := w.nextBedding()
	if !ok {
		return d, false
	}
	b := w.plan.Bedding
	d = litter.Due{
		Event: alarm.BeddingDue, From: w.day(day), Text: w.beddingWords(day, byLoad), Source: brood.BeddingSource,
		Rule: fmt.Sprintf("day %d after kindling, day %d, then every %d days; a change the day before serves for the first two", b.First, b.Second, b.Every),
	}
	if b != litter.DefaultDays().Bedding {
		d.Source = configured + "bedding"
	}
	if byLoad {
		d.Rule = fmt.Sprintf("weight of the kits, summed over the days since the last change, as much as a usual litter's in a box by day %d", b.First)
		d.Source += "; season and kind of nest: " + oursFound
	}
	return d, true
}

// beddingAgain visits the days after the next one, each change being made on its day.
func (w *Watch) beddingAgain(until time.Time, visit func(d litter.Due)) {
	d, ok := w.bedding(nil)
	if !ok {
		return
	}
	for day := litter.Day(w.kindled(), d.From, w.loc); ; {
		day = w.plan.Bedding.Next(max(day, w.days.age))
		if d.From = w.day(day); day > brood.LastClusterDay || !d.From.Before(until) {
			return
		}
		d.Text = w.beddingWords(day, false)
		visit(d)
	}
}

func (w *Watch) beddingDue(n *Now) alarm.Condition {
	day, _, ok := w.nextBedding()
	if !ok || day > w.days.age {
		return alarm.Condition{}
	}
	d, _ := w.bedding(n)
	c := d.Condition(n.Wall)
	c.Count = day
	return c
}

// freshBedding is what the trade does with soiled bedding, by kind (common practice, no source).
var freshBedding = map[brood.Kind]string{
	brood.WoodenBox:  "Take out what is wet and give dry shavings and straw",
	brood.MetalBox:   "Take out what is wet, wipe the metal dry and give dry shavings and straw",
	brood.BuriedTote: "Take out what is wet, look for water in the lowest corner, and give dry shavings and straw",
}

func (w *Watch) beddingWords(day int, byLoad bool) string {
	b := w.plan.Bedding
	text := fmt.Sprintf("change the bedding, due on day %d (days %d and %d, then every %s).", day, b.First, b.Second, ordinal(b.Every))
	if byLoad {
		text = fmt.Sprintf("change the bedding, due on day %d, before the usual day: %d kits have soiled it by then as much as a usual litter does by day %d.",
			day, w.kits(), b.First)
	}
	if w.damp.soaked {
		text += " Moisture has also been found in this nest since the last change."
	}
	if w.damp.condensing.on {
		say := w.condensingWords()
		text += " W" + say[1:] + "."
	}
	return text + " " + freshBedding[w.cfg.Kind] + "; keep the dry fur and put it back over the kits. Feel it by hand on other days too: probes cannot tell wet bedding, and a nursing doe who leaves her 250-300 g (9-11 oz) of urine a day in the nest wets it at once"
}

func ordinal(n int) string {
	if words := [...]string{1: "day", 2: "second", 3: "third", 4: "fourth", 5: "fifth", 6: "sixth", 7: "seventh"}; n < len(words) {
		return words[n]
	}
	return fmt.Sprintf("%d days", n)
}
