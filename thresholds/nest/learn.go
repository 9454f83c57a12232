package nest

import (
	"math"
	"time"

	"nestmon/thresholds/brood"
)

// Numbers of what is learned of a nest; ours, found on simulated nests, where no source stands beside them.
const (
	quarterMinutes = 15  // min: the means all fits work on
	darkFrom       = 22  // o'clock: from here
	darkTo         = 5   // to here no sun falls on a nest: common practice for sheds in the middle latitudes, no source
	nightLeast     = 20  // of the night's 28 quarters
	dayLeast       = 80  // of the day's 96 quarters
	remembered     = 14  // nights and days; a make-up of bedding lasts about as long
	upsetFor       = 45  // min after the doe or a person came in which nothing is learned
	lagLeast       = 10  // of the night's quarters, for how nest air follows outside
	hourKept       = 4   // days for which the hour of the doe's last visit seen is taken to be hers
	apartMost      = 0.4 // K in a quarter that nest air moves otherwise than outside, before something else has moved it
	warmOverAir    = 3.0 // K of the cluster over nest air in a nest without kits: a doe sits in it
)

// The places whose air is learned from.
const (
	placeOutside = iota
	placeAir
	placeCluster // and the second cluster probe after it
	numPlaces    = placeCluster + 2
)

// quarter is a quarter of an hour of means, °C.
type quarter struct {
	At    int64 // quarters since 1970
	Mean  [numPlaces]float64
	Has   [numPlaces]bool
	Upset bool // the doe or a person came
	Bare  bool // kits lie uncovered for the doe, at her hour
}

// learned is what readings have told of a nest itself. Quarters are summed up into nights and days; a fortnight of those is kept.
type learned struct {
	at    int64
	sum   [numPlaces]float64
	n     [numPlaces]int
	count [numPlaces]uint64 // of the channel, when last taken
	upset bool
	bare  bool
	last  [2]quarter // newest first

	tonight tonight
	today   daySums
	date    int // of today, days since 1970 by the local clock

	nights    [remembered]night // newest first
	numNights int
	days      [remembered]wave
	numDays   int

	follows, share, damped, late Figure
	health                       health
	drift                        drift
}

// tonight is a night that is under way.
type tonight struct {
	date    int
	n       int
	excess  float64
	follows follows
	heads   [2]heads // of each cluster probe
	all     heads    // of nest air and outside, whatever the cluster probes read
	side    sideBySide
}

// night is a night that is over.
type night struct {
	Date   int32
	Kits   int8    // -1 when not known
	Age    int8    // of the kits, days
	Excess float32 // K of nest air over outside, mean
	Lag    lagSums
}

// holds reports whether the nest held kits that night, or none; known is false where nobody can tell.
func (n *night) holds() (kits, known bool) { return n.Kits > 0, n.Kits >= 0 }

func (l *learned) forget() {
	l.last, l.at = [2]quarter{}, 0
	l.tonight, l.today, l.date = tonight{}, daySums{}, 0
}

// remade drops what was learned before a date: the nest was another one.
func (l *learned) remade(date int) {
	kept := 0
	for kept < l.numNights && int(l.nights[kept].Date) >= date {
		kept++
	}
	l.numNights, l.numDays = kept, 0
	l.follows, l.share, l.damped, l.late = Figure{}, Figure{}, Figure{}, Figure{}
}

// putBack drops nights that have not come yet.
func (l *learned) putBack(now time.Time) {
	l.forget()
	kept := l.nights[:0]
	for _, n := range l.nights[:l.numNights] {
		if int(n.Date) < dateOf(now) {
			kept = append(kept, n)
		}
	}
	l.numNights = len(kept)
	l.drift.putBack(dateOf(now))
}

