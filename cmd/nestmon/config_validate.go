package main

import (
	"cmp"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"nestmon/exporter/mqtt"
	"nestmon/exporter/web"
	"nestmon/exporter/webconfig"
	"nestmon/sensors"
	"nestmon/sensors/i2c"
	"nestmon/sensors/kernel"
	"nestmon/sensors/radio"
	"nestmon/sensors/w1"
)

// validate holds the rules that need more than one key. It is called when the whole file was read.
func (c *config) validate(d *decoder) {
	c.validateTop(d)
	c.validateProbes(d)
	c.validateNests(d)
	c.Limits.Validate(d.under("limits"))
	c.Chores.Validate(d.under("chores"))
	c.validateSinks(d)
}

// Bounds of an inhabited site in m: the shore of the Dead Sea lies at about -430, La Rinconada at about 5100 (from memory).
const lowest, highest = -450, 5500

func (c *config) validateTop(d *decoder) {
	checkID(d, "site", c.Site.ID)
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
	for _, k := range []struct{ key, path, whole string }{{"data", c.Data, defaultData}, {"control", c.Control, defaultData + "/control.sock"}} {
		if _, written := d.at[k.key]; written && k.path != "" && !filepath.IsAbs(k.path) {
			d.lost(k.key, "%q begins where the daemon is started, which the service and your shell disagree on; write the whole path, such as %s", k.path, k.whole)
		}
	}
	if c.Poll < shortPoll || c.Poll > longPoll {
		d.wrong("poll", "%s is out of range; write %s to %s", span(c.Poll), span(shortPoll), span(longPoll))
	}
}

// validateSinks lets every section that is there judge itself.
func (c *config) validateSinks(d *decoder) {
	if m := c.Publish.MQTT; m != nil {
		m.Validate(d.under("publish.mqtt"))
		if m.Commands && m.Username == "" && m.CertFile == "" {
			d.lost("publish.mqtt.commands", "the broker seems to ask nobody who he is, and whoever reaches it could silence an alarm; give it users and an access list, or remove commands")
		}
		for i, n := range c.Nests {
			if err := mqtt.CheckNest(n.ID); err != nil && sensors.ValidID(n.ID) {
				d.wrong(fmt.Sprintf("nests[%d].id", i), "%v", err)
			}
		}
	}
	if p := c.Publish.Prometheus; p != nil {
		p.Validate(d.under("publish.prometheus"))
	}
	if i := c.Publish.InfluxDB; i != nil {
		i.Validate(d.under("publish.influxdb"))
	}
	if p := c.Publish.Page; p != nil {
		p.Validate(d.under("publish.page"))
	}
	if p := c.Phone; p != nil {
		p.Validate(d.under("phone"))
		if h := p.Heartbeat; h != nil && h.Every > 0 && h.Every < c.Poll {
			d.wrong("phone.heartbeat.every", "%s is shorter than poll (%s), and a heartbeat goes out after a poll; lengthen it or shorten poll", span(h.Every), span(c.Poll))
		}
		c.validatePush(d)
	}
}

// validatePush warns of what keeps phones from signing up, and of a household that nothing else calls.
func (c *config) validatePush(d *decoder) {
	for i, ch := range c.Phone.Channels {
		if ch.Push == nil {
			continue
		}
		at := fmt.Sprintf("phone.channels[%d].push", i)
		if page := pageConfig(c); page.Listen == web.None || !webconfig.Secure(page.WebConfigFile) && !strings.HasPrefix(page.Address, "https://") {
			d.lost(at, "phones sign up on the page, which browsers allow only over https with a certificate the phone trusts; give publish.page a web_config_file with tls_server_config, as 'nestmon certificate make' writes one")
		}
		if len(c.Phone.Channels) == 1 {
			d.lost(at, "is the only way to you, and a push service may forget a phone on any day; write a second channel that has nothing to do with it")
		}
	}
}

