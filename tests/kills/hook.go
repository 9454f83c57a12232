package main

import (
	"encoding/json"
	"fmt"
	"math"
	"net/http"
	"net/http/httptest"
	"sync"
	"time"

	"nestmon/thresholds/alarm"
)

// hook is the phone: a webhook that keeps what arrives, by the message's id.
type hook struct {
	*httptest.Server
	mu       sync.Mutex
	arrived  int
	messages map[string]message
}

type message struct {
	ID, Kind, Nest, Event, State, Severity string
	Time                                   time.Time
}

func listen() *hook {
	h := &hook{messages: map[string]message{}}
	h.Server = httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		var m message
		if err := json.NewDecoder(r.Body).Decode(&m); err != nil {
			http.Error(w, err.Error(), http.StatusBadRequest)
			return
		}
		h.mu.Lock()
		defer h.mu.Unlock()
		h.arrived++
		h.messages[m.ID] = m
	}))
	return h
}

func (h *hook) String() string {
	h.mu.Lock()
	defer h.mu.Unlock()
	return fmt.Sprintf("the phone got %d messages, %d of them crossed the wire again", len(h.messages), h.arrived-len(h.messages))
}

// heard compares what the phone got with the journal: an alarm about heat that calls a person at once called once, under one id. One that came twice was sent twice under
// its id, because the kill came between the phone's answer and the note of it. Where it was hot for long enough, there is one.
func (v *verdict) heard(dir string, h *hook, hot bool) {
	a, err := openArchive(dir)
	if err != nil {
		v.miss(v.lost, "messages", "%v", err)
		return
	}
	defer a.Close()
	now := time.Now().Add(time.Hour)
	events, err := a.Events(now.AddDate(0, 0, -2), now, math.MaxInt32)
	if err != nil {
		v.miss(v.lost, "messages", "%v", err)
		return
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	calls := 0
	for _, e := range events {
		if e.Name != alarm.NestHeat || e.State != alarm.Raised || e.Severity < alarm.Warning {
			continue
		}
		calls++
		n := 0
		for _, m := range h.messages {
			if m.Kind == "alarm" && m.Nest == e.Nest && m.Event == string(e.Name) && m.State == string(e.State) && m.Severity == e.Severity.String() && m.Time.Equal(e.Time.Truncate(time.Second)) {
				n++
			}
		}
		switch {
		case n == 0:
			v.miss(v.lost, "messages", "%s %s %s at %s called nobody", e.Nest, e.Name, e.Severity, e.Time)
		case n > 1:
			v.miss(v.twin, "messages", "%s %s %s at %s called %d times", e.Nest, e.Name, e.Severity, e.Time, n)
		}
	}
	if hot && calls == 0 {
		v.miss(v.lost, "alarms", "the last nest was hot for more than %s, and nothing called", calledBy)
	}
}
