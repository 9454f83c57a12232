package main

import (
	"path/filepath"
	"time"
	_ "time/tzdata" // small boards come without the zones

	"nestmon/sensors"
	"nestmon/thresholds"
	"nestmon/thresholds/brood"
	"nestmon/thresholds/nest"
)

// config is a configuration file. Sections of publish that are absent mean: not published there.
type config struct {
	Site    siteConfig      `yaml:"site"`
	Data    string          `yaml:"data"`    // folder of the archive
	Control string          `yaml:"control"` // unix socket of the commands, by default in data
	Poll    time.Duration   `yaml:"poll"`
	Probes  []probeConfig   `yaml:"probes"`
	Nests   []nestConfig    `yaml:"nests"`
	Outside string          `yaml:"outside"` // the shade-air probe
	Limits  brood.Overrides `yaml:"limits"`
	Publish publishConfig   `yaml:"publish"`
}

type siteConfig struct {
	ID        string  `yaml:"id"`
	Name      string  `yaml:"name"`
	Timezone  string  `yaml:"timezone"`
	AltitudeM float64 `yaml:"altitude_m"` // m above sea level
	Display   string  `yaml:"display"`
}

type probeConfig struct {
	ID         string        `yaml:"id"`
	Source     string        `yaml:"source"`
	ROM        string        `yaml:"rom"`    // of a w1 probe
	Device     string        `yaml:"device"` // of a kernel probe
	Clone      bool          `yaml:"clone"`  // of a w1 probe: a look-alike chip, accepted knowingly
	Chip       string        `yaml:"chip"`
	Quantities []string      `yaml:"quantities"` // where the source cannot know them
	Interval   time.Duration `yaml:"interval"`
	StaleAfter time.Duration `yaml:"stale_after"`
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
}

type publishConfig struct{}

// Bounds and defaults of the top level; all ours, no source.
const (
	defaultPoll = 30 * time.Second
	shortPoll   = 5 * time.Second // a row of six DS18B20 takes 4.6 s to read
	longPoll    = 10 * time.Minute
	defaultData = "/var/lib/nestmon"
)

func defaultConfig() *config {
	return &config{
		Site: siteConfig{ID: "nestmon", Name: "nestmon", Timezone: "UTC", Display: "celsius"},
		Data: defaultData,
		Poll: defaultPoll,
	}
}

// settle fills in what follows from other keys and was not written.
func (c *config) settle() {
	if c.Control == "" {
		c.Control = filepath.Join(c.Data, "control.sock")
	}
	for i := range c.Nests {
		if c.Nests[i].Floor == "" {
			c.Nests[i].Floor = brood.SolidFloor
		}
	}
}

// probes lists the probes with their spacing and age limits filled in.
func (c *config) probes() []sensors.Probe {
	all := make([]sensors.Probe, len(c.Probes))
	for i, p := range c.Probes {
		all[i] = p.probe(c.Poll)
	}
	return all
}

func (p probeConfig) probe(poll time.Duration) sensors.Probe {
	interval := max(p.Interval, poll)
	stale := p.StaleAfter
	if stale == 0 {
		stale = sensors.DefaultStaleAfter(interval)
	}
	return sensors.Probe{ID: p.ID, Quantities: p.measures(), Chip: p.Chip, Interval: interval, StaleAfter: stale}
}

// measures lists what the probe delivers: what is written, or else what its kind of source can.
func (p probeConfig) measures() []sensors.Quantity {
	var all []sensors.Quantity
	for _, q := range sensors.Quantities {
		for _, name := range p.Quantities {
			if name == q.String() {
				all = append(all, q)
			}
		}
	}
	if kind, ok := sourceKindOf(p.Source); ok && len(all) == 0 {
		all = append(all, kind.quantities...)
	}
	return all
}

// rabbitry is the configuration as the domain sees it.
func (c *config) rabbitry() thresholds.Config {
	nests := make([]nest.Config, len(c.Nests))
	for i, n := range c.Nests {
		nests[i] = nest.Config(n)
	}
	return thresholds.Config{
		Location: c.location(), AltitudeM: c.Site.AltitudeM, Poll: c.Poll, Outside: c.Outside,
		Probes: c.probes(), Nests: nests, Limits: c.Limits.Tables(),
	}
}

// location is the site's time zone; a zone that does not exist was refused when the file was read.
func (c *config) location() *time.Location {
	zone, err := time.LoadLocation(c.Site.Timezone)
	if err != nil {
		return time.UTC
	}
	return zone
}
