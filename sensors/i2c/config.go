package i2c

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
	"time"

	"periph.io/x/conn/v3/i2c/i2creg"

	"nestmon/sensors"
)

// Kind is what the configuration writes as source.
const Kind = "i2c"

// Where a multiplexer may be and how many channels it has (PCA9548A: three address pins above 0x70, eight channels; periph's pca9548
// refuses others too).
const (
	firstMux, lastMux = 0x70, 0x77
	channels          = 8
)

// MostShunt is more than any shunt has, Ω: at 10 Ω a board's 0.5 A would lose 5 V in it. Ours, no source.
const MostShunt = 10

// ProbeConfig is one chip.
type ProbeConfig struct {
	sensors.Entry `yaml:",inline"`
	Chip          string  `yaml:"chip"`
	Bus           string  `yaml:"bus"`       // i2c-1 for /dev/i2c-1, or the name of a bus that periph knows
	Address       uint16  `yaml:"address"`   // 7 bit
	Mux           uint16  `yaml:"mux"`       // address of the multiplexer that nestmon switches, 0 where there is none
	Channel       *int    `yaml:"channel"`   // of the multiplexer
	ShuntOhm      float64 `yaml:"shunt_ohm"` // Ω, of a chip that measures current; 0 is that of its usual board
}

var busPattern = regexp.MustCompile(`^i2c-(0|[1-9][0-9]{0,3})$`)

// Validate reports what is wrong with the probe, by key.
func (c ProbeConfig) Validate(report func(path, problem string)) {
	c.Entry.Validate(report)
	if !busPattern.MatchString(c.Bus) && !registered(c.Bus) {
		report("bus", fmt.Sprintf("%q is not a bus; write i2c- and its number, such as i2c-1: ls /dev/i2c-*", c.Bus))
	}
	driver, known := driverOf(c.Chip)
	switch {
	case !known:
		report("chip", fmt.Sprintf("%q cannot be read here; write one of: %s; or let the kernel drive it and write source: kernel", c.Chip, strings.Join(driverNames(), ", ")))
	case c.Address == 0:
		report("address", fmt.Sprintf("is missing; %s can be at %s", driver.Name, addresses(driver.Addresses)))
	case !slices.Contains(driver.Addresses, c.Address):
		report("address", fmt.Sprintf("%s cannot be at %s; write one of: %s (with 0x: without it the number is decimal)", driver.Name, hex(c.Address), addresses(driver.Addresses)))
	}
	c.validateMux(report)
	switch {
	case c.ShuntOhm != 0 && known && driver.Name != "ina219":
		report("shunt_ohm", fmt.Sprintf("means nothing for %s; remove it", driver.Name))
	case c.ShuntOhm < 0 || c.ShuntOhm > MostShunt:
		report("shunt_ohm", fmt.Sprintf("%g Ω is no shunt; write what is printed on it, such as 0.1 (R100 means 0.1)", c.ShuntOhm))
	}
}

func (c ProbeConfig) validateMux(report func(path, problem string)) {
	switch {
	case c.Mux == 0 && c.Channel != nil:
		report("channel", "means nothing without mux; write the multiplexer's address as mux: 0x70, or, where the kernel drives it, the channel's own bus")
	case c.Mux == 0:
	case c.Mux < firstMux || c.Mux > lastMux:
		report("mux", fmt.Sprintf("%s is not a multiplexer's address; write %s to %s", hex(c.Mux), hex(firstMux), hex(lastMux)))
	case c.Channel == nil:
		report("channel", fmt.Sprintf("is missing; write the multiplexer's channel, 0 to %d", channels-1))
	case *c.Channel < 0 || *c.Channel >= channels:
		report("channel", fmt.Sprintf("%d is not a channel; write 0 to %d", *c.Channel, channels-1))
	case c.Address == c.Mux:
		report("address", fmt.Sprintf("%s is the multiplexer's own; strap one of the two to another", hex(c.Address)))
	}
}

// Place is what the chip is bound to.
func (c ProbeConfig) Place() string {
	if c.Mux == 0 || c.Channel == nil {
		return fmt.Sprintf("%s %s", c.Bus, hex(c.Address))
	}
	return fmt.Sprintf("%s mux %s channel %d %s", c.Bus, hex(c.Mux), *c.Channel, hex(c.Address))
}

// Together reports what is wrong with probes beside each other; i is the place of the one to be changed.
func Together(probes []ProbeConfig, report func(i int, path, problem string)) {
	for i, c := range probes {
		for _, before := range probes[:i] {
			if problem := c.beside(before); problem != "" {
				report(i, "address", problem)
				break
			}
		}
	}
}

// beside says why a chip cannot be on a bus with another, or nothing.
func (c ProbeConfig) beside(other ProbeConfig) string {
	switch {
	case c.Bus != other.Bus || c.Bus == "" || c.Address == 0 || other.Address == 0:
		return ""
	case c.Place() == other.Place():
		return fmt.Sprintf("%s is bound to %s already; write the place of another chip", c.Place(), other.ID)
	case c.Address == other.Address && (c.Mux == 0) != (other.Mux == 0):
		return fmt.Sprintf("%s is also that of %s, and one of the two is behind a multiplexer: both would answer at once; put the other behind it too, or strap it to another address", hex(c.Address), other.ID)
	case c.Address == other.Mux || other.Address == c.Mux:
		return fmt.Sprintf("a chip and a multiplexer of this bus are at one address (%s and %s); strap one of the two to another", c.Place(), other.Place())
	}
	return ""
}

func (c ProbeConfig) probe(poll time.Duration) sensors.Probe {
	driver, _ := driverOf(c.Chip)
	return c.Probe(poll, driver.Name, driver.Quantities...)
}

// registered reports whether periph knows a bus of that name.
func registered(name string) bool {
	return name != "" && slices.ContainsFunc(i2creg.All(), func(r *i2creg.Ref) bool {
		return r.Name == name || slices.Contains(r.Aliases, name)
	})
}

func hex(address uint16) string { return fmt.Sprintf("0x%02x", address) }

func addresses(all []uint16) string {
	texts := make([]string, len(all))
	for i, a := range all {
		texts[i] = hex(a)
	}
	return strings.Join(texts, ", ")
}
