package main

import (
	"fmt"
	"strings"
	"time"
)

func sunScan(first uint64, n int, shifted bool) {
	limits := []float64{1.5, 2, 2.5, 3, 3.5, 4, 5}
	type cnt struct{ sun, doe, lid, other int }
	res := map[string][]cnt{}
	weeksOf := map[string]float64{}
	for _, k := range []string{"metal", "ply", "tote"} {
		res[k] = make([]cnt, len(limits))
	}
	for k := range n {
		seed := first + uint64(k)
		c, err := load(seed, shifted)
		if err != nil || c.Skipped {
			continue
		}
		l := draw(seed, shifted)
		kind := strings.Fields(l.makeup)[0]
		weeksOf[kind] += float64(len(c.Core)) / 1440 / 7
		dt := map[string]float64{"metal": 14, "ply": 8, "tote": 4}[kind]
		var a, o []float64
		for i := 0; i+10 <= len(c.Sus); i += 10 {
			sa, na, so, no := 0.0, 0.0, 0.0, 0.0
			for j := i; j < i+10; j++ {
				if v := float64(c.Vals[5*j+1]); v == v && c.Sus[j]&2 == 0 {
					sa += v
					na++
				}
				if v := float64(c.Vals[5*j+3]); v == v && c.Sus[j]&8 == 0 {
					so += v
					no++
				}
			}
			a, o = append(a, sa/na), append(o, so/no)
		}
		for x, lim := range limits {
			last := -1000
			for i := 16; i < len(a); i++ {
				ex := func(i int) float64 {
					return a[i] - max(a[i-11], a[i-12], a[i-13]) - (o[i] - o[i-12])
				}
				// gradual: no quarter of an hour holds more than half of it
				most := 0.0
				for q := 0; q < 12-2; q++ {
					most = max(most, a[i-q]-a[i-q-3])
				}
				if most > 0.5*(a[i]-a[i-12]) {
					continue
				}
				if !(ex(i) >= lim && ex(i-1) >= lim) || a[i] < 25 {
					continue
				}
				if i-last > 24 {
					at := c.Start.Add(time.Duration(i) * 5 * time.Minute)
					h := at.Hour()
					doe, lid := false, false
					for m := max(5*i-75, 0); m <= 5*i && m < len(c.Doe); m++ {
						doe = doe || c.Doe[m]&1 != 0
						lid = lid || c.Doe[m]&2 != 0
					}
					r := &res[kind][x]
					switch {
					case h >= 6 && h < 17 && l.nest.Exposure*dt >= 4 && !doe:
						r.sun++
					case doe:
						r.doe++
					case lid:
						r.lid++
					default:
						r.other++
					}
				}
				last = i
			}
		}
	}
	for _, k := range []string{"metal", "ply", "tote"} {
		for x, lim := range limits {
			fmt.Printf("%s excess >= %.1f K/h: %+v in %.0f nest-weeks\n", k, lim, res[k][x], weeksOf[k])
		}
	}
}
