package archive

import (
	"database/sql"
	"encoding/json"
	"errors"
	"slices"
	"time"

	"nestmon/exporter"
	"nestmon/sensors"
)

const (
	// sameFault is how far apart two refusals for one reason may lie to be told as one; ours, no source.
	sameFault = time.Hour
	// maxRefusals bounds what is remembered of either kind of refusal; ours, no source.
	maxRefusals = 1000
)

// SetRefused keeps what a sink has refused for good, with the reason. Polls in a row that are refused for one reason are one entry, so
// that weeks beyond a bucket's retention do not push everything else out. The polls themselves stay where they are.
func (a *Archive) SetRefused(sink string, polls []exporter.RefusedPoll) error {
	if err := a.mayWrite(); err != nil {
		return err
	}
	now := a.opts.Now()
	var all []refusal
	for _, p := range polls {
		i := slices.IndexFunc(all, func(r refusal) bool { return r.goesOn(p) })
		if i < 0 {
			i, all = len(all), append(all, refusal{Refusal: exporter.Refusal{Sink: sink, Reason: p.Reason, From: p.Time, To: p.Time, Seen: now}})
		}
		all[i].add(p)
	}
	a.mu.Lock()
	defer a.mu.Unlock()
	return a.writeReadings(func(t *tx) error {
		for _, r := range all {
			if err := t.putRefusal(r.Refusal); err != nil {
				return err
			}
		}
		return t.exec("DELETE FROM refusals WHERE id <= (SELECT max(id) FROM refusals) - ?", maxRefusals)
	})
}

// refusal is one entry that grows.
type refusal struct {
	exporter.Refusal
	key int64 // of its newest poll
}

func (r refusal) goesOn(p exporter.RefusedPoll) bool {
	return r.Reason == p.Reason && !p.Time.Before(r.To) && p.Time.Sub(r.To) <= sameFault
}

func (r *refusal) add(p exporter.RefusedPoll) {
	if p.Key != r.key {
		r.Polls++
	}
	r.key, r.To = p.Key, p.Time
	r.Readings += int64(len(p.Readings))
	for _, reading := range p.Readings {
		r.Series = withSeries(r.Series, seriesName(reading))
	}
}

func seriesName(r sensors.Reading) string { return r.Probe + " " + r.Quantity.String() }

func withSeries(all []string, name string) []string {
	if i, found := slices.BinarySearch(all, name); !found {
		return slices.Insert(all, i, name)
	}
	return all
}

// putRefusal adds r to the newest entry of its sink and reason, where it goes on from there, or makes one.
func (t *tx) putRefusal(r exporter.Refusal) error {
	var id int64
	var to int64
	var series string
	err := t.row("SELECT id, until, series FROM refusals WHERE sink = ? AND reason = ? ORDER BY id DESC LIMIT 1", r.Sink, r.Reason).Scan(&id, &to, &series)
	if err != nil && !errors.Is(err, sql.ErrNoRows) {
		return err
	}
	last := time.UnixMilli(to)
	if err != nil || !r.From.After(last) || r.From.Sub(last) > sameFault {
		names, err := json.Marshal(r.Series)
		if err != nil {
			return err
		}
		return t.exec("INSERT INTO refusals (sink, reason, since, until, polls, readings, series, seen) VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
			r.Sink, r.Reason, r.From.UnixMilli(), r.To.UnixMilli(), r.Polls, r.Readings, string(names), r.Seen.UnixMilli())
	}
	var all []string
	if err := json.Unmarshal([]byte(series), &all); err != nil {
		return err
	}
	for _, name := range r.Series {
		all = withSeries(all, name)
	}
	names, err := json.Marshal(all)
	if err != nil {
		return err
	}
	return t.exec("UPDATE refusals SET until = ?, polls = polls + ?, readings = readings + ?, series = ?, seen = ? WHERE id = ?",
		r.To.UnixMilli(), r.Polls, r.Readings, string(names), r.Seen.UnixMilli(), id)
}

// Refusals returns what sinks have refused for good and have not taken since, in the order in which it came.
func (a *Archive) Refusals() ([]exporter.Refusal, error) {
	var all []exporter.Refusal
	err := a.readings.read(func(db *sql.DB) error {
		all = nil
		return collect(db, func(scan func(...any) error) error {
			var r exporter.Refusal
			var since, until, seen int64
			var series string
			if err := scan(&r.Sink, &r.Reason, &since, &until, &r.Polls, &r.Readings, &series, &seen); err != nil {
				return err
			}
			r.From, r.To, r.Seen = time.UnixMilli(since).UTC(), time.UnixMilli(until).UTC(), time.UnixMilli(seen).UTC()
			all = append(all, r)
			return json.Unmarshal([]byte(series), &all[len(all)-1].Series)
		}, "SELECT sink, reason, since, until, polls, readings, series, seen FROM refusals ORDER BY id")
	})
	return all, err
}

// Redeem forgets what a sink refused of the polls with from <= time < to, as far as that was before the given moment: all of them have
// been sent again since.
func (a *Archive) Redeem(sink string, from, to, before time.Time) error {
	if err := a.mayWrite(); err != nil {
		return err
	}
	a.mu.Lock()
	defer a.mu.Unlock()
	return a.writeReadings(func(t *tx) error {
		return t.exec("DELETE FROM refusals WHERE sink = ? AND since >= ? AND until < ? AND seen < ?", sink, from.UnixMilli(), to.UnixMilli(), before.UnixMilli())
	})
}
