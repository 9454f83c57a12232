package web

import (
	"net/http"
	"slices"
	"strconv"
	"time"

	"nestmon/thresholds"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/book"
	"nestmon/thresholds/brood"
	"nestmon/thresholds/litter"
)

// Bounds of what is shown of the book at once, ours, no source: what a phone's screen is scrolled through. Older litters come on asking.
const (
	latestClosed = 10
	olderAtOnce  = 50
	mostEntries  = 200 // of a nest, the newest
	mostNames    = 12  // of each kind, the newest
	agendaDays   = 14  // of what is coming
	mostDays     = 60
)

type agendaView struct {
	Time  time.Time  `json:"time"`
	Tasks []taskView `json:"tasks"` // overdue, today, coming, done; within each the earliest first
}

type taskView struct {
	Nest   *string              `json:"nest"`
	Litter *int64               `json:"litter"`
	Event  alarm.Name           `json:"event"`
	State  thresholds.TaskState `json:"state"`
	From   time.Time            `json:"from"`
	Late   *time.Time           `json:"late"`
	Until  *time.Time           `json:"until"`
	Done   *time.Time           `json:"done"`
	Entry  *int64               `json:"entry"` // that shows it was done
	Daily  bool                 `json:"daily"`
	Text   string               `json:"text"`
	Rule   string               `json:"rule"`
	Source string               `json:"source"`
}

func (s *Server) serveAgenda(w http.ResponseWriter, r *http.Request) {
	q := s.parseQuery(r, "days")
	days := q.count("days", agendaDays, mostDays)
	if q.refused(w) {
		return
	}
	if s.bookGone(w) {
		return
	}
	f, _ := s.newest()
	if f == nil {
		w.Header().Set("Retry-After", "1")
		refuse(w, http.StatusServiceUnavailable, "nothing has been measured yet; ask again in a moment")
		return
	}
	now, zone := f.state.Snapshot.Time, s.site.zone()
	until, v := litter.StartOf(now, days+1, zone), agendaView{now, []taskView{}}
	shown := s.doneBy()
	for _, t := range f.state.Agenda {
		if !t.From.Before(until) && t.Done.IsZero() {
			continue
		}
		row := taskView{
			Nest: text(t.Nest), Event: t.Chore, State: t.State(now, zone), From: t.From, Late: instant(t.Late), Until: instant(t.Until), Done: instant(t.Done),
			Daily: t.Daily, Text: t.Text, Rule: t.Rule, Source: t.Source,
		}
		if t.Litter != 0 {
			row.Litter = &t.Litter
		}
		if m, ok := shown[mark{t.Nest, t.Chore}]; ok && m.At.Equal(t.Done) {
			row.Entry = &m.Entry
		}
		v.Tasks = append(v.Tasks, row)
	}
	s.answerJSON(w, v)
}

// mark names a chore of a nest.
type mark struct {
	nest  string
	chore alarm.Name
}

func (s *Server) doneBy() map[mark]book.Mark {
	out := map[mark]book.Mark{}
	if s.Options.Book != nil {
		for _, m := range s.Options.Book.Book().Marks() {
			out[mark{m.Nest, m.Chore}] = m
		}
	}
	return out
}

// bookView is what the book shows first.
type bookView struct {
	Time    time.Time               `json:"time"`
	Newest  int64                   `json:"newest"` // number of the newest entry
	Nests   []bookNestView          `json:"nests"`
	Litters []bookLitterView        `json:"litters"` // those that are open, then the latest that are not
	Older   int                     `json:"older"`   // litters that are not among them
	Does    []string                `json:"does"`
	Names   map[book.Field][]string `json:"names"` // that were written before, the newest first
}

type bookNestView struct {
	Nest    string     `json:"nest"`
	Kind    brood.Kind `json:"kind"`
	Kits    *int64     `json:"kits"`    // the litter whose kits are there
	Carried *int64     `json:"carried"` // the litter that is expected there
	Indoors bool       `json:"indoors"`
	Looked  *time.Time `json:"looked"` // when somebody last said that they looked in
}

type bookLitterView struct {
	book.View
	Steps   []book.What `json:"steps"`   // that can be entered next, the likeliest first
	Noticed *time.Time  `json:"noticed"` // a kindling that nobody has entered yet
	Report  string      `json:"report"`
}

