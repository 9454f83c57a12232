package nest

import (
	"cmp"
	"fmt"
	"strings"

	"nestmon/sensors"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
)

// The variants of a rule that need other words.
const (
	whyBackstop    = "backstop"
	whyClusterWarm = "cluster-warm"
	whyProbeInAir  = "probe-in-air"
	whyBlind       = "blind"
	whyMoved       = "moved"
	whyFar         = "far"
	whyTooCold     = "too-cold"
	whyUnseen      = "unseen"
	whyOdd         = "odd"
	whyHumid       = "humid"
	whyMoist       = "moist"
	whyCO2         = "co2"
	whyIndex       = "index"
	whyDryBulb     = "dry-bulb"
	whyNoHumidity  = "no-humidity"
	whyPeak        = "peak"
	whySun         = "sun"
	whyLeak        = "leak"
	whyKitsWet     = "kits-wet"
	whyBare        = "bare"
	whySwapped     = "swapped"
	whyTurned      = "turned"
	whyTooHot      = "too-hot"
	whyUnderAll    = "under-all"
	whyLowAir      = "low-air"
	whyNeverSeen   = "never-seen"
	whyBattery     = "battery"
	whyBatteryToo  = "battery-too"
	whyWetCell     = "wet-cell"
	whyDrift       = "drift"
	whyFailing     = "failing"
)

// celsius is what both wrote without the second scale, which may round apart; other values stay as they are.
func celsius(said string) string {
	c, _, _ := strings.Cut(said, " (")
	return c
}

// both writes a temperature in both scales.
func both(c float64) string { return fmt.Sprintf("%.1f °C (%.1f °F)", c, c*9/5+32) }

// coolDown is what the trade does for a hot nest, by kind (common practice, no source).
var coolDown = map[brood.Kind]string{
	brood.WoodenBox:  "Open the cover, clear the screen floor so that air comes through, shade the box and let air move.",
	brood.MetalBox:   "Get the metal out of the sun or shade it at once, open the cover, clear the screen floor so that air comes through, and let air move.",
	brood.BuriedTote: "Shade the lid and the mouth of the pipe, clear the pipe, and lift the lid a hand's breadth to let air move.",
}

// What holds for every kind of hot nest (common practice, no source).
const (
	coolDoe  = " Give the doe water and a wrapped frozen bottle to lie against"
	coolKits = " Thin the fur over the kits and cover them again by evening." + coolDoe + "; never lay one against naked kits."
)

// cool is what is done for a hot nest with what is in it.
func (w *Watch) cool() string {
	act := coolDown[w.cfg.Kind]
	switch {
	case w.days.ended:
		return act + coolDoe + " if she still lies here."
	case w.days.age >= 0 || w.days.bred < 0:
		return act + coolKits
	case w.mayHoldKits(0):
		return act + " This is for the doe and the coming kits." + coolDoe + ". If kits are there already, thin the fur over them, cover them again by evening, and never lay a bottle against them."
	}
	return act + " This is for the doe and the coming kits." + coolDoe + "."
}

// coolAhead is what is done for a nest that is not hot yet, by kind (common practice, no source).
var coolAhead = map[brood.Kind]string{
	brood.WoodenBox:  "Before it is hot: shade the box, open the cover and the screen floor, let air move; fill the doe's water and freeze a bottle for her.",
	brood.MetalBox:   "Before it is hot: move the box out of the sun or shade the metal, open the cover and the screen floor, let air move; fill the doe's water and freeze a bottle for her.",
	brood.BuriedTote: "Before it is hot: shade the lid and the mouth of the pipe and see that the pipe is clear; fill the doe's water and freeze a bottle for her.",
}

// warmUp is what the trade does for a cold nest, by kind (common practice, no source).
var warmUp = map[brood.Kind]string{
	brood.WoodenBox:  "Look now: put strays back on the pile, take out wet bedding, pull dry fur and straw over the kits, keep a vent open." + limpKit,
	brood.MetalBox:   "Look now: put strays back on the pile, take out wet bedding, pull dry fur and straw over the kits, line the walls with cardboard, cover a wire floor, keep a vent open." + limpKit,
	brood.BuriedTote: "Look now: put strays back on the pile, take out wet bedding, look for water in the tote, pull dry fur and straw over the kits." + limpKit,
}

