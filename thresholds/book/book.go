package book

import (
	"cmp"
	"errors"
	"fmt"
	"maps"
	"slices"
	"time"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
	"nestmon/thresholds/litter"
)

// Rules is what a book has to know of the rabbitry.
type Rules struct {
	Location *time.Location
	Nests    map[string]brood.Kind // of the configuration
	Days     litter.Days           // of the litter clock; the shipped ones where they are zero
}

// Book is all that was written down. It never changes: With returns another, which shares with it what is the same in both. A board with one
// slow core writes one entry among thousands without looking at the others.
type Book struct {
	rules   Rules
	entries []*Entry        // all, by number
	gone    map[int64]int64 // an entry that no longer counts, and the one that replaced it
	records []*Record       // by number
	nests   []*Entry        // in force and about no litter
}

// New makes the book of stored entries, in any order. It takes them as they are: what was stored is not argued with.
func New(rules Rules, entries []Entry) *Book {
	if rules.Days.IsZero() {
		rules.Days = litter.DefaultDays()
	}
	return (&Book{rules: rules}).plus(entries)
}

// plus is the book with more entries, taken as they are.
func (b *Book) plus(more []Entry) *Book {
	out := &Book{rules: b.rules, entries: slices.Clone(b.entries), gone: maps.Clone(b.gone), records: slices.Clone(b.records), nests: slices.Clone(b.nests)}
	if out.gone == nil {
		out.gone = map[int64]int64{}
	}
	more = slices.Clone(more)
	for i := range more {
		out.entries = append(out.entries, &more[i])
	}
	if byNumber := func(a, c *Entry) int { return cmp.Compare(a.ID, c.ID) }; !slices.IsSortedFunc(out.entries, byNumber) {
		slices.SortStableFunc(out.entries, byNumber)
	}
	out.take(more)
	return out
}

// take folds entries into their litters, in place, and leaves the list of all entries alone.
func (b *Book) take(more []Entry) {
	of := map[int64][]Entry{}
	for i := range more {
		e := &more[i]
		if e.Replaces != 0 {
			b.gone[e.Replaces] = e.ID
		}
		switch {
		case e.Litter != 0:
			of[e.Litter] = append(of[e.Litter], *e)
		case e.What != Struck:
			b.nests = append(b.nests, e)
		}
	}
	b.nests = slices.DeleteFunc(b.nests, func(e *Entry) bool { return b.gone[e.ID] != 0 })
	for _, id := range slices.Sorted(maps.Keys(of)) {
		i, there := b.find(id)
		now := of[id]
		if there {
			now = slices.Concat(b.records[i].Entries, now)
			b.records = slices.Delete(b.records, i, i+1)
		}
		now = slices.DeleteFunc(now, func(e Entry) bool { return e.What == Struck || b.gone[e.ID] != 0 })
		order(now, b.rules.Location)
		settle(now, b.rules.Location)
		if len(now) > 0 {
			b.records = slices.Insert(b.records, i, fold(id, now))
		}
	}
}

// Rules returns what the book knows of the rabbitry.
func (b *Book) Rules() Rules { return b.rules }

// Entries returns all entries by number, those too that no longer count.
func (b *Book) Entries() []Entry {
	out := make([]Entry, len(b.entries))
	for i, e := range b.entries {
		out[i] = *e
	}
	return out
}

// Newest is the number of the newest entry, 0 while there is none.
func (b *Book) Newest() int64 {
	if n := len(b.entries); n > 0 {
		return b.entries[n-1].ID
	}
	return 0
}

// ReplacedBy is the number of the entry that replaced or struck that one, 0 while it counts.
func (b *Book) ReplacedBy(id int64) int64 { return b.gone[id] }

// Entry returns the entry of that number.
func (b *Book) Entry(id int64) (Entry, bool) {
	i, ok := slices.BinarySearchFunc(b.entries, id, func(e *Entry, id int64) int { return cmp.Compare(e.ID, id) })
	if !ok {
		return Entry{}, false
	}
	return *b.entries[i], true
}

// Records returns every litter by number. Do not change them.
func (b *Book) Records() []*Record { return b.records }

// Record returns the litter of that number, nil where there is none.
func (b *Book) Record(id int64) *Record {
	i, ok := b.find(id)
	if !ok {
		return nil
	}
	return b.records[i]
}

func (b *Book) find(id int64) (int, bool) {
	return slices.BinarySearchFunc(b.records, id, func(r *Record, id int64) int { return cmp.Compare(r.ID, id) })
}

// Nest returns the entries in force about a nest and about the litters in it, in the order in which they happened.
func (b *Book) Nest(nest string) []Entry {
	var out []Entry
	for _, e := range b.nests {
		if e.Nest == nest {
			out = append(out, *e)
		}
	}
	for _, r := range b.records {
		for i := range r.Entries { // which are large, and looked at for each nest
			if e := &r.Entries[i]; e.Nest == nest || e.To == nest || e.Nest == "" && r.in(nest, e.At) {
				out = append(out, *e)
			}
		}
	}
	order(out, b.rules.Location)
	return out
}

