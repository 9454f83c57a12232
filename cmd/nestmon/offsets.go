package main

import (
	"fmt"
	"path/filepath"
	"time"

	"nestmon/sensors"
	"nestmon/sensors/offsets"
)

// appliedOffset is an offset in force and where it comes from.
type appliedOffset struct {
	probe string
	sensors.Offset
	from string
}

func (a appliedOffset) String() string {
	return fmt.Sprintf("%s: %s, %s of %s, from %s", a.probe, offsetText(a.Offset), a.Method, a.Date, a.from)
}

func offsetText(o sensors.Offset) string {
	text := fmt.Sprintf("%+.2f °C", o.Temperature)
	if o.Humidity != 0 {
		text += fmt.Sprintf(" and %+.2f %%", o.Humidity)
	}
	return text
}

// takeOffsets gives every probe without an offset of its own the newest that was measured of its hardware. It lists what is in force, and
// what a person should know of it.
func (c *config) takeOffsets(root string, now time.Time) (applied []appliedOffset, notes []string, err error) {
	book, notes, err := offsets.Load(c.Data, now, c.location())
	if err != nil {
		return nil, nil, unreadable(err)
	}
	for i := range c.Probes {
		p := &c.Probes[i]
		var stored offsets.Record
		found := false
		if kind, _ := sourceKindOf(p.Source); kind.finder.identity != nil {
			stored, found = book.Of(p.Source, kind.finder.identity(root, *p))
		}
		switch {
		case p.Offset != nil:
			if found && stored.Temperature != p.Offset.Temperature {
				notes = append(notes, fmt.Sprintf("probe %s: the configuration's offset (%+.2f °C of %s) is used, not the %+.2f °C measured on %s; write the newer one there, or remove it",
					p.ID, p.Offset.Temperature, p.Offset.Date, stored.Temperature, stored.Offset(c.location()).Date))
			}
			applied = append(applied, appliedOffset{p.ID, *p.Offset, "the configuration"})
		case found:
			o := stored.Offset(c.location())
			p.Offset = &o
			applied = append(applied, appliedOffset{p.ID, o, filepath.Join(c.Data, offsets.File)})
		}
	}
	return applied, notes, nil
}
