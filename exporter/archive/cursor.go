package archive

// Cursor returns the key of the last poll a sink has delivered, 0 for a sink that never did.
func (a *Archive) Cursor(name string) (int64, error) {
	a.mu.Lock()
	defer a.mu.Unlock()
	a.state.asked[name] = true
	return a.state.cursors[name], nil
}

// cursorEvery is how many polls a moved cursor may wait to be written: at 30 s, a crash repeats five minutes of deliveries.
// Written with every poll, cursors took 3 MB a day of the 20 that reach the card (measured); the number is ours, no source.
const cursorEvery = 10

// SetCursor moves a sink's cursor. It is written with one of the next polls, or by Close; a crash repeats what was delivered in
// between. In one file with the polls, a cursor can never survive the polls it points at.
func (a *Archive) SetCursor(name string, key int64) error {
	if a.copied != "" {
		return errReadOnly
	}
	a.mu.Lock()
	defer a.mu.Unlock()
	a.state.asked[name] = true
	a.state.cursors[name], a.state.unsaved[name] = key, true
	return nil
}

func (a *Archive) saveCursors(t *tx) error {
	if a.state.sinceSaved < cursorEvery {
		return nil
	}
	return a.saveCursorsNow(t)
}

func (a *Archive) saveCursorsNow(t *tx) error {
	for name := range a.state.unsaved {
		if err := t.exec("INSERT OR REPLACE INTO cursors (name, key) VALUES (?, ?)", name, a.state.cursors[name]); err != nil {
			return err
		}
	}
	return nil
}

// loadCursors reads the cursors and sets those beyond the newest poll back to it: the newest polls were lost, and the next ones
// must be sent. The keys lost with them are not given again.
func (t *tx) loadCursors(newest, last int64) (map[string]int64, int64, error) {
	cursors := map[string]int64{}
	last = max(last, newest)
	err := collect(t.conn, func(scan func(...any) error) error {
		var name string
		var key int64
		if err := scan(&name, &key); err != nil {
			return err
		}
		last = max(last, key)
		cursors[name] = min(key, newest)
		return nil
	}, "SELECT name, key FROM cursors")
	return cursors, last, err
}
