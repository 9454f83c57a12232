package main

import (
	"fmt"
	"math"
	"time"
)

type pred func(s []float64, i int) float64 // s 5 min values up to i; predicts the max over next 24 values

func at(s []float64, i int) float64 {
	if i < 0 || i >= len(s) {
		return math.NaN()
	}
	return s[i]
}

func smooth(s []float64, i, k int) float64 {
	sum, n := 0.0, 0.0
	for j := max(i-k+1, 0); j <= i; j++ {
		if s[j] == s[j] {
			sum += s[j]
			n++
		}
	}
	return sum / n
}

func csmooth(s []float64, i, k int) float64 { // centred, only for the past
	sum, n := 0.0, 0.0
	for j := max(i-k, 0); j <= min(i+k, len(s)-1); j++ {
		if s[j] == s[j] {
			sum += s[j]
			n++
		}
	}
	return sum / n
}

func slopeOf(s []float64, i, n int) float64 { // per step
	var k, sx, sy, sxx, sxy float64
	for j := 0; j < n; j++ {
		v := at(s, i-j)
		if v != v {
			continue
		}
		x := float64(-j)
		k++
		sx += x
		sy += v
		sxx += x * x
		sxy += x * v
	}
	return (sxy - sx*sy/k) / (sxx - sx*sx/k)
}

func shape(phi float64, sm, cs int, trend, damp float64) pred {
	return func(s []float64, i int) float64 {
		if i < 288+13 {
			return math.NaN()
		}
		now := smooth(s, i, sm)
		d := now - csmooth(s, i-288, cs)
		td := 0.0
		if trend > 0 {
			td = (d - (smooth(s, i-12, sm) - csmooth(s, i-12-288, cs))) // per hour
		}
		best := now
		acc := 0.0
		for k := 1; k <= 24; k++ {
			h := float64(k) / 12
			acc += trend * td / 12 * math.Pow(damp, h)
			best = max(best, csmooth(s[:i+1], i-288+k, cs)+(d+acc)*math.Pow(phi, h))
		}
		return best
	}
}

func holt(alpha, beta, damp float64) pred {
	// recomputed each time over the last 4 hours
	return func(s []float64, i int) float64 {
		j := max(i-48, 0)
		l, b := s[j], 0.0
		for j++; j <= i; j++ {
			if s[j] != s[j] {
				continue
			}
			nl := alpha*s[j] + (1-alpha)*(l+b)
			b = beta*(nl-l) + (1-beta)*b
			l = nl
		}
		best, acc := l, 0.0
		p := 1.0
		for k := 1; k <= 24; k++ {
			p *= damp
			acc += b * p
			best = max(best, l+acc)
		}
		return best
	}
}

func lin(n int, share float64) pred {
	return func(s []float64, i int) float64 {
		b := slopeOf(s, i, n)
		return max(s[i], s[i]+share*b*24)
	}
}

