package book

import (
	"fmt"
	"time"
)

// Row is what somebody wants written, as text by the names of the columns: a new entry, or with the number of an earlier one in Earlier what
// changes of that one. Struck takes it back.
type Row map[Field]string

// given are the columns that nobody but the book fills.
var given = []Field{TheNumber, TheBy, TheEntry}

// Read makes the entries of rows. A correction of a fostering is of both its sides. from is the row of each entry. An error is a *Refusal
// whose Row is the row's place.
func (b *Book) Read(rows []Row) (entries []Entry, from []int, err error) {
	for i, row := range rows {
		made, err := b.read(row)
		if err != nil {
			err.Row = i
			return nil, nil, err
		}
		for _, e := range made {
			entries, from = append(entries, e), append(from, i)
		}
	}
	return entries, from, nil
}

func (b *Book) read(row Row) ([]Entry, *Refusal) {
	for _, f := range given {
		if _, said := row[f]; said {
			return nil, &Refusal{Field: f, Why: fmt.Sprintf("%s is the book's to write; leave it out", f)}
		}
	}
	if row[Earlier] == "" {
		var e Entry
		if no := row.set(&e, b.rules.Location); no != nil {
			return nil, no
		}
		return []Entry{e}, nil
	}
	var earlier Entry
	if no := (Row{Earlier: row[Earlier]}).set(&earlier, b.rules.Location); no != nil {
		return nil, no
	}
	changes := Row{}
	for f, text := range row {
		if f != Earlier && f != TheWhat {
			changes[f] = text
		}
	}
	switch what := What(row[TheWhat]); what {
	case "", Struck:
		return b.amend(earlier.Replaces, changes, what == Struck)
	default:
		return nil, &Refusal{Field: TheWhat, Why: fmt.Sprintf("an entry keeps what it is and cannot become %s; strike it and enter the other", what)}
	}
}

// Amend makes what replaces an entry: it changes only in what the row says, or is struck. Of a fostering its other side changes with it.
func (b *Book) Amend(id int64, changes Row, strike bool) ([]Entry, error) {
	all, no := b.amend(id, changes, strike)
	if no != nil {
		return nil, no
	}
	return all, nil
}

func (b *Book) amend(id int64, changes Row, strike bool) ([]Entry, *Refusal) {
	old, ok := b.Entry(id)
	switch {
	case !ok:
		return nil, &Refusal{Field: Earlier, Why: fmt.Sprintf("there is no entry %d; 'nestmon litter show' has the numbers", id)}
	case b.gone[id] != 0:
		return nil, &Refusal{Field: Earlier, Why: fmt.Sprintf("entry %d no longer counts since entry %d; correct that one", id, b.gone[id])}
	}
	sides := []Entry{old}
	if other, ok := b.otherSide(old); ok {
		sides = append(sides, other)
	}
	for i, was := range sides {
		e := was
		if strike {
			e = Entry{What: Struck, Litter: was.Litter, Nest: was.Nest, At: was.At, Day: was.Day}
		}
		if no := changes.set(&e, b.rules.Location); no != nil {
			return nil, no
		}
		e.ID, e.Replaces, e.Entered, e.By = 0, was.ID, time.Time{}, ""
		sides[i] = e
	}
	return sides, nil
}

// set writes the row's texts into an entry.
func (row Row) set(e *Entry, loc *time.Location) *Refusal {
	known := 0
	for _, c := range Columns {
		text, said := row[c.Name]
		if !said {
			continue
		}
		known++
		if err := c.Set(e, text, loc); err != nil {
			return &Refusal{Entry: *e, Field: c.Name, Why: fmt.Sprintf("%s: %v", c.Name, err)}
		}
	}
	if known < len(row) {
		for f := range row {
			if _, ok := ColumnOf(f); !ok {
				return &Refusal{Entry: *e, Field: f, Why: fmt.Sprintf("an entry does not say %q", f)}
			}
		}
	}
	return nil
}

// Row is what an entry says, by column.
func (b *Book) Row(e Entry) Row {
	out := Row{}
	for _, c := range Columns {
		if text := c.Get(&e, b.rules.Location); text != "" {
			out[c.Name] = text
		}
	}
	return out
}

// otherSide is the other entry of a fostering.
func (b *Book) otherSide(e Entry) (Entry, bool) {
	if r := b.Record(e.With); r != nil {
		for _, o := range r.Entries {
			if o.With == e.Litter && o.What != e.What && o.At.Equal(e.At) && o.Kits != nil && e.Kits != nil && *o.Kits == *e.Kits {
				return o, true
			}
		}
	}
	return Entry{}, false
}
