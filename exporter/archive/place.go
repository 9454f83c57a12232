package archive

import (
	"time"

	"nestmon/exporter"
)

// Polls that come before the board's clock is known are stored as they come, marked, with how long the board had been up. Once a poll of the same boot
// knows the time, all of them are given theirs, in one transaction, and the mark is taken off. They enter the hours only then. What a boot stored that
// ended before its clock was known keeps its mark and the time it came with, which is that of the newest poll before and what had passed since.

// place gives the polls of this boot their true times.
func (a *Archive) place(c exporter.Commit) error {
	type placed struct {
		storedRow
		up int64
	}
	var rows []placed
	err := a.writeReadings(func(t *tx) error {
		rows = nil
		err := collect(t.conn, func(scan func(...any) error) error {
			var up int64
			r, err := scanPoll(func(to ...any) error { return scan(append(to, &up)...) })
			rows = append(rows, placed{r, up})
			return err
		}, "SELECT "+pollColumns+", up FROM unplaced JOIN polls USING (key) WHERE boot = ? ORDER BY key", c.Boot)
		if err != nil {
			return err
		}
		for i := range rows {
			r := &rows[i]
			r.at = c.Time.UTC().Round(0).Add(time.Duration(r.up)*time.Millisecond - c.Up)
			if err := t.exec("UPDATE polls SET at = ?, unsynced = 0 WHERE key = ?", r.at.UnixMilli(), r.key); err != nil {
				return err
			}
		}
		return t.exec("DELETE FROM unplaced WHERE boot = ?", c.Boot)
	})
	if err != nil {
		return err
	}
	a.state.unplaced = false // of another boot, nobody will ever know
	if len(rows) == 0 {
		return nil
	}
	p := a.plan.Load()
	for _, r := range rows {
		l, ok := p.layout(r.layout)
		if !ok {
			continue
		}
		steps := make([]int16, len(l.series))
		for i := range steps {
			steps[i], _ = column(r.v, i)
		}
		a.state.hours.add(r.key, r.at, l, steps)
	}
	a.days.forgetAll()
	a.opts.Placed(len(rows), rows[0].at, rows[len(rows)-1].at)
	return nil
}
