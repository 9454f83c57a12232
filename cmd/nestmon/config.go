package main

import (
	"path/filepath"
	"slices"
	"sync/atomic"
	"time"
	_ "time/tzdata" // small boards come without the zones

	"nestmon/exporter/influx"
	"nestmon/exporter/metrics"
	"nestmon/exporter/mqtt"
	"nestmon/exporter/phone"
	"nestmon/exporter/web"
	"nestmon/sensors"
	"nestmon/sensors/radio"
	"nestmon/thresholds"
	"nestmon/thresholds/brood"
	"nestmon/thresholds/litter"
	"nestmon/thresholds/nest"
)

// config is a configuration file. A section of publish, or phone, that is absent means: not published there.
type config struct {
	Site    siteConfig      `yaml:"site"`
	Data    string          `yaml:"data"`    // folder of the archive
	Control string          `yaml:"control"` // unix socket of the commands, by default in data
	Poll    time.Duration   `yaml:"poll"`
	Radio   *radio.Config   `yaml:"radio"` // the broker of probes with source: radio; nil when there are none
	Probes  []probeConfig   `yaml:"probes"`
	Nests   []nestConfig    `yaml:"nests"`
	Outside string          `yaml:"outside"` // the shade-air probe
	Limits  brood.Overrides `yaml:"limits"`
	Chores  litter.Days     `yaml:"chores"` // when each is due
	Publish publishConfig   `yaml:"publish"`
	Phone   *phone.Config   `yaml:"phone"`

	own     atomic.Pointer[ownLimits] // what was set on the page, nil where nobody looked
	at      map[string]spot           // where each key stands in the file
	pollAt  spot                      // of poll in the file
	written []written                 // secrets in the file itself
	environ []string                  // variables that hold secrets

	byHand map[string]bool // probes whose offset stands in the file itself
}

type siteConfig struct {
	ID        string  `yaml:"id"`
	Name      string  `yaml:"name"`
	Timezone  string  `yaml:"timezone"`
	AltitudeM float64 `yaml:"altitude_m"` // m above sea level
	Display   string  `yaml:"display"`
	Battery   string  `yaml:"battery"`       // the probe that measures what feeds the board
	LowVolts  float64 `yaml:"battery_low_v"` // V
}

// probeConfig is one probe of any source: what every probe has, and the keys of all kinds of source.
type probeConfig struct {
	sensors.Entry `yaml:",inline"`
	ROM           string   `yaml:"rom"`
	Clone         string   `yaml:"clone"`
	Device        string   `yaml:"device"`
	Chip          string   `yaml:"chip"`
	Quantities    []string `yaml:"quantities"`
	Bus           string   `yaml:"bus"`
	Address       uint16   `yaml:"address"`
	Mux           uint16   `yaml:"mux"`
	Channel       *int     `yaml:"channel"`
	ShuntOhm      float64  `yaml:"shunt_ohm"`

	// source: radio
	Topic    string            `yaml:"topic"`
	Pointers map[string]string `yaml:"pointers"`
	Time     string            `yaml:"time"`
	Unit     string            `yaml:"unit"`
}

type nestConfig struct {
	ID      string      `yaml:"id"`
	Kind    brood.Kind  `yaml:"kind"`
	Floor   brood.Floor `yaml:"floor"`
	Lined   bool        `yaml:"lined"`
	Cluster []string    `yaml:"cluster"`
	Air     string      `yaml:"air"`
	CO2     string      `yaml:"co2"`
	Cage    string      `yaml:"cage"`
	DepthM  float64     `yaml:"depth_m"`
	Soil    string      `yaml:"soil"`
	Sealed  litter.Date `yaml:"sealed"`
}

type publishConfig struct {
	MQTT       *mqtt.Config    `yaml:"mqtt"`
	Prometheus *metrics.Config `yaml:"prometheus"`
	InfluxDB   *influx.Config  `yaml:"influxdb"`
	Page       *web.Config     `yaml:"page"`
}

// Bounds and defaults of the top level; all ours, no source.
const (
	defaultPoll = 30 * time.Second
	shortPoll   = 5 * time.Second // a row of six DS18B20 takes 4.6 s to read
	longPoll    = 10 * time.Minute
	defaultData = "/var/lib/nestmon"
	controlName = "control.sock" // in data
)

func defaultConfig() *config {
	broker, scrape, page := mqtt.DefaultConfig(), metrics.DefaultConfig(), web.DefaultConfig()
	broker.Device = "" // the site's id, see settle
	return &config{
		Site:    siteConfig{ID: "nestmon", Name: "nestmon", Timezone: "UTC", Display: "celsius", LowVolts: nest.LowVolts},
		Data:    defaultData,
		Poll:    defaultPoll,
		Chores:  litter.DefaultDays(),
		Publish: publishConfig{MQTT: &broker, Prometheus: &scrape, Page: &page},
	}
}

// drop takes out the sections of publish that were not written.
func (p *publishConfig) drop(written func(path string) bool) {
	if !written("publish.mqtt") {
		p.MQTT = nil
	}
	if !written("publish.prometheus") {
		p.Prometheus = nil
	}
	if !written("publish.page") {
		p.Page = nil
	}
}

// settle fills in what follows from other keys and was not written.
func (c *config) settle() {
	if c.Control == "" {
		c.Control = filepath.Join(c.Data, controlName)
	}
	if m := c.Publish.MQTT; m != nil && m.Device == "" {
		m.Device = c.Site.ID // so that sheds on one broker do not overwrite each other
	}
	if p := c.Phone; p != nil && p.Heartbeat != nil && p.Heartbeat.Every == 0 {
		p.Heartbeat.Every = max(phone.UsualBeat, c.Poll)
	}
	for i := range c.Nests {
		if c.Nests[i].Floor == "" {
			c.Nests[i].Floor = brood.SolidFloor
		}
	}
	c.byHand = map[string]bool{}
	for _, p := range c.Probes {
		c.byHand[p.ID] = p.Offset != nil
	}
}

// rabbitry is the configuration as the domain sees it.
func (c *config) rabbitry() thresholds.Config {
	nests := make([]nest.Config, len(c.Nests))
	for i, n := range c.Nests {
		nests[i] = nest.Config(n)
	}
	return thresholds.Config{
		Location: c.location(), AltitudeM: c.Site.AltitudeM, Poll: c.Poll, Outside: c.Outside,
		Battery: c.Site.Battery, LowVolts: c.Site.LowVolts,
		Probes: c.probes(), Nests: nests, Limits: c.tables(), Days: c.Chores,
	}
}

// has reports whether there is such a nest; an empty name is the site.
func (c *config) has(nest string) bool {
	return nest == "" || slices.ContainsFunc(c.Nests, func(n nestConfig) bool { return n.ID == nest })
}

// location is the site's time zone; a zone that does not exist was refused when the file was read.
func (c *config) location() *time.Location {
	zone, err := time.LoadLocation(c.Site.Timezone)
	if err != nil {
		return time.UTC
	}
	return zone
}
