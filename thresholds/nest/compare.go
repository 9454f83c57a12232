package nest

import (
	"fmt"
	"math"
	"slices"
)

// Numbers of the comparison with other nests; ours, no source.
const (
	sameAge     = 5    // days by which litters may differ in age and still warm a nest alike
	tellFrom    = 1.0  // K: a smaller difference is not worth a sentence
	fewerShare  = 0.75 // of the neighbours' kits: a nest with fewer than that is colder for that alone
	errorShare  = 0.5  // of a figure that its error may be, for it to be told
	quickFollow = 10.0 // min: a time constant under it is not told from its quarter of an hour
)

// alike reports whether two nights of two nests can be compared: the same night, both with kits of about one age, or both without.
func alike(a, b *night) bool {
	if a.Date != b.Date {
		return false
	}
	kits, known := a.holds()
	kitsToo, knownToo := b.holds()
	return known && knownToo && kits == kitsToo && (!kits || max(a.Age-b.Age, b.Age-a.Age) <= sameAge)
}

// likeMe reports whether another nest is built like this one.
func (w *Watch) likeMe(o *Watch) bool {
	return o != w && o.cfg.Kind == w.cfg.Kind && o.cfg.Floor == w.cfg.Floor && o.cfg.Lined == w.cfg.Lined
}

// against is by how many K this nest is warmer at night than the median of the nests like it, night by night, and whether it holds
// fewer kits than they do. That every thermometer has its own error is part of the error.
func (w *Watch) against(all []*Watch) (f Figure, fewer bool) {
	var differ []float64
	var mine, theirs float64
	least := len(all)
	for i := range w.learned.nights[:w.learned.numNights] {
		n := &w.learned.nights[i]
		var others, kits []float64
		for _, o := range all {
			if !w.likeMe(o) {
				continue
			}
			for j := range o.learned.nights[:o.learned.numNights] {
				if on := &o.learned.nights[j]; alike(n, on) {
					others, kits = append(others, float64(on.Excess)), append(kits, float64(on.Kits))
				}
			}
		}
		if len(others) == 0 {
			continue
		}
		least = min(least, len(others))
		excess := float64(n.Excess)
		differ = append(differ, excess-middle(others, excess))
		mine, theirs = mine+float64(n.Kits), theirs+middle(kits, float64(n.Kits))
	}
	if len(differ) == 0 {
		return Figure{}, false
	}
	return mean(differ).widened(1 + 1/float64(least)), mine < fewerShare*theirs
}

// middle is the median of v; of an even number the one of the middle two that is nearer to mine: no nest differs from neighbours that
// differ among themselves.
func middle(v []float64, mine float64) float64 {
	slices.Sort(v)
	low, high := v[(len(v)-1)/2], v[len(v)/2]
	return min(max(mine, low), high)
}

// apart writes a difference of temperature with its error in both scales.
func apart(f Figure) string {
	return fmt.Sprintf("%.1f °C (%.1f °F) ± %.1f °C", abs(f.Value), abs(f.Value)*1.8, f.Error)
}

// worth reports whether a figure's error leaves something of it. The difference to the neighbours is told by its direction alone, and asks
// only that it is beyond its error.
func (f Figure) worth() bool { return f.Known && f.Error <= abs(f.Value)*errorShare }

// sentences say what is known in plain words; the difference to the neighbours comes first.
func (l *Learned) sentences(fewer, tote bool, depth float64) (say []string) {
	add := func(format string, args ...any) { say = append(say, fmt.Sprintf(format, args...)) }
	if l.Nights < leastBlocks {
		add("How this nest holds warmth: known after %d nights, %d seen.", leastBlocks, l.Nights)
		return say
	}
	if f := l.Neighbours; f.beyond(tellFrom) {
		which, why := "warmer", ""
		if f.Value < 0 {
			which = "colder"
			if fewer {
				why = "; it also holds fewer kits"
			}
		}
		add("Runs %s %s at night than its neighbours, %d nights%s.", apart(f), which, f.N, why)
	}
	for _, s := range []struct {
		f     Figure
		words string
	}{{l.WarmKits, "with kits"}, {l.WarmEmpty, "without kits"}} {
		if s.f.worth() {
			over := "over"
			if s.f.Value < 0 {
				over = "under"
			}
			add("At night its air is %s %s the air outside %s, %d nights.", apart(s.f), over, s.words, s.f.N)
		}
	}
	switch {
	case !l.Share.worth():
	case l.Follows.Known && l.Follows.Value < quickFollow: // told without its own error
		add("Nest air follows the air outside within about %.0f min; %.0f ± %.0f %% of a change comes through.", quickFollow, 100*l.Share.Value, 100*l.Share.Error)
	case l.Follows.worth():
		add("Nest air follows the air outside with a time constant of %.0f ± %.0f min; %.0f ± %.0f %% of a change comes through.",
			l.Follows.Value, l.Follows.Error, 100*l.Share.Value, 100*l.Share.Error)
	}
	if tote && l.Damped.worth() && l.LateH.worth() {
		add("Of the day's swing outside %.0f ± %.0f %% reaches the tote's air, %.1f ± %.1f h later.", 100*l.Damped.Value, 100*l.Damped.Error, l.LateH.Value, l.LateH.Error)
		if depth > 0 {
			share, _ := soilWave(depth, soilDiffusivity)
			add("Bare soil at %.2f m would let through about %.0f %%: what is more comes through lid and pipe.", depth, 100*share)
		}
	}
	return say
}

// soilDiffusivity is that of moist loam, m²/s, between moist clay's 0.40e-6 and moist sand's 0.99e-6 [De Vries 1963, as tabulated by
// Moene and van Dam].
const soilDiffusivity = 0.5e-6

// soilWave is what ground of that diffusivity, m²/s, leaves of the day's wave at a depth, m, and by how many hours it comes later:
// exp(-z/d) and z/(d·w) with d = sqrt(2k/w) [Hillel 1982].
func soilWave(depth, diffusivity float64) (share, hours float64) {
	const w = 2 * math.Pi / 86400 // 1/s
	d := math.Sqrt(2 * diffusivity / w)
	return math.Exp(-depth / d), depth / (d * w) / 3600
}