func (r *Record) in(nest string, at time.Time) bool {
	return slices.ContainsFunc(r.Stays, func(s Stay) bool {
		return s.Nest == nest && !at.Before(s.From) && (s.Until.IsZero() || !at.After(s.Until))
	})
}

// Does returns the litters of a doe, in the order in which they began.
func (b *Book) Does(doe string) []*Record {
	var out []*Record
	for _, r := range b.records {
		if r.Doe == doe {
			out = append(out, r)
		}
	}
	slices.SortStableFunc(out, func(a, c *Record) int { return a.began().Compare(c.began()) })
	return out
}

func (r *Record) began() time.Time {
	if r.Bred.IsZero() {
		return r.Kindled
	}
	return r.Bred
}

// About is the open litter of a nest that an entry of that kind means, nil where there is none. Kits come before a pregnancy, unless the
// entry is about the pregnancy: a doe may be bred again while her kits are still in the nest. Kits that lie there come before those that
// were collected from it. Kits are fostered to a doe who has lost hers as well.
func (b *Book) About(what What, nest string) *Record {
	var born, left, carried, bereft *Record
	for _, r := range b.records {
		switch {
		case r.Nest() != nest:
		case r.bereft():
			bereft = r
		case !r.Open():
		case r.Kindled.IsZero():
			carried = r
		case r.lies():
			born = r
		default:
			left = r
		}
	}
	born = cmp.Or(born, left)
	switch what {
	case Bred, Palpated, BoxIn, Kindled, DidNotKindle:
		return carried
	case Moved, Noted, Ended:
		return cmp.Or(born, carried)
	case FosteredIn:
		return cmp.Or(born, bereft)
	}
	return born
}

// leaving lists what takes a litter from its nest or ends it: of the wrong one, kits would be given up that live.
var leaving = []What{Moved, Weaned, Sold, Kept, Ended}

// collected is an open litter that was collected from a nest and taken to none that the book knows, nil where there is none.
func (b *Book) collected(nest string) *Record {
	for _, r := range b.records {
		if r.Nest() == nest && r.Open() && !r.lies() {
			return r
		}
	}
	return nil
}

// Place finds the litter and the nest that an entry means and does not name, as far as one of them is named.
func (b *Book) Place(e Entry) (Entry, error) {
	if slices.Contains(Forms[e.What].Must, InLitter) && e.Litter == 0 && e.What != Bred {
		r := b.About(e.What, e.Nest)
		switch {
		case r != nil:
			e.Litter = r.ID
		case e.Nest == "":
			return e, fmt.Errorf("%s needs a nest or a litter's number", e.What)
		case e.What != Kindled:
			return e, b.vacant(e)
		}
		if o := b.collected(e.Nest); r != nil && o != nil && o != r && slices.Contains(leaving, e.What) {
			return e, fmt.Errorf("nest %q holds litter %d, and litter %d was collected from it; say by its number which of them is %s", e.Nest, r.ID, o.ID, e.What)
		}
	}
	if r := b.Record(e.Litter); r != nil && e.Nest == "" {
		e.Nest = b.whereOn(r, e)
	}
	return e, nil
}

// vacant says why an entry finds no litter in its nest, and which one may be meant: kits are sold when their litter is closed.
func (b *Book) vacant(e Entry) error {
	var kits, carried *Record
	for _, r := range b.records {
		switch lay := slices.ContainsFunc(r.Stays, func(s Stay) bool { return s.Nest == e.Nest }); {
		case !lay:
		case r.Kindled.IsZero() && r.Open():
			carried = r
		case !r.Kindled.IsZero() && (kits == nil || r.Kindled.After(kits.Kindled)):
			kits = r
		}
	}
	_, known := b.rules.Nests[e.Nest]
	switch {
	case kits != nil && slices.Contains(ofKits, e.What):
		return fmt.Errorf("nest %s holds no open litter with kits; the last was litter %d (%s): if you mean that, say --litter %d", e.Nest, kits.ID, cmp.Or(kits.Doe, "no doe named"), kits.ID)
	case carried != nil:
		return fmt.Errorf("litter %d in nest %s has not kindled; enter the kindling first", carried.ID, e.Nest)
	case !known && kits == nil:
		return errors.New(unknownNest(e.Nest))
	}
	return fmt.Errorf("nest %s holds no open litter that could be %s; enter its breeding or its kindling first", e.Nest, e.What)
}

// whereOn is the nest in which a litter lay when something happened, at the end of a day of which no more is known.
func (b *Book) whereOn(r *Record, e Entry) string {
	switch {
	case e.At.IsZero():
		return r.Nest()
	case e.Day:
		return r.where(litter.NextDay(e.At, b.rules.Location).Add(-1))
	}
	return r.where(e.At)
}

// pastFor is how long after a litter has left its nest the decisions are still told of it: longer than a litter lives there, and than a restart
// looks back; ours, no source.
const pastFor = 60 * 24 * time.Hour