const (
	limpKit   = " Warm a limp cold kit slowly before you give it up; never feed it cold."
	tipBack   = " Put the tip back under the pile."
	lookAtIt  = "Look at its plug, its cable and the line it hangs on."
	doeInHeat = " Give shade, moving air, cool water and a wrapped frozen bottle to lie against; never put a rabbit into water. If she lies flat and breathes through her mouth, call a veterinarian."
)

// words explains a condition of this nest.
func (w *Watch) words(name alarm.Name, c alarm.Condition) alarm.Words {
	var b basis
	if f, ok := bases[name]; ok {
		b = f(w, c)
	} else if f, ok := siteBases[name]; ok {
		b = f(c)
	}
	text := c.Why + "." // the litter clock's own sentence
	if say, ok := sayings[name]; ok {
		text = say(w, c) + w.wetToo(name)
	}
	return explained(w.named()+text, b, c)
}

// named begins what is told of this nest.
func (w *Watch) named() string { return "Nest " + w.cfg.ID + ": " }

// sayings holds what is told of each alarm after the nest's name: what is wrong with value and limit, then what to do. The litter clock
// brings its own.
var sayings = map[alarm.Name]func(w *Watch, c alarm.Condition) string{
	alarm.NestHeat: func(w *Watch, c alarm.Condition) string {
		if c.Why == whyPeak {
			crit := w.tables.Air(w.days.age, w.site.season.Season()).HeatCritical.C
			return fmt.Sprintf("hot, nest air %s, over the urgent limit %s %s, but levelling off or falling. Look now, before it turns again. %s",
				both(c.Value), both(crit), w.forAge(), w.cool())
		}
		return "too hot, nest air " + over(c, both, w.forAge()) + ". " + w.cool()
	},
	alarm.ClusterHeat: func(w *Watch, c alarm.Condition) string {
		return "kits too hot, cluster probe " + over(c, both, w.forAge()) + ". " + w.cool()
	},
	alarm.HeatExpected: func(w *Watch, c alarm.Condition) string {
		text := fmt.Sprintf("getting hot, nest air now %s, within two hours %s. ", both(w.air.value), over(c, both, w.forAge()))
		if c.Why == whySun {
			text += fmt.Sprintf("Sun is on the nest: in the last hour its air rose %s more than the air outside. ", difference(w.forecast.sun.rise))
		}
		return text + coolAhead[w.cfg.Kind]
	},
	alarm.ClusterChill: func(w *Watch, c alarm.Condition) string {
		if c.Why == whyBackstop {
			return fmt.Sprintf("kits too cold, cluster probe %s: under %s is too cold at any age. %s", both(c.Value), both(c.Limit), warmUp[w.cfg.Kind])
		}
		lim, _ := w.chillLimit(c)
		return fmt.Sprintf("kits too cold, the middle of the pile is judged at %s, limit %s %s%s. %s",
			both(c.Value), both(lim.C), w.forAge(), w.coolingOn(c), warmUp[w.cfg.Kind])
	},
	alarm.NestCold: func(w *Watch, c alarm.Condition) string {
		head := "cold, nest air " + under(c, both, w.forAge()) + ". "
		if c.Why == whyClusterWarm {
			return head + "The pile still reads warm. When you next pass, see that bedding is dry and deep and that a vent stays open."
		}
		if c.Why == whyUnseen {
			head += "Nothing tells whether the pile is warm. "
		}
		return head + warmUp[w.cfg.Kind]
	},
	alarm.DoeHeat: func(_ *Watch, c alarm.Condition) string { return "too hot for the doe, " + doeWords("her air", c) },
	alarm.CheckNest: func(w *Watch, c alarm.Condition) string {
		look := " Look when you next pass."
		if c.Severity > alarm.Notice {
			look = " Look now."
		}
		switch c.Why {
		case whyProbeInAir:
			return fmt.Sprintf("probe out of the pile, or the pile cold or moved: cluster probe %s, no warmer than nest air. Chill cannot be judged.", both(c.Value)) + look + tipBack
		case whyBlind:
			if !w.pile.blind {
				return fmt.Sprintf("two probes may be swapped, and the cluster probe, %s, may not be the one on the pile. Chill cannot be judged.", both(c.Value)) + look + tipBack
			}
			return "probe not on the pile: " + w.littleWarmth(c, blindBelow) + ". Chill cannot be judged." + look + tipBack
		case whyFar:
			return "probe badly placed: " + w.littleWarmth(c, farBelow) + ". Only a fall of it is told." + look + tipBack
		case whyMoved:
			return fmt.Sprintf("pile moved away from the probe or uncovered: the cluster probe lost warmth faster than kits cool, now %s, and it has not come back.", both(c.Value)) + look + tipBack
		}
		lim, _ := w.chillLimit(c)
		return fmt.Sprintf("colder for two hours than kits should be, cluster probe %s, so the middle of the pile about %s. The pile may have moved away from the probe.",
			both(c.Value), under(alarm.Condition{Value: w.pile.core, Limit: lim.C}, both, w.forAge())) + look + tipBack
	},
	alarm.ProbeSilent: func(w *Watch, c alarm.Condition) string {
		text := fmt.Sprintf("no usable reading from probe %s for %s", c.Probe, reached(c, hours))
		if c.Count > 1 {
			text += fmt.Sprintf(", and none of %d more of this nest's values", c.Count-1)
		}
		if c.Why == whyUnseen {
			unwatched := "its pile is not watched"
			if w.air != nil && c.Probe == w.air.Probe {
				unwatched = "without nest air neither heat nor chill is judged"
			}
			return text + ". Kits may be in it, the weather can harm them, and " + unwatched + ". Look at the nest now, then at the probe's plug, its cable and the line it hangs on."
		}
		if c.Severity == alarm.Notice {
			return text + fmt.Sprintf(". It may come back by itself; a warning follows when it stays away for %.0f min. ", unseenFor.Minutes()) + lookAtIt
		}
		return text + ". " + lookAtIt
	},
	alarm.ProbeFault: func(w *Watch, c alarm.Condition) string {
		if text, ok := w.learned.health.words(w, c); ok {
			return text
		}
		if c.Why == whyDrift {
			return w.learned.drift.words(w)
		}
		if c.Why == whyWetCell {
			return fmt.Sprintf("%s has read %.0f %% for half a day without a break, also while nest air was far too warm for that: there is water on the sensor. Damp is not judged by it. "+
				"Take it out, let it dry in a warm dry room for a day, hang it where nothing drips on it; when it does that again, change it for one with a membrane.", c.Probe, c.Value)
		}
		return "the readings of " + faultWords(c)
	},
	alarm.VisitOverdue: func(_ *Watch, c alarm.Condition) string {
		const look = " Look at the kits' bellies: full and round is well, flat and wrinkled is hungry."
		if c.Why == whyNeverSeen {
			return fmt.Sprintf("no visit of the doe seen since kindling, for %s. She stays away, or this nest does not show her to the probes.", reached(c, wholeHours)) + look
		}
		return fmt.Sprintf("no visit of the doe seen for %s. One visit in six is not seen by the probes.", reached(c, wholeHours)) + look
	},
	alarm.Kindled: func(_ *Watch, c alarm.Condition) string {
		return fmt.Sprintf("she has probably kindled: warmth that stays, the cluster %s over the empty nest, and no doe in the box explains it. Look, take out dead kits, count the living, and enter the day: nestmon then uses the day you enter.", difference(c.Value))
	},
	alarm.Visit: func(_ *Watch, _ alarm.Condition) string {
		return "the doe came: nest air rose for some minutes and fell again, and the cluster answered. Nothing to do."
	},
	alarm.Inspection: func(_ *Watch, c alarm.Condition) string {
		return fmt.Sprintf("it was opened: within minutes its air moved by %s towards the air outside. If nobody was there, see what opened it.", difference(abs(c.Value)))
	},
	alarm.ToteWet: func(w *Watch, c alarm.Condition) string {
		head := "the tote has been wet for half a day, humidity " + over(c, percent, "") + ". "
		if !w.damp.judged {
			head += "This is told of its air; wet bedding does not show in air this damp or cold: feel it by hand. "
		}
		const look = "Look for water in the tote, at the seal and at the pipe; change wet bedding."
		switch c.Why {
		case whyLeak:
			return head + "It was drier before, and rose in a step after rain or damp weather: water may be coming in. " + look
		case whyKitsWet:
			return head + "Kits alone bring many totes so far, and a leak would not show: when you next look, feel the bedding and the lowest corner."
		}
		return head + "No kits are known that could have brought the water. " + look
	},
	alarm.VentilationDue: func(_ *Watch, c alarm.Condition) string {
		const act = " Clear the vents and the mouth of the pipe; never seal a nest against the cold; feel whether the bedding is wet."
		switch c.Why {
		case whyCO2:
			few := ""
			if c.Value <= c.Limit {
				few = ", and too little fresh air for this litter comes through"
			}
			return fmt.Sprintf("used air stays in it, CO2 %.0f ppm over three hours, limit %.0f ppm%s.", c.Value, c.Limit, few) + act
		case whyHumid:
			return "warm and damp, humidity " + over(c, percent, "above "+both(brood.BoxWetAir)) + "." + act
		}
		unclear := ""
		if c.Value <= c.Limit {
			unclear = notClear
		}
		return fmt.Sprintf("for six hours wetter than the air outside by %.1f g/m³ of water, usual at this hour up to %.1f g/m³", c.Value, c.Limit) + unclear + "." + act
	},
}

