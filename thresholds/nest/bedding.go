package nest

import (
	"fmt"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
	"nestmon/thresholds/litter"
)

// soakedShare is the share of the load that is enough once moisture or a leak has been found in the nest since bedding was changed; ours, no
// source.
const soakedShare = 0.5

// beddingDue needs the litter book. Due are the calendar's days, and between them the day on which the kits have soiled what lies there as
// much as practice lets them: an early day for a big litter, never a late one. Humidity does not decide it, for wet bedding cannot be
// read from nest air; what it found in nests that leak or do not breathe brings the day forward.
func (w *Watch) beddingDue(_ *Now) alarm.Condition {
	if !w.hasKits() {
		return alarm.Condition{}
	}
	c := alarm.Condition{Severity: alarm.Notice}
	if day, ok := brood.BeddingDay(w.days.age); ok && w.done[alarm.BeddingDue].Before(w.day(day)) {
		c.Count = day
	}
	if day, ok := w.loadDay(); ok && day > c.Count {
		c.Count, c.Why = day, whyLoad
	}
	if c.Count == 0 {
		return alarm.Condition{}
	}
	c.Since = w.day(c.Count)
	return c
}

// loadDay is the age in days at which the load since the last change became due; ok is false while it is not.
func (w *Watch) loadDay() (day int, ok bool) {
	limit := brood.BeddingLoad(w.cfg.Kind, w.site.season.Season())
	if w.damp.soaked {
		limit *= soakedShare
	}
	changed := 0
	if at := w.done[alarm.BeddingDue]; at.After(w.kindled()) {
		changed = litter.Day(w.kindled(), at, w.loc)
	}
	for day = changed + 1; day <= w.days.age; day++ {
		if float64(w.kits())*brood.KitDays(changed, day) >= limit {
			return day, true
		}
	}
	return 0, false
}

// freshBedding is what the trade does with soiled bedding, by kind (common practice, no source).
var freshBedding = map[brood.Kind]string{
	brood.WoodenBox:  "Take out what is wet and give dry shavings and straw",
	brood.MetalBox:   "Take out what is wet, wipe the metal dry and give dry shavings and straw",
	brood.BuriedTote: "Take out what is wet, look for water in the lowest corner, and give dry shavings and straw",
}

func (w *Watch) beddingWords(c alarm.Condition) string {
	text := fmt.Sprintf("change the bedding, due on day %d (days %d and %d, then every third).",
		c.Count, brood.BeddingFirstDay, brood.BeddingSecondDay)
	if c.Why == whyLoad {
		text = fmt.Sprintf("change the bedding, due on day %d, before the usual day: %d kits have soiled it by then as much as a usual litter does by day %d.",
			c.Count, w.kits(), brood.BeddingFirstDay)
	}
	if w.damp.soaked {
		text += " Moisture has also been found in this nest since the last change."
	}
	if w.damp.condensing.on {
		say := w.condensingWords()
		text += " W" + say[1:] + "."
	}
	return text + " " + freshBedding[w.cfg.Kind] + "; keep the dry fur and put it back over the kits. Feel it by hand on other days too: probes cannot tell wet bedding, and a nursing doe who leaves her 250-300 g (9-11 oz) of urine a day in the nest wets it at once."
}
