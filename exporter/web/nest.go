package web

import (
	"bytes"
	"compress/gzip"
	"encoding/json"
	"math"
	"net/http"
	"slices"
	"time"

	"nestmon/sensors"
	"nestmon/thresholds"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/book"
	"nestmon/thresholds/brood"
	"nestmon/thresholds/litter"
	"nestmon/thresholds/past"
)

// Bounds of what is told of one nest, ours, no source.
const (
	defaultMarks = 100
	maxMarks     = 500
	maxEventsOf  = 4000               // read to choose marks from
	maxBands     = 400                // of limits: a litter has about eight, and beyond this they are narrower than a line
	marksBefore  = 2 * 24 * time.Hour // of an alarm that began earlier than this before the span only its end is read
	maxBroods    = 200
	worthZipping = 1 << 10 // bytes; less fits into a packet anyway
)

type graphView struct {
	Nest   string     `json:"nest"`
	From   time.Time  `json:"from"`
	To     time.Time  `json:"to"`
	Step   float64    `json:"step_s,omitempty"`
	Starts []int64    `json:"starts,omitempty"` // unix seconds of each row where rows are not of one length
	First  *time.Time `json:"first"`            // of the archive
	Fine   *time.Time `json:"fine_from"`        // before it there are only hourly values
	Lines  []lineView `json:"lines"`
	Limits []bandView `json:"limits"`
	Bands  int        `json:"limits_left"` // how many bands were left out, all or none
	Marks  []markView `json:"marks"`
	Left   leftView   `json:"marks_left"`
}

type lineView struct {
	Role     thresholds.Role `json:"role"`
	Probe    string          `json:"probe"`
	Quantity string          `json:"quantity"`
	Unit     string          `json:"unit"`
	Gap      float64         `json:"gap_s"`
	Runs     []int           `json:"runs"` // first bucket and number of buckets, again and again
	Mean     []int           `json:"mean"` // hundredths
	Low      []int           `json:"low,omitempty"`
	High     []int           `json:"high,omitempty"`
}

type bandView struct {
	From     time.Time    `json:"from"`
	To       time.Time    `json:"to"`
	Litter   int64        `json:"litter,omitempty"`
	Day      *int         `json:"day,omitempty"`
	LastDay  *int         `json:"last_day,omitempty"`
	Proposed bool         `json:"proposed,omitempty"`
	DayOnly  bool         `json:"day_only,omitempty"`
	Season   brood.Season `json:"season,omitempty"`
	limitsView
}

type markView struct {
	At       time.Time       `json:"at"`
	Until    *time.Time      `json:"until,omitempty"`
	On       bool            `json:"on,omitempty"`
	Day      bool            `json:"day,omitempty"`
	Kind     past.Kind       `json:"kind"`
	Site     bool            `json:"site,omitempty"`
	Event    alarm.Name      `json:"event,omitempty"`
	Severity *alarm.Severity `json:"severity,omitempty"`
	What     book.What       `json:"what,omitempty"`
	Litter   int64           `json:"litter,omitempty"`
	Value    *float64        `json:"value,omitempty"`
	Limit    *float64        `json:"limit,omitempty"`
	Unit     string          `json:"unit,omitempty"`
	Probe    string          `json:"probe,omitempty"`
	Text     string          `json:"text,omitempty"`
	Rule     string          `json:"rule,omitempty"`
	Source   string          `json:"source,omitempty"`
	By       string          `json:"by,omitempty"`
}

type leftView struct {
	Kinds  map[past.Kind]int `json:"kinds"`
	Unread int               `json:"unread"` // events that were not even looked at
}

type broodView struct {
	Litter  int64      `json:"litter"`
	Doe     string     `json:"doe,omitempty"`
	Born    *int       `json:"born"`
	Kindled time.Time  `json:"kindled"`
	DayZero time.Time  `json:"day_zero"`
	Ended   *time.Time `json:"ended"`
	Stays   []stayView `json:"stays"`
}

type stayView struct {
	Nest  string     `json:"nest"`
	From  time.Time  `json:"from"`
	Until *time.Time `json:"until"`
}

