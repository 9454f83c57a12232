package main

import (
	"fmt"
	"slices"
	"time"

	"nestmon/sensors"
	"nestmon/thresholds/brood"
	"nestmon/thresholds/nest"
)

const deepestTote = 3.0 // m; ours, no source

func (c *config) validateNests(d *decoder) {
	ids, used := map[string]string{}, map[string]string{}
	for i, n := range c.Nests {
		at := fmt.Sprintf("nests[%d]", i)
		checkID(d, at, n.ID)
		unique(d, at, n.ID, ids)
		n.validateMake(d, at)
		c.validateRoles(d, at, n, used)
	}
	c.validateOutside(d, used)
	c.validateBattery(d, used)
	if anyError(d.found) { // what is unused may only be misspelt
		return
	}
	for i, p := range c.Probes {
		if _, ok := used[p.ID]; !ok && p.probe(c).Measures(sensors.Voltage) && !p.probe(c).Measures(sensors.Temperature) {
			d.lost(fmt.Sprintf("probes[%d]", i), "nothing warns of a low battery; write `battery: %s` under site", p.ID)
		} else if !ok {
			d.lost(fmt.Sprintf("probes[%d]", i), "no nest uses this probe: it is read and stored, and nothing is judged by it")
		}
	}
}

// validateMake checks how the nest is built.
func (n nestConfig) validateMake(d *decoder, at string) {
	kinds, floors := texts(brood.Kinds), texts(brood.Floors)
	switch {
	case n.Kind == "":
		d.wrong(at+".kind", "missing; %s", oneOf("", kinds))
	case !slices.Contains(kinds, string(n.Kind)):
		d.wrong(at+".kind", "unknown kind %q; %s", n.Kind, oneOf(string(n.Kind), kinds))
	}
	if !slices.Contains(floors, string(n.Floor)) {
		d.wrong(at+".floor", "unknown floor %q; %s", n.Floor, oneOf(string(n.Floor), floors))
	}
	if n.Lined && n.Kind != brood.MetalBox {
		d.wrong(at+".lined", "only a metal box is lined; remove it")
	}
	if n.Kind != brood.BuriedTote && !n.Sealed.IsZero() {
		d.wrong(at+".sealed", "only a buried tote is sealed; remove it")
	}
	if !n.Sealed.IsZero() && n.Sealed.Noon(time.UTC).After(d.now.Add(24*time.Hour)) {
		d.wrong(at+".sealed", "%s is in the future; write the day on which it was sealed last", n.Sealed)
	}
	if n.Kind != brood.BuriedTote && (n.DepthM != 0 || n.Soil != "") {
		d.wrong(at+"."+map[bool]string{true: "depth_m", false: "soil"}[n.DepthM != 0], "only a buried tote has one; remove it")
	}
	if n.DepthM < 0 || n.DepthM > deepestTote {
		d.wrong(at+".depth_m", "%g m is out of range; write how deep the tote's floor lies in metres, 0 to %g", n.DepthM, deepestTote)
	}
}

// validateRoles checks that the nest's probes exist, can do what they are there for, and serve one place only.
func (c *config) validateRoles(d *decoder, at string, n nestConfig, used map[string]string) {
	c.role(d, at+".air", n.Air, sensors.Temperature, used)
	c.role(d, at+".co2", n.CO2, sensors.CO2, used)
	for i, id := range n.Cluster {
		c.role(d, fmt.Sprintf("%s.cluster[%d]", at, i), id, sensors.Temperature, used)
	}
	if len(n.Cluster) > nest.MostClusterProbes {
		d.wrong(at+".cluster", "%d probes under one pile; write at most %d", len(n.Cluster), nest.MostClusterProbes)
	}
	c.validateSCD4x(d, at, n)
	if n.Cage != "" {
		seen := map[string]string{} // does in neighbouring cages may share one probe
		c.role(d, at+".cage", n.Cage, sensors.Temperature, seen)
		if _, ok := used[n.Cage]; !ok {
			used[n.Cage] = ""
		}
	}
	if n.Air == "" {
		d.lost(at, "without `air` the heat and the cold of the nest's air cannot be judged, and no heat alarm will come; hang a probe above the cover")
	}
	if len(n.Cluster) == 0 {
		d.lost(at, "without `cluster` nobody sees the kits grow cold, only the air round them; lay a probe under the pile")
	}
}