// over writes a value that must not pass above its limit, beside that limit and what the limit is for.
func over(c alarm.Condition, say func(float64) string, of string) string {
	return beside("over", c, c.Value <= c.Limit, say, of)
}

// under writes a value that must not fall below its limit.
func under(c alarm.Condition, say func(float64) string, of string) string {
	return beside("under", c, c.Value >= c.Limit, say, of)
}

// reached writes a value that has passed a limit it cannot come back across.
func reached(c alarm.Condition, say func(float64) string) string {
	return beside("over", c, false, say, "")
}

const notClear = ", back inside it, but not clear of it for long enough yet"

// beside tells of a value that is back inside its limit, but not by enough to call the alarm over, and on which side one lies that prints
// as its limit does.
func beside(side string, c alarm.Condition, inside bool, say func(float64) string, of string) string {
	value, limit := say(c.Value), say(c.Limit)
	if of != "" {
		of = " " + of
	}
	switch {
	case inside:
		return value + ", limit " + limit + of + notClear
	case celsius(value) == celsius(limit):
		return value + ", just " + side + " the limit " + limit + of
	}
	return value + ", limit " + limit + of
}

// doeOver is over for limits that count from the value itself on.
func doeOver(c alarm.Condition, say func(float64) string, of string) string {
	return beside("over", c, c.Value < c.Limit, say, of)
}

