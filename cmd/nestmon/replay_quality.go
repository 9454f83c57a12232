package main

import (
	"cmp"
	"fmt"
	"io"
	"maps"
	"slices"
	"time"

	"nestmon/sensors"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/alarm/quality"
	"nestmon/thresholds/calls"
)

// replayQuality collects what the measures of a replay's alarms need.
type replayQuality struct {
	cfg    *config
	nests  map[string][]string // by probe
	heard  quality.Heard
	events []alarm.Event
	teller *announcer  // decides about calls; nil where no phone is configured
	woken  []time.Time // when it called
	asked  time.Time   // the hour in which the judge was last asked what it watches
	hours  int
	blind  map[danger]int            // hours in which a danger was not judged
	why    map[danger]map[string]int // for what reasons
}

// danger is one of the things a nest is watched for.
type danger struct{ nest, name string }

func newReplayQuality(cfg *config) *replayQuality {
	return &replayQuality{cfg: cfg, nests: cfg.nestsOf(), blind: map[danger]int{}, why: map[danger]map[string]int{}}
}

// take notes one poll, after it was judged.
func (q *replayQuality) take(t time.Time, poll []sensors.Reading, events []alarm.Event, j *judge) {
	for _, e := range events {
		e.Text, e.Rule, e.Source = "", "", ""
		q.events = append(q.events, e)
	}
	for _, r := range poll {
		if r.Quantity == sensors.Temperature && r.OK() {
			for _, nest := range q.nests[r.Probe] {
				q.heard.Hear(nest, t)
			}
		}
	}
	q.call(t, events, j)
	hour := t.Truncate(time.Hour)
	if hour.Equal(q.asked) {
		return
	}
	q.asked = hour
	q.hours++
	for _, n := range j.rabbitry.Snapshot().Nests {
		for _, judged := range n.Judged {
			if judged.Judged || judged.Danger == wetBedding {
				continue
			}
			d := danger{n.ID, judged.Danger}
			if q.blind[d]++; q.why[d] == nil {
				q.why[d] = map[string]int{}
			}
			q.why[d][judged.Why]++
		}
	}
}

// wakes are the reasons of calls that count. Nobody answers in a replay, so repeats do not, nor what only tells that something is over.
var wakes = []calls.Why{calls.Began, calls.Worse, calls.Happened, calls.Storm}

// call lets the daemon's own rules decide who is called about a poll.
func (q *replayQuality) call(t time.Time, events []alarm.Event, j *judge) {
	if q.cfg.Phone == nil {
		return
	}
	if q.teller == nil {
		q.woken = []time.Time{}
		q.teller, _ = newAnnouncer(q.cfg.Phone.Plan(q.cfg.location()), nil, nil, t) // an error is about what was kept, which is nothing here
	}
	h := q.teller.step(t, events, j.rabbitry.Standing(), nil, func(string) bool { return false })
	for _, c := range h.calls {
		if !slices.Contains(wakes, c.Why) {
			continue
		}
		newest := time.Time{} // a daemon would have looked every minute, where rows are farther apart
		for _, e := range c.About {
			if e.Time.After(newest) {
				newest = e.Time
			}
		}
		q.woken = append(q.woken, newest)
	}
}

// write prints the report of a replay from its first to its last row.
func (q *replayQuality) write(out io.Writer, first, last time.Time) {
	loc := q.cfg.location()
	if first.IsZero() {
		fmt.Fprintln(out, "There is no row in the readings: nothing can be said of the alarms.")
		return
	}
	end := last.Add(time.Second) // with the last row
	nests := q.cfg.nestIDs()
	r := quality.Measure(quality.Input{From: first, To: end, Location: loc, Nests: nests, Events: q.events, Woken: q.woken, Blind: q.heard.Blind(nests, first, end)})
	fmt.Fprintln(out, qualityHead(&r, wouldHaveBeen, loc))
	basis := "Counted as the block phone says, without repeats: nobody can acknowledge here."
	if q.cfg.Phone == nil {
		basis = "No phone is configured: what became urgent is counted as a call."
	}
	writeQuality(out, &r, basis, loc)
	q.writeBlind(out)
}

// mostlyBlind is the share of the hours from which on a danger that was not judged is told; ours, no source.
const mostlyBlind = 0.05

// writeBlind names the dangers that could raise nothing, for where nobody looks no alarm is good news.
func (q *replayQuality) writeBlind(out io.Writer) {
	said := false
	for _, d := range slices.SortedFunc(maps.Keys(q.blind), func(a, b danger) int { return cmp.Or(cmp.Compare(a.nest, b.nest), cmp.Compare(a.name, b.name)) }) {
		if float64(q.blind[d]) < mostlyBlind*float64(q.hours) {
			continue
		}
		if !said {
			fmt.Fprintln(out, "\nNot judged, so that no alarm could come of it:")
			said = true
		}
		reasons := slices.SortedFunc(maps.Keys(q.why[d]), func(a, b string) int { return cmp.Or(q.why[d][b]-q.why[d][a], cmp.Compare(a, b)) })
		wrap(out, "- ", fmt.Sprintf("%s at %s in %.0f %% of the hours, mostly: %s", d.name, d.nest, 100*float64(q.blind[d])/float64(q.hours), reasons[0]))
	}
}
