package main

import (
	"fmt"
	"net/http"
	"slices"
	"strconv"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/book"
)

// enterAnswer is what became of entries into the litter book.
type enterAnswer struct {
	Stored  []book.Entry `json:"stored"`
	Doubts  []string     `json:"doubts"`  // what is unusual in them and may be true
	Litters []book.View  `json:"litters"` // whose they are, as they stand now
}

// litterRow is a litter in the list.
type litterRow struct {
	book.View
	Due []alarm.Name `json:"due"` // chores of its nest, now
}

// storyAnswer is one litter with all that was written about it.
type storyAnswer struct {
	book.View
	Entries []book.Told `json:"entries"`
}

// doeAnswer is what is known of a doe.
type doeAnswer struct {
	Doe string `json:"doe"`
	book.Sum
	History []book.View `json:"history"`
}

// nestAnswer is what is known of a nest.
type nestAnswer struct {
	Nest    string      `json:"nest"`
	Litters []book.View `json:"litters"` // that ever lay in it
	Entries []book.Told `json:"entries"`
}

// partnersAnswer lists whom kits of a litter can be fostered to.
type partnersAnswer struct {
	Of       book.View   `json:"of"`
	Partners []book.View `json:"partners"`
}

// fostering is kits that go from one nest to another.
type fostering struct {
	From  string     `json:"from"`
	To    string     `json:"to"`
	Entry book.Entry `json:"entry"`
}

// correction changes an entry, only in what is given, or strikes it.
type correction struct {
	Entry  int64    `json:"entry"`
	Set    book.Row `json:"set"`
	Strike bool     `json:"strike"`
}

// importRequest is the rows of a file, in its order.
type importRequest struct {
	Rows []book.Entry `json:"rows"`
	Dry  bool         `json:"dry_run"`
}

type importAnswer struct {
	New     int      `json:"new"`
	There   int      `json:"there"` // in the book already
	Litters int      `json:"litters"`
	Doubts  []string `json:"doubts"`
	Dry     bool     `json:"dry_run"`
}

// bookDoor answers nothing from a book that cannot be read: it is not an empty one.
type bookDoor struct {
	door *http.ServeMux
	d    *daemon
}

func (b bookDoor) HandleFunc(pattern string, do http.HandlerFunc) {
	b.door.HandleFunc(pattern, func(w http.ResponseWriter, r *http.Request) {
		if b.d.bookUnread {
			refuse(w, errBookUnread)
			return
		}
		do(w, r)
	})
}

// litterDoor answers what the litter commands ask.
func litterDoor(door *http.ServeMux, d *daemon) {
	mux := bookDoor{door, d}
	mux.HandleFunc("GET /control/litters", func(w http.ResponseWriter, r *http.Request) {
		reply(w, func() ([]litterRow, error) { return d.litters(r.FormValue("all") != ""), nil })
	})
	mux.HandleFunc("GET /control/litter", func(w http.ResponseWriter, r *http.Request) {
		reply(w, func() (a storyAnswer, err error) {
			l, err := d.litterOf(r)
			if err == nil {
				a = storyAnswer{d.Book().View(l, d.pace.Now()), d.Book().Story(l.ID)}
			}
			return a, err
		})
	})
	mux.HandleFunc("GET /control/partners", func(w http.ResponseWriter, r *http.Request) {
		reply(w, func() (partnersAnswer, error) { return d.partners(r) })
	})
	mux.HandleFunc("GET /control/doe", func(w http.ResponseWriter, r *http.Request) {
		reply(w, func() (doeAnswer, error) { return d.doe(r.FormValue("doe")) })
	})
	mux.HandleFunc("GET /control/nest", func(w http.ResponseWriter, r *http.Request) {
		reply(w, func() (nestAnswer, error) { return d.nestPast(r.FormValue("nest")) })
	})
	mux.HandleFunc("GET /control/entries", func(w http.ResponseWriter, _ *http.Request) {
		reply(w, func() ([]book.Entry, error) { return d.Book().Entries(), nil })
	})
	mux.HandleFunc("GET /control/book.csv", func(w http.ResponseWriter, _ *http.Request) {
		entries := d.Book().Entries()
		w.Header().Set(entriesHeader, strconv.Itoa(len(entries)))
		writeBook(w, entries, d.cfg.location()) //nolint:errcheck // the caller has gone
	})
	mux.HandleFunc("POST /control/enter", func(w http.ResponseWriter, r *http.Request) {
		var entries []book.Entry
		take(w, r, &entries, func() (enterAnswer, error) { return d.enterBy(r, entries) })
	})
	mux.HandleFunc("POST /control/confirm", func(w http.ResponseWriter, r *http.Request) {
		var e book.Entry
		take(w, r, &e, func() (a enterAnswer, err error) {
			if e, err = d.confirmed(e); err != nil {
				return a, err
			}
			return d.enterBy(r, []book.Entry{e})
		})
	})
	mux.HandleFunc("POST /control/foster", func(w http.ResponseWriter, r *http.Request) {
		var f fostering
		take(w, r, &f, func() (a enterAnswer, err error) {
			both, err := f.entries(d.Book())
			if err != nil {
				return a, err
			}
			return d.enterBy(r, both)
		})
	})
	mux.HandleFunc("POST /control/correct", func(w http.ResponseWriter, r *http.Request) {
		var c correction
		take(w, r, &c, func() (a enterAnswer, err error) {
			changed, err := d.Book().Amend(c.Entry, c.Set, c.Strike)
			if err != nil {
				return a, err
			}
			return d.enterBy(r, changed)
		})
	})
	mux.HandleFunc("POST /control/import", func(w http.ResponseWriter, r *http.Request) {
		var asked importRequest
		takeUpTo(largestImport, w, r, &asked, func() (importAnswer, error) {
			m, err := d.Import(r.Context(), asked.Rows, commandedBy(r), asked.Dry)
			return importAnswer{len(m.Added), m.There, m.Litters, m.Doubts, asked.Dry}, err
		})
	})
}

