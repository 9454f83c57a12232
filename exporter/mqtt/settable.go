package mqtt

import (
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"nestmon/thresholds/alarm"
)

// settable is a property by which a person tells the daemon something. It holds nothing: what is set is done, and said once.
type settable struct {
	id, name string
	action   alarm.Action // empty where a chore is marked done
	timed    bool         // how long may follow the event
}

// settables lists them all. One that is timed is a text, since an enum has no room for a time.
var settables = [...]settable{
	{id: "acknowledge", name: "Acknowledge an alarm", action: alarm.Acknowledge},
	{id: "shelve", name: "Shelve an alarm: its event or all, and for how long, such as PT30M", action: alarm.Shelve, timed: true},
	{id: "unshelve", name: "Take an alarm off its shelf", action: alarm.Unshelve},
	{id: "out-of-service", name: "Take an alarm out of service", action: alarm.TakeOut},
	{id: "in-service", name: "Put an alarm back in service", action: alarm.PutBack},
	{id: "chore-done", name: "Mark a chore done"},
}

// every is the word for all alarms of a nest.
const every = "all"

// takes lists the events that can be set.
func (s settable) takes() (names []string) {
	for _, n := range alarm.Names {
		if s.action != "" || n.Chore() {
			names = append(names, string(n))
		}
	}
	if s.action != "" {
		names = append(names, every)
	}
	return names
}

func (s settable) describe() Property {
	p := Property{Name: s.name, Datatype: "enum", Format: strings.Join(s.takes(), ","), Settable: true, Retained: new(bool)}
	if s.timed {
		p.Datatype, p.Format = "string", ""
	}
	return p
}

// read understands what was set. An empty event is every alarm; a length of 0 is the longest allowed.
func (s settable) read(payload string) (event alarm.Name, length time.Duration, err error) {
	word, span, timed := payload, "", false
	if s.timed {
		word, span, timed = strings.Cut(payload, " ")
	}
	if names := s.takes(); !slices.Contains(names, word) {
		return "", 0, fmt.Errorf("there is nothing of this name; send one of what is described, such as %s", names[0])
	}
	if timed {
		if length, err = duration(span); err != nil {
			return "", 0, err
		}
	}
	if word == every {
		word = ""
	}
	return alarm.Name(word), length, nil
}

// homieDuration is a duration as Homie 5 writes it: ISO 8601, no days and more.
var homieDuration = regexp.MustCompile(`^PT(?:([0-9]{1,5})H)?(?:([0-9]{1,5})M)?(?:([0-9]{1,5})S)?$`)

// duration reads one that is longer than nothing.
func duration(s string) (d time.Duration, err error) {
	for i, digits := range homieDuration.FindStringSubmatch(s) {
		if i == 0 || digits == "" {
			continue
		}
		n, _ := strconv.Atoi(digits) // at most five digits
		d += time.Duration(n) * []time.Duration{time.Hour, time.Minute, time.Second}[i-1]
	}
	if d == 0 {
		return 0, fmt.Errorf("%.20q is no length of time; send an event, a space and one such as PT30M", s)
	}
	return d, nil
}
