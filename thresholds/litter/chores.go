package litter

import (
	"fmt"
	"time"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
)

// Due is one chore of the litter clock.
type Due struct {
	Event alarm.Name
	From  time.Time // it is due from here
	Late  time.Time // from here it is a warning, before a notice; zero when it never is one
	Until time.Time // it no longer makes sense from here; zero when only doing it ends it
	Text  string    // what to do, and on what basis
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
		all = afterKindling(l.Kindled, kind, season, loc)
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

func beforeKindling(bred time.Time, kind brood.Kind, now time.Time, loc *time.Location) []Due {
	day := func(n int) time.Time { return startOf(bred, n, loc) }
	box := fmt.Sprintf("put the nest box in, bedded for the season, on day %d after breeding and by day %d at the latest: earlier "+
		"it gets fouled, later she may kindle on the floor (common practice)", BoxFrom, BoxTo)
	if kind == brood.BuriedTote {
		box = fmt.Sprintf("bed the tote and open it to her on day %d after breeding and by day %d at the latest: earlier it gets "+
			"fouled, later she may kindle outside (common practice)", BoxFrom, BoxTo)
	}
	late := fmt.Sprintf("day %d after breeding and no kindling entered: look for kits in and outside the nest, and enter "+
		"what you find; does kindle after 31 to 32 days on average (published), past %d is late (common practice)",
		Overdue, Overdue)
	if Day(bred, now, loc) >= CallVet {
		late = fmt.Sprintf("day %d after breeding or later and no kindling entered: look once more for kits, then call the "+
			"veterinarian; past day %d kits are often dead in her (veterinary text, second hand). If she was not "+
			"pregnant, close the litter as did not kindle", CallVet, CallVet-1)
	}
	return []Due{
		{Event: alarm.BoxDue, From: day(BoxFrom), Late: day(BoxTo), Until: day(KindlingTo + 1), Text: box},
		{Event: alarm.KindlingOverdue, From: day(Overdue), Late: day(Overdue), Text: late},
	}
}

func afterKindling(kindled time.Time, kind brood.Kind, season brood.Season, loc *time.Location) []Due {
	day := func(n int) time.Time { return startOf(kindled, n, loc) }
	wean := Due{
		Event: alarm.WeanDue, From: day(WeanFrom),
		Text: fmt.Sprintf("wean from day %d, day %d suggested, when every kit eats and drinks by itself (28 to 35 days in "+
			"experiments and a veterinary text, second hand; 6 to 8 weeks is common practice too)", WeanFrom, WeanSuggested),
	}
	if kind == brood.BuriedTote {
		return []Due{{
			Event: alarm.CollectDue, From: day(CollectFrom), Late: day(CollectTo + 1), Until: day(EmergedBy),
			Text: fmt.Sprintf("collect the kits from the tote on day %d to %d, while their eyes open and before they leave by "+
				"themselves; count them (common practice)", CollectFrom, CollectTo),
		}, wean}
	}
	out := RemoveBoxDay(season)
	return []Due{
		{
			Event: alarm.TurnBoxDue, From: day(TurnBox), Until: day(out),
			Text: fmt.Sprintf("turn the box on its side and give dry bedding on day %d: kits can come and go, and it stays "+
				"dry (common practice)", TurnBox),
		},
		{
			Event: alarm.RemoveBoxDue, From: day(out),
			Text: fmt.Sprintf("take the box out on day %d in this season (3 weeks in summer, 4 in winter: common practice; 15 to "+
				"21 days by the weather is published)", out),
		},
		wean,
	}
}
