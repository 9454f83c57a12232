package review

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/book"
	"nestmon/thresholds/brood"
)

// Conclusion is one sentence of the paragraph.
type Conclusion struct{ About, Text string }

// What conclusions are about, in the order of the paragraph.
const (
	aboutKits    = "Kits"
	aboutWarmth  = "Warmth"
	aboutDoe     = "Doe"
	aboutCare    = "Care"
	aboutGrowth  = "Growth"
	aboutUnknown = "Not known"
)

// rule is one conclusion: what must hold, and the sentence. A sentence may set two facts beside each other; it names no cause, for none was
// shown, and gives no advice on an animal's health beyond whom to ask.
type rule struct {
	about string
	when  func(*Review) bool
	say   func(*Review) string
}

// rules are the conclusions in the order of the paragraph.
var rules = []rule{
	{aboutKits, (*Review).noneLeft, func(r *Review) string {
		return fmt.Sprintf("None of the %s lived; the last loss is entered on day %d.", kits(r.Of), r.Losses[len(r.Losses)-1].Age)
	}},
	{aboutKits, func(r *Review) bool { return r.lived() && r.weaning().Alive == r.weaning().Of }, func(r *Review) string {
		return fmt.Sprintf("Went well: all %s lived to weaning on day %d.", kits(r.weaning().Of), r.WeanedAt)
	}},
	{aboutKits, func(r *Review) bool { return r.lived() && r.weaning().Alive < r.weaning().Of }, func(r *Review) string {
		return fmt.Sprintf("%d of %s lived to weaning on day %d.", r.weaning().Alive, kits(r.weaning().Of), r.WeanedAt)
	}},
	{aboutKits, func(r *Review) bool { return r.Open && r.counted() && !r.noneLeft() }, func(r *Review) string {
		return fmt.Sprintf("This litter is not finished: on day %d, %d of %s live by the book.", r.Age, r.Left, kits(r.Of))
	}},
	{aboutKits, func(r *Review) bool { return !r.counted() }, says("Nobody counted the kits at birth, so no share of them can be given.")},
	{aboutKits, func(r *Review) bool { return r.Record.Dead != nil && *r.Record.Dead > 0 }, func(r *Review) string {
		return fmt.Sprintf("%s dead.", plural(*r.Record.Dead, "1 more was born", "%d more were born"))
	}},
	{aboutKits, func(r *Review) bool { return len(r.Losses) > 0 }, (*Review).sayLosses},
	{aboutKits, func(r *Review) bool { return len(r.Losses) == 0 && r.counted() }, says("No loss is in the book.")},
	{aboutKits, (*Review).unexplained, says("Losses are in the book whose cause nobody saw: where sickness is suspected, ask a veterinarian.")},

	{aboutWarmth, func(r *Review) bool { return r.Pile.Cold > 0 }, func(r *Review) string {
		return fmt.Sprintf("The pile's probe read under the limit of the kits' age for %d of %s%s; the lowest was %s on day %d, where the limit is %s.",
			r.Pile.Cold, hours(r.Pile.Judged), alsoCritical(r.Pile.ColdCritical), r.Scale.One(r.Pile.Low.Min), r.ageOf(r.Pile.Low.At), r.Scale.Both(r.limitsAt(r.Pile.Low.At).Cold))
	}},
	{aboutWarmth, (*Review).besidePile, says("That is more than half of the time, as of a probe that lies beside the pile: look where it lay.")},
	{aboutWarmth, func(r *Review) bool { return r.Pile.Cold > 0 }, func(r *Review) string {
		times, lasted := r.chills()
		if times == 0 {
			return "The alarm for a chilled pile, which allows for where the probe lies, was not raised."
		}
		return fmt.Sprintf("The alarm for a chilled pile, which allows for where the probe lies, was raised %s and stood for %s.", often(times), wait(lasted))
	}},
	{aboutWarmth, func(r *Review) bool { return r.Pile.Hot+r.Pile.HotInPart > 0 }, func(r *Review) string {
		return fmt.Sprintf("The pile's probe read over the limit in %s; the highest was %s on day %d, where the limit is %s.",
			hours(r.Pile.Hot+r.Pile.HotInPart), r.Scale.One(r.Pile.High.Max), r.ageOf(r.Pile.High.At), r.Scale.Both(r.limitsAt(r.Pile.High.At).Hot))
	}},
	{aboutWarmth, func(r *Review) bool {
		return r.Pile.Judged > 0 && r.Pile.Cold+r.Pile.Hot+r.Pile.HotInPart == 0 && r.Pile.Whole()
	}, func(r *Review) string {
		if r.Pile.ColdInPart > 0 {
			return fmt.Sprintf("Over %s the pile's probe kept within the limits of the kits' age by the mean of each hour; in %s of them it dipped under.", hours(r.Pile.Judged), hours(r.Pile.ColdInPart))
		}
		return fmt.Sprintf("Went well: over %s the pile's probe kept within the limits of the kits' age.", hours(r.Pile.Judged))
	}},
	{aboutWarmth, func(r *Review) bool { return r.Nest.Hot+r.Nest.HotInPart > 0 }, func(r *Review) string {
		return fmt.Sprintf("Nest air was over its limit in %s; the highest was %s on day %d, where the limit is %s.",
			hours(r.Nest.Hot+r.Nest.HotInPart), r.Scale.One(r.Nest.High.Max), r.ageOf(r.Nest.High.At), r.Scale.Both(r.limitsAt(r.Nest.High.At).AirHot))
	}},
	{aboutWarmth, func(r *Review) bool { return r.Nest.Cold > 0 }, func(r *Review) string {
		return fmt.Sprintf("Nest air was under its limit for %s; the lowest was %s on day %d, where the limit is %s.",
			hours(r.Nest.Cold), r.Scale.One(r.Nest.Low.Min), r.ageOf(r.Nest.Low.At), r.Scale.Both(r.limitsAt(r.Nest.Low.At).AirCold))
	}},

	{aboutDoe, func(r *Review) bool {
		return r.Visits.Intervals > 0 && r.Visits.Longest <= brood.VisitWarn && r.Pile.Whole() && r.Nest.Whole()
	}, func(r *Review) string {
		return fmt.Sprintf("Went well: she was seen to come about every %s, never more than %s apart.", wait(r.Visits.Median), wait(r.Visits.Longest))
	}},
	{aboutDoe, func(r *Review) bool { return r.Visits.Seen > 0 && r.Visits.Longest > brood.VisitWarn }, func(r *Review) string {
		return fmt.Sprintf("The longest time without a visit seen was %s, from day %d on; about one visit in six leaves no trace.",
			wait(r.Visits.Longest), r.ageOf(r.Visits.From))
	}},
	{aboutDoe, func(r *Review) bool {
		return r.Visits.Expected && r.Visits.Seen == 0 && r.Visits.Longest > brood.VisitWarn
	}, says("No visit was seen; some nests show none.")},

	{aboutCare, func(r *Review) bool { n, a := r.called(); return r.Answers && n > 0 && n == a }, func(r *Review) string {
		n, _ := r.called()
		return fmt.Sprintf("Went well: %s after %s.", plural(n, "the one alarm was answered", "all %d alarms were answered, the slowest"), wait(r.slowest()))
	}},
	{aboutCare, func(r *Review) bool { n, a := r.called(); return r.Answers && n > a }, func(r *Review) string {
		n, a := r.called()
		return fmt.Sprintf("%s answered by nobody.", plural(n-a, "1", "%d")+" of "+plural(n, "1 alarm", "%d alarms")+plural(n-a, " was", " were"))
	}},
	{aboutCare, func(r *Review) bool { return len(r.Bedding) > 0 }, func(r *Review) string {
		return fmt.Sprintf("Fresh bedding was entered %s, first on day %d.", often(len(r.Bedding)), r.Bedding[0].Age)
	}},
	{aboutCare, func(r *Review) bool { return len(r.Bedding) == 0 && r.inNest(r.fresh+1) }, func(r *Review) string {
		return fmt.Sprintf("No fresh bedding is in the book, which is usual by day %d.", r.fresh)
	}},

	{aboutGrowth, func(r *Review) bool { return r.compared() != nil }, func(r *Review) string {
		w := r.compared()
		return fmt.Sprintf("On day %d a kit weighed %.0f g; studies found %.0f to %.0f g at about that age, of their own breeds.", w.Age, w.Each, w.Low, w.High)
	}},

	{aboutUnknown, func(r *Review) bool { return len(r.unmeasured()) > 0 }, func(r *Review) string {
		return "Not measured, and so not known to be fine: " + strings.Join(r.unmeasured(), "; ") + "."
	}},
}

