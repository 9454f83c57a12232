package main

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"nestmon/sensors"
	"nestmon/sensors/icepoint"
	"nestmon/sensors/offsets"
)

// iceTell is how often it is told how a probe in ice does; ours, no source.
const iceTell = 30 * time.Second

const iceAdvice = `Compare %[1]s with melting ice (0.0 °C, 32 °F).

Only a SEALED probe: potted steel, not a bare board or a humidity sensor, which water ruins.
Keep the board, its supply and everything on mains voltage away from the water. Work away
from the doe and her nest. Take care with glass: use a steel or plastic vacuum flask.

1. Fill the flask to the bottom with crushed ice, best of distilled water; salt and dirt
   make it colder. Add just enough cold clean water to fill the gaps. Where ice is missing
   at the bottom, water gathers that is up to 4 °C (39 °F) warm.
2. Push the probe into the middle, at least 10 cm (4 in) deep with some of its cable, and
   off the walls. Stir now and then; pour off water and add ice while it floats up.
3. Leave it. It is read every %[2]s until it has been steady for %[3]s.

While it lies there the daemon sees 0 °C in its nest: expect its alarms, and do not take
the only probe of a nest with kits. Ctrl-C ends, and changes nothing.
`

// icePoint walks through a comparison with melting ice and stores the offset.
func (b *bench) icePoint(ctx context.Context, probe string) int {
	p, err := b.choose(ctx, probe)
	if err != nil {
		fmt.Fprintf(b.std.err, "nestmon probes ice-point: %v\n", err)
		return exitWrongUse
	}
	fmt.Fprintf(b.std.err, iceAdvice, p.label(), span(icepoint.Every), span(icepoint.Window))
	bath := &icepoint.Bath{}
	for lastTold := (time.Time{}); ; b.sleep(ctx, icepoint.Every) {
		if ctx.Err() != nil {
			fmt.Fprintln(b.std.err, "\nEnded; nothing was changed.")
			return exitDone
		}
		readings, told := p.take(ctx, sensors.Offset{}) // as the chip gives it
		now := b.now()
		bath.Take(now, readings, told.Note)
		v := bath.Judge(now)
		switch {
		case v.State == icepoint.Ready:
			return b.store(p, p.record(bath.Result()))
		case v.Over():
			fmt.Fprintf(b.std.err, "\nRefused: %s. Nothing was changed.\n", iceWords(v, v.State))
			return exitFinding
		case now.Sub(lastTold) >= iceTell:
			lastTold = now
			fmt.Fprintf(b.std.err, "%4.0f s  %s\n", now.Sub(bath.Begun()).Seconds(), iceLine(v))
		}
	}
}

// choose finds the one probe that is meant, by its id or by its number.
func (b *bench) choose(ctx context.Context, probe string) (*surveyProbe, error) {
	if probe == "" {
		return nil, errors.New("--probe is missing; name the probe by its id, or by its number as 'nestmon probes' shows it")
	}
	if err := b.dry(probe); err != nil {
		return nil, err
	}
	s := find(ctx, b.root, b.cfg, b.ask(ctx))
	for i := range s.Buses {
		for k := range s.Buses[i].Probes {
			p := &s.Buses[i].Probes[k]
			if p.Identity != probe && (p.Place == nil || p.Place.Probe != probe) {
				continue
			}
			if sensors.ChipMeasures(p.Chip, sensors.Humidity) {
				return nil, ruined(probe)
			}
			if p.found.Read == nil && s.Buses[i].held {
				return nil, fmt.Errorf("%s is read by the daemon, and its bus cannot be shared; stop the daemon, with nobody in the nests who needs it: sudo systemctl stop nestmon", probe)
			}
			if p.found.Read == nil || p.Binds == "" {
				return nil, fmt.Errorf("%s cannot be read; 'nestmon probes' says why", probe)
			}
			return p, nil
		}
	}
	return nil, s.unknown(b.cfg, probe)
}

// dry refuses a configured humidity chip, whether a bus shows it or not.
func (b *bench) dry(probe string) error {
	if b.cfg == nil {
		return nil
	}
	for _, p := range b.cfg.Probes {
		if p.ID == probe && (sensors.ChipMeasures(p.probe(b.cfg).Chip, sensors.Humidity) || sensors.ChipMeasures(p.Device, sensors.Humidity)) {
			return ruined(probe)
		}
	}
	return nil
}

func ruined(probe string) error {
	return fmt.Errorf("%s is a humidity chip; water ruins it. Only a sealed probe goes into ice", probe)
}

// unknown says why a probe is not found: it is configured and missing, or its name is misspelt.
func (s *survey) unknown(c *config, probe string) error {
	for _, l := range s.Missing {
		if l.Probe == probe {
			return fmt.Errorf("%s is configured, and not seen on a bus (%s): %s", probe, l.Identity, l.why("celsius"))
		}
	}
	var names []string
	if c != nil {
		names = c.probeIDs()
	}
	for _, b := range s.Buses {
		for _, p := range b.Probes {
			if p.Place == nil && p.Binds != "" {
				names = append(names, p.Identity)
			}
		}
	}
	if len(names) == 0 {
		return fmt.Errorf("no bus holds %q; 'nestmon probes' says what is missing", probe)
	}
	return fmt.Errorf("no bus holds %q; %s", probe, oneOf(probe, names))
}