// reading is the book as it is now, with what is shown beside it.
type reading struct {
	*book.Book
	now   time.Time
	state *thresholds.Snapshot // nil before anything was measured
}

// bookGone answers where there is a book that cannot be read: it is not an empty one.
func (s *Server) bookGone(w http.ResponseWriter) bool {
	gone := s.Options.Book != nil && s.Options.Book.Book() == nil
	if gone {
		refuse(w, http.StatusServiceUnavailable, bookUnread)
	}
	return gone
}

// read returns the book; nil means answered.
func (s *Server) read(w http.ResponseWriter) *reading {
	if s.Options.Book == nil {
		refuse(w, http.StatusServiceUnavailable, noBook)
		return nil
	}
	if s.bookGone(w) {
		return nil
	}
	b := &reading{Book: s.Options.Book.Book(), now: s.Now()}
	if f, _ := s.newest(); f != nil {
		b.state, b.now = &f.state.Snapshot, f.state.Snapshot.Time
	}
	return b
}

func (b *reading) litter(r *book.Record) bookLitterView {
	v := bookLitterView{View: b.View(r, b.now), Steps: append([]book.What{}, b.Steps(r, b.now)...), Report: "litter/" + strconv.FormatInt(r.ID, 10)}
	if b.state == nil || !r.Kindled.IsZero() {
		return v
	}
	for _, n := range b.state.Nests {
		if l := n.Litter; l != nil && l.ID == r.ID && !l.Kindled.IsZero() {
			v.Noticed = &l.Kindled
		}
	}
	return v
}

func (b *reading) litters(all []*book.Record) []bookLitterView {
	out := make([]bookLitterView, len(all))
	for i, r := range all {
		out[i] = b.litter(r)
	}
	return out
}

// nests are those of the configuration, in its order where a state has been published.
func (b *reading) nests() []bookNestView {
	kinds := b.Rules().Nests
	var ids []string
	if b.state != nil {
		for _, n := range b.state.Nests {
			ids = append(ids, n.ID)
		}
	}
	for id := range kinds {
		if b.state == nil {
			ids = append(ids, id)
		}
	}
	if b.state == nil {
		slices.Sort(ids)
	}
	looked, indoors := map[string]time.Time{}, map[string]bool{}
	for _, m := range b.Marks() {
		if m.Chore == alarm.InspectDue {
			looked[m.Nest] = m.At
		}
	}
	for _, l := range b.Litters(b.now) {
		if !l.Indoors.IsZero() && l.Ended.IsZero() {
			indoors[l.Nest] = true
		}
	}
	out := make([]bookNestView, len(ids))
	for i, id := range ids {
		out[i] = bookNestView{Nest: id, Kind: kinds[id], Indoors: indoors[id], Looked: instant(looked[id])}
		if r := b.About(book.Lost, id); r != nil {
			out[i].Kits = &r.ID
		}
		if r := b.About(book.Palpated, id); r != nil {
			out[i].Carried = &r.ID
		}
	}
	return out
}

// parted are the litters that are open, and the others with the latest first.
func (b *reading) parted() (open, closed []*book.Record) {
	for _, r := range b.Records() {
		if r.Open() {
			open = append(open, r)
		} else {
			closed = append(closed, r)
		}
	}
	newestFirst(closed)
	return open, closed
}

// names are what was written into some fields before, so that nobody need type it again.
func (b *reading) names() map[book.Field][]string {
	out := map[book.Field][]string{book.TheDoe: {}, book.TheBuck: {}, book.OfBedding: {}, book.ToNest: {}}
	add := func(f book.Field, name string) {
		if name != "" && len(out[f]) < mostNames && !slices.Contains(out[f], name) {
			out[f] = append(out[f], name)
		}
	}
	for _, r := range slices.Backward(b.Records()) {
		add(book.TheDoe, r.Doe)
		add(book.TheBuck, r.Buck)
		for _, e := range slices.Backward(r.Entries) {
			add(book.OfBedding, e.Bedding)
			add(book.ToNest, e.To)
		}
	}
	return out
}

