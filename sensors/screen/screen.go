package screen

import (
	"math"
	"time"

	"nestmon/sensors"
)

// Watch is a set of probes that watch the same air or the same nest.
type Watch struct {
	Probes  []string
	Outside bool // outside air; otherwise a nest, a tote or a cage
}

// Screen remembers of each probe what it takes to judge the next reading. It is used by one goroutine.
type Screen struct {
	probes map[string]*probe
	last   *probe // readings of one probe come together
}

type probe struct {
	id       string
	chip     string
	offset   sensors.Offset
	stale    time.Duration
	outside  bool
	clipped  uint64
	channels [len(sensors.Quantities)]channel
}

// channel is one quantity of one probe.
type channel struct {
	here   bool      // the newest reading held a value
	at     time.Time // of the newest value
	trend  trend
	frozen frozen
}

// New makes a screen for the probes. Watches name which of them should move together; without them nothing is ever stuck.
func New(probes []sensors.Probe, watches ...Watch) *Screen {
	s := &Screen{probes: make(map[string]*probe, len(probes))}
	for _, p := range probes {
		stale := p.StaleAfter
		if stale == 0 {
			stale = sensors.DefaultStaleAfter(p.Interval)
		}
		s.probes[p.ID] = &probe{id: p.ID, chip: p.Chip, offset: p.Offset, stale: stale}
	}
	for _, w := range watches {
		s.watch(w)
	}
	return s
}

// Apply screens the readings in place, in their order: it quantises values, clips humidity, sets Fault and Suspect, and adds each
// probe's offset to what its chip said. A reading of a probe that New was not told of becomes WrongProbe. Readings that hold a fault
// keep it.
func (s *Screen) Apply(readings []sensors.Reading) { s.apply(readings, fromChip) }

// ApplyStored is Apply for values that the archive keeps: they were screened, and their offset is in them. A chip's code was looked for
// when it was said; a value that looks like one now is a measurement.
func (s *Screen) ApplyStored(readings []sensors.Reading) { s.apply(readings, fromArchive) }

// ApplyRecorded is Apply for values of a readings file. Nobody says whether nestmon wrote it or something that knows no codes: its values
// are taken as they are, and a declared chip's codes are looked for unless the probe has an offset, which moved them.
func (s *Screen) ApplyRecorded(readings []sensors.Reading) { s.apply(readings, fromFile) }

// origin is what readings come from, and with it what was done to them already.
type origin int

const (
	fromChip origin = iota
	fromFile
	fromArchive
)

func (s *Screen) apply(readings []sensors.Reading, from origin) {
	for i := range readings {
		r := &readings[i]
		p := s.find(r.Probe)
		if p == nil {
			if r.OK() {
				r.Fault = sensors.WrongProbe
			}
			continue
		}
		c := &p.channels[r.Quantity]
		if r.OK() {
			p.judge(c, r, readings, from)
		}
		c.here = r.OK() || r.Fault == sensors.Settling
	}
	s.compare(readings)
}

// compare looks at how the values of a poll moved against each other.
func (s *Screen) compare(readings []sensors.Reading) {
	for i := range readings {
		if r := &readings[i]; r.OK() {
			s.find(r.Probe).channels[r.Quantity].frozen.follow()
		}
	}
	for i := range readings {
		if r := &readings[i]; r.OK() && r.Quantity <= sensors.Humidity && s.find(r.Probe).frozen() {
			r.Suspect = true
		}
	}
}

// Clipped counts the humidities of the probe that were beyond 0 or 100 % by a little and were clipped.
func (s *Screen) Clipped(id string) uint64 {
	if p := s.probes[id]; p != nil {
		return p.clipped
	}
	return 0
}

func (s *Screen) find(id string) *probe {
	if s.last == nil || s.last.id != id {
		s.last = s.probes[id]
	}
	return s.last
}

