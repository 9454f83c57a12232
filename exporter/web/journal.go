package web

import (
	"cmp"
	"net/http"
	"slices"
	"time"

	"nestmon/thresholds"
	"nestmon/thresholds/alarm"
)

// Bounds of the journal, ours, no source.
const (
	defaultEntries = 100
	maxEntries     = 500
	journalRows    = 1000 // events, and acts, that are read at once
	journalReads   = 10   // of them for one answer; where a filter lets little through, the page asks for more
	finestPast     = time.Millisecond
)

// ActsFunc returns the newest things people did in [from, to), at most limit of them, in time order.
type ActsFunc func(from, to time.Time, limit int) ([]alarm.Act, error)

// The kinds of an entry, as the journal is asked for them.
const (
	kindAlarm = "alarm" // what is wrong
	kindChore = "chore" // what is to be done
	kindNoted = "noted" // what happened and has no duration
	kindAct   = "act"   // what people did
)

var kinds = []string{kindAlarm, kindChore, kindNoted, kindAct}

// siteOnly asks for what concerns no single nest; no nest can be called so.
const siteOnly = "-"

type journalView struct {
	From    time.Time   `json:"from"`
	To      time.Time   `json:"to"`
	Entries []entryView `json:"entries"`
	Earlier *time.Time  `json:"earlier"` // ask on with it as to; null where the span is done
}

// entryView is a change of an alarm, or what somebody did.
type entryView struct {
	Kind     string          `json:"kind"`
	Time     time.Time       `json:"time"`
	Nest     *string         `json:"nest"`
	Event    alarm.Name      `json:"event"` // empty for every alarm of the nest
	State    *alarm.State    `json:"state"`
	Severity *alarm.Severity `json:"severity"`
	Since    *time.Time      `json:"since"`
	Value    *float64        `json:"value"`
	Limit    *float64        `json:"limit"`
	Unit     *string         `json:"unit"`
	Probe    *string         `json:"probe"`
	Text     *string         `json:"text"`
	Rule     *string         `json:"rule"`
	Source   *string         `json:"source"`
	Action   *alarm.Action   `json:"action"`
	By       *string         `json:"by"`
	For      *float64        `json:"for_s"`
	Limits   []LimitStepTo   `json:"limits,omitempty"` // that somebody changed, as long as the Tuner knows
}

func eventEntry(e alarm.Event) entryView {
	v := entryView{
		Kind: kindAlarm, Time: e.Time, Nest: text(e.Nest), Event: e.Name, State: &e.State, Severity: &e.Severity, Since: instant(e.Since),
		Value: number(e.Value, e.HasValue), Limit: number(e.Limit, e.HasLimit), Unit: text(e.Unit), Probe: text(e.Probe),
		Text: text(e.Text), Rule: text(e.Rule), Source: text(e.Source),
	}
	switch {
	case e.State == alarm.Noted:
		v.Kind = kindNoted
	case e.Name.Chore():
		v.Kind = kindChore
	}
	return v
}

func actEntry(a alarm.Act) entryView {
	return entryView{Kind: kindAct, Time: a.At, Nest: text(a.Nest), Event: a.Event, Action: &a.Action, Text: text(a.What), By: text(a.By), For: number(a.For.Seconds(), a.For > 0)}
}

// serveJournal lists what was raised and what people did about it, as one.
func (s *Server) serveJournal(w http.ResponseWriter, r *http.Request) {
	q := s.parseQuery(r, "from", "to", "max", "nest", "kind")
	from, to := q.span()
	most := q.count("max", defaultEntries, maxEntries)
	nest, kind := q.values.Get("nest"), q.values.Get("kind")
	if kind != "" && !slices.Contains(kinds, kind) {
		q.fail("there is no kind %q; write one of: alarm, chore, noted, act", clip(kind))
	}
	if f, _ := s.newest(); nest != "" && nest != siteOnly && f != nil &&
		!slices.ContainsFunc(f.state.Snapshot.Nests, func(n thresholds.NestState) bool { return n.ID == nest }) {
		q.fail("there is no nest %q; write one of the state's, or %s for the site's own", clip(nest), siteOnly)
	}
	if q.refused(w) || !s.readSlot(w, r) {
		return
	}
	entries, earlier, err := s.journal(from, to, most, func(e *entryView) bool {
		here := nest == "" || e.Nest == nil && nest == siteOnly || e.Nest != nil && *e.Nest == nest
		return here && (kind == "" || e.Kind == kind)
	})
	<-s.reads
	if err != nil {
		s.unreadable(w, err)
		return
	}
	s.tellLimits(entries)
	s.answerJSON(w, journalView{from, to, entries, instant(earlier)})
}

