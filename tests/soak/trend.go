package main

import (
	"fmt"
	"io"
	"slices"
)

// warmUp is the share of a run that is left out of its trend: caches fill, learners learn, Go's heap finds its size. Ours, no source.
const warmUp = 0.2

// slope is the median of the slopes between all pairs of points (Theil 1950, Sen 1968: from memory): a few odd days do not turn it.
func slope(x, y []float64) float64 {
	var all []float64
	for i := range x {
		for j := i + 1; j < len(x); j++ {
			all = append(all, (y[j]-y[i])/(x[j]-x[i]))
		}
	}
	if len(all) == 0 {
		return 0
	}
	slices.Sort(all)
	if n := len(all); n%2 == 0 {
		return (all[n/2-1] + all[n/2]) / 2
	}
	return all[len(all)/2]
}

// figure is one of the columns with what it may do.
type figure struct {
	name, unit string
	of         func(w weighed) float64
	most       float64 // growth over the run; negative where growing is its work
}

// Growth of resident memory and heap over thirty days, and what is written in a day, are the project's aims; the rest may not grow by one.
const (
	mostGrowth  = 1.0  // MB in 30 days
	mostWritten = 20.0 // MB a day
	mostMore    = 1.0  // goroutines, descriptors in 30 days
)

var figures = []figure{
	{"resident memory", "MB", func(w weighed) float64 { return w.rss }, mostGrowth},
	{"of it no file's", "MB", func(w weighed) float64 { return w.anon }, mostGrowth},
	{"heap after collection", "MB", func(w weighed) float64 { return w.heap }, mostGrowth},
	{"goroutines", "", func(w weighed) float64 { return float64(w.goroutines) }, mostMore},
	{"descriptors", "", func(w weighed) float64 { return float64(w.fds) }, mostMore},
	{"archive's logs", "MB", func(w weighed) float64 { return w.logs }, mostGrowth},
	{"written a day", "MB", func(w weighed) float64 { return w.given }, mostGrowth},
	{"archive", "MB", func(w weighed) float64 { return w.archive }, -1},
}

// conclude prints each trend over the span given, in the unit of time that x counts.
func conclude(out io.Writer, all []weighed, span float64, words string) {
	first := int(float64(len(all)) * warmUp)
	late := all[first:]
	if len(late) < 3 {
		fmt.Fprintln(out, "too short for a trend")
		return
	}
	for _, f := range figures {
		var x, y []float64
		for _, w := range late {
			x, y = append(x, w.at), append(y, f.of(w))
		}
		grows := slope(x, y) * span
		verdict := "keeps to"
		if grows > f.most {
			verdict = "MISSES"
		}
		fmt.Fprintf(out, "%-22s first %.2f, median %.2f, last %.2f %s; trend %+.2f %s in %s", f.name, y[0], median(y), y[len(y)-1], f.unit, grows, f.unit, words)
		if f.most >= 0 {
			fmt.Fprintf(out, ": %s at most %+.1f", verdict, f.most)
		}
		fmt.Fprintln(out)
	}
}

func median(y []float64) float64 {
	s := slices.Sorted(slices.Values(y))
	return s[len(s)/2]
}