func says(text string) func(*Review) string { return func(*Review) string { return text } }

func (r *Review) conclude() {
	for _, c := range rules {
		if c.when(r) {
			r.Conclusions = append(r.Conclusions, Conclusion{c.about, c.say(r)})
		}
	}
}

func (r *Review) counted() bool     { return r.Record.Born != nil }
func (r *Review) weaning() Survival { return r.Survival[len(r.Survival)-1] }
func (r *Review) lived() bool {
	return r.WeanedAt >= 0 && r.weaning().Why == "" && r.weaning().Alive > 0
}
func (r *Review) noneLeft() bool { return r.counted() && r.Left == 0 && len(r.Losses) > 0 }

// besideShare is the share of hours under the limit beyond which the probe's place is in doubt; ours, no source.
const besideShare = 0.5

func (r *Review) besidePile() bool {
	return r.Pile.Judged > 0 && float64(r.Pile.Cold) > besideShare*float64(r.Pile.Judged)
}

func (r *Review) inNest(day int) bool {
	for _, s := range r.Spans {
		if r.ageOf(s.Until) >= day && !s.BoxOut {
			return true
		}
	}
	return false
}

func (r *Review) limitsAt(t time.Time) Limits {
	l, _ := r.On(r.ageOf(t))
	return l
}

