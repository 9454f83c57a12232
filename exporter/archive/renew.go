package archive

import (
	"database/sql"
	"errors"
)

// writeReadings writes to readings.db and, where the file turns out damaged, begins a new one and writes to that.
func (a *Archive) writeReadings(f func(*tx) error) error {
	err := a.readings.write(f)
	if !renewable(err) {
		return err
	}
	if rerr := a.renew(a.readings, readingsFile, err); rerr != nil {
		return errors.Join(err, rerr)
	}
	if err := a.loadReadings(); err != nil {
		return err
	}
	return a.readings.write(f)
}

// writeBook is writeReadings for book.db. A new file gets the litter book first: nothing that was entered is lost with the old one.
func (a *Archive) writeBook(f func(*tx) error) error {
	whole := func(t *tx) error {
		if a.owed.Load() {
			if err := t.putEntries(a.opts.Entries()); err != nil {
				return err
			}
			for _, s := range a.recent.list() {
				if err := t.putSent(s); err != nil {
					return err
				}
			}
		}
		return f(t)
	}
	err := a.book.write(whole)
	if renewable(err) {
		if rerr := a.renew(a.book, bookFile, err); rerr != nil {
			return errors.Join(err, rerr)
		}
		err = a.book.write(whole)
	}
	if err == nil {
		a.owed.Store(false)
	}
	return err
}

// renewable reports whether opening the file again can help: it is damaged, or an earlier renewal failed and left it closed.
func renewable(err error) bool { return damaged(err) || errors.Is(err, sql.ErrConnDone) }

// renew opens a file again that broke while it was open; a damaged one is set aside first.
func (a *Archive) renew(s *store, k kind, why error) error {
	if err := s.close(); err != nil && !errors.Is(err, sql.ErrConnDone) {
		a.opts.Log.Warn("closing a broken archive file", "file", s.path, "err", err)
	}
	if damaged(why) {
		aside, err := putAside(s.path, a.opts.Now())
		a.begun(k, aside)
		if err != nil {
			return err
		}
		a.opts.Log.Error("archive file broke; set aside, a new one is begun", "file", s.path, "aside", aside, "err", why)
	}
	fresh, aside, err := openStore(s.path, k, true, a.opts)
	a.begun(k, aside)
	if err != nil {
		return err
	}
	s.adopt(fresh)
	return nil
}

// begun notes that a file was set aside while it was in use.
func (a *Archive) begun(k kind, aside []string) {
	a.aside.add(aside)
	if len(aside) > 0 && k.name == bookFile.name {
		a.owed.Store(true)
	}
}
