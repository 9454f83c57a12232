package main

import (
	"fmt"
	"io"
	"log/slog"
	"math"
	"path/filepath"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/archive"
	"nestmon/sensors"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/book"
)

// verdict counts what is wrong in an archive, and says the first few.
type verdict struct {
	out  io.Writer
	lost map[string]int
	twin map[string]int
	said int
}

const mostLines = 20

func newVerdict(out io.Writer) *verdict {
	return &verdict{out: out, lost: map[string]int{}, twin: map[string]int{}}
}

func (v *verdict) miss(in map[string]int, what, format string, args ...any) {
	in[what]++
	if v.said++; v.said <= mostLines {
		fmt.Fprintf(v.out, "  %s: %s\n", what, fmt.Sprintf(format, args...))
	}
}

func (v *verdict) good() bool { return len(v.lost)+len(v.twin) == 0 }

func (v *verdict) print(of string) {
	for _, what := range []string{"readings", "entries", "acts", "alarms", "messages", "archive"} {
		fmt.Fprintf(v.out, "%s %-8s lost %d, doubled %d\n", of, what, v.lost[what], v.twin[what])
	}
}

// openArchive opens what a daemon left.
func openArchive(dir string) (*archive.Archive, error) {
	return archive.Open(dir, archive.Options{Probes: stored(), Now: time.Now, Log: slog.New(slog.DiscardHandler)})
}

// judge compares what was acknowledged with what the archive holds.
func (v *verdict) judge(dir string, l *ledger) error {
	broken, err := filepath.Glob(filepath.Join(dir, "*.broken-*"))
	if err != nil {
		return err
	}
	a, err := openArchive(dir)
	if err != nil {
		return err
	}
	defer a.Close()
	for _, file := range append(broken, a.SetAside()...) {
		v.miss(v.lost, "archive", "set aside: %s", file)
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	if err := v.readings(a, l); err != nil {
		return err
	}
	entries, err := a.Entries()
	if err != nil {
		return err
	}
	v.entries(entries, l)
	now := time.Now().Add(time.Hour)
	acts, err := a.Acts(now.AddDate(0, 0, -2), now, math.MaxInt32)
	if err != nil {
		return err
	}
	v.acts(acts, l)
	events, err := a.Events(now.AddDate(0, 0, -2), now, math.MaxInt32)
	if err != nil {
		return err
	}
	standing, err := a.Standing()
	if err != nil {
		return err
	}
	v.alarms(events, standing, l)
	return nil
}

func (v *verdict) readings(a *archive.Archive, l *ledger) error {
	times := map[measured][]time.Time{}
	var last time.Time
	err := a.PollsBetween(time.Now().AddDate(0, 0, -2), time.Now().Add(time.Hour), func(p exporter.StoredPoll) error {
		if p.Time.Equal(last) {
			v.miss(v.twin, "readings", "two polls at %s", last)
		}
		last = p.Time
		for _, r := range p.Readings {
			if r.Quantity == sensors.Temperature {
				key := measured{r.Probe, stepsOf(r.Value)}
				times[key] = append(times[key], p.Time)
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	loose, gone, oldest := 0, 0, time.Duration(0)
	for key, s := range l.readings {
		found := false
		for _, at := range times[key] { // a poll's time is that of its beginning, in whole seconds
			found = found || !at.Before(s.first.Add(-pollEvery)) && !at.After(s.last.Add(pollEvery))
		}
		switch {
		case s.loose:
			if loose++; !found {
				gone++
				oldest = max(oldest, s.before)
			}
		case !found:
			v.miss(v.lost, "readings", "%s of %s at %s", key.probe, fmt.Sprint(float64(key.steps)*step), s.first)
		}
	}
	if loose > 0 {
		fmt.Fprintf(v.out, "  of %d readings younger than the minute that the archive may wait, %d went with the power; the oldest was shown %s before the cut\n", loose, gone, oldest.Round(time.Millisecond))
	}
	return nil
}

func (v *verdict) entries(have []book.Entry, l *ledger) {
	byID, notes := map[int64]book.Entry{}, map[string]int{}
	for _, e := range have {
		if _, twice := byID[e.ID]; twice {
			v.miss(v.twin, "entries", "number %d", e.ID)
		}
		byID[e.ID] = e
		if e.What == book.Noted {
			notes[e.Note]++
		}
	}
	for id, e := range l.entries {
		if got := byID[id]; got.What != e.What || got.Note != e.Note || got.Nest != e.Nest || got.Replaces != e.Replaces {
			v.miss(v.lost, "entries", "%d (%s %s) is %s %s", id, e.What, e.Note, got.What, got.Note)
		}
	}
	for note, n := range notes {
		if n > 1 || !l.notes[note] {
			v.miss(v.twin, "entries", "%q %d times", note, n)
		}
	}
}

func (v *verdict) acts(have []alarm.Act, l *ledger) {
	for _, d := range l.acts {
		n := 0
		for _, a := range have {
			if a.Nest == d.nest && !a.At.Before(d.sent.Truncate(time.Millisecond)) && !a.At.After(d.saved) { // the archive keeps no less
				n++
			}
		}
		switch {
		case n == 0:
			v.miss(v.lost, "acts", "%s between %s and %s", d.nest, d.sent, d.saved)
		case n > 1:
			v.miss(v.twin, "acts", "%s between %s and %s: %d times", d.nest, d.sent, d.saved, n)
		}
	}
}

// alarms says what is not as it must be in the journal, which is newest first: what the page showed is there once, nothing is raised that stands as high already or ends
// that does not stand, and at the end stands what the journal leaves standing.
func (v *verdict) alarms(events []alarm.Event, standing []alarm.Standing, l *ledger) {
	type place struct {
		nest string
		name alarm.Name
	}
	raised := map[shown]int{}
	stands := map[place]alarm.Severity{}
	for i := len(events) - 1; i >= 0; i-- {
		e := events[i]
		at := place{e.Nest, e.Name}
		switch e.State {
		case alarm.Raised:
			raised[shown{e.Nest, string(e.Name), e.Time}]++
			if stands[at] >= e.Severity {
				v.miss(v.twin, "alarms", "%s %s raised again at %s", e.Nest, e.Name, e.Time)
			}
			stands[at] = e.Severity
		case alarm.Cleared:
			if _, on := stands[at]; !on {
				v.miss(v.twin, "alarms", "%s %s ends again at %s", e.Nest, e.Name, e.Time)
			}
			delete(stands, at)
		}
	}
	for s := range l.alarms {
		n := 0
		for r, count := range raised {
			if r.nest == s.nest && r.event == s.event && r.at.Sub(s.at).Abs() < time.Millisecond { // the journal keeps no less
				n += count
			}
		}
		switch {
		case n == 0:
			v.miss(v.lost, "alarms", "%s %s of %s", s.nest, s.event, s.at)
		case n > 1:
			v.miss(v.twin, "alarms", "%s %s of %s: %d times", s.nest, s.event, s.at, n)
		}
	}
	for _, s := range standing {
		at := place{s.Nest, s.Name}
		if stands[at] != s.Severity {
			v.miss(v.lost, "alarms", "%s %s stands, the journal says otherwise", s.Nest, s.Name)
		}
		delete(stands, at)
	}
	for at := range stands {
		v.miss(v.lost, "alarms", "%s %s does not stand, the journal says otherwise", at.nest, at.name)
	}
}