// called counts the alarms and those that a person answered.
func (r *Review) called() (n, answered int) {
	for _, a := range r.Alarms {
		n, answered = n+a.Times, answered+a.Answered
	}
	return n, answered
}

// chills is how often the pile was called chilled, and for how long.
func (r *Review) chills() (times int, lasted time.Duration) {
	for _, a := range r.Alarms {
		if a.Name == alarm.ClusterChill {
			return a.Times, a.Lasted
		}
	}
	return 0, 0
}

func (r *Review) slowest() (d time.Duration) {
	for _, a := range r.Alarms {
		d = max(d, a.Slowest)
	}
	return d
}

// compared is the last weigh-in with a published figure beside it.
func (r *Review) compared() *Weight {
	for i := len(r.Weights) - 1; i >= 0; i-- {
		if r.Weights[i].Published != nil {
			return &r.Weights[i]
		}
	}
	return nil
}

func (r *Review) unexplained() bool {
	return slices.ContainsFunc(r.Losses, func(l Loss) bool {
		return slices.ContainsFunc(l.Causes, func(c Cause) bool { return c.Cause == "" || c.Cause == book.Other })
	})
}

// toldLosses is how many days of losses the paragraph tells, the worst ones; the rest stand in their table. Ours, no source.
const toldLosses = 3

func (r *Review) sayLosses() string {
	worst := slices.Clone(r.Losses)
	slices.SortStableFunc(worst, func(a, b Loss) int { return b.Kits - a.Kits })
	worst = worst[:min(len(worst), toldLosses)]
	slices.SortFunc(worst, func(a, b Loss) int { return a.Age - b.Age })
	var all []string
	for i := range worst {
		all = append(all, r.sayLoss(&worst[i]))
	}
	if more := len(r.Losses) - len(worst); more > 0 {
		all = append(all, fmt.Sprintf("More were lost on %s, see below.", plural(more, "one other day", "%d other days")))
	}
	return strings.Join(all, " ")
}

