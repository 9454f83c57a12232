package litter

import (
	"fmt"
	"time"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
)

// Due is one chore of the litter clock.
type Due struct {
	Event  alarm.Name
	From   time.Time // it is due from here
	Late   time.Time // from here it is a warning, before a notice; zero when it never is one
	Until  time.Time // it no longer makes sense from here; zero when only doing it ends it
	Text   string    // what to do, and why
	Rule   string    // the days it goes by
	Source string    // where the days come from
}

// Severity is the chore's severity at an instant, none while it is not due.
func (d Due) Severity(now time.Time) alarm.Severity {
	switch {
	case now.Before(d.From), !d.Until.IsZero() && !now.Before(d.Until):
		return alarm.None
	case !d.Late.IsZero() && !now.Before(d.Late):
		return alarm.Warning
	}
	return alarm.Notice
}

// Chores lists what is due for a litter at now or comes later, the earliest first. Before kindling is entered it knows
// gestation only, after it the litter only; an ended litter has none. Whether a chore was done is not known here. The
// answer holds until NextDay(now).
func Chores(l Litter, kind brood.Kind, season brood.Season, now time.Time, loc *time.Location) []Due {
	var all []Due
	switch {
	case !l.Ended.IsZero():
	case !l.Kindled.IsZero():
		all = afterKindling(l, kind, season, loc)
	case !l.Bred.IsZero():
		all = beforeKindling(l.Bred, kind, now, loc)
	}
	var out []Due
	for _, d := range all {
		if d.Until.IsZero() || now.Before(d.Until) {
			out = append(out, d)
		}
	}
	return out
}

// custom is the basis of a day that no study supports.
const custom = "common practice, no source"

func beforeKindling(bred time.Time, kind brood.Kind, now time.Time, loc *time.Location) []Due {
	day := func(n int) time.Time { return startOf(bred, n, loc) }
	box := fmt.Sprintf("put the nest box in, bedded for the season, by day %d after breeding. Before day %d it gets fouled, later she "+
		"may kindle on the floor", BoxTo, BoxFrom)
	if kind == brood.BuriedTote {
		box = fmt.Sprintf("bed the tote and open it to her by day %d after breeding. Before day %d it gets fouled, later she may kindle "+
			"outside", BoxTo, BoxFrom)
	}
	late := fmt.Sprintf("no kindling entered by day %d after breeding, and past %d is late. Look for kits in and outside the nest, and "+
		"enter what you find", Day(bred, now, loc), Overdue)
	basis := "does kindle after 31.7 days on average (Rashwan, Szendrő et al., World Rabbit Science); when that is late: " + custom
	if Day(bred, now, loc) >= CallVet {
		late = fmt.Sprintf("no kindling entered by day %d after breeding or later. Look once more for kits, then call the veterinarian: "+
			"past day %d kits are often dead in her. If she was not pregnant, close the litter as did not kindle", CallVet, CallVet-1)
		basis = "veterinary text, second hand"
	}
	return []Due{
		{
			Event: alarm.BoxDue, From: day(BoxFrom), Late: day(BoxTo), Until: day(KindlingTo + 1), Text: box,
			Rule: fmt.Sprintf("day %d after breeding; a warning from day %d", BoxFrom, BoxTo), Source: custom + "; days 28-29 in a veterinary text, second hand",
		},
		{
			Event: alarm.KindlingOverdue, From: day(Overdue), Late: day(Overdue), Text: late,
			Rule: fmt.Sprintf("day %d after breeding and no kindling known; the veterinarian from day %d", Overdue, CallVet), Source: basis,
		},
	}
}

func afterKindling(l Litter, kind brood.Kind, season brood.Season, loc *time.Location) []Due {
	day := func(n int) time.Time { return startOf(l.Kindled, n, loc) }
	wean := Due{
		Event: alarm.WeanDue, From: day(WeanFrom),
		Text:   fmt.Sprintf("wean from day %d, day %d suggested, when every kit eats and drinks by itself", WeanFrom, WeanSuggested),
		Rule:   fmt.Sprintf("day %d after kindling", WeanFrom),
		Source: "28 to 35 days in experiments and a veterinary text, second hand; 6 to 8 weeks is common practice too",
	}
	if kind == brood.BuriedTote {
		return []Due{{
			Event: alarm.CollectDue, From: day(CollectFrom), Late: day(CollectTo + 1), Until: day(EmergedBy),
			Text: fmt.Sprintf("collect the kits from the tote on day %d to %d, while their eyes open and before they leave by "+
				"themselves; count them, then enter the litter as ended for this nest (`nestmon litter ended --nest %s`)", CollectFrom, CollectTo, l.Nest),
			Rule:   fmt.Sprintf("day %d after kindling; a warning after day %d", CollectFrom, CollectTo),
			Source: custom + "; it fits eyes open at about day 10 and kits leaving from day 13 (Hudson & Distel 1982, as cited by later papers)",
		}, wean}
	}
	out := RemoveBoxDay(season)
	return []Due{
		{
			Event: alarm.TurnBoxDue, From: day(TurnBox), Until: day(out),
			Text: fmt.Sprintf("turn the box on its side and give dry bedding on day %d: kits can come and go, and it stays dry", TurnBox),
			Rule: fmt.Sprintf("day %d after kindling", TurnBox), Source: custom,
		},
		{
			Event: alarm.RemoveBoxDue, From: day(out),
			Text:   fmt.Sprintf("take the box out on day %d: kits of that age no longer need it in this season", out),
			Rule:   fmt.Sprintf("day %d after kindling in summer, day %d else", RemoveBoxSummer, RemoveBoxElse),
			Source: custom + "; days 15 to 21 by the weather (McNitt et al., Rabbit Production)",
		},
		wean,
	}
}
