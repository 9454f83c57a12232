package main

import (
	"context"
	"fmt"
	"slices"
	"time"

	"nestmon/exporter/web"
	"nestmon/sensors"
	"nestmon/sensors/icepoint"
	"nestmon/sensors/offsets"
	"nestmon/thresholds"
	"nestmon/thresholds/alarm"
)

// mostTrace is how many readings of a comparison are shown, the newest; ours, no source.
const mostTrace = 120

// frozen are the alarms that a probe's 0 °C may raise, by its role. A fall as steep as that into ice is held for a fault of the probe first.
var frozen = map[thresholds.Role][]alarm.Name{
	thresholds.Cluster:  {alarm.ClusterChill, alarm.ProbeFault, alarm.ProbeSilent, alarm.CheckNest},
	thresholds.Cluster2: {alarm.ClusterChill, alarm.ProbeFault, alarm.ProbeSilent, alarm.CheckNest},
	thresholds.Air:      {alarm.NestCold, alarm.ClusterChill, alarm.ProbeFault, alarm.ProbeSilent, alarm.CheckNest},
	thresholds.Cage:     {alarm.DoeCold},
	thresholds.Outside:  {alarm.WaterDue, alarm.DoeCold, alarm.ProbeFault},
}

// dipping is a probe that lies in ice.
type dipping struct {
	b        *workbench
	probe    *probeConfig
	chip     string
	identity string
	byHand   bool // the configuration holds an offset, which wins

	bath  icepoint.Bath
	began time.Time
	trace [][2]float64
	shown web.Ice

	storing bool
	ended   string // stopped, or the state it ended with
}

var _ job = (*dipping)(nil)

// stopped is the state of a comparison that somebody ended.
const stopped = "stopped"

// Ice implements web.Bench.
func (b *workbench) Ice(_ context.Context, probe string, sure bool) error {
	i := slices.IndexFunc(b.d.cfg.Probes, func(p probeConfig) bool { return p.ID == probe })
	if i < 0 {
		return fmt.Errorf("there is no probe %q; load the page again", probe)
	}
	p, have := &b.d.cfg.Probes[i], b.hangs()[probe]
	if err := mayFreeze(p, have.Probe); err != nil {
		return err
	}
	if nest := b.onlyWatch(probe); nest != "" && !sure {
		return fmt.Errorf("%s is the only probe that watches %s just now, where kits may lie: while it is in ice nobody sees how they do; %w", probe, nest, web.ErrUnsure)
	}
	identity := b.identity(p)
	return b.begin(func() job {
		return &dipping{
			b: b, probe: p, chip: have.Chip, identity: identity, byHand: b.d.cfg.byHand[probe], began: b.d.pace.Now(),
		}
	})
}

func (d *dipping) name() string        { return "ice" }
func (d *dipping) rest() time.Duration { return icepoint.Every }
func (d *dipping) over() bool          { return d.ended != "" }
func (d *dipping) lonely() bool        { return false }

func (d *dipping) end() {
	if d.ended == "" && !d.storing {
		d.ended = stopped
	}
}

func (d *dipping) take(now time.Time, readings []sensors.Reading) {
	var own []sensors.Reading
	for _, r := range readings {
		if r.Probe == d.probe.ID {
			own = append(own, r)
		}
	}
	if len(own) == 0 {
		return
	}
	d.bath.Take(now, own, "")
	for _, r := range own {
		if r.Quantity == sensors.Temperature && r.OK() {
			d.trace = append(d.trace, [2]float64{now.Sub(d.began).Seconds(), r.Value})
			d.trace = d.trace[max(len(d.trace)-mostTrace, 0):]
		}
	}
	d.judge(now)
}

func (d *dipping) step(now time.Time) { d.judge(now) }

// judge looks at the readings, and stores what they come to.
func (d *dipping) judge(now time.Time) {
	v := d.bath.Judge(now)
	s := &d.shown
	s.State, s.Last, s.Left, s.Spread, s.Slope, s.Fault, s.Value = string(v.State), string(v.Last), v.Left.Seconds(), v.Spread, v.Slope, v.Fault, nil
	if v.Known {
		s.Value = &v.Value
	}
	switch {
	case !v.Over() || d.ended != "" || d.storing:
	case v.State == icepoint.Ready:
		d.storing = true
		go d.store(iceRecord(d.probe.Source, d.identity, d.probe.ID, d.chip, d.bath.Result()))
	default:
		d.ended = s.State
	}
}

// store keeps the offset as the command does. The daemon takes it at its next start, for what it remembers is of the values as they were. A card
// that is slow holds up nothing but this.
func (d *dipping) store(r offsets.Record) {
	b, cfg := d.b, d.b.d.cfg
	err := within(cardPatience, func() error { return offsets.Add(cfg.Data, r) })
	o := r.Offset(cfg.location())
	b.d.log.Info("a probe was compared with ice", "probe", d.probe.ID, "offset", offsetText(o), "err", err)
	b.mu.Lock()
	defer b.mu.Unlock()
	s := &d.shown
	s.Offset, s.Mean, s.Readings, s.Line = &web.Offset{Temperature: o.Temperature, Date: o.Date}, r.Mean, r.Readings, offsetLine(o)
	switch s.Stored = err == nil; {
	case err != nil:
		s.Trouble = err.Error() + "; write the line below into the configuration"
	case d.byHand:
		s.Trouble = "the configuration holds an offset of this probe, and it wins; replace it by the line below"
	default:
		b.measured[d.probe.ID] = r
	}
	d.ended = string(icepoint.Ready)
	b.settle()
	b.tell()
}

func (d *dipping) show(now time.Time, to *web.Work) {
	s := d.shown
	s.Probe, s.Since, s.Limit = d.probe.ID, now.Sub(d.began).Seconds(), icepoint.Limit.Seconds()
	s.Trace = append([][2]float64{}, d.trace...)
	switch {
	case d.ended == stopped:
		s.State = stopped
	case d.bath.Begun().IsZero():
		s.State = "waiting"
	}
	to.Ice = &s
}