func (s *Server) serveBook(w http.ResponseWriter, r *http.Request) {
	q := s.parseQuery(r, "skip")
	skip := q.count("skip", 0, 1<<20)
	if q.refused(w) {
		return
	}
	b := s.read(w)
	if b == nil {
		return
	}
	open, closed := b.parted()
	v := bookView{Time: b.now, Newest: b.Newest(), Nests: []bookNestView{}, Names: map[book.Field][]string{}, Does: []string{}}
	from, to := min(skip, len(closed)), min(skip+olderAtOnce, len(closed))
	if skip == 0 {
		to = min(latestClosed, len(closed))
		v.Nests, v.Names, v.Does = b.nests(), b.names(), b.does()
	} else {
		open = nil
	}
	v.Litters, v.Older = b.litters(append(open, closed[from:to]...)), len(closed)-to
	s.answerJSON(w, v)
}

// does are the names of does, those with a litter lately first.
func (b *reading) does() []string {
	out := []string{}
	for _, r := range slices.Backward(b.Records()) {
		if r.Doe != "" && !slices.Contains(out, r.Doe) && len(out) < mostEntries {
			out = append(out, r.Doe)
		}
	}
	return out
}

type storyView struct {
	Litter   bookLitterView   `json:"litter"`
	Story    []toldView       `json:"story"` // with what was corrected and struck
	Sum      book.Sum         `json:"sum"`
	Partners []bookLitterView `json:"partners"` // to which kits can be fostered, the nearest first
}

func (s *Server) serveStory(w http.ResponseWriter, r *http.Request) {
	b := s.read(w)
	if b == nil {
		return
	}
	id, err := strconv.ParseInt(r.PathValue("id"), 10, 64)
	l := b.Record(id)
	if err != nil || l == nil {
		refuse(w, http.StatusNotFound, "there is no such litter in the book; look at its number")
		return
	}
	v := storyView{Litter: b.litter(l), Story: tellAll(b.Book, b.Story(id)), Sum: b.SumOf([]*book.Record{l}), Partners: []bookLitterView{}}
	if !l.Kindled.IsZero() && l.Open() {
		v.Partners = b.litters(b.Partners(l))
	}
	s.answerJSON(w, v)
}

type pastView struct {
	Nest    string           `json:"nest,omitempty"`
	Doe     string           `json:"doe,omitempty"`
	Litters []bookLitterView `json:"litters"` // the latest first
	Entries []toldView       `json:"entries"` // of a nest, the newest first
	More    bool             `json:"more"`    // entries that are not among them
	Sum     book.Sum         `json:"sum"`
}

// serveNestPast tells what happened in a nest.
func (s *Server) serveNestPast(w http.ResponseWriter, r *http.Request) {
	b := s.read(w)
	if b == nil {
		return
	}
	nest := r.PathValue("id")
	past := b.Past(nest)
	if _, known := b.Rules().Nests[nest]; !known && len(past) == 0 {
		refuse(w, http.StatusNotFound, "there is no such nest, neither in the configuration nor in the book; look at its name")
		return
	}
	var in []*book.Record
	for _, l := range b.Records() {
		if slices.ContainsFunc(l.Stays, func(st book.Stay) bool { return st.Nest == nest }) {
			in = append(in, l)
		}
	}
	slices.Reverse(past)
	v := pastView{Nest: nest, Sum: b.SumOf(in), More: len(past) > mostEntries}
	v.Entries = tellAll(b.Book, past[:min(len(past), mostEntries)])
	v.Litters = b.latest(in)
	s.answerJSON(w, v)
}

func (b *reading) latest(all []*book.Record) []bookLitterView {
	slices.Reverse(all)
	return b.litters(all[:min(len(all), olderAtOnce)])
}

// serveDoe tells what became of a doe's litters.
func (s *Server) serveDoe(w http.ResponseWriter, r *http.Request) {
	b := s.read(w)
	if b == nil {
		return
	}
	doe := r.PathValue("name")
	all := b.Does(doe)
	if len(all) == 0 {
		refuse(w, http.StatusNotFound, "no litter of such a doe is in the book; look at her name")
		return
	}
	s.answerJSON(w, pastView{Doe: doe, Sum: b.SumOf(all), Litters: b.latest(all), Entries: []toldView{}})
}
