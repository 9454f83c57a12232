package ical

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"maps"
	"slices"
	"time"

	"nestmon/thresholds"
)

// Past is what was written last, to be given to Write again. The zero Past has nothing in it.
type Past struct {
	Rows    map[string]Row `json:"rows"` // by UID
	Hash    string         `json:"hash"` // of the whole file
	Changed time.Time      `json:"changed"`

	text []byte // the file, while it is at hand
}

// Row is one event as it was written last.
type Row struct {
	key
	Days     string    `json:"days"`
	Done     int64     `json:"done,omitempty"` // unix seconds
	Hash     string    `json:"hash"`
	Sequence int       `json:"seq"`
	Changed  time.Time `json:"changed"`
}

// Write makes the file, and tells past of it. moved says that past must be kept: that only words changed may be forgotten, for SEQUENCE rises
// all the same, and words may hold a value of this minute.
func (c Calendar) Write(now time.Time, tasks []thresholds.Task, past *Past) (text []byte, moved bool, err error) {
	if c.Zone == nil {
		c.Zone = time.UTC
	}
	events := c.events(now, tasks)
	uids := c.uids(events, past.Rows)
	rows, whole := make(map[string]Row, len(events)), []string{c.Name}
	for i, e := range events {
		row := past.Rows[uids[i]].follow(now, e)
		rows[uids[i]], whole = row, append(whole, uids[i], row.Hash, fmt.Sprint(row.Sequence))
	}
	if hash := hashed(whole...); hash != past.Hash {
		moved = !maps.EqualFunc(rows, past.Rows, func(a, b Row) bool { return a.Days == b.Days && a.Done == b.Done })
		*past = Past{Rows: rows, Hash: hash, Changed: moment(now, past.Changed)}
	}
	if past.text == nil {
		var out bytes.Buffer
		if err := c.encode(&out, events, uids, rows); err != nil {
			return nil, false, fmt.Errorf("writing the calendar: %w", err)
		}
		past.text = out.Bytes()
	}
	return past.text, moved, nil
}

// follow is the row of an event that this one was before; the zero Row was nothing.
func (r Row) follow(now time.Time, e event) Row {
	hash := hashed(e.days(), e.summary, e.details, fmt.Sprint(e.categories))
	if r.Hash == hash {
		return r
	}
	next := Row{key: e.key, Days: e.days(), Done: e.done, Hash: hash, Sequence: revision(now), Changed: moment(now, r.Changed)}
	if r.Hash != "" {
		next.Sequence = max(next.Sequence, r.Sequence+1)
	}
	return next
}

func (e event) days() string { return e.first.String() + "/" + e.end.String() }

// counted is from when SEQUENCE counts its minutes, before there was any event.
var counted = time.Date(2026, time.January, 1, 0, 0, 0, 0, time.UTC)

// revision is the number of an event that is written at now.
func revision(now time.Time) int { return max(0, int(now.Sub(counted)/time.Minute)) }

// moment is now in whole seconds, as the file has it, and after what was before also where the clock was put back.
func moment(now, before time.Time) time.Time {
	now = now.UTC().Truncate(time.Second)
	if !now.After(before) && !before.IsZero() {
		return before.Add(time.Second)
	}
	return now
}

// same says when an event is one that was written before, the surest first. What was open and is done now stays the same; what is open beside
// it is the next time. The last is for a litter that ended with the chore: its nest has another now, or none.
var same = []func(e event, r Row) bool{
	func(e event, r Row) bool { return e.done != 0 && e.done == r.Done },
	func(e event, r Row) bool { return e.done != 0 && r.Done == 0 && e.key == r.key },
	func(e event, r Row) bool { return e.done == 0 && r.Done == 0 && e.key == r.key && e.days() == r.Days },
	func(e event, r Row) bool { return e.done == 0 && r.Done == 0 && e.key == r.key },
	func(e event, r Row) bool { return e.done != 0 && r.Done == 0 },
}

// uids gives each event the UID it had, or one of its own.
func (c Calendar) uids(events []event, past map[string]Row) []string {
	out, taken := make([]string, len(events)), map[string]bool{}
	had := map[key][]string{} // of any litter
	for _, uid := range slices.Sorted(maps.Keys(past)) {
		k := past[uid].key.anyLitter()
		had[k] = append(had[k], uid)
	}
	order := make([]int, len(events))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(events[a].done, events[b].done) })
	for _, is := range same {
		for _, i := range order {
			for _, uid := range had[events[i].key.anyLitter()] {
				if out[i] == "" && !taken[uid] && is(events[i], past[uid]) {
					out[i], taken[uid] = uid, true
				}
			}
		}
	}
	for i, e := range events {
		for n := 0; out[i] == ""; n++ {
			uid := c.newUID(e, n)
			if _, known := past[uid]; !known && !taken[uid] { // one that is past belonged to another
				out[i], taken[uid] = uid, true
			}
		}
	}
	return out
}

// newUID is a UID that names no machine. Its own part is the first day, so that a chore that comes again gets another.
func (c Calendar) newUID(e event, n int) string {
	return hashed(c.Site, e.key.Nest, fmt.Sprint(e.key.Litter), string(e.key.Chore), e.key.Day, e.first.String(), fmt.Sprint(n)) + "@chores.nestmon"
}

// hashed is 128 bit of a hash of some texts.
func hashed(texts ...string) string {
	h := sha256.New()
	for _, t := range texts {
		fmt.Fprintf(h, "%d:%s", len(t), t)
	}
	return hex.EncodeToString(h.Sum(nil)[:16])
}