// tellLimits says what was changed where limits were.
func (s *Server) tellLimits(all []entryView) {
	var changes []LimitChange
	for i := range all {
		e := &all[i]
		if s.Options.Tuner == nil || e.Action == nil || *e.Action != alarm.SetLimits {
			continue
		}
		if changes == nil {
			changes = s.Options.Tuner.Settings().Changes
		}
		if n := slices.IndexFunc(changes, func(c LimitChange) bool { return c.At.Equal(e.Time) }); n >= 0 {
			e.Limits = changes[n].Items
		}
	}
}

// journal collects the newest entries of a span that are wanted, at least so many where there are, in time order. earlier is where to go on, zero
// where the span is done. Entries of one instant come together, so that nothing is lost between two answers and nothing comes twice.
func (s *Server) journal(from, to time.Time, most int, wanted func(*entryView) bool) (all []entryView, earlier time.Time, err error) {
	all = []entryView{}
	for range journalReads {
		rows, whole, err := s.journalRows(from, to)
		if err != nil {
			return nil, earlier, err
		}
		if earlier = (time.Time{}); !whole {
			rows, earlier = fromNextInstant(rows)
			to = earlier
		}
		all = append(slices.DeleteFunc(rows, func(e entryView) bool { return !wanted(&e) }), all...)
		if cut := len(all) - most; cut >= 0 {
			for cut > 0 && all[cut-1].at().Equal(all[cut].at()) {
				cut--
			}
			if cut > 0 {
				earlier = all[cut].at()
			}
			return all[cut:], earlier, nil
		}
		if whole {
			break
		}
	}
	return all, earlier, nil
}

// at is when an entry happened, as finely as the past is asked for.
func (e *entryView) at() time.Time { return e.Time.Truncate(finestPast) }

// fromNextInstant leaves out the entries of the oldest instant, of which some may be missing, and returns until when the rest is still to be
// read. Where all are of one instant they are kept: there are more of them than are read at once.
func fromNextInstant(all []entryView) (rest []entryView, until time.Time) {
	oldest := all[0].at()
	i := slices.IndexFunc(all, func(e entryView) bool { return !e.at().Equal(oldest) })
	if i < 0 {
		return all, oldest
	}
	return all[i:], oldest.Add(finestPast)
}

// journalRows reads the newest entries of a span; whole is false where there are older ones.
func (s *Server) journalRows(from, to time.Time) (all []entryView, whole bool, err error) {
	events, err := s.history.Events(from, to, journalRows)
	if err != nil {
		return nil, false, err
	}
	var acts []alarm.Act
	if s.history.Acts != nil {
		if acts, err = s.history.Acts(from, to, journalRows); err != nil {
			return nil, false, err
		}
	}
	begin := from
	if len(events) == journalRows {
		begin = events[0].Time
	}
	if len(acts) == journalRows && acts[0].At.After(begin) {
		begin = acts[0].At
	}
	for _, e := range events {
		all = append(all, eventEntry(e))
	}
	for _, a := range acts {
		all = append(all, actEntry(a))
	}
	if begin.After(from) { // what is older of the one is missing of the other
		all = slices.DeleteFunc(all, func(e entryView) bool { return e.Time.Before(begin) })
	}
	slices.SortStableFunc(all, func(a, b entryView) int { return cmp.Compare(a.Time.UnixNano(), b.Time.UnixNano()) })
	return all, !begin.After(from), nil
}