// validateSCD4x keeps the chip that warms itself to what it is good for: evidence of used air, where air moves.
func (c *config) validateSCD4x(d *decoder, at string, n nestConfig) {
	if n.Kind == brood.BuriedTote && c.warms(n.CO2) {
		d.wrong(at+".co2", "an scd4x warms itself and does not stand the wet of a tote; hang it in a ventilated box, or leave co2 out")
	}
	c.refuseSCD4x(d, at+".air", n.Air)
	c.refuseSCD4x(d, at+".cage", n.Cage)
	for i, id := range n.Cluster {
		c.refuseSCD4x(d, fmt.Sprintf("%s.cluster[%d]", at, i), id)
	}
}

func (c *config) refuseSCD4x(d *decoder, at, id string) {
	if c.warms(id) {
		d.wrong(at, "probe %q is an scd4x, which warms itself: its temperature decides nothing; write it as co2, and hang another probe here", id)
	}
}

func (c *config) warms(id string) bool {
	return slices.ContainsFunc(c.Probes, func(p probeConfig) bool { return p.ID == id && p.probe(c).Chip == sensors.ChipSCD4x })
}

// role checks one use of a probe. used maps a probe to the path of the one place it measures.
func (c *config) role(d *decoder, at, id string, q sensors.Quantity, used map[string]string) {
	if id == "" {
		return
	}
	i := slices.IndexFunc(c.Probes, func(p probeConfig) bool { return p.ID == id })
	if i < 0 {
		d.wrong(at, "no probe %q; %s", id, oneOf(id, c.probeIDs()))
		return
	}
	if first := used[id]; first != "" {
		d.wrong(at, "probe %q already is %s; a probe measures one place", id, d.show(first))
		return
	}
	used[id] = at
	if _, known := sourceKindOf(c.Probes[i].Source); known && !c.Probes[i].probe(c).Measures(q) {
		d.wrong(at, "probe %q does not measure %s; bind one that does", id, q)
	}
}

func (c *config) validateOutside(d *decoder, used map[string]string) {
	if c.Outside != "" {
		c.role(d, "outside", c.Outside, sensors.Temperature, used)
		c.refuseSCD4x(d, "outside", c.Outside)
		return
	}
	d.lost("outside", "without it the season, the heat for the does and a coming freeze are not judged; hang a probe in the shade")
}

// The lowest limits of batteries that feed a board, from one cell of lithium to 48 V of lead; ours, no source.
const leastLowVolts, mostLowVolts = 2.5, 48.0

func (c *config) validateBattery(d *decoder, used map[string]string) {
	c.role(d, "site.battery", c.Site.Battery, sensors.Voltage, used)
	_, written := d.at["site.battery_low_v"]
	switch {
	case written && c.Site.Battery == "":
		d.wrong("site.battery_low_v", "means nothing without `battery`; write the probe that measures it, or remove this")
	case c.Site.LowVolts < leastLowVolts || c.Site.LowVolts > mostLowVolts:
		d.wrong("site.battery_low_v", "%g V is out of range; write the voltage below which to warn, %g to %g: 12 for a 12 V lead-acid battery", c.Site.LowVolts, leastLowVolts, mostLowVolts)
	}
}

func (c *config) probeIDs() []string {
	ids := make([]string, len(c.Probes))
	for i, p := range c.Probes {
		ids[i] = p.ID
	}
	return ids
}

func sourceNames() []string {
	names := make([]string, len(sourceKinds))
	for i, k := range sourceKinds {
		names[i] = k.name
	}
	return names
}

func texts[T ~string](all []T) []string {
	out := make([]string, len(all))
	for i, t := range all {
		out[i] = string(t)
	}
	return out
}