// serveNest tells all that a graph of one nest shows of a span.
func (s *Server) serveNest(w http.ResponseWriter, r *http.Request) {
	q := s.parseQuery(r, "nest", "from", "to", "buckets", "by", "marks")
	f, _ := s.newest()
	if f == nil {
		refuse(w, http.StatusServiceUnavailable, "nothing has been measured yet; ask again in a moment")
		return
	}
	snap := &f.state.Snapshot
	nest := wantNest(q, snap)
	from, to := q.span()
	most := 0
	if q.values.Get("marks") != "0" {
		most = q.count("marks", defaultMarks, maxMarks)
	}
	var first, fine time.Time
	var err error
	edges, step := s.wantEdges(q, from, to, func() time.Time {
		first, fine, err = s.history.Kept()
		return fine
	})
	if q.refused(w) {
		return
	}
	if err != nil {
		s.unreadable(w, err)
		return
	}
	if !s.readSlot(w, r) {
		return
	}
	v, err := s.pastOf(nest, snap, edges, most)
	<-s.reads
	if err != nil {
		s.unreadable(w, err)
		return
	}
	v.First, v.Fine = instant(first), instant(fine)
	if v.Step = step.Seconds(); step == 0 {
		for _, e := range edges[:len(edges)-1] {
			v.Starts = append(v.Starts, e.Unix())
		}
	}
	for i := range v.Lines {
		v.Lines[i].Gap += v.Step // where a bucket as wide as the probe's own gap is empty
	}
	s.answerZipped(w, r, v)
}

func wantNest(q *query, snap *thresholds.Snapshot) *thresholds.NestState {
	id := q.values.Get("nest")
	for i := range snap.Nests {
		if snap.Nests[i].ID == id {
			return &snap.Nests[i]
		}
	}
	if id == "" {
		q.fail("which nest? write nest=ID")
		return nil
	}
	if q.problem == "" {
		q.status = http.StatusNotFound
	}
	q.fail("there is no nest %q", clip(id))
	return nil
}

func (s *Server) pastOf(nest *thresholds.NestState, snap *thresholds.Snapshot, edges []time.Time, most int) (graphView, error) {
	v := graphView{Nest: nest.ID, From: edges[0], To: edges[len(edges)-1], Lines: []lineView{}, Limits: []bandView{}, Marks: []markView{}, Left: leftView{Kinds: map[past.Kind]int{}}}
	wanted := s.linesOf(nest, snap, &v)
	points, err := s.history.Lines(wanted, edges)
	if err != nil {
		return v, err
	}
	for i := range points {
		v.Lines[i].take(points[i], edges)
	}
	in := s.pastInput(nest, snap, v.From, v.To)
	if bands := past.Bands(in); len(bands) > maxBands {
		v.Bands = len(bands)
	} else {
		for _, b := range bands {
			v.Limits = append(v.Limits, bandOf(b))
		}
	}
	if most == 0 {
		return v, nil
	}
	nests := []string{nest.ID, ""}
	events, all, err := s.history.Weightiest(nests, v.From.Add(-marksBefore), v.To, maxEventsOf)
	if err != nil {
		return v, err
	}
	ends, err := s.history.Ends(nests, v.To)
	if err != nil {
		return v, err
	}
	ends = slices.DeleteFunc(ends, func(e alarm.Event) bool { return !e.Since.Before(v.To) })
	in.Events, v.Left.Unread = append(events, ends...), all-len(events)
	marks, left := past.Marks(in, most)
	v.Left.Kinds = left
	for _, m := range marks {
		v.Marks = append(v.Marks, markOf(m))
	}
	return v, nil
}

// linesOf lists what is measured in a nest and outside, each once.
func (s *Server) linesOf(nest *thresholds.NestState, snap *thresholds.Snapshot, v *graphView) (wanted []Line) {
	for _, x := range slices.Concat(nest.Values, snap.Outside.Values) {
		l := Line{x.Probe, x.Quantity}
		p, ok := s.site.probe(x.Probe)
		if !ok || slices.Contains(wanted, l) {
			continue
		}
		wanted = append(wanted, l)
		v.Lines = append(v.Lines, lineView{
			Role: x.Role, Probe: x.Probe, Quantity: x.Quantity.String(), Unit: x.Quantity.Unit(), Runs: []int{}, Mean: []int{},
			Gap: max(p.StaleAfter, sensors.DefaultStaleAfter(p.Interval)).Seconds(),
		})
	}
	return wanted
}

// take packs points, which begin at edges.
func (l *lineView) take(points []Point, edges []time.Time) {
	at, wide := 0, false
	for _, p := range points {
		mean, lo, hi := hundredths(p.Mean), hundredths(p.Min), hundredths(p.Max)
		for at < len(edges)-1 && edges[at].Before(p.Time) {
			at++
		}
		if n := len(l.Runs); n > 0 && l.Runs[n-2]+l.Runs[n-1] == at {
			l.Runs[n-1]++
		} else {
			l.Runs = append(l.Runs, at, 1)
		}
		l.Mean, l.Low, l.High = append(l.Mean, mean), append(l.Low, max(mean-lo, 0)), append(l.High, max(hi-mean, 0))
		wide = wide || hi > lo
	}
	if !wide {
		l.Low, l.High = nil, nil
	}
}