// Litters is what the decisions need of the book: each stay of each litter in a nest, by litter and in order. Of the stays that are long over
// only the last in each nest is among them, for what the decisions know is stored again and again.
func (b *Book) Litters(now time.Time) []litter.Litter {
	indoors, last := b.indoors(), map[string]time.Time{}
	for _, r := range b.records {
		for _, s := range r.Stays {
			if s.From.After(last[s.Nest]) {
				last[s.Nest] = s.From
			}
		}
	}
	var out []litter.Litter
	for _, r := range b.records {
		alive, known := r.Alive(now, b.rules.Location)
		for i, s := range r.Stays {
			if s.Nest == "" || !s.Until.IsZero() && now.Sub(s.Until) > pastFor && s.From.Before(last[s.Nest]) {
				continue
			}
			l := litter.Litter{ID: r.ID, Nest: s.Nest, Bred: r.Bred, Kindled: r.Kindled, Ended: s.Until}
			if r.Born != nil {
				l.Born = *r.Born
			}
			if known {
				l.Kits = alive
			}
			if i > 0 {
				l.Since = s.From
			}
			if !s.Until.IsZero() && s.Until.Before(r.Kindled) {
				l.Kindled = time.Time{} // elsewhere
			}
			if s.Until.IsZero() {
				l.Indoors = indoors[s.Nest]
			}
			out = append(out, l)
		}
	}
	return out
}

// indoors is since when each nest that was carried indoors is there.
func (b *Book) indoors() map[string]time.Time {
	out := map[string]time.Time{}
	for nest, all := range b.carried("") {
		for _, c := range all {
			if c.What == CarriedOut {
				delete(out, nest)
			} else if out[nest].IsZero() {
				out[nest] = c.At
			}
		}
	}
	return out
}

// Mark is the newest time at which a chore was done.
type Mark struct {
	Nest  string // "" for the whole site
	Chore alarm.Name
	At    time.Time

	Entered time.Time // when it was written down
	Entry   int64     // its number
}

// Marks returns the newest mark of each nest and chore, by nest and chore.
func (b *Book) Marks() []Mark {
	type key struct {
		nest  string
		chore alarm.Name
	}
	newest := map[key]*Entry{}
	take := func(r *Record, e *Entry) {
		for _, chore := range e.Done() {
			nest := b.nestOf(e)
			if k := (key{nest, chore}); b.counts(r, e, nest, chore) && (newest[k] == nil || e.At.After(newest[k].At)) {
				newest[k] = e
			}
		}
	}
	for _, e := range b.nests {
		take(nil, e)
	}
	for _, r := range b.records {
		for i := range r.Entries {
			take(r, &r.Entries[i])
		}
	}
	out := make([]Mark, 0, len(newest))
	for k, e := range newest {
		out = append(out, Mark{k.nest, k.chore, e.At, e.Entered, e.ID})
	}
	slices.SortFunc(out, func(a, c Mark) int { return cmp.Or(cmp.Compare(a.Nest, c.Nest), cmp.Compare(a.Chore, c.Chore)) })
	return out
}

// counts reports whether a chore that an entry about a litter shows to be done was one there. A kindling in time was never overdue; who weighs kits in
// a pen, or feels a doe whose earlier kits are still in the nest, has not looked into it.
func (b *Book) counts(r *Record, e *Entry, nest string, chore alarm.Name) bool {
	switch {
	case e.What == Kindled:
		return !r.Bred.IsZero() && litter.Day(r.Bred, e.At, b.rules.Location) >= b.rules.Days.Overdue
	case chore != alarm.InspectDue || e.What == Did:
		return true
	case b.rules.Nests[nest] == "" || !r.in(nest, e.At):
		return false
	}
	return e.What != Palpated || !slices.ContainsFunc(b.records, func(o *Record) bool {
		return o != r && !o.Kindled.IsZero() && !e.At.Before(o.Kindled) && o.in(nest, e.At)
	})
}

// Struck returns the chores that those entries of the book took back, in their order; Entered is when that was written down.
func (b *Book) Struck(by []Entry) []Mark {
	var out []Mark
	for _, e := range by {
		old, ok := b.Entry(e.Replaces)
		if !ok {
			continue
		}
		for _, chore := range old.Done() {
			out = append(out, Mark{b.nestOf(&old), chore, old.At, e.Entered, e.ID})
		}
	}
	return out
}

// nestOf is the nest that an entry is about, where its litter lay then when it names none.
func (b *Book) nestOf(e *Entry) string {
	if r := b.Record(e.Litter); r != nil && e.Nest == "" {
		return r.where(e.At)
	}
	return e.Nest
}

// where is the nest a litter lay in at a time.
func (r *Record) where(at time.Time) string {
	nest := ""
	for _, s := range r.Stays {
		if nest == "" || !s.From.After(at) {
			nest = s.Nest
		}
	}
	return nest
}
