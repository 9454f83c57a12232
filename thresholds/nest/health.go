package nest

import (
	"fmt"
	"math"
	"slices"
	"time"

	"nestmon/thresholds/alarm"
)

// Numbers that tell a probe in the wrong place or with a scale that has run away; ours, found on simulated nests, where no source
// stands beside them. None tells a slow fall of a probe on a live pile: the pile moves about more in a day than the probe drifts.
const (
	leads       = 4.0  // min by which one probe's readings must run ahead of nest air through a night
	leadApart   = 0.3  // K that may be left between the two when that lead is taken out
	outsideOver = 3.0  // K that outside is over the air of a box all night: its walls and kits only warm it
	toteOver    = 8.0  // K over that of a tote, where warm wind may blow over cold ground
	outdoorLike = 0.5  // K over nest air at most of a cluster reading that may be the air outside
	toteSwing   = 1.3  // times the swing of a tote's air: outside air swings at least so far
	coldUnder   = 2.5  // K under nest air and under outside all night: nothing in a nest is so cold
	overAgain   = 3.0  // K over both: a cluster probe that lies on kits again
	hotAbove    = 39.5 // °C: newborn kits lie at 38.0 ± 0.8, older ones lower [Hull, Hull and Vinter 1986], and a doe inside is at 39.3 [FAO, Lebas and others]
	hotBack     = 39.0 // °C
	coolAir     = 28.0 // °C of nest air: in it newborn kits measured 37.7 °C after an hour [Hull, Hull and Vinter 1986]
	pileAir     = 30.0 // °C of "nest air" at night, far over the air outside and over the cluster probe, by turnedOver: it lies on the pile
	turnedOver  = 8.0  // K
	sureAfter   = 60   // min
)

// verdict is what a night said of a cluster probe.
type verdict int

const (
	sound verdict = iota
	swapped
	tooCold
)

// health is what the nest's probes say of each other.
type health struct {
	told    [2]verdict // by cluster probe, of the newest night that could be judged
	lowAir  bool       // nest air read far under the air outside
	cluster [2]float64 // °C, means of that night
	air     float64
	outside float64
	date    int
	since   time.Time
	pending bool // the other nests' nights are not closed yet

	well [2]level // it lies on kits again
	hot  [2]level // it is warmer than a pile can be
	over [2]bool
	cool [2]level // not so any more

	onPile  [2]level // what should be nest air lies on the pile, and the cluster probe does not
	turned  [2]bool
	righted [2]level
}

// claim is several nests' word about the same probe outside: the nest that shows most speaks for all.
type claim struct {
	date  int
	worst float64
	nest  string
}

func (c *claim) make(date int, v float64, nest string) {
	if c.date != date || v > c.worst {
		*c = claim{date, v, nest}
	}
}

// heads is the sums of a night that show how a cluster probe and the air outside go with nest air.
type heads struct {
	n, s, ss            float64 // of the slope of nest air, K/min
	c, sc, cc           float64 // of cluster minus nest air, K
	o, so, oo           float64 // of outside minus nest air, K
	a, aa, cluster, ca2 float64 // of nest air and of the cluster, °C
	least               float64 // K, of outside minus nest air
}

func (h *heads) add(slope, air, cluster, outside float64) {
	c, o := cluster-air, outside-air
	if h.n == 0 || o < h.least {
		h.least = o
	}
	h.n++
	h.s, h.ss = h.s+slope, h.ss+slope*slope
	h.c, h.sc, h.cc = h.c+c, h.sc+slope*c, h.cc+c*c
	h.o, h.so, h.oo = h.o+o, h.so+slope*o, h.oo+o*o
	h.a, h.aa = h.a+air, h.aa+air*air
	h.cluster, h.ca2 = h.cluster+cluster, h.ca2+cluster*cluster
}

// lead is by how many minutes a reading runs ahead of nest air, from its difference d to nest air: what is ahead by L differs by L times
// the slope. rest is the scatter, K, that is left.
func (h *heads) lead(d, sd, dd float64) (minutes, rest float64) {
	spread := h.ss - h.s*h.s/h.n
	minutes = (sd - h.s*d/h.n) / max(spread, 1e-9)
	return minutes, math.Sqrt(max(dd-d*d/h.n-minutes*minutes*spread, 0) / h.n)
}

// judge says what a night tells of a cluster probe.
func (h *heads) judge(tote bool) verdict {
	c, o := h.c/h.n, h.o/h.n
	over := outsideOver
	if tote {
		over = toteOver
	}
	if o > over && h.least > over/2 && c < outdoorLike && (!tote || spread(h.cluster, h.ca2, h.n) > toteSwing*spread(h.a, h.aa, h.n)) {
		return swapped // 'outside' is warm as a pile, and the cluster probe is not
	}
	if !tote {
		ahead, restC := h.lead(h.c, h.sc, h.cc)
		behind, restO := h.lead(h.o, h.so, h.oo)
		if ahead > leads && behind < -leads && max(restC, restO) < leadApart {
			return swapped // an empty box follows the air outside, and its straw follows the box
		}
	}
	if !tote && c < -coldUnder && c-o < -coldUnder {
		return tooCold // the floor of a tote is the ground, which may be colder than both and is not measured
	}
	return sound
}

func spread(sum, squares, n float64) float64 { return math.Sqrt(max(squares-sum*sum/n, 0) / n) }

