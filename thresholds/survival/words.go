package survival

import (
	"fmt"
	"slices"
	"strings"
)

// enough is from how many litters on a figure is told and compared without a warning; ours, no source. Below it the interval is shown, and
// that it is too few to tell.
const enough = 5

// mostNamed is how many groups a sentence names; ours, no source.
const mostNamed = 6

// words says in plain sentences what the figures show.
func (r *Report) words() []string {
	out := []string{r.overall()}
	if r.By != "" && r.All.Litters > 0 {
		out = append(out, r.compare())
	}
	return append(out, r.All.mostLost()...)
}

// overall tells of the last day that any litter has come to.
func (r *Report) overall() string {
	for _, f := range slices.Backward(r.All.Days) {
		if f.Of == 0 {
			continue
		}
		text := fmt.Sprintf("Of %s of %s %d %s, %s", count(f.Of, "kit"), count(f.Litters, "litter"), f.N, verb(f.Day, f.N), percent(*f.Value))
		switch {
		case f.Low == nil:
			return text + "; one litter shows nothing of how litters differ, so there is no interval."
		case f.Few:
			return fmt.Sprintf("%s; the truth may lie anywhere from %s to %s, for %d litters are too few to tell.", text, percent(*f.Low), percent(*f.High), f.Litters)
		}
		return fmt.Sprintf("%s; the truth lies between %s and %s 19 times of 20.", text, percent(*f.Low), percent(*f.High))
	}
	return "There is no litter yet of which survival could be told."
}

// compare tells the best group from the worst, where that is more than chance.
func (r *Report) compare() string {
	told := r.comparable()
	if len(told) < 2 {
		return fmt.Sprintf("No two %s have %d litters each that count: too few to tell them apart.%s", r.By.plural(), enough, r.few())
	}
	slices.SortFunc(told, func(a, b compared) int { return b.rank(a) })
	best, worst := told[0], told[len(told)-1]
	level := 1 - (1-confidence)/float64(len(told))
	low, _, _ := clustered(best.each, level)
	_, high, _ := clustered(worst.each, level)
	pair := fmt.Sprintf("%s (%s %s) and %s (%s)", best.name, percent(*best.Value), to(best.Day), worst.name, percent(*worst.Value))
	switch {
	case *best.Value == *worst.Value:
		return fmt.Sprintf("The %s that can be compared do not differ.%s", r.By.plural(), r.few())
	case low > high:
		return fmt.Sprintf("%s differ by more than chance easily makes among %d %s. Other things may differ between them too: nest, season, doe, who looked in.%s",
			pair, len(told), r.By.plural(), r.few())
	case *best.Low > *worst.High:
		return fmt.Sprintf("%s lie farthest apart, but of %d %s two may do so by chance.%s", pair, len(told), r.By.plural(), r.few())
	case *best.Low <= *worst.Value && *best.Value <= *worst.High:
		return fmt.Sprintf("%s lie farthest apart, and that may well be chance: their intervals overlap widely.%s", pair, r.few())
	}
	return fmt.Sprintf("%s lie farthest apart, and that may be chance: their intervals overlap. More litters will tell.%s", pair, r.few())
}

// compared is a group's figure that can be compared.
type compared struct {
	name string
	*Figure
}

func (t compared) rank(o compared) int {
	switch {
	case *t.Value < *o.Value:
		return -1
	case *t.Value > *o.Value:
		return 1
	}
	return strings.Compare(o.name, t.name)
}

// comparable lists the figures of the last day at which two groups have enough litters.
func (r *Report) comparable() (told []compared) {
	for i := range slices.Backward(days) {
		told = nil
		for g := range r.Groups {
			if f := &r.Groups[g].Days[i]; !f.Few && f.Of > 0 && r.Groups[g].Name != "" {
				told = append(told, compared{r.Groups[g].Name, f})
			}
		}
		if len(told) > 1 {
			break
		}
	}
	return told
}

// few names the groups with too few litters.
func (r *Report) few() string {
	var names []string
	for _, g := range r.Groups {
		if g.Few && g.Litters > 0 {
			name := g.Name
			if name == "" {
				name = "not known"
			}
			names = append(names, fmt.Sprintf("%s %d", name, g.Litters))
		}
	}
	more := ""
	if len(names) > mostNamed {
		more = fmt.Sprintf(" and %d more", len(names)-mostNamed)
		names = names[:mostNamed]
	}
	if len(names) == 0 {
		return ""
	}
	return fmt.Sprintf(" Fewer than %d litters, too few to tell: %s%s.", enough, strings.Join(names, ", "), more)
}

// mostLost names the cause that took most kits, and when.
func (g *Group) mostLost() []string {
	byCause, early, all := map[string]int{}, map[string]int{}, 0
	for _, l := range g.Losses {
		c := string(l.Cause)
		byCause[c], all = byCause[c]+l.Kits, all+l.Kits
		if l.Day <= days[0] {
			early[c] += l.Kits
		}
	}
	if all == 0 {
		return nil
	}
	first := ""
	for c, n := range byCause {
		if n > byCause[first] || n == byCause[first] && c < first {
			first = c
		}
	}
	return []string{fmt.Sprintf("Of %s lost, the most frequent cause was %s: %d, of these %d by day %d.", count(all, "kit"), first, byCause[first], early[first], days[0])}
}

func (k Key) plural() string {
	if k == Kind {
		return "kinds of nest"
	}
	if k == Bedding {
		return "kinds of bedding"
	}
	return string(k) + "s"
}

func to(day int) string {
	if day == Weaning {
		return "weaned"
	}
	return fmt.Sprintf("to day %d", day)
}

func verb(day, n int) string {
	switch {
	case day != Weaning:
		return fmt.Sprintf("lived to day %d", day)
	case n == 1:
		return "was weaned"
	}
	return "were weaned"
}

func count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// percent never rounds to all or none what is neither.
func percent(v float64) string {
	switch {
	case v > 0.99 && v < 1:
		return fmt.Sprintf("%.1f %%", min(99.9, 100*v))
	case v > 0 && v < 0.01:
		return fmt.Sprintf("%.1f %%", max(0.1, 100*v))
	}
	return fmt.Sprintf("%.0f %%", 100*v)
}