func (l *learned) step(w *Watch, n *Now) {
	if at := n.Wall.Unix() / (quarterMinutes * 60); at != l.at {
		if l.at != 0 {
			l.close(w, n)
		}
		l.at, l.sum, l.n, l.upset, l.bare = at, [numPlaces]float64{}, [numPlaces]int{}, false, false
	}
	l.upset = l.upset || w.visits.recent(upsetFor)
	l.bare = l.bare || w.hasKits() && w.visits.herHour(n)
	take := func(i int, c *Channel) {
		if c.Fresh(n) && c.count != l.count[i] {
			l.count[i] = c.count
			l.sum[i] += c.value
			l.n[i]++
		}
	}
	if !w.house.on {
		take(placeOutside, w.site.air)
	}
	take(placeAir, w.air)
	for i, c := range w.cluster[:min(len(w.cluster), numPlaces-placeCluster)] {
		take(placeCluster+i, c)
	}
	l.health.step(w, n)
}

// close ends a quarter of an hour.
func (l *learned) close(w *Watch, n *Now) {
	q := quarter{At: l.at, Upset: l.upset, Bare: l.bare}
	for i := range l.n {
		if l.n[i] > 0 {
			q.Mean[i], q.Has[i] = l.sum[i]/float64(l.n[i]), true
		}
	}
	begin := time.Unix(l.at*quarterMinutes*60, 0).In(w.loc)
	if date := dateOf(begin); date != l.date {
		l.closeDay()
		l.date = date
	}
	if q.both() {
		l.today.add(begin.Unix(), q.Mean[placeOutside], q.Mean[placeAir])
	}
	h, evening := begin.Hour(), dateOf(begin.Add(-12*time.Hour))
	if dark := h >= darkFrom || h < darkTo; !dark || evening != l.tonight.date {
		l.closeNight(w, n)
		if dark {
			l.tonight.date = evening
		}
	}
	if l.tonight.date != 0 {
		l.tonight.add(w, &q, &l.last[0], &l.last[1])
		l.tonight.side.add(w, &q)
	}
	l.last[1], l.last[0] = l.last[0], q
}

// both reports whether the quarter tells of the nest as it is left alone, and of the air outside.
func (q *quarter) both() bool { return q.Has[placeOutside] && q.Has[placeAir] && !q.Upset }

// herHour reports whether kits lie uncovered before the doe comes, or not yet covered after it, at the hour of her last visit that was
// seen: the same warm hours every night would pass for the nest's answer to the cold of those hours.
func (v *visits) herHour(n *Now) bool {
	ago := n.Wall.Sub(v.last).Hours()
	if v.last.IsZero() || ago > hourKept*24 {
		return false
	}
	h := math.Mod(ago, 24)
	return h < gatheredAfter || h > 24-uncoveredBefore
}

// apart is by how many K nest air moved otherwise than outside since the quarter before.
func (q *quarter) apart(before *quarter) float64 {
	return abs(q.Mean[placeAir] - before.Mean[placeAir] - q.Mean[placeOutside] + before.Mean[placeOutside])
}

// add takes a quarter of the night and the two before it.
func (t *tonight) add(w *Watch, q, before, beforeThat *quarter) {
	if !q.both() {
		return
	}
	if w.hasKits() || !q.Has[placeCluster] || q.Mean[placeCluster]-q.Mean[placeAir] < warmOverAir {
		t.excess += q.Mean[placeAir] - q.Mean[placeOutside]
		t.n++
	}
	if before.At != q.At-1 || !before.both() || beforeThat.At != q.At-2 || !beforeThat.both() {
		return
	}
	if bare := q.Bare || before.Bare; !bare && max(q.apart(before), before.apart(beforeThat)) < apartMost {
		out := [...]float64{beforeThat.Mean[placeOutside], before.Mean[placeOutside], q.Mean[placeOutside]}
		t.follows.add([3]float64{before.Mean[placeAir], out[1], out[2]}, out, q.Mean[placeAir])
	}
	slope := (q.Mean[placeAir] - beforeThat.Mean[placeAir]) / (2 * quarterMinutes)
	t.all.add(slope, before.Mean[placeAir], before.Mean[placeAir], before.Mean[placeOutside])
	for i := range t.heads {
		if before.Has[placeCluster+i] {
			t.heads[i].add(slope, before.Mean[placeAir], before.Mean[placeCluster+i], before.Mean[placeOutside])
		}
	}
}

