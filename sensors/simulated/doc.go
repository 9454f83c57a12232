// Package simulated is a physical model of weather, nests, broods and probes, for the demonstration and for evaluating the
// detectors. Everything that comes out of it is simulated: no litter was measured, and no figure from here is evidence
// about real nests until real nests have been compared with it.
//
// A World holds one weather and several nests. In each nest a brood is one lumped core (the mean kit; edge kits cool
// first, and a single strayed kit changes nothing), wrapped in fur and straw, on shavings, in box air between walls. Kits
// burn what they must to stay near 37.4 °C as long as their reserve lasts, part and open their cover when hot, and die
// above 43.5 or below 8 °C. The doe sits in the box before kindling and nurses about once a day at her own hour; a person
// looks in now and then. Probes have lag, offset, noise and a place, and the place wanders. Event scripts faults.
//
// Units: °C, W, J, kg, m, g/m³ of vapour, m³/h of air, ppm of CO2, kJ of reserve per kit, seconds of step; durations are
// the world's own. Instants reach the weather in the site's time zone, because nights and nursings follow the local clock.
//
// Sources. Each constant carries its own. "assumed" is our choice without any source; most heat capacities, leaks, air
// exchanges and behaviour rates are assumed, and so is the decay length of warmth around the cluster, which decides more
// than any other number what a cluster probe reads.
//
// Limits. Kits never leave the nest of their own accord, which overstates heat from about day 15. Faults start abruptly
// and are mended on time. Air is well mixed. There is no mould, no chewed insulation, no probe lying in urine, no radiant
// heat on a probe. Litters under six keep the same daily rhythm as larger ones. Broods older than about 20 days and box
// air outside -30..50 °C are outside what the equations were made for.
//
// One seed gives one world, bit for bit on one architecture; each nest and each probe draws from a stream of its own, named by
// its id, so that adding a nest changes no other. The package shares no constant and no formula with thresholds: it uses
// another published vapour formula, its own growth curve and its own set-point, so that a detector cannot be right merely
// because it looks into the same mirror.
package simulated
