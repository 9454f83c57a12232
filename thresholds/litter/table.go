package litter

import (
	"fmt"
	"time"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
)

// custom is the basis of a day that no study supports.
const custom = "common practice, no source"

// clock is what a chore's days are counted from.
type clock int

const (
	ofGestation clock = iota // the day of breeding
	ofLitter                 // the day of kindling
)

// kinds is the nests that a chore is for.
type kinds int

const (
	boxes kinds = 1 << iota
	totes
	every = boxes | totes
)

func (k kinds) has(kind brood.Kind) bool {
	if kind == brood.BuriedTote {
		return k&totes != 0
	}
	return k&boxes != 0
}

// row is one chore of the litter clock.
type row struct {
	name     alarm.Name
	clock    clock
	kinds    kinds
	proposed bool                   // only while nobody has confirmed the kindling
	window   func(c *Clock, d *Due) // sets from, late and until
	text     func(c *Clock) string  // what to do, and why
	rule     func(c *Clock) string  // the days it goes by
	source   string                 // of the days as shipped
	key      string                 // where a configuration sets them
	set      func(d *Days) [3]int   // what it sets
}

// table is every chore that goes by the days of a litter. Those of the hour, the weather and the year, which need more than a calendar, are in
// package nest.
var table = []row{
	{
		name: alarm.CheckPregnancyDue, clock: ofGestation, kinds: every,
		window: func(c *Clock, d *Due) { d.From, d.Until = c.bred(c.Days.Pregnancy.From), c.bred(c.Days.Pregnancy.To+1) },
		text: func(c *Clock) string {
			w := c.Days.Pregnancy
			return fmt.Sprintf("see whether she is pregnant: feel her belly gently on day %d to %d after breeding, when kits can be told from the gut and are not yet easily hurt. "+
				"If she is not, close the litter as did not kindle and breed her again", w.From, w.To)
		},
		rule: func(c *Clock) string {
			return fmt.Sprintf("day %d to %d after breeding", c.Days.Pregnancy.From, c.Days.Pregnancy.To)
		},
		source: custom, key: "check_pregnancy", set: func(d *Days) [3]int { return d.Pregnancy.set() },
	},
	{
		name: alarm.BoxDue, clock: ofGestation, kinds: every,
		window: func(c *Clock, d *Due) {
			d.From, d.Late, d.Until = c.bred(c.Days.BoxIn.From), c.bred(c.Days.BoxIn.To), c.bred(c.Days.Kindling.To+1)
		},
		text: func(c *Clock) string {
			from, to := c.Days.BoxIn.From, c.Days.BoxIn.To
			if c.Kind == brood.BuriedTote {
				return fmt.Sprintf("bed the tote and open it to her by day %d after breeding. Before day %d it gets fouled, later she may kindle outside", to, from)
			}
			return fmt.Sprintf("put the nest box in, bedded for the season, by day %d after breeding. Before day %d it gets fouled, later she may kindle on the floor", to, from)
		},
		rule: func(c *Clock) string {
			return fmt.Sprintf("day %d after breeding; a warning from day %d", c.Days.BoxIn.From, c.Days.BoxIn.To)
		},
		source: custom + "; days 28-29 in a veterinary text, second hand", key: "box_in", set: func(d *Days) [3]int { return d.BoxIn.set() },
	},
	{
		name: alarm.KindlingOverdue, clock: ofGestation, kinds: every,
		window: func(c *Clock, d *Due) {
			d.From, d.Until = c.bred(c.Days.Overdue), c.bred(c.Days.Vet)
			d.Late, d.Early = d.From, d.From
		},
		text: func(c *Clock) string {
			return fmt.Sprintf("no kindling entered by day %d after breeding, and past %d is late. Look for kits in and outside the nest, and enter what you find",
				c.Days.Overdue, c.Days.Overdue)
		},
		rule:   overdueRule,
		source: "does kindle after 31.7 days on average (Rashwan, Szendrő et al., World Rabbit Science); when that is late: " + custom,
		key:    "overdue", set: func(d *Days) [3]int { return [3]int{d.Overdue, d.Vet} },
	},
	{ // a mark of the days before says nothing of this
		name: alarm.KindlingOverdue, clock: ofGestation, kinds: every,
		window: func(c *Clock, d *Due) {
			d.From = c.bred(c.Days.Vet)
			d.Late, d.Early = d.From, d.From
		},
		text: func(c *Clock) string {
			return fmt.Sprintf("no kindling entered by day %d after breeding or later. Look once more for kits, then call the veterinarian: "+
				"past day %d kits are often dead in her. If she was not pregnant, close the litter as did not kindle", c.Days.Vet, c.Days.Vet-1)
		},
		rule:   overdueRule,
		source: "veterinary text, second hand", key: "veterinarian", set: func(d *Days) [3]int { return [3]int{d.Vet} },
	},
	{
		name: alarm.ConfirmKindlingDue, clock: ofLitter, kinds: every, proposed: true,
		window: func(c *Clock, d *Due) {
			d.From, d.Until = c.Days.Inspect.Daytime(c.Litter.Kindled, c.Loc), c.born(c.Days.Wean.From)
			d.Early = c.Litter.Kindled
		},
		text: func(*Clock) string {
			return fmt.Sprintf("look whether she has kindled, as the probes say, and enter the kindling in the litter book, with its own day where it was another. "+
				"Take out dead kits, count the living, put strays back on the pile. Until then %d kits and this day are assumed", UnknownBorn)
		},
		rule:   func(*Clock) string { return "a kindling read from the probes, and none entered; it begins by day" },
		source: "ours, no source", set: func(*Days) [3]int { return [3]int{} },
	},
	{
		name: alarm.RationDue, clock: ofLitter, kinds: every,
		window: func(c *Clock, d *Due) { d.From, d.Until = c.born(c.Days.Ration.From), c.born(c.Days.Ration.To+1) },
		text: func(c *Clock) string {
			return fmt.Sprintf("give the doe more from day to day, about twice her ration by day %d after kindling: milk takes it out of her. "+
				"Slowly, for a sudden change upsets her gut, with hay and water always there", c.Days.Ration.To)
		},
		rule: func(c *Clock) string {
			return fmt.Sprintf("day %d to %d after kindling", c.Days.Ration.From, c.Days.Ration.To)
		},
		source: custom + "; the days: ours", key: "ration", set: func(d *Days) [3]int { return d.Ration.set() },
	},
	{
		name: alarm.CollectDue, clock: ofLitter, kinds: totes,
		window: func(c *Clock, d *Due) {
			d.From, d.Late, d.Until = c.born(c.Days.Collect.From), c.born(c.Days.Collect.To+1), c.born(c.Days.Emerged)
		},
		text: func(c *Clock) string {
			return fmt.Sprintf("collect the kits from the tote on day %d to %d, while their eyes open and before they leave by themselves; count them, look at eyes, skin and bellies, "+
				"then enter in the litter book how many came to which place", c.Days.Collect.From, c.Days.Collect.To)
		},
		rule: func(c *Clock) string {
			return fmt.Sprintf("day %d after kindling; a warning after day %d", c.Days.Collect.From, c.Days.Collect.To)
		},
		source: custom + "; it fits eyes open at about day 10 and kits leaving from day 13 (Hudson & Distel 1982, as cited by later papers)",
		key:    "collect", set: func(d *Days) [3]int { return [3]int{d.Collect.From, d.Collect.To, d.Emerged} },
	},
	{
		name: alarm.TurnBoxDue, clock: ofLitter, kinds: boxes,
		window: func(c *Clock, d *Due) { d.From, d.Until = c.born(c.Days.TurnBox), c.born(c.Days.BoxOutDay(c.Season)) },
		text: func(c *Clock) string {
			return fmt.Sprintf("turn the box on its side and give dry bedding on day %d: kits can come and go, and it stays dry", c.Days.TurnBox)
		},
		rule:   func(c *Clock) string { return fmt.Sprintf("day %d after kindling", c.Days.TurnBox) },
		source: custom, key: "turn_box", set: func(d *Days) [3]int { return [3]int{d.TurnBox} },
	},
	{
		name: alarm.RemoveBoxDue, clock: ofLitter, kinds: boxes,
		window: func(c *Clock, d *Due) { d.From, d.Early = c.born(c.Days.BoxOutDay(c.Season)), c.born(BoxOutEarliest) },
		text: func(c *Clock) string {
			return fmt.Sprintf("take the box out on day %d: kits of that age no longer need it in this season", c.Days.BoxOutDay(c.Season))
		},
		rule: func(c *Clock) string {
			out := c.Days.BoxOut
			if out.Mild == out.Winter {
				return fmt.Sprintf("day %d after kindling in summer, day %d else", out.Summer, out.Winter)
			}
			return fmt.Sprintf("day %d after kindling in summer, day %d in mild weather, day %d in winter", out.Summer, out.Mild, out.Winter)
		},
		source: custom + "; days 15 to 21 by the weather (McNitt et al., Rabbit Production)",
		key:    "box_out", set: func(d *Days) [3]int { return [3]int{d.BoxOut.Winter, d.BoxOut.Mild, d.BoxOut.Summer} },
	},
	{
		name: alarm.HideBoxDue, clock: ofLitter, kinds: boxes,
		window: func(c *Clock, d *Due) {
			d.From = StartOf(c.boxOut(), c.Days.HideBox.After, c.Loc)
			d.Until, d.Early = StartOf(c.boxOut(), c.Days.HideBox.After+c.Days.HideBox.Days, c.Loc), c.born(BoxOutEarliest)
		},
		text: func(*Clock) string {
			return "give the young a hide box now that the nest box is out: a dry place to hide, open on one side, without the bedding that fouls"
		},
		rule: func(c *Clock) string {
			return fmt.Sprintf("day %d after the nest box came out, or should have; it ends by itself after %d days", c.Days.HideBox.After, c.Days.HideBox.Days)
		},
		source: custom + "; the days: ours", key: "hide_box", set: func(d *Days) [3]int { return [3]int{d.HideBox.After, d.HideBox.Days} },
	},
	{
		name: alarm.WeanDue, clock: ofLitter, kinds: every,
		window: func(c *Clock, d *Due) { d.From = c.born(c.Days.Wean.From) },
		text: func(c *Clock) string {
			return fmt.Sprintf("wean from day %d, day %d suggested, when every kit eats and drinks by itself. Give no sudden greens and no other new feed in these days, and bring the doe's ration "+
				"down over days", c.Days.Wean.From, c.Days.WeanAt)
		},
		rule:   func(c *Clock) string { return fmt.Sprintf("day %d after kindling", c.Days.Wean.From) },
		source: "28 to 35 days in experiments and a veterinary text, second hand; 6 to 8 weeks is common practice too; feed: " + custom,
		key:    "wean", set: func(d *Days) [3]int { return [3]int{d.Wean.From, d.Wean.To, d.WeanAt} },
	},
}