// judge is called for readings with a value. It decides impossible first, by what the chip said, then odd, by what that means.
func (p *probe) judge(c *channel, r *sensors.Reading, batch []sensors.Reading, from origin) {
	if math.IsNaN(r.Value) || math.IsInf(r.Value, 0) {
		r.Value, r.Fault = 0, sensors.Malformed
		return
	}
	r.Value = r.Quantity.Quantise(r.Value) + 0 // no negative zero
	gap := r.Time.Sub(c.at)
	back := !c.here || gap > p.stale
	switch r.Quantity {
	case sensors.Temperature:
		r.Fault = impossibleTemperature(r.Value)
	case sensors.Humidity:
		p.clip(r)
	case sensors.CO2:
		r.Fault = impossibleCO2(r.Value)
	case sensors.Voltage:
		r.Fault = beyond(r.Value, leastVolts, mostVolts)
	case sensors.Current:
		r.Fault = beyond(r.Value, leastAmps, mostAmps)
	}
	if r.Fault == "" && p.chip != "" && p.says(from) {
		r.Fault = p.chipCode(r, batch, back)
	}
	if from == fromChip {
		p.correct(r)
	}
	if r.OK() || r.Fault == sensors.Settling {
		c.at = r.Time
	}
	if !r.OK() {
		return
	}
	if gap > p.stale {
		c.trend.forget()
	}
	if c.trend.odd(r.Value, gap, &oddnesses[r.Quantity]) {
		r.Suspect = true
	}
	c.frozen.see(r.Value, r.Time, gap > max(p.stale, longestGap))
}

// says reports whether values of that origin are what the chip said.
func (p *probe) says(from origin) bool {
	return from == fromChip || from == fromFile && p.offset.Temperature == 0 && p.offset.Humidity == 0
}

// correct adds the probe's offset to a value that may be used; a rejected one stays as the chip said it. A temperature that the offset
// carries out of range is out of range; a humidity is clipped, and one that is saturated as the chip said it stays so.
func (p *probe) correct(r *sensors.Reading) {
	by := p.offset.Of(r.Quantity)
	if by == 0 || !r.OK() || by < 0 && r.Quantity == sensors.Humidity && r.Value >= sensors.Saturated {
		return
	}
	r.Value = r.Quantity.Quantise(r.Value+by) + 0
	switch r.Quantity {
	case sensors.Temperature:
		r.Fault = impossibleTemperature(r.Value)
	case sensors.Humidity:
		r.Value = min(max(r.Value, driest), wettest)
	}
}

func impossibleTemperature(v float64) sensors.Fault {
	if v >= coldest && v <= hottest {
		return ""
	}
	for _, c := range codes {
		if v == c.value {
			return c.fault
		}
	}
	if v < absolute0 { // kilo-kelvin and other results of arithmetic on rubbish
		return sensors.Malformed
	}
	return sensors.OutOfRange
}

func impossibleCO2(v float64) sensors.Fault {
	if v == 0 { // the register before the first measurement
		return sensors.NotConverted
	}
	return beyond(v, leastCO2, mostCO2)
}

func beyond(v, least, most float64) sensors.Fault {
	if v < least || v > most {
		return sensors.OutOfRange
	}
	return ""
}

func (p *probe) clip(r *sensors.Reading) {
	low := driest
	if p.chip == sensors.ChipSHT4x {
		low = underDry
	}
	switch {
	case r.Value >= driest && r.Value <= wettest:
	case r.Value < low || r.Value > overWet:
		r.Fault = sensors.OutOfRange
	default:
		r.Value = min(max(r.Value, driest), wettest)
		p.clipped++
	}
}

// chipCode applies what is known of the declared chip.
func (p *probe) chipCode(r *sensors.Reading, batch []sensors.Reading, back bool) sensors.Fault {
	if back && r.Quantity == sensors.Temperature {
		for _, f := range firstCodes {
			if f.chip == p.chip && f.value == r.Value {
				return sensors.Settling
			}
		}
	}
	for i := range pairs {
		if pairs[i].chip == p.chip && pairs[i].in(r, batch) {
			return pairs[i].fault
		}
	}
	return ""
}

// in reports whether r is one half of the pair and the batch holds the other half, of the same probe and instant. The other
// half may have been judged already: its value is kept with its fault.
func (c *pair) in(r *sensors.Reading, batch []sensors.Reading) bool {
	mine, other, quantity := c.temperature, c.humidity, sensors.Humidity
	if r.Quantity == sensors.Humidity {
		mine, other, quantity = other, mine, sensors.Temperature
	}
	if r.Value != mine || r.Quantity > sensors.Humidity {
		return false
	}
	for i := range batch {
		o := &batch[i]
		if o.Quantity == quantity && o.Probe == r.Probe && o.Time.Equal(r.Time) &&
			quantity.Quantise(o.Value) == other && (o.OK() || o.Fault == c.fault) {
			return true
		}
	}
	return false
}
