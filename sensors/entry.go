package sensors

import (
	"fmt"
	"regexp"
	"strings"
	"time"
)

// Entry is what the configuration of every probe holds, whatever its source. Sources embed it in their own ProbeConfig.
type Entry struct {
	ID         string        `yaml:"id"`
	Source     string        `yaml:"source"`
	Interval   time.Duration `yaml:"interval"`    // 0 is the site's poll
	StaleAfter time.Duration `yaml:"stale_after"` // 0 is DefaultStaleAfter
	Offset     *Offset       `yaml:"offset"`      // nil: the newest one measured, where there is one
}

var idPattern = regexp.MustCompile(`^[a-z0-9]([a-z0-9-]*[a-z0-9])?$`)

// ValidID reports whether id may name a probe or a nest: lower-case letters, digits, and single or double dashes between them.
func ValidID(id string) bool { return idPattern.MatchString(id) }

// Validate reports what is wrong with the entry, by key.
func (e Entry) Validate(report func(path, problem string)) {
	if !ValidID(e.ID) {
		report("id", fmt.Sprintf("%q cannot be an id; write lower-case letters, digits and dashes, such as a1-cluster", e.ID))
	}
	if e.Interval < 0 {
		report("interval", fmt.Sprintf("%v is negative; write a duration such as 30s, or leave it out", e.Interval))
	}
	switch {
	case e.StaleAfter == 0:
	case e.StaleAfter < 0 || e.StaleAfter < e.Interval:
		report("stale_after", fmt.Sprintf("%v is shorter than the interval, so no value would ever be current; write three intervals, or leave it out", e.StaleAfter))
	case e.StaleAfter > StaleLimit:
		report("stale_after", fmt.Sprintf("%v would call an old value current; write at most %v", e.StaleAfter, StaleLimit))
	}
	if e.Offset != nil {
		e.Offset.Validate(func(path, problem string) { report("offset."+path, problem) })
	}
}

// Probe makes the probe that the entry describes; poll is the site's interval.
func (e Entry) Probe(poll time.Duration, chip string, quantities ...Quantity) Probe {
	p := Probe{ID: e.ID, Quantities: quantities, Chip: chip, Interval: e.Interval, StaleAfter: e.StaleAfter}
	if p.Interval == 0 {
		p.Interval = poll
	}
	if p.StaleAfter == 0 {
		p.StaleAfter = DefaultStaleAfter(p.Interval)
	}
	if e.Offset != nil {
		p.Offset = *e.Offset
	}
	return p
}

// ParseQuantities reads quantity names and returns them in Quantities order.
func ParseQuantities(names []string) ([]Quantity, error) {
	var found [numQuantities]bool
next:
	for _, name := range names {
		for _, q := range Quantities {
			if q.String() == name {
				found[q] = true
				continue next
			}
		}
		all := make([]string, 0, numQuantities)
		for _, q := range Quantities {
			all = append(all, q.String())
		}
		return nil, fmt.Errorf("%q is not a quantity; write one of: %s", name, strings.Join(all, ", "))
	}
	var qs []Quantity
	for _, q := range Quantities {
		if found[q] {
			qs = append(qs, q)
		}
	}
	return qs, nil
}