func overdueRule(c *Clock) string {
	return fmt.Sprintf("day %d after breeding and no kindling known; the veterinarian from day %d", c.Days.Overdue, c.Days.Vet)
}

func (w Window) set() [3]int { return [3]int{w.From, w.To} }

// BoxOutEarliest is the age in days before which no kits are without their box, whatever was marked: 15 to 21 "determined by weather" (McNitt
// et al., Rabbit Production, published).
const BoxOutEarliest = 15

// boxOut is when the nest box came out, or should.
func (c *Clock) boxOut() time.Time {
	if c.BoxOut.IsZero() {
		return c.born(c.Days.BoxOutDay(c.Season))
	}
	return c.BoxOut
}

// LookFor is what an inspection looks for, by the kits' age in days (common practice, no source).
func LookFor(age int) string {
	const always = "Take out dead kits at once, put strays back on the pile, see that bellies are full and round and that no bedding is wet."
	const limp = " Warm a limp cold kit slowly before you give it up, and never feed it cold."
	const treat = " A small treat keeps the doe calm meanwhile."
	switch {
	case age <= 2:
		return always + " Her milk may take a day or two after kindling." + limp + treat
	case age < leaving:
		return always + limp + treat
	}
	return always + " Look at their eyes, which open at about day 10 and should be clean, and see that all are back in the nest by evening." + treat
}

// leaving is when kits begin to leave the nest, and no longer lie naked in it (Hudson & Distel 1982, as cited by later papers).
const leaving = 13