func (p *surveyProbe) label() string {
	if p.Place != nil {
		return p.Place.Probe + " (" + p.Identity + ")"
	}
	return p.Identity
}

// iceWords says in words what keeps a probe in ice from being compared.
func iceWords(v icepoint.Verdict, state icepoint.State) string {
	switch state {
	case icepoint.TooLong:
		return iceWords(v, v.Last)
	case icepoint.Silent:
		return fmt.Sprintf("the probe gives no value (%s): %s", v.Fault, nonEmpty(v.Note, "look at its plug and cable"))
	case icepoint.Broken:
		return "a reading failed; waiting for an unbroken row"
	case icepoint.Away:
		return fmt.Sprintf("it reads %s, more than %.0f °C from 0: it is not in the ice, not deep enough, or no probe to be corrected but one to be changed", bothScales(v.Value, ""), sensors.MostTemperatureOffset)
	case icepoint.Settling:
		return fmt.Sprintf("it settles, %.0f s more", v.Left.Seconds())
	case icepoint.Uneven:
		return fmt.Sprintf("it is not steady: %.2f °C between its readings of the last %s; stir, push it deeper, add ice", v.Spread, span(icepoint.Window))
	case icepoint.Moving:
		return fmt.Sprintf("it is not steady: it moves by %+.2f °C a minute; stir, push it deeper, add ice", v.Slope)
	case icepoint.TooFar:
		return fmt.Sprintf("it reads %s in ice: change it, an offset would hide what is wrong with it", bothScales(v.Value, ""))
	}
	return string(state)
}

// iceLine is what is told while it is waited.
func iceLine(v icepoint.Verdict) string {
	switch {
	case !v.Known:
		return fmt.Sprintf("no value (%s)", v.Fault)
	case v.State == icepoint.Away:
		return fmt.Sprintf("%s  not in the ice yet: more than %.0f °C off", bothScales(v.Value, ""), sensors.MostTemperatureOffset)
	}
	return bothScales(v.Value, "") + "  " + iceWords(v, v.State)
}

// record is a comparison of the probe as it is stored.
func (p *surveyProbe) record(r icepoint.Result) offsets.Record {
	name := ""
	if p.Place != nil {
		name = p.Place.Probe
	}
	return iceRecord(p.Source, p.Identity, name, p.Chip, r)
}

func iceRecord(source, identity, probe, chip string, r icepoint.Result) offsets.Record {
	return offsets.Record{
		Time: r.At.Truncate(time.Second), Source: source, Identity: identity, Probe: probe, Chip: chip, Method: sensors.IcePoint,
		Temperature: r.Offset, Mean: r.Mean, Spread: r.Spread, Readings: r.Readings, Seconds: r.Took.Seconds(),
	}
}

// store keeps the offset beside the archive and prints it for the configuration, which may hold it as well and wins.
func (b *bench) store(p *surveyProbe, r offsets.Record) int {
	loc := time.UTC
	if b.cfg != nil {
		loc = b.cfg.location()
	}
	o := r.Offset(loc)
	line := offsetLine(o)
	code := exitDone
	var said []string
	switch {
	case b.cfg == nil:
		said = append(said, "Without a configuration nothing is stored. Write this into the probe's line:")
	case p.config != nil && b.cfg.byHand[p.config.ID]:
		said = append(said, "The configuration holds an offset of this probe, and it wins. Replace it by:")
	}
	stored := ""
	if b.cfg != nil {
		if err := offsets.Add(b.cfg.Data, r); err != nil {
			said = append(said, fmt.Sprintf("%v. Ask as the daemon's user (sudo -u nestmon nestmon probes ice-point …), or write it into the probe's line:", err))
			code = exitFinding
		} else {
			stored = b.cfg.Data + "/" + offsets.File
			if len(said) == 0 {
				said = append(said, "Stored in "+stored+"; the daemon takes it at its next start: sudo systemctl restart nestmon\nYou may write it into the probe's line as well:")
			}
		}
	}
	if b.json {
		out := struct {
			offsets.Record
			Stored string `json:"stored"`
			YAML   string `json:"yaml"`
		}{r, stored, line}
		if err := printJSON(b.std.out, out); err != nil {
			fmt.Fprintf(b.std.err, "nestmon probes: writing: %v\n", err)
			return exitWrongUse
		}
		fmt.Fprintln(b.std.err, strings.Join(said, "\n"))
		return code
	}
	fmt.Fprintf(b.std.out, "\n%s reads %+.3f °C in ice: %d readings in %.0f s, %.2f °C apart. Its offset is %+.2f °C (%+.2f °F).\n%s\n    %s\n",
		p.label(), r.Mean, r.Readings, r.Seconds, r.Spread, r.Temperature, r.Temperature*9/5, strings.Join(said, "\n"), line)
	return code
}

// offsetLine is the offset as a probe's line holds it.
func offsetLine(o sensors.Offset) string {
	return fmt.Sprintf("offset: {temperature: %.2f, date: %s, method: %s}", o.Temperature, o.Date, o.Method)
}
