package main

import (
	"cmp"
	"fmt"
	"net"
	"net/url"
	"slices"
	"strings"

	"nestmon/exporter/web"
	"nestmon/exporter/webconfig"
	"nestmon/sensors"
	"nestmon/sensors/i2c"
	"nestmon/sensors/i2c/ina219"
	"nestmon/sensors/onewire"
	"nestmon/thresholds/brood"
)

// planLine is one line of what would be watched.
type planLine struct {
	Topic string `json:"topic"`
	Text  string `json:"text"`
}

// planOf says in words what the daemon would do with a configuration that holds no error.
func planOf(c *config) []planLine {
	site := c.Site.Name + ", " + c.Site.Timezone
	if c.Site.AltitudeM != 0 {
		site += fmt.Sprintf(", %g m above sea level", c.Site.AltitudeM)
	}
	p := []planLine{{"site", fmt.Sprintf("%s, archive in %s, a reading every %s", site, c.Data, span(c.Poll))}}
	for _, pr := range c.probes() {
		var measures []string
		for _, q := range pr.Quantities {
			measures = append(measures, q.String())
		}
		i := slices.IndexFunc(c.Probes, func(have probeConfig) bool { return have.ID == pr.ID })
		p = append(p, planLine{"probe", fmt.Sprintf("%s: %s from %s, every %s, no longer trusted after %s",
			pr.ID, strings.Join(measures, " and "), c.Probes[i].wire(), span(pr.Interval), span(pr.StaleAfter))})
	}
	for _, n := range c.Nests {
		p = append(p, planLine{"nest", c.nestPlan(n)})
	}
	if c.Outside != "" {
		p = append(p, planLine{"outside", c.Outside})
	}
	if c.Site.Battery != "" {
		p = append(p, planLine{"battery", fmt.Sprintf("%s, a warning under %g V", c.Site.Battery, c.Site.LowVolts)})
	}
	p = append(p, limitLines(c)...)
	for _, own := range c.ownLines() {
		p = append(p, planLine{"limits", own})
	}
	return append(p, publishLines(c)...)
}

// wire is where a probe is found.
func (p probeConfig) wire() string {
	switch p.Source {
	case i2c.Kind:
		where := p.Source + " " + p.i2c().Place() + ", " + p.Chip
		if p.Chip == ina219.Driver.Name {
			where += fmt.Sprintf(", shunt %g Ω", cmp.Or(p.ShuntOhm, ina219.UsualOhm))
		}
		return where
	case onewire.Kind:
		return fmt.Sprintf("%s %s on %s", p.Source, p.ROM, p.Bus)
	}
	return strings.TrimSpace(p.Source + " " + p.ROM + p.Device + p.Topic)
}

func (c *config) nestPlan(n nestConfig) string {
	doe := "the doe NOT JUDGED, no probe in her cage or outside"
	if c.Outside != "" {
		doe = "the doe by " + c.Outside
	}
	parts := []string{fmt.Sprintf("%s, %s floor", n.Kind, n.Floor)}
	if n.Lined {
		parts = append(parts, "lined")
	}
	for _, r := range []struct {
		role, without string
		ids           []string
	}{
		{"heat and cold of the air by", "heat and cold of the air NOT JUDGED", present(n.Air)},
		{"chill of the kits by", "chill of the kits NOT JUDGED", n.Cluster},
		{"damp and bedding by the humidity of", "damp and bedding NOT JUDGED, no humidity probe in nest air", c.humid(n.Air)},
		{"the doe by", doe, present(n.Cage)},
		{"carbon dioxide by", "", present(n.CO2)},
	} {
		switch {
		case len(r.ids) > 0:
			parts = append(parts, r.role+" "+strings.Join(r.ids, " and "))
		case r.without != "":
			parts = append(parts, r.without)
		}
	}
	return n.ID + ": " + strings.Join(parts, "; ")
}

// humid is the probe where it measures humidity.
func (c *config) humid(id string) []string {
	if slices.ContainsFunc(c.probes(), func(p sensors.Probe) bool { return p.ID == id && p.Measures(sensors.Humidity) }) {
		return []string{id}
	}
	return nil
}

func present(id string) []string {
	if id == "" {
		return nil
	}
	return []string{id}
}

// limitLines prints the warning limits by age, the mild season's, equal ages together.
func limitLines(c *config) []planLine {
	tables := c.tables()
	text := func(age int) string {
		a := tables.Air(age, brood.Mild)
		s := fmt.Sprintf("air %s to %s", c.degrees(a.ColdWarn.C), c.degrees(a.HeatWarn.C))
		if k, ok := tables.Cluster(age, brood.Mild); ok {
			s += fmt.Sprintf(", cluster %s to %s", c.degrees(k.ChillWarn.C), c.degrees(k.HeatWarn.C))
		}
		return s
	}
	var out []planLine
	for from := 0; from <= brood.LastDay; {
		to := from
		for to < brood.LastDay && text(to+1) == text(from) {
			to++
		}
		days := fmt.Sprintf("days %d to %d", from, to)
		if to == brood.LastDay {
			days = fmt.Sprintf("from day %d", from)
		}
		out = append(out, planLine{"limits", days + ": " + text(from)})
		from = to + 1
	}
	return out
}