func (l *learned) closeNight(w *Watch, n *Now) {
	t := l.tonight
	l.tonight = tonight{}
	if t.date == 0 {
		return
	}
	l.health.night(w, n, &t)
	l.drift.night(w, n, t.date, &t.side)
	if t.n < nightLeast || t.follows.n < lagLeast {
		return
	}
	now := night{Date: int32(t.date), Kits: -1, Excess: float32(t.excess / float64(t.n)), Lag: t.follows.centred()}
	switch {
	case w.hasKits():
		now.Kits, now.Age = int8(min(w.kits(), math.MaxInt8)), int8(w.days.age)
	case w.days.ended || w.has && w.days.age < 0:
		now.Kits = 0
	}
	copy(l.nights[1:], l.nights[:])
	l.nights[0] = now
	l.numNights = min(l.numNights+1, remembered)
	for l.nights[l.numNights-1].Date < now.Date-2*remembered { // before a long time without readings
		l.numNights--
	}
	nights := l.nights[:l.numNights]
	l.follows, l.share = figures(len(nights), lagModelLeast, shareModel, func(without int) (float64, float64, bool) { return lag(nights, without) })
	l.follows.Error = math.Hypot(l.follows.Error, lagModelShare*l.follows.Value)
}

func (l *learned) closeDay() {
	d := l.today
	l.today = daySums{}
	if d.n < dayLeast {
		return
	}
	now, ok := d.wave()
	if !ok {
		return
	}
	copy(l.days[1:], l.days[:])
	l.days[0] = now
	l.numDays = min(l.numDays+1, remembered)
	days := l.days[:l.numDays]
	l.damped, l.late = figures(len(days), dampedModel, lateModel, func(without int) (float64, float64, bool) { return damping(days, without) })
}

// dateOf is the local date as days since 1970.
func dateOf(t time.Time) int {
	_, offset := t.Zone()
	return int((t.Unix() + int64(offset)) / 86400)
}

// Learned is what is known of a nest itself, as far as it is known.
type Learned struct {
	Nights     int    // seen of the last fortnight
	WarmEmpty  Figure // K of nest air over outside at night, without kits
	WarmKits   Figure // K with kits
	Follows    Figure // min: time constant with which nest air follows the air outside, at night
	Share      Figure // of a lasting change outside that reaches nest air, at night; the rest the nest holds back
	Damped     Figure // share of the day's swing outside that nest air shows, sun and all
	LateH      Figure // h by which it comes later
	Neighbours Figure // K warmer at night than the median of like nests; negative is colder
	Text       []string
}

// probeError is one standard error of a thermometer, K: errors spread evenly over ±0.5 °C (the DS18B20's datasheet), 0.5/√3.
const probeError = 0.29

// warmth is the mean excess of the nights with kits, or without. Two thermometers' own errors do not shrink with the nights.
func (l *learned) warmth(kits bool) Figure {
	var v []float64
	for i := range l.nights[:l.numNights] {
		if has, known := l.nights[i].holds(); known && has == kits {
			v = append(v, float64(l.nights[i].Excess))
		}
	}
	return mean(v).widened(2)
}

// widened adds the errors of so many thermometers' worth of variance.
func (f Figure) widened(thermometers float64) Figure {
	if f.Known {
		f.Error = math.Hypot(f.Error, 1.96*probeError*math.Sqrt(thermometers))
	}
	return f
}

// Learned tells what was learned of this nest, and how it differs from those of the others that are like it.
func (w *Watch) Learned(all []*Watch) Learned {
	l := &w.learned
	out := Learned{
		Nights: l.numNights, WarmEmpty: l.warmth(false), WarmKits: l.warmth(true), Follows: l.follows, Share: l.share,
		Damped: l.damped, LateH: l.late,
	}
	var fewer bool
	out.Neighbours, fewer = w.against(all)
	out.Text = out.sentences(fewer, w.cfg.Kind == brood.BuriedTote, w.cfg.DepthM)
	if w.air == nil || w.site.air == nil {
		out.Text = []string{"How this nest follows the weather is not known: it takes a probe in nest air and one outside."}
	}
	return out
}
