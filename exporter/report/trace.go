package report

import (
	"fmt"
	"math"
	"strings"
	"time"

	"nestmon/thresholds/litter"
	"nestmon/thresholds/review"
)

// The drawing, in its own units. The page shows it at 700 to 1000 pixels.
const (
	width, left, right = 1000.0, 128.0, 972.0
	top, plot          = 12.0, 215.0 // of the temperatures, and their height
	lane               = 19.0        // one row of marks
	foot               = 40.0        // days and dates
	mostPoints         = 450         // of a line; more are closer than a pen is wide
	mostTicks          = 7
)

// trace is the drawing of a litter's life, ready to be written.
type trace struct {
	Width, Height, Top, Bottom, Left, Right float64
	Text                                    string // what it shows, in words
	Band                                    []box
	BandLines                               string
	Spread, Pile, Air, Outside              string // paths
	Ticks                                   []tick
	Days                                    []tick
	Lanes                                   []laneOf
	Lines                                   []tick // where something changed
	Losses                                  []tick
}

type box struct{ X, Y, W, H float64 }

type tick struct {
	At         float64
	Text, More string
}

// End reports whether its text must stand before it, for want of room.
func (t tick) End() bool { return t.At > right-110 }

// laneOf is a row of marks under the plot. Its name and shape say what it is without colour.
type laneOf struct {
	Name, Class string
	Y, Mid      float64
	Boxes       []box
	Marks       string // a path
	Numbers     []tick
}

// draw makes the trace; nil where nothing was measured.
func draw(r *review.Review, zone *time.Location) *trace {
	if len(r.Hours) == 0 {
		return nil
	}
	from, to := r.Hours[0].At, r.Hours[len(r.Hours)-1].At.Add(time.Hour)
	a := axes{from: from, to: to, scale: r.Scale, low: math.Inf(1), high: math.Inf(-1)}
	for _, h := range r.Hours {
		a.hold(h.Cluster)
		a.hold(h.Air)
	}
	var outside []review.Sample
	for _, o := range r.Outside {
		if !o.At.Before(from) && o.At.Before(to) {
			outside = append(outside, o)
			a.hold(o.Value)
		}
	}
	if a.low > a.high {
		return nil
	}
	t := &trace{Width: width, Top: top, Bottom: top + plot, Left: left, Right: right}
	t.Ticks = a.settle()
	t.band(r, &a, zone)
	t.Pile, t.Spread = a.lines(len(r.Hours), func(i int) (time.Time, review.Value) { return r.Hours[i].At, r.Hours[i].Cluster })
	t.Air, _ = a.lines(len(r.Hours), func(i int) (time.Time, review.Value) { return r.Hours[i].At, r.Hours[i].Air })
	t.Outside, _ = a.lines(len(outside), func(i int) (time.Time, review.Value) { return outside[i].At, outside[i].Value })
	t.days(r, &a, zone)
	t.lanes(r, &a, zone)
	t.Text = describe(r, zone, from, to)
	return t
}

// axes turns times and temperatures into places.
type axes struct {
	from, to  time.Time
	scale     review.Scale
	low, high float64 // on the scale
}

func (a *axes) hold(v review.Value) {
	if v.Known() {
		a.low, a.high = min(a.low, a.scale.Of(v.Min)), max(a.high, a.scale.Of(v.Max))
	}
}

// settle rounds the axis and gives its ticks.
func (a *axes) settle() (ticks []tick) {
	step := 5.0
	for (a.high-a.low)/step > mostTicks {
		step *= 2
	}
	a.low, a.high = math.Floor(a.low/step)*step, math.Ceil(a.high/step)*step
	if a.low == a.high {
		a.high += step
	}
	for v := a.low; v <= a.high; v += step {
		ticks = append(ticks, tick{At: round(a.place(v)), Text: fmt.Sprintf("%.0f°", v)})
	}
	return ticks
}

