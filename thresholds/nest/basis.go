package nest

import (
	"cmp"
	"fmt"
	"math"
	"time"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
)

// Sources of what has no limit in package brood.
const (
	oursFound  = "ours, found on simulated nests"
	oursChosen = "ours, no source"
	customOnly = "common practice, no source"
)

// basis is what an alarm rests on: the comparison in plain words, and where its number comes from.
type basis struct{ rule, source string }

// bases holds the basis of each alarm of a nest that is not in siteBases, or differs there; the litter clock brings its own.
var bases = map[alarm.Name]func(w *Watch, c alarm.Condition) basis{
	alarm.NestHeat: func(w *Watch, c alarm.Condition) basis {
		lim := w.tables.Air(w.days.age, w.site.season.Season())
		return w.limitBasis("nest air above", c.Limit, lim.HeatWarn, lim.HeatCritical)
	},
	alarm.ClusterHeat: func(w *Watch, c alarm.Condition) basis {
		lim, _ := w.tables.Cluster(max(w.days.age, 0), w.site.season.Season())
		return w.limitBasis("cluster probe above", c.Limit, lim.HeatWarn, lim.HeatCritical)
	},
	alarm.HeatExpected: func(w *Watch, c alarm.Condition) basis {
		lim := w.tables.Air(w.days.age, w.site.season.Season())
		limit, which := lim.HeatCritical, "urgent"
		if c.Limit == lim.HeatWarn.C {
			limit, which = lim.HeatWarn, "warning"
		}
		rule := fmt.Sprintf("nest air of the next two hours, as the last hours' trend and yesterday suggest, over the %s limit %s for %s", which, w.forAge(), lasting(forecastDelay))
		if c.Why == whySun {
			rule += "; it gains on the air outside as only the sun makes it"
		}
		return basis{rule, limit.Source + "; the look ahead: " + oursFound}
	},
	alarm.ClusterChill: func(w *Watch, c alarm.Condition) basis {
		if c.Why == whyBackstop {
			return basis{fmt.Sprintf("cluster probe itself under %s for %s", both(brood.RawChill), lasting(brood.RawChillDelay)), brood.RawChillSource}
		}
		lim, which := w.chillLimit(c)
		return basis{
			fmt.Sprintf("middle of the pile, estimated from cluster probe and nest air, under the %s limit %s by the margin for the probe's place, %s gathered",
				which, w.forAge(), lasting(lim.Delay)),
			lim.Source + "; the estimate and its margin: " + oursFound,
		}
	},
	alarm.NestCold: func(w *Watch, c alarm.Condition) basis {
		lim := w.tables.Air(w.days.age, w.site.season.Season())
		b := w.limitBasis("nest air under", c.Limit, lim.ColdWarn, lim.ColdCritical)
		if c.Why == whyClusterWarm {
			b.rule += "; a notice only, for the pile reads warm"
		}
		return b
	},
	alarm.CheckNest: func(w *Watch, c alarm.Condition) basis {
		switch c.Why {
		case whyProbeInAir:
			return basis{fmt.Sprintf("cluster probe less than %s warmer than nest air, more in the cold, for %d min", difference(besideLeast), besideMinutes), oursFound}
		case whyBlind:
			return basis{fmt.Sprintf("warmth at the cluster probe under %.0f %% of a warm pile's in most hours, %d at least", 100*blindBelow, farHours), oursFound}
		case whyFar:
			return basis{fmt.Sprintf("warmth at the cluster probe under %.0f %% of a warm pile's in most hours, %d at least", 100*farBelow, farHours), oursFound}
		case whyMoved:
			return basis{fmt.Sprintf("%.0f %% of the warmth gone within %d min, and not back after %d", 100*(1-math.Exp(-stepFall)), stepBlocks*blockMinutes, stepRest*blockMinutes), oursFound}
		}
		lim, _ := w.tables.Cluster(max(w.days.age, 0), w.site.season.Season())
		return basis{
			fmt.Sprintf("middle of the pile, estimated from cluster probe and nest air, under the warning limit %s for %d min", w.forAge(), checkMinutes),
			lim.ChillWarn.Source + "; the estimate: " + oursFound,
		}
	},
	alarm.ProbeFault: func(w *Watch, c alarm.Condition) basis {
		switch c.Why {
		case whySwapped:
			return basis{fmt.Sprintf("through a night the cluster probe %.0f min or more ahead of nest air and no warmer, the probe outside over it by %s or more", leads, difference(outsideOver)), oursFound}
		case whyTurned:
			return basis{fmt.Sprintf("by night nest air above %s, and more than %s over both the cluster probe and the air outside, for %d min", both(pileAir), difference(turnedOver), sureAfter), oursFound}
		case whyUnderAll:
			return basis{fmt.Sprintf("cluster probe more than %s under nest air and the air outside through a night", difference(coldUnder)), oursFound}
		case whyTooHot:
			return basis{
				fmt.Sprintf("cluster probe above %s in nest air under %s for %d min", both(hotAbove), both(coolAir), sureAfter),
				"kits seek 38.0 °C on the first day (Hull, Hull & Vinter 1986, Neonatology 50:323); the rest: " + oursFound,
			}
		case whyDrift:
			return w.learned.drift.basis()
		case whyLowAir:
			return basis{fmt.Sprintf("air outside more than %s over the nest's through a night", difference(outsideOver)), oursFound}
		}
		if c.Why == whyWetCell {
			return basis{
				fmt.Sprintf("humidity of a box at %.0f %% or more for %d h without a break, for %d h of them with room for %.0f g/m³ of water more than the air outside brings", wetFrom, wetTime/60, wetDry/60, wetRoom),
				oursFound,
			}
		}
		return siteBases[alarm.ProbeFault](c)
	},
	alarm.VisitOverdue: func(_ *Watch, c alarm.Condition) basis {
		return basis{
			fmt.Sprintf("no visit read from the probes for %.0f h", c.Limit),
			brood.VisitSource + fmt.Sprintf("; %d missed ones and some hours more, for one in six is not seen: ", missedVisits) + oursFound,
		}
	},
	alarm.Kindled: func(_ *Watch, c alarm.Condition) basis {
		return basis{
			fmt.Sprintf("cluster probe warmer than in the empty nest by more than %s for %.0f min, or by half the way to a warm pile for %.0f min, or less long and cooling as no straw does; minutes in which a doe may sit there count less than half",
				difference(c.Limit), birthMinutes, birthQuick),
			oursFound,
		}
	},
	alarm.Visit: func(*Watch, alarm.Condition) basis {
		return basis{
			fmt.Sprintf("nest air up by %s or more for %d to %d min and gone again within %d min, the cluster probe moved by %s or more", difference(visitPeak), heldLeast, heldMost, goneTo, difference(answerLeast)),
			"a doe nurses about 3 min (Eur. J. Neurosci. 2009); the rest: " + oursFound,
		}
	},
	alarm.Inspection: func(*Watch, alarm.Condition) basis {
		return basis{fmt.Sprintf("nest air moved by %s or more, and %.0f %% of the way to the air outside, within minutes", difference(lidLeast), 100*lidShare), oursFound}
	},
	alarm.ToteWet: func(w *Watch, c alarm.Condition) basis {
		if c.Why == whyLeak {
			return basis{fmt.Sprintf("humidity of the tote's air at %.0f %% for %s, after a day under %.0f %% and rain or damp outside", leakPinned, lasting(leakTime), leakBefore), oursChosen}
		}
		return basis{fmt.Sprintf("humidity of the tote's air above %.0f %% for %s", brood.ToteWet, lasting(brood.ToteWetTime)), brood.Humidity(w.cfg.Kind).Source}
	},
	alarm.VentilationDue: func(w *Watch, c alarm.Condition) basis {
		switch c.Why {
		case whyCO2:
			return basis{
				fmt.Sprintf("CO2, three-hour mean, above %.0f ppm for %s, or so high for this litter that less than %.2f m³ of air an hour gets through, for %s",
					co2High+co2Outside, lasting(co2Delay), co2Flow, lasting(flowDelay)),
				"carbon dioxide balance of animal houses (CIGR, Pedersen and others); the limits: " + oursFound,
			}
		case whyHumid:
			return basis{
				fmt.Sprintf("humidity above %.0f %% in nest air warmer than %s, where fresh air would dry it, for %s", brood.BoxWet, both(brood.BoxWetAir), lasting(humidDelay)),
				brood.Humidity(w.cfg.Kind).Source,
			}
		}
		return basis{fmt.Sprintf("water in nest air over that outside, in %d h, more than %.1f g/m³ above the same hours of the last %d days", moistHours, moistRise, moistDays), oursFound}
	},
}

