package main

import (
	"context"
	"encoding/json"
	"errors"
	"net/http"
	"os"
	"strings"
	"time"

	"nestmon/hardware"
)

// living is what the running daemon says of itself.
type living struct {
	there   bool  // it answers
	missing error // why it does not, or may not be asked

	state  livingView
	survey *daemonView // the same, as 'nestmon probes' wants it
	inside *insideView // nil where an older one does not tell
}

// livingView is what is read of the state; package web documents all of it.
type livingView struct {
	stateView
	Started *time.Time `json:"started"`
	Probes  []struct {
		Probe    string     `json:"probe"`
		Fresh    bool       `json:"fresh"`
		LastGood *time.Time `json:"last_good"`
		Fault    *string    `json:"last_fault"`
	} `json:"probes"`
	Buses []struct {
		Bus      string  `json:"bus"`
		Up       bool    `json:"up"`
		Hung     float64 `json:"hung_s"`
		Restarts uint64  `json:"restarts"`
	} `json:"buses"`
}

// insideView is what the daemon alone knows and the page does not show.
type insideView struct {
	Watchdog float64    `json:"watchdog_s"` // how often the service manager wants to hear of it, 0 where it does not
	Manager  bool       `json:"manager"`    // there is a service manager to tell
	Scraped  *time.Time `json:"scraped"`    // when its metrics were asked for last
	Held     string     `json:"held"`       // why its archive cannot be written since it started, empty where it can
}

// inside answers what a doctor asks beside the state.
func (d *daemon) inside() insideView {
	every, _ := hardware.WatchdogInterval()
	v := insideView{Watchdog: every.Seconds(), Manager: os.Getenv("NOTIFY_SOCKET") != ""}
	if err := d.archive.Held(); err != nil {
		v.Held = err.Error()
	}
	if d.sinks.scraped != nil {
		if at := d.sinks.scraped(); !at.IsZero() {
			v.Scraped = &at
		}
	}
	return v
}

func (d *daemon) answerInside(w http.ResponseWriter, _ *http.Request) {
	reply(w, func() (insideView, error) { return d.inside(), nil })
}

// reachDaemon asks the daemon for all it knows.
func reachDaemon(ctx context.Context, c *config) (l living) {
	var raw json.RawMessage
	door := call(c.Control)
	if l.missing = door.get(ctx, "/api/state", &raw); l.missing != nil {
		if errors.Is(l.missing, errRefused) {
			l.survey = &daemonView{silent: true} // it may read any bus
		}
		return l
	}
	l.survey = &daemonView{}
	if l.missing = errors.Join(json.Unmarshal(raw, &l.state), json.Unmarshal(raw, l.survey)); l.missing != nil {
		return l
	}
	l.there = true
	var v insideView
	if door.get(ctx, "/control/inside", &v) == nil {
		l.inside = &v
	}
	return l
}

// latePolls is how many polls may be missing before it is said: one may be under way, and one is what a bus that hangs takes. Ours, no source.
const latePolls = 3

func examineDaemon(_ context.Context, p *patient) (found []sign) {
	d := p.daemon
	if !d.there {
		if errors.Is(d.missing, errRefused) {
			return []sign{blind("add yourself to the group nestmon and log in anew, or "+askAs, "a daemon is there, and this user may not ask it")}
		}
		return []sign{fromCheck(failed, d.missing.Error())}
	}
	ago := time.Duration(d.state.PublishedAgo * float64(time.Second)).Round(time.Second)
	if late := latePolls * p.cfg.Poll; ago > late {
		found = append(found, fails("it hangs: journalctl -u nestmon says where; sudo systemctl restart nestmon", "the last whole poll was %s ago, with a poll every %s", span(ago), span(p.cfg.Poll)))
	} else {
		found = append(found, fine("the last whole poll was %s ago", span(ago)))
	}
	if mine := version(); mine != d.state.Version {
		found = append(found, lookAt("restart it, so that what was installed runs: sudo systemctl restart nestmon", "version %s runs, and this program is %s", d.state.Version, mine))
	}
	for _, a := range d.state.Alarms {
		if strings.HasSuffix(a.Event, "-fault") && a.Nest == nil {
			found = append(found, lookAt("nestmon status says how each stands", "its own alarm stands: %s", firstSentence(a.Text)))
		}
	}
	return found
}

// firstSentence is what is wrong, without what to do.
func firstSentence(text string) string {
	what, _, _ := strings.Cut(text, ". ")
	return strings.TrimSuffix(what, ".")
}