func (d *daemon) enterBy(r *http.Request, entries []book.Entry) (a enterAnswer, err error) {
	for i := range entries {
		entries[i].By = commandedBy(r)
	}
	if a.Stored, a.Doubts, err = d.Enter(r.Context(), entries); err != nil {
		return a, err
	}
	b := d.Book()
	for _, e := range a.Stored {
		l := b.Record(e.Litter)
		if l != nil && !slices.ContainsFunc(a.Litters, func(v book.View) bool { return v.Litter == l.ID }) {
			a.Litters = append(a.Litters, b.View(l, d.pace.Now()))
		}
	}
	return a, nil
}

// litters lists the open litters, or all.
func (d *daemon) litters(all bool) []litterRow {
	b, now, out := d.Book(), d.pace.Now(), []litterRow{}
	for _, r := range b.Records() {
		if !all && !r.Open() {
			continue
		}
		row := litterRow{View: b.View(r, now), Due: []alarm.Name{}}
		if s := d.latest.Load(); s != nil && r.Open() {
			for _, a := range s.Snapshot.Alarms {
				if a.Nest == r.Nest() && a.Name.Chore() {
					row.Due = append(row.Due, a.Name)
				}
			}
		}
		out = append(out, row)
	}
	return out
}

// litterOf finds the litter that a request names by its number or by its nest.
func (d *daemon) litterOf(r *http.Request) (*book.Record, error) {
	b, nest := d.Book(), r.FormValue("nest")
	if text := r.FormValue("litter"); text != "" {
		id, err := strconv.ParseInt(text, 10, 64)
		if l := b.Record(id); err == nil && l != nil {
			return l, nil
		}
		return nil, fmt.Errorf("there is no litter %s; 'nestmon litter list --all' has every number", text)
	}
	if l := b.About(book.Noted, nest); l != nil {
		return l, nil
	}
	return nil, fmt.Errorf("nest %q holds no open litter; 'nestmon litter nest %s' tells what was in it", nest, nest)
}

func (d *daemon) partners(r *http.Request) (a partnersAnswer, err error) {
	l, err := d.litterOf(r)
	if err != nil {
		return a, err
	}
	if l.Kindled.IsZero() {
		return a, fmt.Errorf("litter %d has not kindled; there are no kits to foster", l.ID)
	}
	b, now := d.Book(), d.pace.Now()
	a = partnersAnswer{b.View(l, now), []book.View{}}
	for _, p := range b.Partners(l) {
		a.Partners = append(a.Partners, b.View(p, now))
	}
	return a, nil
}

func (d *daemon) doe(name string) (a doeAnswer, err error) {
	b := d.Book()
	all := b.Does(name)
	if len(all) == 0 {
		return a, fmt.Errorf("no litter of a doe %q is in the book; write her name as 'nestmon litter list --all' does", name)
	}
	a = doeAnswer{Doe: name, Sum: b.SumOf(all)}
	for _, r := range all {
		a.History = append(a.History, b.View(r, d.pace.Now()))
	}
	return a, nil
}

func (d *daemon) nestPast(nest string) (a nestAnswer, err error) {
	b := d.Book()
	a = nestAnswer{nest, []book.View{}, b.Past(nest)}
	if len(a.Entries) == 0 && !d.cfg.has(nest) {
		return a, fmt.Errorf("nest %q is neither in the configuration nor in the book; look at its name", nest)
	}
	for _, r := range b.Records() {
		if slices.ContainsFunc(r.Stays, func(s book.Stay) bool { return s.Nest == nest }) {
			a.Litters = append(a.Litters, b.View(r, d.pace.Now()))
		}
	}
	return a, nil
}

// confirmed is a kindling at the time at which the daemon noticed one.
func (d *daemon) confirmed(e book.Entry) (book.Entry, error) {
	e, err := d.Book().Place(e)
	if err != nil {
		return e, err
	}
	if s, r := d.latest.Load(), d.Book().Record(e.Litter); s != nil && r != nil && r.Kindled.IsZero() {
		for _, n := range s.Snapshot.Nests {
			if l := n.Litter; n.ID == e.Nest && l != nil && l.ID == r.ID && !l.Kindled.IsZero() {
				e.At = l.Kindled
				return e, nil
			}
		}
	}
	return e, fmt.Errorf("no kindling was noticed in nest %q that waits to be confirmed; write it with 'nestmon litter kindled --nest %s --on DAY'", e.Nest, e.Nest)
}

// entries are both sides of it.
func (f fostering) entries(b *book.Book) ([]book.Entry, error) {
	from, to := b.About(book.FosteredOut, f.From), b.About(book.FosteredIn, f.To)
	switch {
	case from == nil:
		return nil, fmt.Errorf("nest %q holds no kits by the book; enter its kindling first", f.From)
	case to == nil:
		return nil, fmt.Errorf("nest %q holds no kits by the book; enter its kindling first", f.To)
	}
	out, in := f.Entry, f.Entry
	out.What, out.Litter, out.Nest, out.With = book.FosteredOut, from.ID, f.From, to.ID
	in.What, in.Litter, in.Nest, in.With = book.FosteredIn, to.ID, f.To, from.ID
	return []book.Entry{out, in}, nil
}
