package nest

import (
	"math"
	"math/cmplx"
)

// Figure is something learned with how well it is known.
type Figure struct {
	Value float64
	Error float64 // half of the 95 % interval
	N     int     // nights or days it was learned from
	Known bool    // false until enough of them were seen
}

// beyond reports whether the figure is farther from zero than its error and than least.
func (f Figure) beyond(least float64) bool {
	return f.Known && abs(f.Value) >= least && abs(f.Value) > f.Error
}

// leastBlocks is how many nights or days make a figure; ours: under five a standard error is itself a guess.
const leastBlocks = 5

// student is the 95 % point of Student's t, two-sided, for 1 to 13 degrees of freedom: from memory of printed tables.
var student = [...]float64{12.71, 4.30, 3.18, 2.78, 2.57, 2.45, 2.36, 2.31, 2.26, 2.23, 2.20, 2.18, 2.16}

func interval(se float64, n int) float64 { return student[min(max(n-1, 1), len(student))-1] * se }

// mean is the mean of values that follow each other, newest or oldest first. Nights resemble their neighbours: the standard error is
// widened by what the first lag's correlation r says, (1+r)/(1-r), the large-sample form for a first-order process.
func mean(v []float64) Figure {
	n := float64(len(v))
	f := Figure{N: len(v), Known: len(v) >= leastBlocks}
	for _, x := range v {
		f.Value += x / n
	}
	var all, next float64
	for i, x := range v {
		all += (x - f.Value) * (x - f.Value)
		if i > 0 {
			next += (x - f.Value) * (v[i-1] - f.Value)
		}
	}
	if !f.Known {
		return f
	}
	r := min(max(next/max(all, 1e-9), 0), likenessMost)
	f.Error = interval(math.Sqrt(all/(n-1)/n*(1+r)/(1-r)), len(v))
	return f
}

// likenessMost bounds the correlation of neighbouring nights, which a fortnight cannot tell well; ours.
const likenessMost = 0.6