func (a *axes) place(v float64) float64 { return top + plot*(a.high-v)/(a.high-a.low) }

func (a *axes) y(c float64) float64 { return round(min(max(a.place(a.scale.Of(c)), top), top+plot)) }

func (a *axes) x(t time.Time) float64 {
	share := t.Sub(a.from).Seconds() / a.to.Sub(a.from).Seconds()
	return round(left + (right-left)*min(max(share, 0), 1))
}

func round(v float64) float64 { return math.Round(v*10) / 10 }

// lines draws the means as a line and what lies between lowest and highest as an area, with a gap where nothing was measured.
func (a *axes) lines(n int, at func(int) (time.Time, review.Value)) (means, spread string) {
	step := max(1, int(math.Ceil(a.to.Sub(a.from).Hours()/mostPoints)))
	span := time.Duration(step) * time.Hour
	type point struct {
		n int64
		v review.Value
	}
	var all []point
	for i := range n {
		t, v := at(i)
		if !v.Known() {
			continue
		}
		bucket := int64(t.Sub(a.from) / span)
		if k := len(all); k > 0 && all[k-1].n == bucket {
			all[k-1].v = all[k-1].v.Join(v)
			continue
		}
		all = append(all, point{bucket, v})
	}
	var line, area strings.Builder
	for i := 0; i < len(all); {
		j := i + 1
		for j < len(all) && all[j].n == all[j-1].n+1 {
			j++
		}
		run := all[i:j]
		x := func(p point) float64 { return a.x(a.from.Add(time.Duration(p.n)*span + span/2)) }
		for k, p := range run {
			verb := "L"
			if k == 0 {
				verb = "M"
			}
			fmt.Fprintf(&line, "%s%g %g", verb, x(p), a.y(p.v.Mean))
			fmt.Fprintf(&area, "%s%g %g", verb, x(p), a.y(p.v.Max))
		}
		if len(run) == 1 {
			fmt.Fprintf(&line, "h1")
		}
		for k := len(run) - 1; k >= 0; k-- {
			fmt.Fprintf(&area, "L%g %g", x(run[k]), a.y(run[k].v.Min))
		}
		area.WriteString("Z")
		i = j
	}
	return line.String(), area.String()
}

// midnight begins a day of age.
func midnight(r *review.Review, age int, zone *time.Location) time.Time {
	return litter.StartOf(r.Record.Kindled, age, zone)
}

// band draws between which limits the pile should be.
func (t *trace) band(r *review.Review, a *axes, zone *time.Location) {
	var edges strings.Builder
	for _, l := range r.Limits {
		x0, x1 := a.x(midnight(r, l.From, zone)), a.x(midnight(r, l.To+1, zone))
		if !l.Pile || !r.Pile.Probe || x1 <= x0 {
			continue
		}
		y0, y1 := a.y(l.Hot), a.y(l.Cold)
		t.Band = append(t.Band, box{x0, y0, round(x1 - x0), round(y1 - y0)})
		fmt.Fprintf(&edges, "M%g %gH%gM%g %gH%g", x0, y0, x1, x0, y1, x1)
	}
	t.BandLines = edges.String()
}

// days writes the days of age with their dates, and where the kits were moved.
func (t *trace) days(r *review.Review, a *axes, zone *time.Location) {
	last := int(a.to.Sub(midnight(r, 0, zone)).Hours() / 24)
	step := 1
	for _, s := range []int{1, 2, 7} {
		if step = s; last/s <= 16 {
			break
		}
	}
	for d := 0; d <= last; d += step {
		at := midnight(r, d, zone)
		if at.Before(a.from) && d > 0 || !at.Before(a.to) {
			continue
		}
		t.Days = append(t.Days, tick{a.x(at), fmt.Sprint(d), at.Format("2 Jan")})
	}
	for i, s := range r.Spans {
		switch {
		case i > 0 && s.Watched():
			t.Lines = append(t.Lines, tick{At: a.x(s.From), Text: "to " + printable(s.Nest)})
		case s.BoxOut:
			t.Lines = append(t.Lines, tick{At: a.x(s.Until), Text: "box out"})
		}
	}
}