func doeWords(place string, c alarm.Condition) string {
	switch c.Why {
	case whyDryBulb:
		return fmt.Sprintf("%s is %s%s.", place, doeOver(c, both, ""), lowered(c)) + doeInHeat
	case whyNoHumidity:
		return fmt.Sprintf("%s may be damp, for its humidity is not known, and is %s%s.", place, doeOver(c, both, "for damp air"), lowered(c)) + doeInHeat
	}
	return fmt.Sprintf("%s has a heat index of %s%s.", place, doeOver(c, onScale, "on the rabbit scale"), lowered(c)) + doeInHeat
}

// plainFaults says in plain words why readings cannot be true.
var plainFaults = map[sensors.Fault]string{
	sensors.BadChecksum:  "garbled on the line",
	sensors.StuckLow:     "the line is held down",
	sensors.NotConverted: "it measured nothing",
	sensors.OutOfRange:   "no nest or yard is ever like that",
	sensors.Broken:       "the chip says that it is broken",
	sensors.Malformed:    "no measurement at all",
	sensors.WrongProbe:   "another probe than configured",
	sensors.Impossible:   "two values that exclude each other",
}

// lowered says why a doe's limit is not the usual one.
func lowered(c alarm.Condition) string {
	switch c.Limit {
	case brood.DoeHeatWarn, brood.DoeHeatUrgent, brood.DoeUrgentDryBulb:
		return ""
	}
	return ", lower than usual because heat is new to the does or the night brought no relief"
}