// degrees writes a temperature as the site wants it shown.
func (c *config) degrees(celsius float64) string {
	if c.Site.Display == "fahrenheit" {
		return fmt.Sprintf("%.1f °F", celsius*9/5+32)
	}
	return fmt.Sprintf("%.1f °C", celsius)
}

// noChannel and nobodyCalled are what stands behind NOBODY: of a configuration, and of a daemon, whose phones may not have signed up.
const (
	noChannel    = "is called when an alarm comes; write a channel under phone"
	nobodyCalled = "is called when an alarm comes; write a channel under phone, or sign a phone up on the page where there is one"
)

// publishLines says of every sink whether it is used.
func publishLines(c *config) []planLine {
	var out []planLine
	for _, k := range sinkKinds {
		text := "off"
		if where, on := k.target(c); on {
			text = where
		}
		out = append(out, planLine{"publish", k.says + ": " + text})
	}
	_, called := phoneTarget(c)
	if !called {
		out = append(out, planLine{"NOBODY", noChannel})
	} else {
		out = append(out, callLines(c.Phone)...)
		if advice := c.Phone.Alone(); advice != "" {
			out = append(out, planLine{"note", advice})
		}
	}
	if p := c.Publish.Page; p != nil && p.Listen != web.None {
		if p.PasswordFile == "" {
			out = append(out, planLine{"note", "nothing can be changed from the page: it has no password; make one with 'nestmon password' and name its file under publish.page.password_file"})
		}
		if called && p.Address == "" {
			out = append(out, planLine{"note", "messages have no link to answer them by: write under publish.page.address what a phone opens to reach the page"})
		} else if called && onlyHere(p.Address) {
			out = append(out, planLine{"note", "publish.page.address leads a phone to the phone itself, so the links in messages open nothing; write this board's address in the home network"})
		}
	}
	return append(out, heartbeatLine(c))
}

// onlyHere is whether an address means the machine that opens it.
func onlyHere(address string) bool {
	u, err := url.Parse(address)
	if err != nil {
		return false
	}
	ip := net.ParseIP(u.Hostname())
	return u.Hostname() == "localhost" || ip != nil && ip.IsLoopback()
}

func heartbeatLine(c *config) planLine {
	if c.Phone == nil || c.Phone.Heartbeat == nil {
		return planLine{"NOBODY", "notices when this board is dead; write phone: {heartbeat: ...}, see hardware/heartbeat.md"}
	}
	h := c.Phone.Heartbeat
	return planLine{"heartbeat", fmt.Sprintf("every %s; let its receiver call you when none came for %s", span(h.Every), span(h.Silence()))}
}

func mqttTarget(c *config) (string, bool) {
	m := c.Publish.MQTT
	if m == nil {
		return "", false
	}
	where := fmt.Sprintf("%s, below %s/5/%s", m.Broker, m.Base, m.Device)
	if m.Homie4 {
		where += fmt.Sprintf(", and for Homie 4 below %s/%s", m.Base, m.Device)
	}
	if m.Commands {
		where += "; alarms and chores can be answered there"
	}
	return where, true
}

func metricsTarget(c *config) (string, bool) {
	if c.Publish.Prometheus == nil {
		return "", false
	}
	return scheme(c.Publish.Prometheus.WebConfigFile) + c.Publish.Prometheus.Listen + "/metrics", true
}

func influxTarget(c *config) (string, bool) {
	if c.Publish.InfluxDB == nil {
		return "", false
	}
	return fmt.Sprintf("%s, bucket %s", c.Publish.InfluxDB.URL, c.Publish.InfluxDB.Bucket), true
}

func pageTarget(c *config) (string, bool) {
	if page := pageConfig(c); page.Listen != web.None {
		where := scheme(page.WebConfigFile) + page.Listen + "/"
		if page.View == web.Password {
			where += ", shown to who logs in"
		}
		return where, true
	}
	return "", false
}

// scheme is how a listener with this web configuration answers.
func scheme(webConfigFile string) string {
	if webconfig.Secure(webConfigFile) {
		return "https://"
	}
	return "http://"
}

func phoneTarget(c *config) (string, bool) {
	if c.Phone == nil || len(c.Phone.Channels) == 0 {
		return "", false
	}
	var names []string
	for _, ch := range c.Phone.Channels {
		names = append(names, ch.Name)
	}
	return strings.Join(names, " and "), true
}
