package onewire

import (
	"context"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
)

// Check says what a person should put right before the probes can be read. It searches every line and reads what is there; nothing
// converts.
func (s *Source) Check() []string {
	var findings []string
	for _, bus := range s.lines() {
		findings = append(findings, s.rivals(bus)...)
		v, f := s.survey(context.Background(), bus)
		if f != nil {
			findings = append(findings, fmt.Sprintf("1-Wire bus %s: %v", bus, f))
			continue
		}
		findings = append(findings, s.missing(bus, v)...)
		findings = append(findings, s.odd(bus, v)...)
	}
	return findings
}

// rivals names what of the kernel is on the same line.
func (s *Source) rivals(bus string) []string {
	l, err := parseLine(bus)
	switch {
	case err != nil:
		return nil // New has refused it
	case l.address != 0 && exists(s.root, fmt.Sprintf("sys/bus/i2c/devices/%d-%04x/driver", l.i2c, l.address)):
		return []string{fmt.Sprintf("%s is driven by the kernel too, and the two would read each other's answers; write source: w1 for its probes, or unload the kernel's driver: sudo modprobe -r ds2482", bus)}
	case l.address == 0 && thermometers(s.root):
		return []string{fmt.Sprintf("the kernel's w1_therm uses %s too, and converts in between; unload it: sudo modprobe -r w1_therm, and for the next start: echo blacklist w1_therm | sudo tee /etc/modprobe.d/nestmon.conf; or write source: w1", bus)}
	}
	return nil
}

// thermometers reports whether the kernel's w1_therm is at work, as a module or built in.
func thermometers(root string) bool {
	driven, _ := filepath.Glob(filepath.Join(root, devices, "28-*/w1_slave")) // the pattern is right
	return len(driven) > 0 || exists(root, "sys/module/w1_therm")
}

// missing names the line's probes that did not answer the search, and what did and is bound to nothing.
func (s *Source) missing(bus string, v content) (findings []string) {
	var free []string
	for _, f := range v.chips {
		if !slices.ContainsFunc(s.probes, func(c ProbeConfig) bool { return c.ROM == f.rom }) {
			free = append(free, f.rom)
		}
	}
	hint := "no other DS18B20 is there"
	switch {
	case len(free) > 0:
		hint = "there and bound to nothing: " + strings.Join(free, ", ")
	case len(v.chips) > 0:
		hint = "every other one there is already bound"
	}
	for _, c := range s.probes {
		if c.Bus == bus && !slices.ContainsFunc(v.chips, func(f chip) bool { return f.rom == c.ROM }) {
			findings = append(findings, fmt.Sprintf("probe %s: %s is not on %s; check its three wires and the number (%s)", c.ID, c.ROM, bus, hint))
		}
	}
	return findings
}

// odd names what is there and is not as it should be.
func (s *Source) odd(bus string, v content) (findings []string) {
	if n := len(v.phantoms); n > 0 {
		findings = append(findings, fmt.Sprintf("%s shows %d numbers that no chip has: the line is noisy; look at its length, its stubs and its resistor", bus, n))
	}
	for _, f := range v.chips {
		at := slices.IndexFunc(s.probes, func(c ProbeConfig) bool { return c.ROM == f.rom && c.Bus == bus })
		if at < 0 || f.maker == "" {
			continue
		}
		c := s.probes[at]
		if f.maker != maker(c.Clone) {
			findings = append(findings, fmt.Sprintf("probe %s: %s answers as %s, and is configured as %s; %s", c.ID, c.ROM, f.maker, maker(c.Clone), remedy(f.maker)))
		}
		if f.bits != 12 {
			findings = append(findings, fmt.Sprintf("probe %s: %s is set to %d bit, a step of %g °C; it is set to 12 bit at each read that finds it so, until it loses its supply", c.ID, c.ROM, f.bits, 1/float64(int(1)<<(f.bits-8))))
		}
	}
	return findings
}

// maker is what a probe of this clone family answers as.
func maker(clone string) string {
	if clone == "" {
		return "genuine"
	}
	return "clone " + clone
}

func remedy(maker string) string {
	switch clone, known := strings.CutPrefix(maker, "clone "); {
	case known:
		return "write clone: " + clone + " if you trust it, after an ice bath"
	case maker == "genuine":
		return "remove clone"
	}
	return "use another probe"
}