// night judges a night that is over.
func (h *health) night(w *Watch, n *Now, t *tonight) {
	for i := range t.heads {
		s := &t.heads[i]
		if s.n < nightLeast {
			continue
		}
		h.told[i] = s.judge(!w.box())
		h.cluster[i], h.air, h.outside = s.cluster/s.n, s.a/s.n, (s.a+s.o)/s.n
		h.date, h.pending, h.since = t.date, true, n.Wall
		if h.told[i] == swapped {
			w.site.swapped.make(t.date, h.air-h.cluster[i], w.cfg.ID)
		}
	}
	if s := &t.all; s.n >= nightLeast {
		over := s.o / s.n
		if h.lowAir = w.box() && over > outsideOver && h.told[0] != swapped && h.told[1] != swapped; h.lowAir {
			h.air, h.outside = s.a/s.n, (s.a+s.o)/s.n
			h.date, h.pending, h.since = t.date, true, n.Wall
			w.site.warmer.make(t.date, over, w.cfg.ID)
		}
	}
}

// step looks at what need not wait for a night.
func (h *health) step(w *Watch, n *Now) {
	for i, c := range w.cluster[:min(len(w.cluster), len(h.told))] {
		if !c.Fresh(n) || !w.air.Fresh(n) {
			continue
		}
		a := w.air.value
		if h.hot[i].step(n, c.value > hotAbove && a < coolAir) >= sureAfter {
			h.over[i] = true
		}
		if h.cool[i].step(n, c.value < hotBack || a > coolAir) >= sureAfter {
			h.over[i] = false
		}
		out := w.site.air
		if w.house.on {
			out = nil
		}
		upside := out.Fresh(n) && w.atNight(n) && a > pileAir && a-c.value > turnedOver && a-out.value > turnedOver
		if h.onPile[i].step(n, upside) >= sureAfter {
			h.turned[i] = true
		}
		if h.righted[i].step(n, c.value > a) >= sureAfter {
			h.turned[i] = false
		}
		again := c.value-a > overAgain && (!out.Fresh(n) || c.value-out.value > overAgain)
		if h.well[i].step(n, again) >= sureAfter {
			h.told[i] = sound
		}
	}
}

// mixed reports whether a cluster probe seems to hang where another should.
func (h *health) mixed() bool {
	return slices.Contains(h.told[:], swapped) || slices.Contains(h.turned[:], true)
}

// atNight reports whether no sun can be on the nest.
func (w *Watch) atNight(n *Now) bool {
	hour := n.Wall.In(w.loc).Hour()
	return hour >= nightFrom || hour < nightUntil
}

// faults adds what the probes say of each other to c.
func (h *health) faults(w *Watch, n *Now, c *alarm.Condition) {
	add := func(why, probe string, value, limit float64, since time.Time) {
		if c.Count++; c.Count > 1 {
			return
		}
		c.Why, c.Probe, c.Severity, c.Since = why, probe, alarm.Warning, since
		c.Value, c.Limit, c.HasValue, c.HasLimit, c.Unit = round2(value), round2(limit), true, true, "C"
	}
	for i, ch := range w.cluster[:min(len(w.cluster), len(h.told))] {
		switch {
		case h.over[i]:
			add(whyTooHot, ch.Probe, ch.value, hotAbove, n.Wall)
		case h.turned[i]:
			add(whyTurned, ch.Probe, ch.value, w.air.value-turnedOver, n.Wall)
		case h.told[i] == sound:
		case h.pending:
			c.Hold = true
		case h.told[i] == tooCold:
			add(whyUnderAll, ch.Probe, h.cluster[i], h.air-coldUnder, h.since)
		case w.site.swapped.date != h.date || w.site.swapped.nest == w.cfg.ID:
			add(whySwapped, ch.Probe, h.cluster[i], h.air, h.since)
		}
	}
	switch {
	case !h.lowAir:
	case h.pending:
		c.Hold = true
	case w.site.warmer.date != h.date || w.site.warmer.nest == w.cfg.ID:
		add(whyLowAir, w.air.Probe, h.air, h.outside-outsideOver, h.since)
	}
	h.pending = false
}

// words explain a fault that the probes tell of each other; ok is false for any other.
func (h *health) words(w *Watch, c alarm.Condition) (text string, ok bool) {
	outside := ""
	if w.site.air != nil {
		outside = w.site.air.Probe
	}
	switch c.Why {
	case whySwapped:
		return fmt.Sprintf("%s and %s may be swapped: through the night %s read %s and went ahead of nest air as only the air outside does, while %s read %s. "+
			"Warm %s in the hand: when the reading of %s rises, swap their plugs or their names. It may also be that %s hangs in a warm place.",
			c.Probe, outside, c.Probe, both(c.Value), outside, both(h.outside), c.Probe, outside, outside), true
	case whyTurned:
		return fmt.Sprintf("%s and %s may be swapped: by night %s, the nest's air, is as warm as a pile (%s), and %s read %s. "+
			"Warm %s in the hand: when the reading of %s rises, swap their plugs or their names.",
			c.Probe, w.air.Probe, w.air.Probe, both(w.air.value), c.Probe, both(c.Value), c.Probe, w.air.Probe), true
	case whyUnderAll:
		return fmt.Sprintf("%s read %s through the night, colder than both nest air (%s) and the air outside (%s): nothing in a nest is. Its scale may have run away. "+
			"Hold it beside another probe, or in ice water, and change it when it is wrong.", c.Probe, both(c.Value), both(h.air), both(h.outside)), true
	case whyTooHot:
		return fmt.Sprintf("%s reads %s in cool nest air; a pile is not over %s. Its scale may have run away, and it would hide a chill. "+
			"Look at the kits, hold it beside another probe, or in ice water, and change it when it is wrong.", c.Probe, both(c.Value), both(c.Limit)), true
	case whyLowAir:
		return fmt.Sprintf("nest air (%s) read %s through the night and the air outside (%s) %s: a box is not so much colder. One of the two reads wrong, or %s hangs in a warm place. "+
			"Hold them side by side.", c.Probe, both(c.Value), outside, both(h.outside), outside), true
	}
	return "", false
}
