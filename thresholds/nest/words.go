package nest

import (
	"fmt"
	"strings"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
)

// The variants of a rule that need other words.
const (
	whyBackstop    = "backstop"
	whyClusterWarm = "cluster-warm"
	whyProbeInAir  = "probe-in-air"
	whyBlind       = "blind"
	whyTooCold     = "too-cold"
	whyUnseen      = "unseen"
	whyOdd         = "odd"
	whyHumid       = "humid"
	whyMoist       = "moist"
	whyCO2         = "co2"
	whyIndex       = "index"
	whyDryBulb     = "dry-bulb"
	whyNoHumidity  = "no-humidity"
	whyStray       = "stray"
	whyNeverSeen   = "never-seen"
)

// both writes a temperature in both scales.
func both(c float64) string { return fmt.Sprintf("%.1f °C (%.1f °F)", c, c*9/5+32) }

// coolDown is what the trade does for a hot nest, by kind (common practice, no source).
var coolDown = map[brood.Kind]string{
	brood.WoodenBox:  "Shade the box, open the cover and thin the fur over the kits until evening; let air move; see that the doe has water.",
	brood.MetalBox:   "Get the metal out of the sun at once, open the cover and thin the fur over the kits until evening; let air move; see that the doe has water.",
	brood.BuriedTote: "Shade the lid and the mouth of the pipe, lift the lid a hand's breadth and thin the fur over the kits until evening; see that the doe has water.",
}

// warmUp is what the trade does for a cold nest, by kind (common practice, no source).
var warmUp = map[brood.Kind]string{
	brood.WoodenBox:  "Look now: put strays back on the pile, take out wet bedding, pull dry fur and straw over the kits, keep a vent open. Warm a limp cold kit slowly before giving it up; never feed it cold.",
	brood.MetalBox:   "Look now: put strays back on the pile, take out wet bedding, line the walls with cardboard and cover a wire floor, pull dry fur and straw over the kits, keep a vent open. Warm a limp cold kit slowly before giving it up; never feed it cold.",
	brood.BuriedTote: "Look now: put strays back on the pile, take out wet bedding, look for water in the tote, pull dry fur and straw over the kits. Warm a limp cold kit slowly before giving it up; never feed it cold.",
}

// words explains a condition of this nest: value, limit, basis, what to do.
func (w *Watch) words(name alarm.Name, c alarm.Condition) string {
	if say, ok := sayings[name]; ok {
		return say(w, c)
	}
	return strings.ToUpper(c.Why[:1]) + c.Why[1:] + "." // the litter clock's own sentence
}

