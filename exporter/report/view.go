package report

import (
	"cmp"
	"fmt"
	"strings"
	"time"
	"unicode"

	"nestmon/thresholds/book"
	"nestmon/thresholds/brood"
	"nestmon/thresholds/litter"
	"nestmon/thresholds/review"
)

// Site is where the litter was raised.
type Site struct {
	Name string
	Zone *time.Location
	Now  time.Time // when it is written
}

func (s Site) zone() *time.Location {
	if s.Zone == nil {
		return time.UTC
	}
	return s.Zone
}

// view is a review in words, the same for the page and for the terminal.
type view struct {
	Site, Title, Where, Made string
	Open                     bool
	Facts                    []fact
	Survival                 []fact
	Said                     []fact // the conclusions, by what they are about
	Hours                    []hoursRow
	Limits                   []limitsRow
	Losses                   []lossRow
	Notes                    []fact // visits, alarms, bedding, weights
	Weights                  []string
	Sources                  []fact // of published weights
	Days                     []dayRow
	Caution                  string
	Dense                    bool // much stands on the page
	Sign                     string
	Trace                    *trace // nil where nothing was measured
}

type fact struct{ Name, Value, More string }

type hoursRow struct{ Place, Cold, Hot, Judged, Missing string }

type limitsRow struct{ Days, PileCold, PileHot, AirCold, AirHot string }

type lossRow struct {
	Day, Date string
	Kits      int
	Words     string
	Outside   string
	Pile      string
}

type dayRow struct {
	Day                      int
	Date, Pile, Air, Outside string
	Cold, Hot, Blank         string
	Visits, Opened, Lost     string
	Bedding                  bool
}

func newView(r *review.Review, site Site) *view {
	v := &view{
		Site: printable(site.Name), Open: r.Open, Said: said(r), Sign: r.Scale.Sign(), Caution: caution,
		Title: title(r.Record), Where: where(r), Made: site.Now.In(site.zone()).Format("2 January 2006"),
	}
	v.Facts, v.Survival = facts(r, site.zone()), survival(r)
	v.Hours, v.Limits = hoursRows(r), limitsRows(r)
	for _, l := range r.Losses {
		v.Losses = append(v.Losses, lossOf(r, l))
	}
	v.Notes = notes(r)
	v.Weights, v.Sources = weights(r)
	v.Dense = len(v.Losses) > denseLosses || len(v.Notes) > denseNotes
	for _, d := range r.Days {
		v.Days = append(v.Days, dayOf(r, d))
	}
	v.Trace = draw(r, site.zone())
	return v
}

// caution says how the hours are to be read.
const caution = "Under is an hour whose mean is under the limit of the kits' age, in part one that only dips under it, as nursing does; over in part is any hour " +
	"that goes over. A probe that lies beside the kits reads lower than they are. Hours without data are not known to be fine. No veterinary advice."

// From how many rows on paper gets smaller print; found by printing, for letter.
const denseLosses, denseNotes = 10, 14

// said gathers the conclusions by what they are about.
func said(r *review.Review) (all []fact) {
	for _, c := range r.Conclusions {
		if n := len(all); n > 0 && all[n-1].Name == c.About {
			all[n-1].Value += " " + c.Text
			continue
		}
		all = append(all, fact{Name: c.About, Value: c.Text})
	}
	return all
}

func title(rec *book.Record) string {
	if rec.Doe == "" {
		return fmt.Sprintf("Litter %d", rec.ID)
	}
	return fmt.Sprintf("Litter %d of %s", rec.ID, printable(rec.Doe))
}

// where says in which nests the kits lay.
func where(r *review.Review) string {
	var all []string
	for _, s := range r.Spans {
		nest := printable(s.Nest)
		if s.Kind != "" {
			nest += " (" + kindWords[s.Kind] + ")"
		}
		all = append(all, nest)
	}
	said := "in " + strings.Join(all, ", then ")
	if len(all) == 0 {
		said = "in no nest of the book"
	}
	if r.Record.Buck != "" {
		said += ", by " + printable(r.Record.Buck)
	}
	return said
}

var kindWords = map[brood.Kind]string{brood.WoodenBox: "wooden box", brood.MetalBox: "metal box", brood.BuriedTote: "buried tote"}

const none = "–"