func faultWords(c alarm.Condition) string {
	if c.Why == whyOdd {
		return fmt.Sprintf("%s jump, or stand still while others move; they are not used. Look at the probe, its plug and its cable.", c.Probe)
	}
	if c.Why == whyFailing {
		return fmt.Sprintf("%s come less and less: %s of them are missed, a few at a time. A cable or a plug is going, and next it may go for good: "+
			"clean and dry the plug, look along the cable, and change what is chewed or green.", c.Probe, over(c, percent, ""))
	}
	why := cmp.Or(plainFaults[sensors.Fault(c.Why)], c.Why)
	return fmt.Sprintf("%s cannot be true (%s); they are not used. Look at the probe, its plug, its cable, and for water in the plug.", c.Probe, why)
}

// words explains a condition that belongs to no nest.
func (s *Site) words(name alarm.Name, c alarm.Condition) alarm.Words {
	var b basis
	if f, ok := siteBases[name]; ok {
		b = f(c)
	}
	text := c.Why
	if say, ok := siteSayings[name]; ok {
		text = say(s, c)
	}
	return explained(text, b, c)
}

// siteSayings holds what is told of each alarm that belongs to no nest.
var siteSayings = map[alarm.Name]func(s *Site, c alarm.Condition) string{
	alarm.DoeHeat: func(_ *Site, c alarm.Condition) string {
		return "Too hot for the does, " + doeWords("the air outside", c)
	},
	alarm.DoeCold: func(_ *Site, c alarm.Condition) string {
		return fmt.Sprintf("Very cold for the does, outside %s. Grown rabbits stand cold while they are dry and out of the wind: give unfrozen water twice a day, keep draughts out and vents open.",
			under(c, both, ""))
	},
	alarm.SeasonSetupDue: func(s *Site, c alarm.Condition) string { return s.makeupWords(c) },
	alarm.ProbeSilent: func(_ *Site, c alarm.Condition) string {
		switch c.Why {
		case whyBattery:
			return fmt.Sprintf("No usable reading of the battery from probe %s for %s. Nobody would be told that it runs empty. %s", c.Probe, reached(c, hours), lookAtIt)
		case whyBatteryToo:
			return fmt.Sprintf("No usable reading of the air outside from probe %s for %s, and none of the battery. Kindling, visits and the season are judged less well, a silent nest counts as urgent, and nobody would be told that the battery runs empty. %s",
				c.Probe, reached(c, hours), lookAtIt)
		}
		return fmt.Sprintf("No usable reading of the air outside from probe %s for %s. Kindling, visits and the season are judged less well, and a silent nest counts as urgent. %s",
			c.Probe, reached(c, hours), lookAtIt)
	},
	alarm.ProbeFault: func(s *Site, c alarm.Condition) string {
		if s.supply.measures(c.Probe) {
			return "The readings of the battery from " + faultWords(c)
		}
		return "The readings of the air outside from " + faultWords(c)
	},
}

func percent(v float64) string { return fmt.Sprintf("%.0f %%", v) }

func onScale(index float64) string { return fmt.Sprintf("%.1f", index) }

func wholeHours(h float64) string { return fmt.Sprintf("%.0f h", h) }

// hours writes a time in the unit that shows it: whole seconds under two minutes, for a probe's limit is a minute and a half.
func hours(h float64) string {
	switch {
	case h*3600 < 119.5:
		return fmt.Sprintf("%.0f s", h*3600)
	case h < 1.5:
		return fmt.Sprintf("%.0f min", h*60)
	}
	return fmt.Sprintf("%.1f h", h)
}

// forAge names the row of the limits.
func (w *Watch) forAge() string {
	switch {
	case w.days.age < 0 && w.days.bred >= 0:
		return "before kindling (taken as for newborn kits)"
	case w.days.age < 0:
		return "for an unknown age (taken as newborn)"
	case w.days.age == 1:
		return "for kits 1 day old"
	case w.days.age == 0:
		return "on the day of kindling"
	}
	return fmt.Sprintf("for kits %d days old", w.days.age)
}