// sayings holds the words of each alarm; the litter clock brings its own.
var sayings = map[alarm.Name]func(w *Watch, c alarm.Condition) string{
	alarm.NestHeat: func(w *Watch, c alarm.Condition) string {
		return fmt.Sprintf("Nest air is %s; the limit %s is %s%s. %s", both(c.Value), w.forAge(), both(c.Limit), notYetClear(c.Value <= c.Limit), coolDown[w.cfg.Kind])
	},
	alarm.ClusterHeat: func(w *Watch, c alarm.Condition) string {
		return fmt.Sprintf("The cluster probe reads %s; the limit %s is %s. %s", both(c.Value), w.forAge(), both(c.Limit), coolDown[w.cfg.Kind])
	},
	alarm.HeatExpected: func(w *Watch, c alarm.Condition) string {
		return fmt.Sprintf("Nest air is expected to come to %s within two hours, as good as the %s that is dangerous %s. Shade the nest and open it to the air now, before it is hot.",
			both(c.Value), both(c.Limit), w.forAge())
	},
	alarm.ClusterChill: func(w *Watch, c alarm.Condition) string {
		if c.Why == whyBackstop {
			return fmt.Sprintf("The cluster probe reads %s, under the back-stop of %s, with kits in the nest. %s", both(c.Value), both(c.Limit), warmUp[w.cfg.Kind])
		}
		lim, _ := w.tables.Cluster(max(w.days.age, 0), w.site.season.Season())
		least := lim.ChillWarn.C
		if c.Severity == alarm.Urgent {
			least = lim.ChillCritical.C
		}
		return fmt.Sprintf("The core of the pile is judged to be at %s. The limit %s is %s; not knowing exactly where the probe lies, the alarm comes at %s. %s",
			both(c.Value), w.forAge(), both(least), both(c.Limit), warmUp[w.cfg.Kind])
	},
	alarm.NestCold: func(w *Watch, c alarm.Condition) string {
		head := fmt.Sprintf("Nest air is %s; the limit %s is %s%s. ", both(c.Value), w.forAge(), both(c.Limit), notYetClear(c.Value >= c.Limit))
		if c.Why == whyClusterWarm {
			return head + "The cluster still reads warm: see that bedding is dry and deep and that a vent stays open."
		}
		if c.Why == whyUnseen {
			head += "The cluster cannot be judged. "
		}
		return head + warmUp[w.cfg.Kind]
	},
	alarm.DoeHeat: func(_ *Watch, c alarm.Condition) string { return doeWords("The doe's air", c) },
	alarm.CheckNest: func(_ *Watch, c alarm.Condition) string {
		switch c.Why {
		case whyProbeInAir:
			return fmt.Sprintf("The cluster probe reads %s, the same as nest air: the probe is out of the pile, or the pile has gone cold or moved. Chill cannot be judged. Look, and put the tip back under the pile.", both(c.Value))
		case whyBlind:
			return fmt.Sprintf("The cluster probe has held too little warmth for hours (now %s): it is not on the cluster. Chill cannot be judged. Look, and put the tip back under the pile.", both(c.Value))
		}
		return fmt.Sprintf("The cluster probe reads %s and has been lower than this brood should be for an hour; the pile may have moved away from it. Look when you next pass.", both(c.Value))
	},
	alarm.ProbeSilent: func(_ *Watch, c alarm.Condition) string {
		text := fmt.Sprintf("No usable reading from %s for %s", c.Probe, hours(c.Value))
		if c.Count > 1 {
			text += fmt.Sprintf(" and %d other channel(s) of this nest", c.Count-1)
		}
		if c.Why == whyUnseen {
			return text + ". Kits may be in this nest, the weather can harm them, and nothing is watching. Look at the nest now, then at the cable, the plug and the bus."
		}
		return text + ". Look at the cable, the plug and the bus."
	},
	alarm.ProbeFault: func(_ *Watch, c alarm.Condition) string { return faultWords(c) },
	alarm.VisitOverdue: func(_ *Watch, c alarm.Condition) string {
		const look = " Look at the kits' bellies: full and round is well, flat and wrinkled is hungry."
		if c.Why == whyNeverSeen {
			return fmt.Sprintf("No visit of the doe has been seen in the %.0f h since kindling; two should have been by %.0f h. She stays away, or this nest does not show her to the probes.", c.Value, c.Limit) + look
		}
		return fmt.Sprintf("No visit of the doe has been seen for %.0f h; two should have been by %.0f h. The probes do not see every visit, one in six on simulated nests.", c.Value, c.Limit) + look
	},
	alarm.Kindled: func(_ *Watch, c alarm.Condition) string {
		return fmt.Sprintf("Warmth that stays has appeared: beside nest air the cluster is %.1f °C (%.1f °F) warmer than in the empty nest, where %.1f °C (%.1f °F) would be nothing, and no doe in the box explains it. She has probably kindled. Look, take out dead kits, count the living, and enter the day; the day you enter counts.", c.Value, c.Value*9/5, c.Limit, c.Limit*9/5)
	},
	alarm.Visit: func(_ *Watch, _ alarm.Condition) string {
		return "The doe came: nest air rose for some minutes and fell again, and the cluster answered."
	},
	alarm.Inspection: func(_ *Watch, c alarm.Condition) string {
		return fmt.Sprintf("The nest was opened: its air moved by %.1f °C (%.1f °F) towards the air outside.", c.Value, c.Value*9/5)
	},
	alarm.ToteWet: func(_ *Watch, c alarm.Condition) string {
		return fmt.Sprintf("The tote's air has been at %.0f %% humidity, over %.0f %%, for half a day. Look for water in the tote, at the seal and at the pipe; change wet bedding.", c.Value, c.Limit)
	},
	alarm.VentilationDue: func(_ *Watch, c alarm.Condition) string {
		const act = " Clear the vents and the mouth of the pipe; never seal a nest against the cold; feel whether the bedding is wet."
		switch c.Why {
		case whyCO2:
			return fmt.Sprintf("Used air stays in the nest: CO2 is %.0f ppm (three-hour mean).", c.Value) + act
		case whyHumid:
			return fmt.Sprintf("Nest air is warm and at %.0f %% humidity, over %.0f %%.", c.Value, c.Limit) + act
		}
		return "Nest air has been much wetter than outside air for many hours." + act
	},
	alarm.BeddingDue: func(_ *Watch, c alarm.Condition) string {
		text := fmt.Sprintf("Bedding is due for change on day %d (common practice: day 14, 21, then every third day).", c.Count)
		if c.Why == whyMoist {
			text += " Nest air has also been much wetter than outside."
		}
		return text + " Keep the dry fur and put it back over the kits. Probes cannot feel wet bedding in the cold: feel it by hand."
	},
	alarm.InspectDue: func(_ *Watch, c alarm.Condition) string {
		if c.Why == whyStray {
			return "She is near her time: look round the cage for kits born outside the box. No probe sees them, and they cool within minutes."
		}
		return fmt.Sprintf("No look into this nest is known of for %.0f h; twice a day is common practice. Take out dead kits, put strays back, look for full bellies and dry bedding.", c.Value)
	},
}