func facts(r *review.Review, zone *time.Location) []fact {
	rec := r.Record
	date := func(t time.Time) string {
		if t.IsZero() {
			return none
		}
		return t.In(zone).Format("2 Jan 2006")
	}
	count := func(n *int) string {
		if n == nil {
			return "not counted"
		}
		return fmt.Sprint(*n)
	}
	kindled := fact{Name: "Kindled", Value: date(rec.Kindled)}
	if r.Gestation >= 0 {
		kindled.More = fmt.Sprintf("%d days after", r.Gestation)
	}
	weaned := fact{Name: "Weaned", Value: date(rec.Weaned)}
	if r.WeanedAt >= 0 {
		weaned.More = fmt.Sprintf("day %d", r.WeanedAt)
	}
	born := fact{Name: "Born alive", Value: count(rec.Born)}
	if rec.Dead != nil && *rec.Dead > 0 {
		born.More = fmt.Sprintf("and %d dead", *rec.Dead)
	}
	all := []fact{{Name: "Bred", Value: date(rec.Bred)}, kindled, weaned, born, {Name: "Lost", Value: fmt.Sprint(r.Lost)}}
	if r.In+r.Out > 0 {
		all = append(all, fact{Name: "Fostered", Value: fmt.Sprintf("%d in, %d out", r.In, r.Out)})
	}
	return all
}

func survival(r *review.Review) (all []fact) {
	for _, s := range r.Survival {
		f := fact{Name: "to " + s.Name, Value: none, More: s.Why}
		if s.Why == "" {
			f.Value = fmt.Sprintf("%d of %d", s.Alive, s.Of)
		}
		all = append(all, f)
	}
	return all
}

func hoursRows(r *review.Review) (all []hoursRow) {
	for _, p := range []struct {
		place string
		review.Judged
	}{{"the pile", r.Pile}, {"nest air", r.Nest}} {
		row := hoursRow{Place: p.place, Cold: "no probe", Hot: "no probe", Judged: none, Missing: none}
		if p.Probe {
			row = hoursRow{p.place, beyond(p.Cold, p.ColdInPart), beyond(p.Hot, p.HotInPart), fmt.Sprintf("%d h", p.Judged.Judged), fmt.Sprintf("%d h", p.Missing())}
			if p.Judged.Judged == 0 {
				row.Cold, row.Hot = "not known", "not known"
			}
		}
		all = append(all, row)
	}
	return all
}

func beyond(whole, part int) string {
	if part == 0 {
		return fmt.Sprintf("%d h", whole)
	}
	return fmt.Sprintf("%d h, and %d in part", whole, part)
}

func limitsRows(r *review.Review) (all []limitsRow) {
	for _, l := range r.Limits {
		row := limitsRow{Days: fmt.Sprintf("%d–%d", l.From, l.To), PileCold: none, PileHot: none, AirCold: r.Scale.Both(l.AirCold), AirHot: r.Scale.Both(l.AirHot)}
		if l.From == l.To {
			row.Days = fmt.Sprint(l.From)
		}
		if l.Pile {
			row.PileCold, row.PileHot = r.Scale.Both(l.Cold), r.Scale.Both(l.Hot)
		}
		all = append(all, row)
	}
	return all
}

func lossOf(r *review.Review, l review.Loss) lossRow {
	row := lossRow{
		Day: fmt.Sprintf("day %d", l.Age), Date: day(l.Date), Kits: l.Kits, Words: strings.ReplaceAll(l.Words(), "entered as ", ""),
		Outside: "not measured", Pile: "not measured",
	}
	if l.Outside.Known() {
		row.Outside = r.Scale.Range(l.Outside)
	}
	if l.Pile.Known() {
		row.Pile = r.Scale.Range(l.Pile)
		for _, h := range []struct {
			n    int
			what string
		}{{l.Cold, "under"}, {l.Hot, "over"}, {int(l.Chill.Hours() + 0.5), "of chill alarm"}, {l.Missing, "no data"}} {
			if h.n > 0 {
				row.Pile += fmt.Sprintf(", %d h %s", h.n, h.what)
			}
		}
	}
	return row
}

func dayOf(r *review.Review, d review.Day) dayRow {
	count := func(n int) string {
		if n == 0 {
			return ""
		}
		return fmt.Sprint(n)
	}
	row := dayRow{
		Day: d.Age, Date: day(d.Date), Pile: between(r.Scale, d.Pile), Air: between(r.Scale, d.Air), Outside: between(r.Scale, d.Outside),
		Cold: count(d.Cold), Hot: count(d.Hot), Blank: count(d.Blank), Visits: count(d.Visits), Opened: count(d.Opened + d.Marked), Lost: count(d.Lost), Bedding: d.Bedding,
	}
	if d.Judged == 0 {
		row.Cold, row.Hot = "?", "?"
	}
	return row
}

