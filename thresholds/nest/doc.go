// Package nest watches one nest, and the weather round all of them, and says what is wrong.
//
// A Watch is fed by Channels, the newest usable value of every probe, and steps once a minute. Each alarm is one row of the
// rules table and one function that turns the nest's state into an alarm.Condition. What each rule needs is listed beside
// it; a rule whose inputs are missing holds what it said before.
//
//   - Heat is judged from nest air by age and never waits for a cluster probe, a litter or a clock.
//   - Chill is judged from the warmth that goes (trail.go), not from the warmth that is there: a probe two centimetres off the kits reads
//     far too cold in a freeze, but kits that cool lose equal parts in equal times wherever it lies. A step faster than any pile cools
//     is a pile or a probe that moved, unless the doe or a person has just been there, and asks for a look. What cannot be told apart
//     is check-nest (check.go); behind it all stands a plain back-stop (cold.go).
//   - Kindling is proposed from warmth that stays after the doe has left; visits and inspections from what they do to
//     nest air.
//   - Bedding, ventilation, season and the litter clock are chores. Wet bedding does not show in nest air: its day comes from the calendar
//     and from what the kits weigh. Blocked vents show in CO2, and in moisture where air is warm enough to hold some; elsewhere the nest
//     says that damp is not judged.
//   - What a nest is like is learned from its nights and days: how warm it is beside the air outside and beside its neighbours, how
//     fast and how far it follows the air outside. Each figure carries its error, and is not known until enough nights were seen.
//   - Probes that contradict each other through a night, swapped or with a scale that has run away, are faults. A scale that falls
//     slowly while the probe lies on a live pile is not told: the pile moves about more.
//
// Time comes with every call: a wall clock for dates and words, and a monotonic duration for every delay, so that a clock
// that is set while the daemon runs neither fires nor loses an alarm. Temperatures are °C, humidity % RH over water, CO2 ppm.
// The shapes of visits, kindling and cooling were worked out on simulated nests; no litter has been measured yet.
package nest
