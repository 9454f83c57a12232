package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strings"
	"time"

	"nestmon/sensors"
	"nestmon/sensors/offsets"
)

// The ice point is 0.0 °C almost exactly: melting ice in water that has met air (MSL Technical Guide 1, "The Ice Point", version 3, 2019).
const icePoint = 0.0 // °C

// When a probe in ice counts as settled. Ours, no source; a DS18B20's step is 1/16 °C.
const (
	iceEvery  = 5 * time.Second  // between readings: the chip warms itself a little by each
	iceLeast  = 3 * time.Minute  // within what an offset may correct, before the readings that count begin
	iceWindow = 3 * time.Minute  // of readings that count
	iceSpread = 0.15             // °C between their lowest and highest: two steps and rounding
	iceSlope  = 0.02             // °C/min of the line through them: ice that is gone, or a probe still cooling
	iceLimit  = 30 * time.Minute // after which it is given up
	iceFaults = 5                // failed readings in a row that end it
	iceTell   = 30 * time.Second
)

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
	fmt.Fprintf(b.std.err, iceAdvice, p.label(), span(iceEvery), span(iceWindow))
	bath := &bath{}
	for lastTold := (time.Time{}); ; b.sleep(ctx, iceEvery) {
		if ctx.Err() != nil {
			fmt.Fprintln(b.std.err, "\nEnded; nothing was changed.")
			return exitDone
		}
		readings, told := p.take(ctx, sensors.Offset{}) // as the chip gives it
		now := b.now()
		bath.take(now, readings, told.Note)
		why, done := bath.judge(now)
		if done && why == "" {
			break
		}
		if done {
			fmt.Fprintf(b.std.err, "\nRefused: %s. Nothing was changed.\n", why)
			return exitFinding
		}
		if now.Sub(lastTold) >= iceTell {
			lastTold = now
			fmt.Fprintf(b.std.err, "%4.0f s  %s\n", now.Sub(bath.begun).Seconds(), bath.text(why))
		}
	}
	return b.store(p, bath.record(p))
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

// bath is the readings of a probe in ice.
type bath struct {
	begun  time.Time
	near   time.Time // since when it is close enough to 0 °C for an offset
	values []iceSample
	faults int
	fault  sensors.Fault
	note   string
}

type iceSample struct {
	at    time.Time
	value float64
}

func (b *bath) take(now time.Time, readings []sensors.Reading, note string) {
	if b.begun.IsZero() {
		b.begun = now
	}
	fault := sensors.NoAnswer
	for _, r := range readings {
		if r.Quantity != sensors.Temperature {
			continue
		}
		if r.OK() {
			b.faults = 0
			b.values = append(b.values, iceSample{now, r.Value})
			if math.Abs(r.Value-icePoint) > sensors.MostTemperatureOffset {
				b.near = time.Time{}
			} else if b.near.IsZero() {
				b.near = now
			}
			return
		}
		fault = r.Fault
	}
	b.faults, b.fault, b.note = b.faults+1, fault, note
	b.values, b.near = nil, time.Time{} // what counts is an unbroken row
}

// window is the readings that count at now; ok is false while they do not reach back far enough.
func (b *bath) window(now time.Time) (of []iceSample, ok bool) {
	for i := len(b.values) - 1; i >= 0; i-- {
		if now.Sub(b.values[i].at) > iceWindow {
			return of, true
		}
		of = b.values[i:]
	}
	return of, false
}