func (r *Review) sayLoss(l *Loss) string {
	of := ""
	if r.counted() && r.Of > 0 {
		of = fmt.Sprintf(" of %d", r.Of)
	}
	said := fmt.Sprintf("%d%s %s on day %d, %s: ", l.Kits, of, plural(l.Kits, "was lost", "were lost"), l.Age, l.Words())
	var near []string
	switch {
	case !l.Pile.Known():
		near = append(near, "the pile was not measured then")
	case l.Judged == 0:
		near = append(near, "around then the pile's probe read "+r.Scale.Range(l.Pile)+", an age without limits")
	case l.Cold+l.Hot == 0:
		near = append(near, fmt.Sprintf("around then the mean of each hour kept within the pile's limits, lowest %s", r.Scale.One(l.Pile.Min)))
	default:
		if l.Cold > 0 {
			near = append(near, fmt.Sprintf("around then the pile's probe read under %s for %d of %s, lowest %s", r.Scale.Both(l.Limits.Cold), l.Cold, hours(l.Judged), r.Scale.One(l.Pile.Min)))
		}
		if l.Hot > 0 {
			near = append(near, fmt.Sprintf("around then it read over %s in %d of %s, highest %s", r.Scale.Both(l.Limits.Hot), l.Hot, hours(l.Judged), r.Scale.One(l.Pile.Max)))
		}
	}
	switch {
	case l.Chill > 0:
		near = append(near, "the alarm for a chilled pile stood for "+wait(l.Chill))
	case l.Cold > 0:
		near = append(near, "the alarm for a chilled pile did not stand")
	}
	if l.Pile.Known() && l.Missing > 0 {
		near = append(near, hours(l.Missing)+" brought nothing")
	}
	if l.Outside.Known() {
		near = append(near, "outside it was "+r.Scale.Range(l.Outside))
	}
	return said + strings.Join(near, ", ") + "."
}

// Words says how a loss was entered.
func (l Loss) Words() string {
	var all []string
	for _, c := range l.Causes {
		word := "entered as " + strings.ReplaceAll(string(c.Cause), "-", " ")
		switch c.Cause {
		case "":
			word = "missing at a count"
		case book.Other:
			word = "entered as of another cause"
		}
		if len(l.Causes) > 1 {
			word = fmt.Sprintf("%d %s", c.Kits, word)
		}
		all = append(all, word)
	}
	return strings.Join(all, ", ")
}

// unmeasured lists what nobody knows.
func (r *Review) unmeasured() (all []string) {
	say := func(yes bool, format string, args ...any) {
		if yes {
			all = append(all, fmt.Sprintf(format, args...))
		}
	}
	away, from := r.away()
	say(len(r.Hours) == 0, "the nest: no probe of it is in the configuration")
	say(len(r.Hours) > 0 && !r.Pile.Probe, "the pile itself: the nest has no cluster probe")
	say(len(r.Hours) > 0 && !r.Nest.Probe, "the air in the nest")
	say(r.Pile.Missing() > 0, "the pile for %s of %s", hours(r.Pile.Missing()), hours(r.Pile.Expected))
	say(r.Nest.Missing() > 0, "nest air for %s of %s", hours(r.Nest.Missing()), hours(r.Nest.Expected))
	say(r.Pile.Few+r.Nest.Few > 0, "%s with few readings", hours(max(r.Pile.Few, r.Nest.Few)))
	say(!r.Late.IsZero(), "the day of birth, of which the book gives no hour")
	say(len(r.Hours) > 0 && away > 0, "the %s from day %d on, when the kits lay where no probe is", plural(away, "day", "%d days"), from)
	say(len(r.Outside) == 0, "the air outside")
	say(len(r.Weights) == 0, "how they grew: none was weighed")
	n, _ := r.called()
	say(n > 0 && !r.Answers, "who answered the alarms")
	return all
}

// away is how many days the kits lived after they had left the last nest with a probe, and from which day on.
func (r *Review) away() (days, from int) {
	for _, s := range r.Spans {
		if s.Watched() {
			from = r.ageOf(s.Until)
		}
	}
	until := r.Age
	if r.WeanedAt >= 0 {
		until = r.WeanedAt
	}
	return until - from, from
}

func plural(n int, one, more string) string {
	if n == 1 {
		return one
	}
	if strings.Contains(more, "%") {
		return fmt.Sprintf(more, n)
	}
	return more
}

func often(n int) string {
	switch n {
	case 1:
		return "once"
	case 2:
		return "twice"
	}
	return fmt.Sprintf("%d times", n)
}

func kits(n int) string  { return plural(n, "1 kit", "%d kits") }
func hours(n int) string { return fmt.Sprintf("%d h", n) }

func alsoCritical(n int) string {
	if n == 0 {
		return ""
	}
	return fmt.Sprintf(", %d of them under the critical one", n)
}

// wait writes a length of time.
func wait(d time.Duration) string {
	if d < 2*time.Hour {
		return fmt.Sprintf("%.0f min", d.Minutes())
	}
	return fmt.Sprintf("%.0f h", d.Hours())
}
