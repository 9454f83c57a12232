package book

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"time"
)

// Merged is what became of the rows of a file.
type Merged struct {
	Book    *Book
	Added   []Entry // in the order of their numbers
	There   int     // rows that stood in the book already
	Litters int     // that the book did not have
	Doubts  []string
}

// Merge is the book with the rows of a file, all of them or none. Rows with a number of their own stood in a book before: they keep it, with
// who wrote them down and when, or get the next ones where the book has given theirs away; their litters too, and what they refer to
// follows. Rows without a number were written by hand: their litter is the book's of that number, or is found by the nest, and fill adds
// what the writer could not know. A row that stands in the book already is passed over. An error is a *Refusal by the row's place.
func (b *Book) Merge(now time.Time, rows []Entry, fill func(Entry) Entry) (Merged, error) {
	m := &merge{
		book: b, rows: rows, fill: fill, now: now,
		taken: map[int64]bool{}, entries: map[int64]int64{}, litters: map[int64]int64{}, stored: map[int64]bool{},
	}
	if err := m.sort(); err != nil {
		return Merged{}, err
	}
	if err := m.find(); err != nil {
		return Merged{}, err
	}
	m.renumber()
	if err := m.place(); err != nil {
		return Merged{}, err
	}
	more, doubts, err := b.join(now, m.added, m.stored)
	if no, ok := err.(*Refusal); ok { //nolint:errorlint // join wraps nothing
		no.Row = m.from[no.Row]
	}
	if err != nil {
		return Merged{}, err
	}
	out := Merged{Book: more, Added: m.added, There: len(rows) - len(m.added), Doubts: doubts}
	fresh := map[int64]bool{}
	for _, e := range m.added {
		if e.Litter != 0 && !fresh[e.Litter] && b.Record(e.Litter) == nil {
			fresh[e.Litter] = true
			out.Litters++
		}
	}
	return out, nil
}

// merge is a Merge under way.
type merge struct {
	book *Book
	rows []Entry
	fill func(Entry) Entry
	now  time.Time

	order   []int           // of rows: those with a number by it, then the others
	left    []int           // of order: not in the book yet
	taken   map[int64]bool  // entries of the book that a row was found to be
	entries map[int64]int64 // numbers of the file, and what they are in the book
	litters map[int64]int64

	added  []Entry
	from   []int          // the row of each of added
	stored map[int64]bool // numbers of added with a number of their own
}

func (m *merge) refuse(row int, format string, args ...any) error {
	return &Refusal{Row: row, Entry: m.rows[row], Why: fmt.Sprintf(format, args...)}
}

func (m *merge) sort() error {
	at := map[int64]int{}
	for i, e := range m.rows {
		if e.At.IsZero() {
			return m.refuse(i, "%s on no day; write when", e.What)
		}
		if e.ID != 0 {
			if _, twice := at[e.ID]; twice {
				return m.refuse(i, "entry %d is there twice; leave one of them out", e.ID)
			}
			at[e.ID] = i
		}
		m.order = append(m.order, i)
	}
	number := func(row int) int64 { return cmp.Or(m.rows[row].ID, math.MaxInt64) }
	slices.SortStableFunc(m.order, func(a, c int) int { return cmp.Compare(number(a), number(c)) })
	return nil
}

// find looks for the rows that stand in the book.
func (m *merge) find() error {
	byDay := map[string][]Entry{}
	for _, e := range m.book.Entries() {
		byDay[m.key(e)] = append(byDay[m.key(e)], e)
	}
	for _, i := range m.order {
		row := m.rows[i]
		same := func(e Entry) bool { return !m.taken[e.ID] && m.same(row, e) }
		found := slices.IndexFunc(byDay[m.key(row)], func(e Entry) bool { return e.ID == row.ID && same(e) })
		if found < 0 {
			found = slices.IndexFunc(byDay[m.key(row)], same)
		}
		if found < 0 {
			if old, ok := m.book.Entry(row.ID); ok && (row.Entered.IsZero() || row.Entered.Equal(old.Entered)) {
				return m.refuse(i, "entry %d stands in the book already and says something else: %s; write a correction as a row of its own, with no entry and with replaces %d",
					row.ID, old.Say(old.When(m.book.rules.Location)), row.ID)
			}
			m.left = append(m.left, i)
			continue
		}
		e := byDay[m.key(row)][found]
		m.taken[e.ID] = true
		if row.ID != 0 {
			m.entries[row.ID] = e.ID
			if row.Litter != 0 {
				m.litters[row.Litter] = e.Litter
			}
		}
	}
	return nil
}