func hundredths(v float64) int { return int(math.Round(v * 100)) }

func (s *Server) pastInput(nest *thresholds.NestState, snap *thresholds.Snapshot, from, to time.Time) *past.Input {
	in := &past.Input{Nest: nest.ID, Kind: nest.Kind, From: from, To: to, Tables: brood.DefaultTables(), Location: s.site.zone(), Proposed: map[int64]time.Time{}}
	if s.Options.Tables != nil {
		in.Tables = s.Options.Tables()
	}
	if l := nest.Litter; l != nil && !l.Kindled.IsZero() {
		in.Proposed[l.ID] = l.Kindled
	}
	if s.Options.Book != nil {
		if b := s.Options.Book.Book(); b != nil {
			in.Records, in.Entries = b.Records(), b.Nest(nest.ID)
		}
	}
	for _, a := range slices.Concat(snap.Alarms, snap.Quiet) {
		if a.Over.IsZero() {
			in.Standing = append(in.Standing, a)
		}
	}
	return in
}

func bandOf(b past.Band) bandView {
	v := bandView{From: b.From.UTC(), To: b.To.UTC(), Litter: b.Litter, Proposed: b.Proposed, DayOnly: b.DayOnly, Season: b.Season, limitsView: limitsView(b.Limits)}
	if b.Day >= 0 {
		v.Day, v.LastDay = &b.Day, &b.LastDay
	}
	return v
}

func markOf(m past.Mark) markView {
	v := markView{At: m.At.UTC(), On: m.On, Day: m.Day, Kind: m.Kind}
	if !m.Until.IsZero() {
		until := m.Until.UTC()
		v.Until = &until
	}
	if e := m.Event; e.Name != "" {
		v.Event, v.Severity, v.Site, v.Text, v.Rule, v.Source, v.Probe, v.Unit = e.Name, &e.Severity, e.Nest == "", e.Text, e.Rule, e.Source, e.Probe, e.Unit
		v.Value, v.Limit = number(e.Value, e.HasValue), number(e.Limit, e.HasLimit)
		return v
	}
	v.What, v.Event, v.Litter, v.Text, v.By = m.Entry.What, m.Entry.Chore, m.Entry.Litter, m.Entry.Say(""), m.Entry.By
	return v
}

// serveBroods lists the litters with kits that can be looked at by age, the newest first.
func (s *Server) serveBroods(w http.ResponseWriter, r *http.Request) {
	q := s.parseQuery(r)
	if q.refused(w) || s.bookGone(w) {
		return
	}
	out := struct {
		Broods []broodView `json:"broods"`
		Left   int         `json:"left"`
	}{Broods: []broodView{}}
	if s.Options.Book != nil {
		out.Broods = s.broods(s.Options.Book.Book())
	}
	if n := len(out.Broods) - maxBroods; n > 0 {
		out.Left, out.Broods = n, out.Broods[:maxBroods]
	}
	s.answerZipped(w, r, out)
}

func (s *Server) broods(b *book.Book) []broodView {
	out := []broodView{}
	for _, rec := range b.Records() {
		if rec.Kindled.IsZero() {
			continue
		}
		v := broodView{
			Litter: rec.ID, Doe: rec.Doe, Born: rec.Born, Kindled: rec.Kindled.UTC(), DayZero: litter.StartOf(rec.Kindled, 0, s.site.zone()).UTC(), Ended: instant(rec.Ended), Stays: []stayView{},
		}
		for _, st := range rec.Stays {
			if st.Until.IsZero() || st.Until.After(rec.Kindled) {
				from := st.From
				if from.Before(rec.Kindled) {
					from = v.DayZero
				}
				v.Stays = append(v.Stays, stayView{st.Nest, from.UTC(), instant(st.Until)})
			}
		}
		out = append(out, v)
	}
	slices.SortStableFunc(out, func(a, c broodView) int { return c.Kindled.Compare(a.Kindled) })
	return out
}

// answerZipped is answerJSON for what may be large.
func (s *Server) answerZipped(w http.ResponseWriter, r *http.Request, v any) {
	w.Header().Set("Vary", "Accept-Encoding")
	body, err := json.Marshal(v)
	switch {
	case err != nil:
		s.unwritable(w, err)
		return
	case len(body) < worthZipping || !acceptsGzip(r):
		answer(w, body)
		return
	}
	var buf bytes.Buffer
	zw, _ := gzip.NewWriterLevel(&buf, gzip.BestSpeed) // the level is valid, and a buffer takes everything
	_, _ = zw.Write(body)
	_ = zw.Close()
	w.Header().Set("Content-Encoding", "gzip")
	answer(w, buf.Bytes())
}
