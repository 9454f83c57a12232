package archive

import (
	"database/sql"
	"encoding/json"
	"fmt"
	"time"

	"nestmon/thresholds/alarm"
)

// What people did is kept for two years, and never more of it than a person can do; ours, no source. A broker or a page that goes mad may
// fill the table within a day, not the card.
const (
	ActsFor  = 2 * 365 * 24 * time.Hour
	mostActs = 100000
)

// actsSince is where the time from which acts are kept stands, written by the step of the schema that made their table.
const actsSince = "acts.since"

func (t *tx) putAct(a alarm.Act) error {
	body, err := json.Marshal(a)
	if err != nil {
		return err
	}
	return t.exec("INSERT OR IGNORE INTO acts (at, nest, event, action, by, body) VALUES (?, ?, ?, ?, ?, ?)",
		a.At.UnixMilli(), a.Nest, string(a.Event), string(a.Action), a.By, string(body))
}

// pruneActs removes what is too old, and the oldest of what is too much.
func (t *tx) pruneActs(now time.Time) error {
	if err := t.exec("DELETE FROM acts WHERE at < ?", now.Add(-ActsFor).UnixMilli()); err != nil {
		return err
	}
	return t.exec("DELETE FROM acts WHERE seq <= (SELECT seq FROM acts ORDER BY seq DESC LIMIT 1 OFFSET ?)", mostActs)
}

// Acts returns at most that many acts with from <= time < to, newest first.
func (a *Archive) Acts(from, to time.Time, most int) ([]alarm.Act, error) {
	var out []alarm.Act
	err := a.book.read(func(db *sql.DB) error {
		return bodies(db, func(act alarm.Act) { out = append(out, act) },
			"SELECT body FROM acts WHERE at >= ? AND at < ? ORDER BY at DESC, seq DESC LIMIT ?", from.UnixMilli(), to.UnixMilli(), most)
	})
	return out, err
}

// ActsSince is from when on acts are kept: when this archive was made, or opened by the first release that keeps them. Where the clock was
// wrong then, the oldest act says better.
func (a *Archive) ActsSince() (time.Time, error) {
	text, err := a.Meta(actsSince)
	if err != nil {
		return time.Time{}, err
	}
	t, err := time.Parse(time.RFC3339, text)
	if err != nil {
		return t, fmt.Errorf("archive: since when acts are kept: %w", err)
	}
	var oldest sql.NullInt64
	err = a.book.read(func(db *sql.DB) error { return db.QueryRow("SELECT min(at) FROM acts").Scan(&oldest) })
	if first := time.UnixMilli(oldest.Int64).UTC(); oldest.Valid && first.Before(t) {
		t = first
	}
	return t, err
}