// key is what a row and its entry in the book surely share.
func (m *merge) key(e Entry) string { return string(e.What) + " " + e.when(m.book.rules.Location) }

// same reports whether an entry of the book says what a row says. A row may leave open what the daemon fills in.
func (m *merge) same(row, e Entry) bool {
	loc := m.book.rules.Location
	for _, c := range Columns {
		want, got := c.Get(&row, loc), c.Get(&e, loc)
		switch c.Name {
		case TheNumber, TheTime:
			continue
		case InLitter:
			want = litterOf(m.litters, row)
			if known, ok := m.litters[row.Litter]; row.ID != 0 && (!ok && m.given(e.Litter) || ok && known != e.Litter || (row.Litter == 0) != (e.Litter == 0)) {
				return false
			}
			if row.ID != 0 {
				continue
			}
		case WithOther, Earlier:
			if row.ID != 0 { // numbers of the file, which follow from the others
				continue
			}
		}
		if want != got && (want != "" || !slices.Contains(filled, c.Name)) {
			return false
		}
	}
	return true
}

// filled is what may be left open in a row.
var filled = []Field{InLitter, InNest, TheKind, TheSeason, TheBy, TheEntry}

func litterOf(of map[int64]int64, e Entry) string {
	if n, ok := of[e.Litter]; ok {
		e.Litter = n
	}
	c, _ := ColumnOf(InLitter)
	return c.Get(&e, time.UTC)
}

// given reports whether a litter of the book is one of the file's.
func (m *merge) given(litter int64) bool {
	for _, n := range m.litters {
		if n == litter {
			return true
		}
	}
	return false
}

// renumber gives numbers to what the book does not have.
func (m *merge) renumber() {
	next, litters := m.book.free(m.rows)
	keep := !slices.ContainsFunc(m.left, func(i int) bool { _, there := m.book.Entry(m.rows[i].ID); return there })
	if !keep {
		next, _ = m.book.free(nil)
	}
	has := map[int64]bool{}
	for _, e := range m.book.Entries() {
		has[e.Litter] = true
	}
	for _, i := range m.left {
		e := m.rows[i]
		numbered := e.ID != 0
		if !numbered || !keep {
			e.ID = next
			next++
		}
		if numbered {
			m.entries[m.rows[i].ID] = e.ID
			m.stored[e.ID] = true
			if _, known := m.litters[e.Litter]; e.Litter != 0 && !known {
				m.litters[e.Litter] = e.Litter
				if has[e.Litter] {
					m.litters[e.Litter] = litters
					litters++
				}
			}
		}
		m.added, m.from = append(m.added, e), append(m.from, i)
	}
	translate := func(n *int64, by map[int64]int64) {
		if is, ok := by[*n]; ok {
			*n = is
		}
	}
	for i := range m.added {
		e := &m.added[i]
		translate(&e.Litter, m.litters)
		translate(&e.With, m.litters)
		translate(&e.Replaces, m.entries)
	}
}

// place finds the litters of rows written by hand, one after the other, and fills in what they leave open.
func (m *merge) place() error {
	hand := slices.IndexFunc(m.added, func(e Entry) bool { return !m.stored[e.ID] })
	if hand < 0 {
		hand = len(m.added)
	}
	for i := range m.added[:hand] {
		m.complete(&m.added[i])
	}
	draft := m.book.plus(m.added[:hand]) // asked only where things are
	_, litters := m.book.free(slices.Concat(m.rows, m.added))
	for i := hand; i < len(m.added); i++ {
		e := m.added[i]
		if old, ok := draft.Entry(e.Replaces); ok && e.Litter == 0 {
			e.Litter = old.Litter
		}
		e, err := draft.Place(e)
		if err != nil {
			return m.refuse(m.from[i], "%v", err)
		}
		if e.Litter == 0 && e.begins() {
			e.Litter = litters
			litters++
		}
		e = m.fill(e)
		m.complete(&e)
		m.added[i] = e
		if e.Litter != 0 { // what is about nests alone places nothing
			draft.take([]Entry{e})
		}
	}
	return nil
}

func (m *merge) complete(e *Entry) {
	if e.Entered.IsZero() {
		e.Entered = m.now
	}
}