// figures are two estimates from n blocks, with the error that leaving out one block after the other shows (the jackknife of Quenouille
// and Tukey, from memory): blocks of a whole night or day, because what lies within one hangs together. model1 and model2 are what the
// fitted shape itself may be wrong by, as half of a 95 % interval. estimate is called with the block to leave out, -1 for none.
func figures(n int, model1, model2 float64, estimate func(without int) (v1, v2 float64, ok bool)) (a, b Figure) {
	a.N, b.N = n, n
	if n < leastBlocks {
		return a, b
	}
	var ok bool
	if a.Value, b.Value, ok = estimate(-1); !ok {
		return a, b
	}
	var sum, squares [2]float64
	for i := range n {
		v1, v2, ok := estimate(i)
		if !ok {
			return a, b
		}
		for j, v := range [2]float64{v1, v2} {
			sum[j] += v
			squares[j] += v * v
		}
	}
	if !finite(sum[0]+squares[0]) || !finite(sum[1]+squares[1]) || !finite(a.Value) || !finite(b.Value) {
		return a, b
	}
	k := float64(n)
	spread := func(j int) float64 {
		return interval(math.Sqrt(max(squares[j]-sum[j]*sum[j]/k, 0)*(k-1)/k), n)
	}
	a.Error, a.Known = math.Hypot(spread(0), model1), true
	b.Error, b.Known = math.Hypot(spread(1), model2), true
	return a, b
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// most is the largest system of equations here.
const most = 4

// system is a set of linear equations a·x = b; unused rows and columns stay zero.
type system struct {
	a [most][most]float64
	b [most]float64
}

// solve finds the first k unknowns; ok is false where the equations do not tell them.
func (s system) solve(k int) (x [most]float64, ok bool) {
	for i := range k {
		p := i
		for r := i + 1; r < k; r++ {
			if abs(s.a[r][i]) > abs(s.a[p][i]) {
				p = r
			}
		}
		if abs(s.a[p][i]) < 1e-9 {
			return x, false
		}
		s.a[i], s.a[p] = s.a[p], s.a[i]
		s.b[i], s.b[p] = s.b[p], s.b[i]
		for r := i + 1; r < k; r++ {
			m := s.a[r][i] / s.a[i][i]
			for c := i; c < k; c++ {
				s.a[r][c] -= m * s.a[i][c]
			}
			s.b[r] -= m * s.b[i]
		}
	}
	for i := k - 1; i >= 0; i-- {
		x[i] = s.b[i]
		for c := i + 1; c < k; c++ {
			x[i] -= s.a[i][c] * x[c]
		}
		x[i] /= s.a[i][i]
	}
	return x, true
}

// follows is the sums of one night for a first-order lag: nest air of the next quarter of an hour from nest air of this one and from
// outside air of both. Kits warm a nest as slowly as it cools, so that its own air a quarter before says too much: outside air a quarter
// before stands in for it as an instrument (Reiersøl 1945, from memory), which what happens in the nest does not touch. All is about the
// night's means, so that what changes from night to night is left out.
type follows struct {
	n, y float64
	x, z [3]float64 // nest air, outside, outside a quarter later; and outside a quarter before in place of the first
	zx   [9]float64
	zy   [3]float64
}

func (f *follows) add(x, z [3]float64, y float64) {
	f.n++
	f.y += y
	for i := range z {
		f.x[i] += x[i]
		f.z[i] += z[i]
		f.zy[i] += z[i] * y
		for j := range x {
			f.zx[3*i+j] += z[i] * x[j]
		}
	}
}

// centred are the equations of the night's departures from its means.
func (f *follows) centred() (s lagSums) {
	for i := range f.z {
		s.ZY[i] = float32(f.zy[i] - f.z[i]*f.y/f.n)
		for j := range f.x {
			s.ZX[3*i+j] = float32(f.zx[3*i+j] - f.z[i]*f.x[j]/f.n)
		}
	}
	return s
}

// lagSums is what remains of follows after a night.
type lagSums struct {
	ZX [9]float32
	ZY [3]float32
}

// lag is the first-order lag that fits nights, one of them left out: its time constant, min, and the share of a lasting change outside that
// reaches nest air in the end.
func lag(nights []night, without int) (tau, share float64, ok bool) {
	var s system
	for n := range nights {
		if n == without {
			continue
		}
		for i := range 3 {
			s.b[i] += float64(nights[n].Lag.ZY[i])
			for j := range 3 {
				s.a[i][j] += float64(nights[n].Lag.ZX[3*i+j])
			}
		}
	}
	x, ok := s.solve(3)
	keep := min(max(x[0], lagQuickest), lagSlowest)
	return -quarterMinutes / math.Log(keep), (x[1] + x[2]) / (1 - keep), ok
}

// What a quarter of an hour leaves of a difference, at least and at most: faster or slower than can be told from quarters in a night;
// computed, for 2 min and 25 h.
const (
	lagQuickest = 0.0005
	lagSlowest  = 0.99
)

// A nest with kits is no first-order lag: bedding stores heat and kits make more of it in the cold; and sun and cloud change the day's
// wave from day to day. What that moves the figures by, as half of a 95 % interval; ours, found on simulated nests.
const (
	lagModelShare = 0.2  // of the time constant,
	lagModelLeast = 4.0  // min at least
	shareModel    = 0.10 // of the share that comes through
	dampedModel   = 0.03 // of the share of the day's wave
	lateModel     = 0.1  // h
)

// daySums is the sums of a day for a level, a slope and the day's wave, of outside and nest air.
type daySums struct {
	n    int
	from int64       // unix time of the first quarter
	bb   [10]float64 // products of 1, t, cos, sin
	by   [2][most]float64
}

// add takes the quarter that begins at unix time sec.
func (d *daySums) add(sec int64, outside, inside float64) {
	if d.n == 0 {
		d.from = sec
	}
	d.n++
	angle := 2 * math.Pi * float64(sec%86400) / 86400
	basis := [most]float64{1, float64(sec-d.from) / 86400, math.Cos(angle), math.Sin(angle)}
	k := 0
	for i := range basis {
		d.by[0][i] += basis[i] * outside
		d.by[1][i] += basis[i] * inside
		for j := i; j < most; j++ {
			d.bb[k] += basis[i] * basis[j]
			k++
		}
	}
}

// wave is the day's wave of outside and nest air, as cosine and sine, K.
type wave struct{ OutCos, OutSin, InCos, InSin float32 }

func (d *daySums) wave() (w wave, ok bool) {
	var s system
	k := 0
	for i := range most {
		for j := i; j < most; j++ {
			s.a[i][j], s.a[j][i] = d.bb[k], d.bb[k]
			k++
		}
	}
	s.b = d.by[0]
	out, ok1 := s.solve(most)
	s.b = d.by[1]
	in, ok2 := s.solve(most)
	return wave{float32(out[2]), float32(out[3]), float32(in[2]), float32(in[3])}, ok1 && ok2
}

// damping is the share of the day's wave outside that nest air shows, and by how many hours it comes later. Days with a large wave
// count for more: least squares of one on the other, both taken as complex numbers.
func damping(days []wave, without int) (share, hours float64, ok bool) {
	var re, im, all float64
	for i, w := range days {
		if i == without {
			continue
		}
		out, in := complex(float64(w.OutCos), float64(w.OutSin)), complex(float64(w.InCos), float64(w.InSin))
		cross := in * cmplx.Conj(out)
		re, im = re+real(cross), im+imag(cross)
		all += real(out * cmplx.Conj(out))
	}
	if all < waveLeast {
		return 0, 0, false
	}
	return math.Hypot(re, im) / all, math.Mod(math.Atan2(im, re)/(2*math.Pi)*24+24+earlyMost, 24) - earlyMost, true
}

const (
	waveLeast = 4.0 // K², summed over days: less swing outside tells nothing; ours
	earlyMost = 4.0 // h by which a nest in the morning sun may be ahead of the shade; the rest of the day is lag; ours
)