// notYetClear tells of a value that is back inside its limit, but not by enough to call the alarm over.
func notYetClear(inside bool) string {
	if inside {
		return ", and it is not yet well clear of it"
	}
	return ""
}

func doeWords(place string, c alarm.Condition) string {
	head := fmt.Sprintf("%s has a heat index of %.1f; the limit is %.1f.", place, c.Value, c.Limit)
	switch c.Why {
	case whyDryBulb:
		head = fmt.Sprintf("%s is %s; the limit is %s.", place, both(c.Value), both(c.Limit))
	case whyNoHumidity:
		head = fmt.Sprintf("%s is %s and may be damp, for its humidity is not known; the limit for damp air is %s.", place, both(c.Value), both(c.Limit))
	}
	return head + " Give shade, moving air, cool water and a wrapped frozen bottle to lie against; never put a rabbit into water. A doe that lies flat and breathes through her mouth needs a veterinarian."
}

func faultWords(c alarm.Condition) string {
	if c.Why == whyOdd {
		return fmt.Sprintf("Readings of %s jump about or do not move as they should; they are not used. Look at the probe, its plug and its cable.", c.Probe)
	}
	return fmt.Sprintf("Readings of %s cannot be true (%s); they are not used. Look at the probe, its plug, its cable and for water in the connector.", c.Probe, c.Why)
}

// siteWords explains a condition that belongs to no nest.
func siteWords(name alarm.Name, c alarm.Condition) string {
	switch name {
	case alarm.DoeHeat:
		return doeWords("The shade air", c)
	case alarm.DoeCold:
		return fmt.Sprintf("It is %s outside. Grown rabbits stand cold well while they are dry and out of the wind: unfrozen water twice a day, no draught, vents open.", both(c.Value))
	case alarm.SeasonSetupDue:
		return seasonWords(brood.Season(c.Why), c.Value)
	case alarm.ProbeSilent:
		return fmt.Sprintf("No usable reading of the air outside (%s) for %s. Kindling, visits and the season are judged less well, and a silent nest counts as urgent. Look at the cable, the plug and the bus.", c.Probe, hours(c.Value))
	case alarm.ProbeFault:
		return faultWords(c)
	}
	return c.Why
}

func seasonWords(s brood.Season, decided float64) string {
	if s == brood.Winter {
		return fmt.Sprintf("Nights are at %s: give the boxes their winter make-up. Line metal walls with cardboard, cover wire floors, about 3 inches (7.6 cm) of shavings under dry straw; keep a vent open (common practice).", both(decided))
	}
	return fmt.Sprintf("Days are at %s: give the boxes their summer make-up. Open screen floor, about 1 inch (2.5 cm) of shavings, shade; no metal in the sun (common practice).", both(decided))
}

func hours(h float64) string {
	if h < 1.5 {
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