func (c *config) validateProbes(d *decoder) {
	if len(c.Probes) == 0 {
		d.wrong("probes", "there are none; write at least one, and one that hangs in the shade outside")
	}
	ids, bound := map[string]string{}, map[string]string{}
	for i, p := range c.Probes {
		at := fmt.Sprintf("probes[%d]", i)
		p.validateKind(d, at)
		unique(d, at, p.ID, ids)
		for _, b := range []struct{ key, value string }{{"rom", p.ROM}, {"device", p.Device}} {
			wire := b.key + " " + b.value
			if first, twice := bound[wire]; twice && b.value != "" {
				d.wrong(at+"."+b.key, "%q is already bound to probe %q; bind each probe once", b.value, first)
			}
			bound[wire] = p.ID
		}
		p.validateTimes(d, at, c.Poll)
		c.validateOffset(d, at, p)
	}
	c.validateWire(d)
	c.validateI2C(d)
	c.validateRadio(d)
	c.validatePayloads(d)
}

// validateOffset holds an offset against its probe and against the clock.
func (c *config) validateOffset(d *decoder, at string, p probeConfig) {
	if p.Offset == nil {
		return
	}
	probe := p.probe(c)
	for _, q := range sensors.Quantities {
		if p.Offset.Of(q) != 0 && !probe.Measures(q) {
			d.wrong(fmt.Sprintf("%s.offset.%s", at, q), "the probe does not measure %s; remove it", q)
		}
	}
	if p.Offset.YetToCome(d.now, c.location()) {
		d.lost(at+".offset.date", "%s is yet to come; write the day of the comparison, or set the clock", p.Offset.Date)
	}
}

// usualShunt is the largest shunt that is likely, Ω: over a larger one an INA219, which shows 320 mV at most (TI SBOS448, from memory), could
// not see what a board takes. Ours, no source.
const usualShunt = 0.5

// validateI2C looks at the chips of I2C buses beside each other.
func (c *config) validateI2C(d *decoder) {
	var chips []i2c.ProbeConfig
	var at []int
	for i, p := range c.Probes {
		if p.Source == i2c.Kind {
			chips, at = append(chips, p.i2c()), append(at, i)
		}
	}
	for i, p := range c.Probes {
		at := fmt.Sprintf("probes[%d].shunt_ohm", i)
		_, written := d.at[at]
		switch {
		case p.Source != i2c.Kind || !written:
		case p.ShuntOhm == 0:
			d.wrong(at, "0 Ω is no shunt; write what is printed on it, such as 0.1 (R100 means 0.1), or leave it out")
		case p.ShuntOhm > usualShunt && p.ShuntOhm <= i2c.MostShunt:
			d.lost(at, "%g Ω is more than such a board has, and every current would be wrong; write what is printed on it, such as 0.1 (R100 means 0.1)", p.ShuntOhm)
		}
	}
	i2c.Together(chips, func(i int, path, problem string) { d.wrong(fmt.Sprintf("probes[%d].%s", at[i], path), "%s", problem) })
}

// validatePayloads refuses a topic that is JSON for one probe and a plain number for another.
func (c *config) validatePayloads(d *decoder) {
	pointed := map[string]string{}
	for _, p := range c.Probes {
		if p.Source == radio.Kind && len(p.Pointers) > 0 {
			pointed[p.Topic] = p.ID
		}
	}
	for i, p := range c.Probes {
		if other, both := pointed[p.Topic]; both && p.Source == radio.Kind && len(p.Pointers) == 0 {
			d.wrong(fmt.Sprintf("probes[%d].topic", i), "topic %s is JSON for probe %q and a plain number here; write pointers", p.Topic, other)
		}
	}
}

