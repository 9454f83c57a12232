package main

import (
	"encoding/json"
	"fmt"
	"log/slog"
	"slices"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/archive"
	"nestmon/thresholds"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/calls"
)

// announcer stands between the judge, which says what is wrong, and the sinks, which reach people: it keeps the status of every alarm
// and decides who is called. The daemon and a replay have the same one.
type announcer struct {
	panel alarm.Panel
	desk  *calls.Desk
	at    time.Time     // of the last step
	off   time.Duration // that the restart took, as far as the clock can tell
	saved time.Time     // when the panel was stored last
	days  [2]string     // of the last digest and all-well that were stored
}

// remembered is what the announcer keeps in the archive beside the standing alarms.
type remembered struct {
	At    time.Time   `json:"at"`
	Calls calls.State `json:"calls"`
	Anew  bool        `json:"anew,omitempty"` // from a backup that is not fresh, see forgetCalls
}

// longestOff bounds the time a restart is believed to have taken: a board without a clock of its own may start in any year. Ours, no source.
const longestOff = 24 * time.Hour

// newAnnouncer goes on from what was stored; kept is nil at the first start.
func newAnnouncer(plan calls.Plan, stored []alarm.Standing, kept []byte, now time.Time) (*announcer, error) {
	was := remembered{At: now}
	a := &announcer{at: now}
	if kept != nil {
		if err := json.Unmarshal(kept, &was); err != nil {
			return nil, fmt.Errorf("what the calls remember is not understood: %w", err)
		}
	}
	if was.Anew {
		stored = slices.DeleteFunc(slices.Clone(stored), func(st alarm.Standing) bool {
			return st.Status != alarm.OutOfService && (st.On() || st.Status == alarm.Shelved)
		})
	}
	a.off = min(max(now.Round(0).Sub(was.At.Round(0)), 0), longestOff)
	a.panel.Restore(stored, was.At, was.At.Add(a.off))
	a.desk = calls.New(plan, was.Calls)
	if kept == nil {
		a.desk.Adopt(stored)
	}
	return a, nil
}

// forgetCalls changes what the calls remember, as it lies in a backup of that time, for a start much later. Whom the daemon called since, and
// what people did since, is lost: an acknowledgement from then may be of another night's alarm. So what stands by the rules is told anew, once, and
// nothing that waited for the digest is. What a person took out of service stays so, and the days on which a digest was sent are known.
func forgetCalls(kept []byte, at time.Time) ([]byte, error) {
	var was remembered
	if err := json.Unmarshal(kept, &was); err != nil {
		was = remembered{} // of another release
	}
	if was.At.IsZero() {
		was.At = at
	}
	was.Calls = calls.State{Digest: was.Calls.Digest, AllWell: was.Calls.AllWell}
	was.Anew = true
	return json.Marshal(was)
}

// openAnnouncer goes on from what the archive holds. Where another release wrote what the calls remember, all that stands counts as told:
// what is urgent is repeated, and the watch goes on.
func openAnnouncer(a *archive.Archive, cfg *config, now time.Time, log *slog.Logger) (*announcer, error) {
	standing, err := a.Standing()
	if err != nil {
		return nil, fmt.Errorf("reading standing alarms: %w", err)
	}
	standing = slices.DeleteFunc(standing, func(st alarm.Standing) bool { return !cfg.has(st.Nest) })
	kept, err := a.Calls()
	if err != nil {
		return nil, fmt.Errorf("reading what the calls remember: %w", err)
	}
	plan := calls.Plan{}
	if cfg.Phone != nil {
		plan = cfg.Phone.Plan(cfg.location())
	}
	t, err := newAnnouncer(plan, standing, kept, now)
	if err != nil {
		log.Warn("who was called is forgotten; what stands counts as told", "err", err)
		return newAnnouncer(plan, standing, nil, now)
	}
	return t, nil
}

// heard is what one step made of what it was told.
type heard struct {
	calls    []calls.Call
	changed  bool             // what stands and what the calls remember is to be stored
	standing []alarm.Standing // all that is not normal, as it is stored
}

// step takes a poll's events and what is on by the rules after it. cut are the nests whose probes hang on dead buses alone.
func (a *announcer) step(now time.Time, events []alarm.Event, on []alarm.Standing, cut []string, deaf func(string) bool) heard {
	passed := max(now.Sub(a.at), 0)
	changes := a.panel.Pass(passed) // which has been told of the time off
	passed += a.off
	a.at, a.off = now, 0
	var noted []alarm.Event
	for _, e := range events {
		if e.State == alarm.Noted {
			noted = append(noted, e)
			continue
		}
		if c, ok := a.panel.Take(e); ok {
			changes = append(changes, c)
		}
	}
	changes = append(changes, a.panel.Stand(on, now)...)
	changes = append(changes, a.suppress(on, cut)...)
	return a.conclude(now, passed, changes, noted, on, deaf)
}