func fx(first uint64, n int, shifted bool) {
	preds := []struct {
		name string
		f    pred
	}{
		{"now", func(s []float64, i int) float64 { return s[i] }},
		{"lin60 .6", lin(12, .6)},
		{"lin60 .4", lin(12, .4)},
		{"lin30 .5", lin(6, .5)},
		{"holt .5 .1 .93", holt(.5, .1, .93)},
		{"holt .3 .1 .95", holt(.3, .1, .95)},
		{"holt .3 .1 .97", holt(.3, .1, .97)},
		{"holt .4 .05 .95", holt(.4, .05, .95)},
		{"holt .5 .1 .90", holt(.5, .1, .90)},
		{"holt .5 .05 .93", holt(.5, .05, .93)},
		{"holt .6 .15 .90", holt(.6, .15, .90)},
		{"holt .5 .2 .92", holt(.5, .2, .92)},
		{"mix .5", mix(holt(.5, .1, .93), shape(.95, 3, 6, .5, .5), .5)},
		{"mix .5 no t", mix(holt(.5, .1, .93), shape(.95, 3, 6, 0, .5), .5)},
		{"mix .6", mix(holt(.5, .1, .93), shape(.95, 3, 6, .5, .5), .6)},
		{"mix .6 holt.95", mix(holt(.5, .1, .95), shape(.95, 3, 6, 0, .5), .6)},
		{"path mix .6 ", path2(.5, .1, .95, .95, 0, .6)},
		{"path mix .6 t", path2(.5, .1, .95, .95, .5, .6)},
		{"path mix .5 ", path2(.5, .1, .93, .95, 0, .5)},
		{"shape .9 now", shape(.9, 1, 0, 0, 0)},
		{"shape .9 sm3 cs2", shape(.9, 3, 2, 0, 0)},
		{"shape .9 sm3 cs6", shape(.9, 3, 6, 0, 0)},
		{"shape .8 sm3 cs6", shape(.8, 3, 6, 0, 0)},
		{"shape .95 sm3 cs6", shape(.95, 3, 6, 0, 0)},
		{"shape 1 sm3 cs6", shape(1, 3, 6, 0, 0)},
		{"shape .9 sm3 cs6 t.5 .5", shape(.9, 3, 6, .5, .5)},
		{"shape 1 sm3 cs6 t.5 .5", shape(1, 3, 6, .5, .5)},
		{"shape .9 sm6 cs6 t.3 .5", shape(.9, 6, 6, .3, .5)},
	}
	type acc struct{ n, b, s2, over1, under1 float64 }
	res := make([]acc, len(preds))
	const lim = 35.0
	for k := range n {
		c, err := load(first+uint64(k), shifted)
		if err != nil {
			panic(err)
		}
		if c.Skipped {
			continue
		}
		var s []float64
		for i := 0; i < len(c.Sus); i += 10 {
			v := float64(c.Vals[5*i+1])
			if c.Sus[i]&2 != 0 {
				v = math.NaN()
			}
			s = append(s, v)
		}
		for i := 301; i+24 < len(s); i++ {
			if !(s[i] > 30) || !(s[i-288] == s[i-288]) {
				continue
			}
			if slopeOf(s, i, 12) < 0.2/12 {
				continue // rising only
			}
			truth := s[i]
			for j := 1; j <= 24; j++ {
				if s[i+j] > truth {
					truth = csmooth(s, i+j, 1)
				}
			}
			for p := range preds {
				e := preds[p].f(s, i) - truth
				if e != e {
					continue
				}
				a := &res[p]
				a.n++
				a.b += e
				a.s2 += e * e
				if e > 1 {
					a.over1++
				}
				if e < -1 {
					a.under1++
				}
			}
		}
	}
	for p := range preds {
		a := res[p]
		fmt.Printf("%-28s n %.0f bias %+.2f rmse %.2f over1 %.2f under1 %.2f\n", preds[p].name, a.n, a.b/a.n, math.Sqrt(a.s2/a.n), a.over1/a.n, a.under1/a.n)
	}
	_ = time.Now
}

func mix(a, b pred, wa float64) pred {
	return func(s []float64, i int) float64 {
		y := b(s, i)
		x := a(s, i)
		if y != y {
			return x
		}
		return wa*x + (1-wa)*y
	}
}

// path2 mixes the paths, then takes the max.
func path2(alpha, beta, damp, phi, trend, wa float64) pred {
	return func(s []float64, i int) float64 {
		if i < 301 {
			return math.NaN()
		}
		j := max(i-48, 0)
		l, b := s[j], 0.0
		for j++; j <= i; j++ {
			if s[j] != s[j] {
				continue
			}
			if l != l {
				l = s[j]
			}
			nl := alpha*s[j] + (1-alpha)*(l+b)
			b = beta*(nl-l) + (1-beta)*b
			l = nl
		}
		d := l - csmooth(s, i-288, 6)
		best, acc, p := l, 0.0, 1.0
		for k := 1; k <= 24; k++ {
			p *= damp
			acc += b * p
			h := float64(k) / 12
			y := csmooth(s[:i+1], i-288+k, 6) + d*math.Pow(phi, h)
			best = max(best, wa*(l+acc)+(1-wa)*y)
		}
		return best
	}
}
