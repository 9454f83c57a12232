package main

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"sync"
	"time"
)

// state is as much of the page's state as is looked at.
type state struct {
	Time  time.Time `json:"time"`
	Nests []struct {
		ID     string `json:"id"`
		Values []struct {
			Probe    string     `json:"probe"`
			Quantity string     `json:"quantity"`
			Value    *float64   `json:"value"`
			Time     *time.Time `json:"time"`
		} `json:"values"`
	} `json:"nests"`
	Alarms []struct {
		Nest  string `json:"nest"`
		Event string `json:"event"`
	} `json:"alarms"`
}

// watch is what one page that reads sees in one phase.
type watch struct {
	mu      sync.Mutex
	last    time.Time
	apart   []time.Duration // between the polls
	late    []time.Duration // from a poll's time to its arrival
	due     map[string]time.Time
	alarms  []time.Duration // from when a silence became an alarm by its own limit to when it was seen
	missing map[string]bool // nests whose alarm was awaited and never seen
	heard   int             // values of wireless nodes that were new at their poll
	silent  int             // and polls at which one had none
	newest  map[string]time.Time
}

func newWatch() *watch {
	return &watch{due: map[string]time.Time{}, missing: map[string]bool{}, newest: map[string]time.Time{}}
}

func (w *watch) took(data string) {
	now := time.Now()
	var s state
	if json.Unmarshal([]byte(data), &s) != nil {
		return
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	if !s.Time.Equal(w.last) { // else what a person did was shown
		if !w.last.IsZero() {
			w.apart = append(w.apart, s.Time.Sub(w.last))
		}
		w.late = append(w.late, now.Sub(s.Time))
		w.last = s.Time
		w.nodes(s)
	}
	for _, a := range s.Alarms {
		if at, awaited := w.due[a.Nest]; awaited && a.Event == "probe-silent" {
			w.alarms = append(w.alarms, now.Sub(at))
			delete(w.due, a.Nest)
		}
	}
}

func (w *watch) nodes(s state) {
	for _, n := range s.Nests {
		for _, v := range n.Values {
			if !strings.HasSuffix(v.Probe, "-air") || v.Quantity != "temperature" || !isWireless(n.ID) {
				continue
			}
			if v.Time != nil && v.Time.After(w.newest[n.ID]) {
				w.newest[n.ID] = *v.Time
				w.heard++
			} else {
				w.silent++
			}
		}
	}
}

// await tells that the alarm of a nest's silence is due at a time, and forget that its probe is back.
func (w *watch) await(nest string, at time.Time) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.due[nest] = at
}

func (w *watch) forget(nest string) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if _, awaited := w.due[nest]; awaited {
		w.missing[nest] = true
		delete(w.due, nest)
	}
}

// polled is the time of the newest poll.
func (w *watch) polled() time.Time {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.last
}

// spread is the middle and the worst of some times.
func spread(all []time.Duration) string {
	if len(all) == 0 {
		return "none"
	}
	s := slices.Sorted(slices.Values(all))
	round := func(d time.Duration) string {
		if d.Abs() < time.Second {
			return fmt.Sprintf("%.0f ms", float64(d)/1e6)
		}
		return fmt.Sprintf("%.2f s", d.Seconds())
	}
	return fmt.Sprintf("%s, %s (%d)", round(s[len(s)/2]), round(s[len(s)-1]), len(s))
}
