package archive

import (
	"context"
	"database/sql"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"nestmon/sensors"
)

// layout says which series the columns of a poll are, from the poll with key since to the next layout's.
type layout struct {
	id     int64
	since  int64
	series []series
}

// index returns the column of a series, -1 where the layout has none.
func (l layout) index(probe string, q sensors.Quantity, scale float64) int {
	return slices.IndexFunc(l.series, func(s series) bool {
		return s.known && s.probe == probe && s.quantity == q && s.scale == scale
	})
}

// plan is every layout and series in the file. It is replaced whole, never changed.
type plan struct {
	layouts []layout // by id, which is by since
	series  []series
}

func (p *plan) layout(id int64) (layout, bool) {
	for i := len(p.layouts) - 1; i >= 0; i-- {
		if p.layouts[i].id == id {
			return p.layouts[i], true
		}
	}
	return layout{}, false
}

// newest returns the layout of polls written now; there is one after ensureLayout.
func (p *plan) newest() layout { return p.layouts[len(p.layouts)-1] }

// match returns the series of a probe's quantity; there are two when its scale was changed.
func (p *plan) match(probe string, q sensors.Quantity) []series {
	var found []series
	for _, s := range p.series {
		if s.known && s.probe == probe && s.quantity == q {
			found = append(found, s)
		}
	}
	return found
}

// Has reports whether the archive was ever opened with a probe that measures q.
func (a *Archive) Has(q sensors.Quantity) bool {
	return slices.ContainsFunc(a.plan.Load().series, func(s series) bool { return s.known && s.quantity == q })
}

type queryer interface {
	QueryContext(context.Context, string, ...any) (*sql.Rows, error)
}

func loadPlan(q queryer) (*plan, error) {
	p := &plan{}
	byID := map[int64]series{}
	err := collect(q, func(scan func(...any) error) error {
		var s series
		var quantity string
		if err := scan(&s.id, &s.probe, &quantity, &s.scale); err != nil {
			return err
		}
		for _, have := range sensors.Quantities {
			if have.String() == quantity {
				s.quantity, s.known = have, s.scale > 0
			}
		}
		p.series = append(p.series, s)
		byID[s.id] = s
		return nil
	}, "SELECT id, probe, quantity, scale FROM series ORDER BY id")
	if err != nil {
		return nil, err
	}
	err = collect(q, func(scan func(...any) error) error {
		var l layout
		var ids string
		if err := scan(&l.id, &l.since, &ids); err != nil {
			return err
		}
		for id := range strings.SplitSeq(ids, ",") {
			n, err := strconv.ParseInt(id, 10, 64)
			s, ok := byID[n]
			if err != nil || !ok {
				return fmt.Errorf("%w: layout %d names series %q, which is not there", errDamaged, l.id, id)
			}
			l.series = append(l.series, s)
		}
		p.layouts = append(p.layouts, l)
		return nil
	}, "SELECT id, since, series FROM layouts ORDER BY id")
	return p, err
}

// columns is what the probes deliver, in their order.
func columns(probes []sensors.Probe) []series {
	var out []series
	for _, p := range probes {
		for _, q := range p.Quantities {
			out = append(out, series{probe: p.ID, quantity: q, scale: q.Step(), known: true})
		}
	}
	return out
}

// same reports whether l already describes cols.
func (l layout) same(cols []series) bool {
	return slices.EqualFunc(l.series, cols, func(a, b series) bool {
		return a.known && a.probe == b.probe && a.quantity == b.quantity && a.scale == b.scale
	})
}

// ensureLayout returns the plan whose newest layout describes cols, adding it for the poll with key where there is none.
func (t *tx) ensureLayout(p *plan, cols []series, key int64) (*plan, error) {
	if n := len(p.layouts); n > 0 && p.layouts[n-1].same(cols) {
		return p, nil
	}
	ids := make([]string, len(cols))
	for i, c := range cols {
		id, err := t.seriesID(c)
		if err != nil {
			return nil, err
		}
		ids[i] = strconv.FormatInt(id, 10)
	}
	if err := t.exec("INSERT INTO layouts (since, series) VALUES (?, ?)", key, strings.Join(ids, ",")); err != nil {
		return nil, err
	}
	return loadPlan(t.conn)
}

// seriesID is the number of a series, which is made where there is none.
func (t *tx) seriesID(s series) (id int64, err error) {
	if err := t.exec("INSERT OR IGNORE INTO series (probe, quantity, scale) VALUES (?, ?, ?)", s.probe, s.quantity.String(), s.scale); err != nil {
		return 0, err
	}
	err = t.row("SELECT id FROM series WHERE probe = ? AND quantity = ? AND scale = ?", s.probe, s.quantity.String(), s.scale).Scan(&id)
	return id, err
}