// judge says why the readings cannot be used yet, nothing when they can; done ends the comparison either way.
func (b *bath) judge(now time.Time) (why string, done bool) {
	over := now.Sub(b.begun) >= iceLimit
	if b.faults >= iceFaults {
		return fmt.Sprintf("the probe gives no value (%s): %s", b.fault, nonEmpty(b.note, "look at its plug and cable")), true
	}
	of, whole := b.window(now)
	if b.faults > 0 || len(of) == 0 {
		return "a reading failed; waiting for an unbroken row", over
	}
	mean, spread, slope := describeIce(of)
	switch {
	case b.near.IsZero():
		return fmt.Sprintf("it reads %s, more than %.0f °C from 0: it is not in the ice, not deep enough, or no probe to be corrected but one to be changed", bothScales(of[len(of)-1].value, ""), sensors.MostTemperatureOffset), over
	case now.Sub(b.near) < iceLeast+iceWindow || !whole:
		left := max(iceLeast+iceWindow-now.Sub(b.near), 0)
		return fmt.Sprintf("it settles, %.0f s more", left.Seconds()), over
	case spread > iceSpread:
		return fmt.Sprintf("it is not steady: %.2f °C between its readings of the last %s; stir, push it deeper, add ice", spread, span(iceWindow)), over
	case math.Abs(slope) > iceSlope:
		return fmt.Sprintf("it is not steady: it moves by %+.2f °C a minute; stir, push it deeper, add ice", slope), over
	case math.Abs(mean-icePoint) > sensors.MostTemperatureOffset:
		return fmt.Sprintf("it reads %s in ice: change it, an offset would hide what is wrong with it", bothScales(mean, "")), true
	}
	return "", true
}

// describeIce is the mean of samples, °C, their spread, °C, and the slope of the line through them, °C/min.
func describeIce(of []iceSample) (mean, spread, slope float64) {
	low, high := math.Inf(1), math.Inf(-1)
	var st, sv, stt, stv float64
	n := float64(len(of))
	for _, s := range of {
		t := s.at.Sub(of[0].at).Minutes()
		low, high = min(low, s.value), max(high, s.value)
		st, sv, stt, stv = st+t, sv+s.value, stt+t*t, stv+t*s.value
	}
	if across := stt - st*st/n; across > 0 {
		slope = (stv - st*sv/n) / across
	}
	return sv / n, high - low, slope
}

func (b *bath) text(why string) string {
	if len(b.values) == 0 {
		return fmt.Sprintf("no value (%s)", b.fault)
	}
	newest := bothScales(b.values[len(b.values)-1].value, "")
	switch {
	case why == "":
		return newest
	case b.near.IsZero():
		return fmt.Sprintf("%s  not in the ice yet: more than %.0f °C off", newest, sensors.MostTemperatureOffset)
	}
	return newest + "  " + why
}

// record is the comparison as it is stored.
func (b *bath) record(p *surveyProbe) offsets.Record {
	newest := b.values[len(b.values)-1].at
	of, _ := b.window(newest)
	mean, spread, _ := describeIce(of)
	r := offsets.Record{
		Time: newest.Truncate(time.Second), Source: p.Source, Identity: p.Identity, Chip: p.Chip, Method: sensors.IcePoint,
		Temperature: sensors.Temperature.Quantise(icePoint-mean) + 0, Mean: math.Round(mean*1000) / 1000, Spread: math.Round(spread*1000) / 1000,
		Readings: len(of), Seconds: newest.Sub(of[0].at).Seconds(),
	}
	if p.Place != nil {
		r.Probe = p.Place.Probe
	}
	return r
}

// store keeps the offset beside the archive and prints it for the configuration, which may hold it as well and wins.
func (b *bench) store(p *surveyProbe, r offsets.Record) int {
	loc := time.UTC
	if b.cfg != nil {
		loc = b.cfg.location()
	}
	o := r.Offset(loc)
	line := fmt.Sprintf("offset: {temperature: %.2f, date: %s, method: %s}", o.Temperature, o.Date, o.Method)
	code := exitDone
	var said []string
	switch {
	case b.cfg == nil:
		said = append(said, "Without a configuration nothing is stored. Write this into the probe's line:")
	case p.config != nil && p.config.Offset != nil && writtenByHand(b.file, p.config.ID):
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

// writtenByHand reports whether the configuration file itself holds an offset of the probe.
func writtenByHand(file, probe string) bool {
	c, _, err := loadConfig(file)
	if err != nil {
		return false
	}
	for _, p := range c.Probes {
		if p.ID == probe {
			return p.Offset != nil
		}
	}
	return false
}