// act takes what a person did since the last step.
func (a *announcer) act(now time.Time, act alarm.Act, on []alarm.Standing, deaf func(string) bool) (heard, error) {
	changes, err := a.panel.Do(act)
	if err != nil {
		return heard{}, err
	}
	return a.conclude(now, 0, changes, nil, on, deaf), nil
}

func (a *announcer) conclude(now time.Time, passed time.Duration, changes []alarm.Change, noted []alarm.Event, on []alarm.Standing, deaf func(string) bool) heard {
	standing, quiet := a.panel.Merge(on)
	for i := range changes { // one may have undone another
		if st := alarm.Find(standing, changes[i].Nest, changes[i].Name); st.On() {
			changes[i].Status = st.Status
		}
	}
	waited := a.waiting()
	h := heard{
		calls:    a.desk.Step(calls.Now{Wall: now, Passed: passed, Unreachable: deaf}, changes, noted, standing),
		standing: append(standing, quiet...),
	}
	days := [2]string{a.desk.State().Digest, a.desk.State().AllWell}
	// Times that run are not stored poll by poll: a restart knows when they were. Nor is a visit: nobody is told of it.
	h.changed = len(changes)+len(h.calls) > 0 || waited != a.waiting() || days != a.days || a.shelved(h.standing) && now.Sub(a.saved) >= shelfEvery
	a.days = days
	return h
}

// waiting is how much has been put off for the digest.
func (a *announcer) waiting() int { return len(a.desk.State().Held) + a.desk.State().Lost }

// shelfEvery is how often the time left of a shelf is stored: a board that starts again and again, with a clock that is always behind,
// must come to its end. Ours, no source.
const shelfEvery = 10 * time.Minute

func (a *announcer) shelved(all []alarm.Standing) bool {
	return slices.ContainsFunc(all, func(st alarm.Standing) bool { return st.Status == alarm.Shelved })
}

// suppress lets one alarm stand for others: a dead bus for the silence of its nests, heat for the heat that was expected.
func (a *announcer) suppress(on []alarm.Standing, cut []string) (changes []alarm.Change) {
	put := func(nest string, name, because alarm.Name) {
		if c, ok := a.panel.Suppress(nest, name, because); ok {
			changes = append(changes, c)
		}
	}
	covered := map[string]bool{}
	for _, nest := range cut {
		if alarm.Find(on, nest, alarm.ProbeSilent).Severity < alarm.Urgent { // what is urgent is told for itself
			covered[nest] = true
			put(nest, alarm.ProbeSilent, alarm.BusFault)
		}
	}
	_, quiet := a.panel.Merge(on)
	for _, st := range append(quiet, on...) {
		switch {
		case st.Name == alarm.ProbeSilent && !covered[st.Nest]:
			put(st.Nest, st.Name, "")
		case st.Name == alarm.HeatExpected && st.On() && alarm.Find(on, st.Nest, alarm.NestHeat).Severity > st.Severity:
			put(st.Nest, st.Name, alarm.NestHeat) // what was expected is here
		case st.Name == alarm.HeatExpected:
			put(st.Nest, st.Name, "")
		}
	}
	return changes
}

// idle reports whether one of the site's alarms is out of service.
func (a *announcer) idle(name alarm.Name) bool {
	_, all := a.panel.Merge(nil)
	return slices.ContainsFunc(all, func(st alarm.Standing) bool {
		return st.Nest == "" && (st.Name == name || st.Name == "") && st.Status == alarm.OutOfService
	})
}

// kept is what the archive is to remember of the calls.
func (a *announcer) kept() []byte {
	b, err := json.Marshal(remembered{At: a.at.Round(0), Calls: a.desk.State()})
	if err != nil {
		return nil // numbers and texts alone; it cannot happen
	}
	return b
}

// show completes a snapshot of the rabbitry with the statuses.
func (a *announcer) show(s thresholds.Snapshot) thresholds.Snapshot {
	s.Alarms, s.Quiet = a.panel.Merge(s.Alarms)
	return s
}

// record puts what a step led to into what is stored of it.
func (a *announcer) record(c *exporter.Commit, h heard, messages []exporter.Message) {
	c.Messages, c.Standing, c.StandingChanged = messages, h.standing, c.StandingChanged || h.changed
	if !h.changed {
		return
	}
	c.Calls, a.saved = a.kept(), a.at
	c.Answered = !slices.ContainsFunc(h.standing, func(st alarm.Standing) bool {
		return st.On() && st.Status.Calls() && st.Severity == alarm.Urgent
	})
}