// siteBases holds the basis of each alarm that the site has, for the site and for a nest alike.
var siteBases = map[alarm.Name]func(c alarm.Condition) basis{
	alarm.DoeHeat: func(c alarm.Condition) basis {
		delay := doeDelay
		if c.Severity == alarm.Urgent {
			delay = doeUrgentDelay
		}
		switch c.Why {
		case whyDryBulb:
			return basis{fmt.Sprintf("air at the doe above %s for %s", both(c.Limit), lasting(delay)), brood.DoeDryBulbSource}
		case whyNoHumidity:
			return basis{fmt.Sprintf("air at the doe, taken as damp, above %s for %s", both(c.Limit), lasting(delay)), brood.DoeHeatSource}
		}
		return basis{fmt.Sprintf("heat index of the doe's air above %.1f for %s", c.Limit, lasting(delay)), brood.DoeHeatSource}
	},
	alarm.DoeCold: func(c alarm.Condition) basis {
		return basis{fmt.Sprintf("air outside under %s for %s", both(c.Limit), lasting(doeColdDelay)), brood.DoeColdSource}
	},
	alarm.SeasonSetupDue: func(c alarm.Condition) basis {
		side, smooth, sudden := "lowest air outside, smoothed over %.0f days, under %s, or one day's under %s", winterBelow, suddenFreeze
		if brood.Season(c.Why) == brood.Summer {
			side, smooth, sudden = "highest air outside, smoothed over %.0f days, above %s, or one day's above %s", summerAbove, suddenHeat
		}
		rule := "each day's " + fmt.Sprintf(side, seasonDays, both(smooth), both(sudden))
		if c.Why == whyBare {
			rule += ", while a metal box is not configured as lined"
		}
		return basis{rule, "ours, from 120 simulated years"}
	},
	alarm.ProbeSilent: func(c alarm.Condition) basis {
		b := basis{fmt.Sprintf("newest usable reading older than %s", hours(c.Limit)), "three missed readings, 90 s at least, where the configuration does not say otherwise: " + oursChosen}
		if c.Why == whyUnseen {
			b.rule += fmt.Sprintf("; urgent after %s where kits may be and the air outside is under %s, over %s or not known", lasting(unseenFor), both(nightCold), both(nightHot))
		}
		return b
	},
	alarm.ProbeFault: func(c alarm.Condition) basis {
		if c.Why == whyOdd {
			return basis{fmt.Sprintf("readings that jump, or stand still while others of the nest move, for %s", lasting(oddFor)), oursFound}
		}
		if c.Why == whyFailing {
			return basis{fmt.Sprintf("of the readings of about %s, %.0f %% missed in gaps of up to %d, a warning from %.0f %%", lasting(frayFade), 100*frayFrom, frayRun, 100*frayWarning), "common practice, no source: a failing cable shows by its share of errors first; the numbers: " + oursChosen}
		}
		return basis{
			fmt.Sprintf("%d readings that cannot be true before %d good ones in a row", wrongRun, goodAgain),
			"codes of the chips' data sheets, and what no nest or yard has ever been; the numbers: " + oursChosen,
		}
	},
}

