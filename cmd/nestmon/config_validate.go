package main

import (
	"fmt"
	"regexp"
	"strings"
	"time"

	"nestmon/sensors"
)

// validate holds the rules that need more than one key. It is called when the whole file was read.
func (c *config) validate(d *decoder) {
	c.validateTop(d)
	c.validateProbes(d)
	c.validateNests(d)
	c.Limits.Validate(d.under("limits"))
}

// Bounds of an inhabited site in m: the shore of the Dead Sea lies at about -430, La Rinconada at about 5100 (from memory).
const lowest, highest = -450, 5500

func (c *config) validateTop(d *decoder) {
	if !isID(c.Site.ID) {
		d.wrong("site.id", "%s", badID(c.Site.ID))
	}
	if _, err := time.LoadLocation(c.Site.Timezone); err != nil || c.Site.Timezone == "" || c.Site.Timezone == "Local" {
		d.wrong("site.timezone", "there is no time zone %q; write a name as in America/Denver, or UTC", c.Site.Timezone)
	}
	if c.Site.AltitudeM < lowest || c.Site.AltitudeM > highest {
		d.wrong("site.altitude_m", "%g m is no place for rabbits; write metres above sea level, %d to %d", c.Site.AltitudeM, lowest, highest)
	}
	if c.Site.Display != "celsius" && c.Site.Display != "fahrenheit" {
		d.wrong("site.display", "unknown unit %q; %s", c.Site.Display, oneOf(c.Site.Display, []string{"celsius", "fahrenheit"}))
	}
	if c.Data == "" {
		d.wrong("data", "empty; write the folder of the archive, such as %s", defaultData)
	}
	if c.Poll < shortPoll || c.Poll > longPoll {
		d.wrong("poll", "%s is out of range; write %s to %s", span(c.Poll), span(shortPoll), span(longPoll))
	}
}

func (c *config) validateProbes(d *decoder) {
	if len(c.Probes) == 0 {
		d.wrong("probes", "there are none; write at least one, and one that hangs in the shade outside")
	}
	ids, bound := map[string]string{}, map[string]string{}
	for i, p := range c.Probes {
		at := fmt.Sprintf("probes[%d]", i)
		checkID(d, at, p.ID, ids)
		kind, known := sourceKindOf(p.Source)
		switch {
		case p.Source == "":
			d.wrong(at+".source", "missing; %s", oneOf("", sourceNames()))
		case !known:
			d.wrong(at+".source", "unknown source %q; %s", p.Source, oneOf(p.Source, sourceNames()))
		default:
			p.validateKeys(d, at, kind)
		}
		for j, q := range p.Quantities {
			if names := quantityNames(); !contains(names, q) {
				d.wrong(fmt.Sprintf("%s.quantities[%d]", at, j), "unknown quantity %q; %s", q, oneOf(q, names))
			}
		}
		for _, b := range []struct{ key, value string }{{"rom", p.ROM}, {"device", p.Device}} {
			wire := b.key + " " + strings.ToLower(b.value)
			if first, twice := bound[wire]; twice && b.value != "" {
				d.wrong(at+"."+b.key, "%q is already bound to probe %q; bind each probe once", b.value, first)
			}
			bound[wire] = p.ID
		}
		p.validateTimes(d, at, c.Poll)
	}
}

var romShape = regexp.MustCompile(`^[0-9a-f]{2}-[0-9a-f]{12}$`)

// validateKeys holds what each kind of source needs and what means nothing there.
func (p probeConfig) validateKeys(d *decoder, at string, kind sourceKind) {
	for _, k := range []struct {
		key     string
		written bool
	}{{"rom", p.ROM != ""}, {"clone", p.Clone}, {"device", p.Device != ""}} {
		if k.written && !contains(kind.keys, k.key) {
			d.wrong(at+"."+k.key, "means nothing for source %s; remove it", kind.name)
		}
	}
	switch {
	case kind.name == "w1" && p.ROM == "":
		d.wrong(at+".rom", "missing; write the name of the probe's folder under /sys/bus/w1/devices, such as 28-0316a2794d5f")
	case kind.name == "w1" && !romShape.MatchString(p.ROM):
		d.wrong(at+".rom", "%q is not a 1-Wire id; write two digits, a dash and twelve digits, all 0-9 and a-f, such as 28-0316a2794d5f", p.ROM)
	case kind.name == "kernel" && p.Device == "":
		d.wrong(at+".device", "missing; write the device's folder under /sys/devices, or its name as `nestmon check` lists it")
	}
}

func (p probeConfig) validateTimes(d *decoder, at string, poll time.Duration) {
	switch {
	case p.Interval < 0 || p.Interval > sensors.StaleLimit:
		d.wrong(at+".interval", "%s is out of range; write %s to %s", span(p.Interval), span(poll), span(sensors.StaleLimit))
	case p.Interval != 0 && p.Interval < poll:
		d.wrong(at+".interval", "%s is shorter than poll (%s); lengthen it or shorten poll", span(p.Interval), span(poll))
	}
	if p.StaleAfter != 0 && (p.StaleAfter < max(p.Interval, poll) || p.StaleAfter > sensors.StaleLimit) {
		d.wrong(at+".stale_after", "%s is out of range; write at least the interval (%s), at most %s",
			span(p.StaleAfter), span(max(p.Interval, poll)), span(sensors.StaleLimit))
	}
}

// span writes a duration as a person would: 6h, not 6h0m0s.
func span(d time.Duration) string {
	s := d.String()
	if strings.HasSuffix(s, "m0s") {
		s = strings.TrimSuffix(s, "0s")
	}
	if strings.HasSuffix(s, "h0m") {
		s = strings.TrimSuffix(s, "0m")
	}
	return s
}

var idShape = regexp.MustCompile(`^[a-z0-9]([a-z0-9-]*[a-z0-9])?$`)

func isID(id string) bool { return idShape.MatchString(id) }

func badID(id string) string {
	if id == "" {
		return "missing; write a short name of small letters, digits and dashes"
	}
	return fmt.Sprintf("%q is no id; write small letters, digits and dashes, with a letter or digit at both ends", id)
}

// checkID reports a bad or repeated id; seen maps ids to the path of their first use.
func checkID(d *decoder, at, id string, seen map[string]string) {
	switch first, twice := seen[id]; {
	case !isID(id):
		d.wrong(at+".id", "%s", badID(id))
	case twice:
		d.wrong(at+".id", "%q is already used in line %d; give each its own id", id, d.where(first+".id").line)
	default:
		seen[id] = at
	}
}
