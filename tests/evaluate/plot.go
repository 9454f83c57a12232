package main

import (
	"fmt"
	"html"
	"io"
	"math"
)

// plot is a picture of sensitivity against false alarms.
type plot struct {
	title, subtitle string
	points          []point
}

type point struct {
	x, y  float64 // false alarms per nest-week; share found
	label string
	kind  string // fixed, one or two
}

// The picture's measures, px, and its axis of false alarms: decades.
const (
	plotWide, plotHigh   = 860, 560
	plotLeft, plotRight  = 70, 230
	plotTop, plotBottom  = 70, 60
	decadeLow, decadeTop = -2, 1.5
)

var plotColours = map[string]string{"fixed": "#999999", "one": "#c0392b", "two": "#1f5fa8"}

func plotX(v float64) float64 {
	d := math.Log10(math.Max(v, math.Pow(10, decadeLow)))
	return plotLeft + (d-decadeLow)/(decadeTop-decadeLow)*(plotWide-plotLeft-plotRight)
}

func plotY(share float64) float64 { return plotTop + (1-share)*(plotHigh-plotTop-plotBottom) }

// write writes the picture as SVG. Points of no figure are left out; a rule without a false alarm lies at the left edge.
func (p *plot) write(w io.Writer) error {
	var err error
	put := func(format string, args ...any) {
		if err == nil {
			_, err = fmt.Fprintf(w, format+"\n", args...)
		}
	}
	put(`<svg xmlns="http://www.w3.org/2000/svg" width="%d" height="%d" viewBox="0 0 %d %d" font-family="sans-serif" font-size="12">`, plotWide, plotHigh, plotWide, plotHigh)
	put(`<rect width="100%%" height="100%%" fill="white"/>`)
	put(`<text x="%d" y="26" font-size="17">%s</text><text x="%d" y="46" fill="#555">%s</text>`, plotLeft, html.EscapeString(p.title), plotLeft, html.EscapeString(p.subtitle))
	for _, v := range []float64{0.01, 0.03, 0.1, 0.3, 1, 3, 10, 30} {
		x := plotX(v)
		put(`<line x1="%.1f" y1="%d" x2="%.1f" y2="%d" stroke="#ddd"/><text x="%.1f" y="%d" text-anchor="middle">%g</text>`, x, plotTop, x, plotHigh-plotBottom, x, plotHigh-plotBottom+18, v)
	}
	for i := 0; i <= 10; i += 2 {
		y := plotY(float64(i) / 10)
		put(`<line x1="%d" y1="%.1f" x2="%d" y2="%.1f" stroke="#ddd"/><text x="%d" y="%.1f" text-anchor="end">%d %%</text>`, plotLeft, y, plotWide-plotRight, y, plotLeft-8, y+4, 10*i)
	}
	put(`<text x="%d" y="%d" text-anchor="middle">false alarms per nest-week with nothing wrong</text>`, (plotLeft+plotWide-plotRight)/2, plotHigh-16)
	put(`<text x="18" y="%d" text-anchor="middle" transform="rotate(-90 18 %d)">found, strict window</text>`, plotHigh/2, plotHigh/2)
	n := 0
	for _, q := range p.points {
		if !finite(q.x) || !finite(q.y) {
			continue
		}
		n++
		put(`<circle cx="%.1f" cy="%.1f" r="6" fill="%s"><title>%s: %.0f %% at %.2f</title></circle>`, plotX(q.x), plotY(q.y), plotColours[q.kind], html.EscapeString(q.label), 100*q.y, q.x)
		put(`<text x="%.1f" y="%.1f" font-size="10">%d</text>`, plotX(q.x)+8, plotY(q.y)+4, n)
		put(`<text x="%d" y="%d" font-size="10" fill="%s">%d %s</text>`, plotWide-plotRight+14, plotTop+16*n, plotColours[q.kind], n, html.EscapeString(q.label))
	}
	put(`</svg>`)
	return err
}

// points makes points of scores: of the deep dangers alone, or of all.
func points(scores []score, deep bool) []point {
	var out []point
	for i := range scores {
		s := &scores[i]
		h := &s.strict
		if deep {
			h = &s.deep
		}
		kind := "fixed"
		switch {
		case len(s.name) > 3 && s.name[:3] == "one":
			kind = "one"
		case len(s.name) > 3 && s.name[:3] == "two":
			kind = "two"
		}
		out = append(out, point{s.rate().value, wilson(h.hit, h.n).value, s.name, kind})
	}
	return out
}