// lanes draws the rows of marks.
func (t *trace) lanes(r *review.Review, a *axes, zone *time.Location) {
	hours := func(name, class string, is func(review.Seen) bool) laneOf {
		l := laneOf{Name: name, Class: class}
		for _, h := range r.Hours {
			if !is(h) {
				continue
			}
			x0, x1 := a.x(h.At), a.x(h.At.Add(time.Hour))
			if n := len(l.Boxes); n > 0 && l.Boxes[n-1].X+l.Boxes[n-1].W >= x0-0.15 {
				l.Boxes[n-1].W = round(x1 - l.Boxes[n-1].X)
				continue
			}
			l.Boxes = append(l.Boxes, box{X: x0, W: max(round(x1-x0), 1)})
		}
		return l
	}
	all := []laneOf{
		hours("pile under limit", "cold", func(h review.Seen) bool { return h.InPile.Cold }),
		hours("pile over limit", "hot", func(h review.Seen) bool { return h.InPile.Hot || h.InPile.HotInPart }),
		hours("air beyond limits", "airout", func(h review.Seen) bool { return h.InAir.Cold || h.InAir.Hot || h.InAir.HotInPart }),
		hours("no data", "blank", review.Seen.Blank),
		{Name: "doe came", Class: "marks"},
		{Name: "fresh bedding", Class: "marks"},
		{Name: "kits lost", Class: "lost"},
	}
	visits, bedding, lost := &all[4], &all[5], &all[6]
	y := t.Bottom + 6
	for i := range all {
		all[i].Y, all[i].Mid = y, y+lane-5
		for j := range all[i].Boxes {
			all[i].Boxes[j].Y, all[i].Boxes[j].H = y+3, lane-6
		}
		y += lane
	}
	var marks strings.Builder
	for _, came := range r.Came {
		fmt.Fprintf(&marks, "M%g %gv%g", a.x(came), visits.Y+3, lane-6)
	}
	visits.Marks = marks.String()
	marks.Reset()
	for _, b := range r.Bedding {
		at := b.At
		if b.Day {
			at = at.Add(12 * time.Hour)
		}
		if at.After(a.to) { // where no probe was
			continue
		}
		x := a.x(at)
		fmt.Fprintf(&marks, "M%g %gv%g", x, bedding.Y+3, lane-6)
	}
	bedding.Marks = marks.String()
	for _, l := range r.Losses {
		at := l.Date.Noon(zone)
		if l.Date == litter.DateOf(a.to, zone) && at.After(a.to) { // a litter that ended before noon
			at = a.to
		}
		if !at.After(a.to) {
			lost.Numbers = append(lost.Numbers, tick{At: a.x(at), Text: fmt.Sprint(l.Kits)})
			t.Losses = append(t.Losses, tick{At: a.x(at)})
		}
	}
	t.Lanes = all
	t.Height = y + foot
}

// describe says in words what the drawing shows.
func describe(r *review.Review, zone *time.Location, from, to time.Time) string {
	said := fmt.Sprintf("Temperatures from %s to %s. ", from.In(zone).Format("2 Jan"), to.In(zone).Format("2 Jan 2006"))
	for _, p := range []struct {
		name string
		review.Judged
	}{{"The pile", r.Pile}, {"Nest air", r.Nest}} {
		if p.Judged.Judged > 0 {
			said += fmt.Sprintf("%s was between %s and %s. ", p.name, r.Scale.One(p.Low.Min), r.Scale.One(p.High.Max))
		}
	}
	return said + fmt.Sprintf("The pile's probe was under its limit for %d h and over it in %d h. The table below the drawing holds each day.", r.Pile.Cold, r.Pile.Hot+r.Pile.HotInPart)
}