// limitBasis is the basis of a limit of the tables by age: the one of the two that was passed.
func (w *Watch) limitBasis(what string, passed float64, warn, crit brood.Limit) basis {
	lim, which := warn, "warning"
	if passed == crit.C {
		lim, which = crit, "urgent"
	}
	return basis{fmt.Sprintf("%s the %s limit %s for %s", what, which, w.forAge(), lasting(lim.Delay)), lim.Source}
}

// chillLimit is the limit of the tables behind a chill, without the margin.
func (w *Watch) chillLimit(c alarm.Condition) (lim brood.Limit, which string) {
	all, _ := w.tables.Cluster(max(w.days.age, 0), w.site.season.Season())
	if c.Severity == alarm.Urgent {
		return all.ChillCritical, "urgent"
	}
	return all.ChillWarn, "warning"
}

// explained puts text and basis together.
func explained(text string, b basis, c alarm.Condition) alarm.Words {
	return alarm.Words{Text: text, Rule: cmp.Or(b.rule, c.Rule), Source: cmp.Or(b.source, c.Source)}
}

// difference writes a difference of temperatures in both scales.
func difference(k float64) string { return fmt.Sprintf("%.1f °C (%.1f °F)", k, k*9/5) }

// lasting writes a delay in minutes up to an hour, in hours above.
func lasting(d time.Duration) string {
	if d <= time.Hour {
		return fmt.Sprintf("%.0f min", d.Minutes())
	}
	return fmt.Sprintf("%g h", d.Hours())
}