func between(s review.Scale, v review.Value) string {
	if !v.Known() {
		return "not measured"
	}
	return fmt.Sprintf("%.0f to %.0f", s.Of(v.Min), s.Of(v.Max))
}

func day(d litter.Date) string { return fmt.Sprintf("%d %s", d.Day, d.Month.String()[:3]) }

func notes(r *review.Review) (all []fact) {
	v := r.Visits
	visits := "these probes cannot show them"
	if v.Expected {
		visits = fmt.Sprintf("%d seen to day %d", v.Seen, brood.VisitLastDay)
		if v.Intervals > 0 {
			visits += ", the middle interval " + length(v.Median)
		}
		if v.Longest > 0 {
			visits += ", the longest time without " + length(v.Longest)
		}
	}
	all = append(all, fact{Name: "Visits of the doe", Value: visits}, fact{Name: "Nest opened", Value: opened(r)}, fact{Name: "Fresh bedding", Value: bedding(r)})
	for i, a := range r.Alarms {
		f := fact{Value: alarmWords(r, a)}
		if i == 0 {
			f.Name = "Alarms"
		}
		all = append(all, f)
	}
	if len(r.Alarms) == 0 {
		all = append(all, fact{Name: "Alarms", Value: "none of this nest from warning up"})
	}
	return all
}

// weights lists the weigh-ins, and the sources of what stands beside them.
func weights(r *review.Review) (all []string, sources []fact) {
	mark := map[string]string{}
	for _, w := range r.Weights {
		said := fmt.Sprintf("day %d: %.0f g a kit", w.Age, w.Each)
		if w.Kits > 1 {
			said += fmt.Sprintf(" (%d weighed)", w.Kits)
		}
		if w.ADay != 0 {
			said += fmt.Sprintf(", %+.0f g a day", w.ADay)
		}
		if p := w.Published; p != nil {
			if mark[p.Source] == "" {
				mark[p.Source] = string(rune('a' + len(sources)))
				sources = append(sources, fact{mark[p.Source], p.Source, ""})
			}
			said += fmt.Sprintf("; published %.0f to %.0f g [%s]", w.Low, w.High, mark[p.Source])
		}
		all = append(all, said)
	}
	return all, sources
}

func opened(r *review.Review) string {
	seen, marked := 0, 0
	for _, d := range r.Days {
		seen, marked = seen+d.Opened, marked+d.Marked
	}
	return fmt.Sprintf("%s by the probes, %s marked as inspections", times(seen), times(marked))
}

func times(n int) string {
	switch n {
	case 0:
		return "never"
	case 1:
		return "once"
	}
	return fmt.Sprintf("%d times", n)
}

// bedding lists the days of fresh bedding; what it was is named where it changes.
func bedding(r *review.Review) string {
	var all []string
	before := ""
	for _, b := range r.Bedding {
		what := ""
		if b.Bedding != "" {
			what = " " + printable(b.Bedding)
		}
		if b.Depth > 0 {
			what += fmt.Sprintf(" %g cm (%.1f in)", b.Depth, b.Depth/2.54)
		}
		said := fmt.Sprintf("day %d", b.Age)
		if what != before {
			said, before = said+what, what
		}
		all = append(all, said)
	}
	return cmp.Or(strings.Join(all, ", "), "none in the book")
}

func alarmWords(r *review.Review, a review.Alarm) string {
	said := fmt.Sprintf("%s: %s, %s", a.Name.Plain(), times(a.Times), a.Worst)
	switch {
	case !r.Answers:
		said += "; who answered is not known"
	case a.Answered == 0:
		said += "; nobody answered"
	case a.Answered < a.Times:
		said += fmt.Sprintf("; answered %d of them after %s", a.Answered, length(a.Median))
	default:
		said += "; answered after " + length(a.Median)
	}
	if a.Stands {
		said += "; stands"
	}
	return said
}

// length writes a length of time.
func length(d time.Duration) string {
	if d < 2*time.Hour {
		return fmt.Sprintf("%.0f min", d.Minutes())
	}
	return fmt.Sprintf("%.0f h", d.Hours())
}

// printable takes out what could move a terminal's cursor.
func printable(s string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsPrint(r) {
			return r
		}
		return -1
	}, s)
}
