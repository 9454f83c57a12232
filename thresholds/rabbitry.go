package thresholds

import (
	"fmt"
	"time"

	"nestmon/sensors"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
	"nestmon/thresholds/litter"
	"nestmon/thresholds/nest"
)

// Rabbitry is every nest and the weather round them. It is not safe for concurrent use.
type Rabbitry struct {
	cfg      Config
	channels *nest.Channels
	site     *nest.Site
	nests    []*nest.Watch
	faults   [len(faultNames)]fault
	book     []litter.Litter
	turnover time.Time // when the next litter of the book begins, zero when none does

	now     nest.Now
	last    time.Time
	started bool
	resumed bool // a state was loaded, and no poll has come since
	events  []alarm.Event
}

// longestGap is the longest time without a poll that is bridged minute by minute: a day and the retries of a night. After a
// longer one the detectors begin anew; ours, no source.
const longestGap = 30 * time.Hour

// missedPolls is how many intervals may lie between the polls before and after a restart without anything being made of it: one poll
// comes late, as it may while the daemon runs; ours, no source.
const missedPolls = 2

// New makes a rabbitry. Its configuration has been validated by the caller; a nest that names an unknown probe is an error.
func New(cfg Config) (*Rabbitry, error) {
	if cfg.Location == nil {
		cfg.Location = time.UTC
	}
	if cfg.Days.IsZero() {
		cfg.Days = litter.DefaultDays()
	}
	known := map[string]bool{"": true}
	for _, p := range cfg.Probes {
		known[p.ID] = true
	}
	r := &Rabbitry{cfg: cfg, channels: nest.NewChannels(cfg.Probes)}
	if !known[cfg.Outside] {
		return nil, fmt.Errorf("outside: no probe %q", cfg.Outside)
	}
	if !known[cfg.Battery] {
		return nil, fmt.Errorf("battery: no probe %q", cfg.Battery)
	}
	r.site = nest.NewSite(cfg.Outside, cfg.Location, &r.cfg.Days, r.channels)
	r.site.Power(cfg.Battery, cfg.LowVolts, r.channels)
	for _, n := range cfg.Nests {
		if len(n.Cluster) > nest.MostClusterProbes {
			return nil, fmt.Errorf("nest %q: %d cluster probes; name %d at most", n.ID, len(n.Cluster), nest.MostClusterProbes)
		}
		for _, id := range append([]string{n.Air, n.CO2, n.Cage}, n.Cluster...) {
			if !known[id] {
				return nil, fmt.Errorf("nest %q: no probe %q", n.ID, id)
			}
		}
		r.nests = append(r.nests, nest.New(n, cfg.Location, &r.cfg.Limits, r.channels, r.site))
	}
	return r, nil
}

// Observe takes the readings of one poll, none if there were none, and returns what changed since the last call, in order of time.
// The slice is used again by the next call.
func (r *Rabbitry) Observe(t time.Time, readings []sensors.Reading) []alarm.Event {
	r.events = r.events[:0]
	first := !r.started
	r.advance(t)
	r.now.Wall = t.In(r.cfg.Location)
	if first {
		r.chooseLitters(t)
	}
	for _, reading := range readings {
		r.channels.Take(&r.now, reading)
	}
	return r.events
}

// advance runs the minutes up to t on what is known before t's own readings. The time since the last poll is taken from
// the monotonic clock where both times carry one, so a wall clock that is set moves no delay.
func (r *Rabbitry) advance(t time.Time) {
	if !r.started {
		r.started, r.last = true, t
		r.now.Mono = time.Duration(t.Second())*time.Second + time.Duration(t.Nanosecond())
		return
	}
	elapsed := t.Sub(r.last)
	if t.Round(0).Before(r.last.Round(0)) {
		r.putBack(t)
	}
	r.last = t
	if r.resumed {
		r.resumed = false
		if elapsed > missedPolls*r.cfg.Poll {
			r.channels.Resume(&r.now, elapsed)
		}
	}
	if elapsed < 0 || elapsed > longestGap {
		r.gap(t, elapsed)
		return
	}
	end := r.now.Mono + elapsed
	for next := r.now.Mono.Truncate(time.Minute) + time.Minute; next <= end; next += time.Minute {
		r.now.Mono = next
		r.now.Wall = t.Add(next - end).In(r.cfg.Location)
		r.step()
	}
	r.now.Mono = end
}

// gap takes a step over time that cannot be bridged: a clock set without a monotonic one to tell, or a long silence.
func (r *Rabbitry) gap(t time.Time, elapsed time.Duration) {
	if elapsed < 0 {
		elapsed = r.cfg.Poll
	}
	r.now.Mono = (r.now.Mono + elapsed).Truncate(time.Minute) + time.Minute
	r.now.Wall = t.In(r.cfg.Location)
	for _, w := range r.nests {
		w.Forget()
	}
	r.step()
}