// validateRadio holds the section and the probes of source radio against each other.
func (c *config) validateRadio(d *decoder) {
	bound, heard := map[string]string{}, false
	for i, p := range c.Probes {
		if p.Source != radio.Kind {
			continue
		}
		if !heard && c.Radio == nil {
			d.wrong(fmt.Sprintf("probes[%d].source", i), "radio needs the broker it publishes on; write a section radio: {broker: tcp://localhost:1883}")
		}
		heard = true
		for _, place := range p.radio().Places() {
			if first, twice := bound[place]; twice {
				d.wrong(fmt.Sprintf("probes[%d].topic", i), "%s is already bound to probe %q; write another topic or pointer", place, first)
			}
			bound[place] = p.ID
		}
	}
	if c.Radio == nil {
		return
	}
	c.Radio.Validate(d.under("radio"))
	if !heard {
		d.lost("radio", "no probe has source: radio, so nobody listens to this broker; remove the section, or add the probes")
	}
}

// alsoCalled is what people write for a source.
var alsoCalled = map[string]string{
	"1wire": w1.Kind, "1-wire": w1.Kind, "ds18b20": w1.Kind, "w1_therm": w1.Kind, "mqtt": radio.Kind, "hwmon": kernel.Kind, "iio": kernel.Kind,
}

// validateKind holds what each kind of source needs and what means nothing there.
func (p probeConfig) validateKind(d *decoder, at string) {
	kind, known := sourceKindOf(p.Source)
	if !known {
		what := fmt.Sprintf("unknown source %q", p.Source)
		if p.Source == "" {
			what = "missing"
		}
		d.wrong(at+".source", "%s; %s", what, oneOf(cmp.Or(alsoCalled[strings.ToLower(p.Source)], p.Source), sourceNames()))
		p.Entry.Validate(d.under(at))
		return
	}
	for _, k := range []struct {
		key     string
		written bool
	}{
		{"rom", p.ROM != ""},
		{"clone", p.Clone != ""},
		{"device", p.Device != ""},
		{"chip", p.Chip != ""},
		{"quantities", len(p.Quantities) > 0},
		{"bus", p.Bus != ""},
		{"address", p.Address != 0},
		{"mux", p.Mux != 0},
		{"channel", p.Channel != nil},
		{"shunt_ohm", p.ShuntOhm != 0},
		{"topic", p.Topic != ""},
		{"pointers", len(p.Pointers) > 0},
		{"time", p.Time != ""},
		{"unit", p.Unit != ""},
	} {
		if k.written && !slices.Contains(kind.keys, k.key) {
			d.wrong(at+"."+k.key, "means nothing for source %s; remove it", kind.name)
		}
	}
	kind.validate(p, d.under(at))
}

// validateTimes holds what the entry alone cannot know: it has not seen poll.
func (p probeConfig) validateTimes(d *decoder, at string, poll time.Duration) {
	switch {
	case p.Interval > sensors.StaleLimit:
		d.wrong(at+".interval", "%s is longer than any value is trusted; write %s to %s", span(p.Interval), span(poll), span(sensors.StaleLimit))
	case p.Interval > 0 && p.Interval < poll:
		d.wrong(at+".interval", "%s is shorter than poll (%s); lengthen it or shorten poll", span(p.Interval), span(poll))
	case p.Interval == 0 && p.StaleAfter > 0 && p.StaleAfter < poll:
		d.wrong(at+".stale_after", "%s is shorter than poll (%s), so no value would ever be current; write three polls, or leave it out", span(p.StaleAfter), span(poll))
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

// checkID reports a bad id; what is said of an id is the same for sites, nests and probes.
func checkID(d *decoder, at, id string) {
	sensors.Entry{ID: id}.Validate(func(key, problem string) { d.wrong(at+"."+key, "%s", problem) })
}

// unique reports an id that is used again; seen maps ids to the path of their first use.
func unique(d *decoder, at, id string, seen map[string]string) {
	first, twice := seen[id]
	switch {
	case !sensors.ValidID(id):
	case twice:
		d.wrong(at+".id", "%q is already used in line %d; give each its own id", id, d.where(first+".id").line)
	default:
		seen[id] = at
	}
}