// putBack takes a wall clock that was put back.
func (r *Rabbitry) putBack(t time.Time) {
	r.chooseLitters(t)
	r.site.PutBack(t)
	for _, w := range r.nests {
		w.PutBack(t)
	}
}

func (r *Rabbitry) step() {
	if !r.turnover.IsZero() && !r.now.Wall.Before(r.turnover) {
		r.chooseLitters(r.now.Wall)
	}
	r.events = r.site.Step(&r.now, r.events)
	for _, w := range r.nests {
		r.events = w.Step(&r.now, r.events)
	}
	r.events = r.stepFaults(r.events)
}

// SetLimits puts other limits in force, at once and without forgetting anything: alarms are judged by them from the next minute on.
func (r *Rabbitry) SetLimits(t brood.Tables) {
	r.cfg.Limits = t // which every watch points to
	for _, w := range r.nests {
		w.Relimit(&r.now)
	}
}

// Season is the season by the weather that was seen, empty while there was too little.
func (r *Rabbitry) Season() brood.Season { return r.site.Decided() }

// Done records that a chore was done, also some time ago; the same again changes nothing. nestID is empty for the site's own chores.
func (r *Rabbitry) Done(nestID string, name alarm.Name, at time.Time) error {
	w, err := r.choreOf(nestID, name)
	if err != nil {
		return err
	}
	if w != nil {
		defer r.look(w)
		return w.Done(&r.now, name, at)
	}
	if r.site.Done(name, at) && name == alarm.SeasonSetupDue {
		for _, w := range r.nests {
			w.MadeUp(&r.now, at)
		}
	}
	return nil
}

// MayDo says why Done would refuse a mark.
func (r *Rabbitry) MayDo(nestID string, name alarm.Name, at time.Time) error {
	w, err := r.choreOf(nestID, name)
	if err != nil || w == nil {
		return err
	}
	return w.MayDo(name, at)
}

// Undone strikes what Done recorded: what was done before counts again. A mark that is not known changes nothing.
func (r *Rabbitry) Undone(nestID string, name alarm.Name, at time.Time) error {
	w, err := r.choreOf(nestID, name)
	switch {
	case err != nil:
		return err
	case w == nil:
		r.site.Undone(name, at)
	default:
		w.Undone(name, at)
		r.look(w)
	}
	return nil
}

// look has a nest see at once what was entered.
func (r *Rabbitry) look(w *nest.Watch) {
	if r.started {
		w.Look(&r.now)
	}
}

// choreOf is the nest that a chore is about, nil for the whole site.
func (r *Rabbitry) choreOf(nestID string, name alarm.Name) (*nest.Watch, error) {
	if !name.Chore() {
		return nil, fmt.Errorf("%q is not a chore; write one such as %s", name, alarm.BeddingDue)
	}
	if nestID != "" {
		if w, err := r.nest(nestID); err != nil || w.Has(name) {
			return w, err
		}
		return nil, fmt.Errorf("%s is the whole site's, not a nest's; leave the nest out", name)
	}
	if !r.site.Has(name) {
		return nil, fmt.Errorf("%s is a nest's; name the nest", name)
	}
	return nil, nil
}

func (r *Rabbitry) nest(id string) (*nest.Watch, error) {
	for _, w := range r.nests {
		if w.Config().ID == id {
			return w, nil
		}
	}
	return nil, fmt.Errorf("there is no nest %q; write one of the configuration's", id)
}

// Restore puts back what stood when the state was stored, and lets every probe be silent only from when it is asked again. Call it
// after the archive's readings have been observed again.
func (r *Rabbitry) Restore(stored []alarm.Standing) {
	r.channels.Restart()
	r.site.Restore(stored)
	for _, w := range r.nests {
		w.Restore(stored)
	}
	r.restoreFaults(stored)
}

// Weather takes the whole days before today of the air outside, oldest first. Call it after the archive's readings have been observed
// again: they are too few for the season, or to know whether heat is new to the does.
func (r *Rabbitry) Weather(past []nest.Day) {
	if len(past) > 0 {
		r.site.Weather(past)
	}
}

// Recall takes events of the past, oldest first, so that a restart forgets no kindling, visit or inspection. Call it when the litter
// book was set, with the kindlings before the archive's readings are observed again and with the others after them.
func (r *Rabbitry) Recall(past []alarm.Event) {
	for _, e := range past {
		if w, err := r.nest(e.Nest); err == nil {
			w.Recall(&r.now, e)
		}
	}
}
