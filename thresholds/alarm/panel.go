package alarm

import (
	"cmp"
	"fmt"
	"slices"
	"time"
)

// Panel keeps the status of every alarm that is not normal. It is fed with events, with the passing time and with what people do, and
// answers with changes. The zero Panel is ready; it is not safe for concurrent use.
type Panel struct {
	Latch   []Name // alarms that stay after their end until somebody has looked, also when they had been acknowledged
	entries map[place]*entry
}

// place is where an alarm stands. An empty name is every alarm of the nest.
type place struct {
	nest string
	name Name
}

type entry struct {
	Standing
	left   time.Duration // of the shelf
	covers Severity      // what the shelf is for; a higher one ends it
}

// Change is one step of an alarm on the panel.
type Change struct {
	Standing // after it
	Did      Action
	From     Status
}

// How long an alarm can be shelved: rule of the house, ours, no source. OPC 10000-9 calls it MaxTimeShelved and leaves it open.
const (
	LongestShelf       = 8 * time.Hour
	LongestDangerShelf = time.Hour // of what can kill kits within hours, and of a whole nest
)

// dangers are the alarms that are shelved for an hour at most, whatever their severity: it may rise meanwhile.
var dangers = map[Name]bool{
	NestHeat: true, ClusterHeat: true, HeatExpected: true, ClusterChill: true, NestCold: true, DoeHeat: true, "": true,
}

// MaxShelf is the longest an alarm can be shelved; an empty name is a whole nest.
func MaxShelf(name Name) time.Duration {
	if dangers[name] {
		return LongestDangerShelf
	}
	return LongestShelf
}

// Take notes an event and returns the change, ok false where it changes nothing. What has no duration does not stand.
func (p *Panel) Take(e Event) (c Change, ok bool) {
	at := place{e.Nest, e.Name}
	switch e.State {
	case Raised:
		en := p.entry(at)
		if !en.On() {
			en.First = !p.another(at)
		}
		en.Event, en.Over, en.Acknowledged, en.Latched = e, time.Time{}, time.Time{}, false
		if en.Status == Shelved && en.covers != None && e.Severity > en.covers {
			p.apply(at, en, Unshelve, "") //nolint:errcheck // it is shelved
		}
		c, err := p.apply(at, en, Raise, "")
		return c, err == nil
	case Cleared:
		en, known := p.entries[at]
		if !known || !en.On() {
			return c, false
		}
		en.Over = e.Time
		if !en.important() {
			en.Acknowledged = e.Time
		}
		en.Latched = en.important() && !en.Acknowledged.IsZero() && slices.Contains(p.Latch, e.Name)
		c, err := p.apply(at, en, Clear, "")
		c.Event = e // what is told of the end are its value and its words
		return c, err == nil
	}
	return c, false
}

// important reports whether the end of an alarm waits for a person who has seen it. Notices and chores end by themselves.
func (en *entry) important() bool { return en.Severity >= Warning && !en.Name.Chore() }

// Stand makes the panel agree with what is on by the rules: after a restart, and for whatever changed without an event.
func (p *Panel) Stand(on []Standing, now time.Time) (all []Change) {
	for at, en := range p.entries {
		if en.On() && Find(on, at.nest, at.name).Severity == None {
			e := en.Event
			e.Time, e.State = now, Cleared
			if c, ok := p.Take(e); ok {
				all = append(all, c)
			}
		}
	}
	for _, st := range on {
		if en, ok := p.entries[place{st.Nest, st.Name}]; !ok || !en.On() {
			e := st.Event
			e.State = Raised
			if c, ok := p.Take(e); ok {
				all = append(all, c)
			}
		}
	}
	sortChanges(all)
	return all
}

// Pass lets time pass. Shelves end by it, not by the wall clock, which may leap.
func (p *Panel) Pass(d time.Duration) (all []Change) {
	for at, en := range p.entries {
		if en.Status != Shelved {
			continue
		}
		if en.left -= d; en.left > 0 {
			continue
		}
		if c, err := p.apply(at, en, Unshelve, ""); err == nil {
			all = append(all, c)
		}
	}
	sortChanges(all)
	return all
}

// Suppress says that another alarm stands for this one, or with an empty because that none does any more. It keeps no urgent alarm from
// anybody: a rule that becomes urgent is told for itself.
func (p *Panel) Suppress(nest string, name, because Name) (c Change, ok bool) {
	at := place{nest, name}
	en, known := p.entries[at]
	switch {
	case because == "" && (!known || en.Status != Suppressed):
		return c, false
	case because == "":
		en.Because = ""
		c, err := p.apply(at, en, Unsuppress, "")
		return c, err == nil
	case known && (en.Status == Suppressed || en.Status == Shelved || en.Status == OutOfService):
		return c, false
	}
	en = p.entry(at)
	en.Because = because
	c, err := p.apply(at, en, Suppress, "")
	return c, err == nil
}

// Do notes what a person did and returns what changed by it. An error says why nothing did, and what to do instead.
func (p *Panel) Do(a Act) ([]Change, error) {
	if !slices.Contains(Actions, a.Action) {
		return nil, fmt.Errorf("%q is nothing that can be done about an alarm; write one of: %s", a.Action, list(Actions))
	}
	if a.Event != "" && !slices.Contains(Names, a.Event) {
		return nil, fmt.Errorf("there is no event %q; write one such as %s, as the list of alarms names it", a.Event, NestHeat)
	}
	if longest := MaxShelf(a.Event); a.Action == Shelve && (a.For < 0 || a.For > longest) {
		return nil, fmt.Errorf("%s can be shelved for %s at most; write a shorter time, and shelve it again when that is over", whole(a.Event), longest)
	}
	if a.For == 0 {
		a.For = MaxShelf(a.Event)
	}
	var all []Change
	for _, at := range p.meant(a) {
		c, err := p.one(at, a)
		if err != nil {
			return nil, err // of one alarm alone: of all those of a nest the ones that can are meant
		}
		all = append(all, c)
	}
	if len(all) == 0 {
		return nil, fmt.Errorf("no alarm of %s can take %q now; 'nestmon alarms list' shows what stands", where(a.Nest), a.Action)
	}
	sortChanges(all)
	return all, nil
}

// meant lists the places an act is about.
func (p *Panel) meant(a Act) (all []place) {
	if a.Event != "" {
		return []place{{a.Nest, a.Event}}
	}
	for at, en := range p.entries {
		if at.nest == a.Nest && at.name != "" && next[en.Status][a.Action] != nil {
			all = append(all, at)
		}
	}
	switch en := p.entries[place{a.Nest, ""}]; {
	case a.Action == Shelve, a.Action == TakeOut: // also for what will be raised
		all = append(all, place{a.Nest, ""})
	case en != nil && next[en.Status][a.Action] != nil:
		all = append(all, place{a.Nest, ""})
	}
	return all
}

func (p *Panel) one(at place, a Act) (Change, error) {
	en, known := p.entries[at]
	if !known {
		if next[Normal][a.Action] == nil {
			return Change{}, fmt.Errorf("no alarm %s stands for %s; %s", at.name, where(at.nest), remedies[a.Action])
		}
		en = p.entry(at)
	}
	if a.Action == Acknowledge && !a.Since.IsZero() {
		switch {
		case !en.Since.Equal(a.Since):
			return Change{}, fmt.Errorf("that alarm of %s is over; look at what stands now", where(at.nest))
		case a.Worst != None && en.Severity > a.Worst:
			return Change{}, fmt.Errorf("it has grown worse since: %s of %s is %s now; look, then acknowledge that", at.name, where(at.nest), en.Severity)
		}
	}
	if a.Action == Acknowledge && en.Acknowledged.IsZero() {
		en.Acknowledged = a.At
	}
	switch a.Action {
	case Acknowledge:
		en.Latched = false
	case Shelve:
		en.left, en.Until, en.covers = a.For, a.At.Add(a.For), None
		if en.On() {
			en.covers = en.Severity
		}
	}
	return p.apply(at, en, a.Action, a.By)
}

func (p *Panel) apply(at place, en *entry, a Action, by string) (Change, error) {
	from := en.Status
	to, err := from.after(a, life{
		on: en.On(), owed: en.Severity != None && (en.Acknowledged.IsZero() || en.Latched), latch: en.Latched || en.Acknowledged.IsZero(),
	})
	if err != nil {
		return Change{}, err
	}
	if to == Normal || to == Unacknowledged || to == Acknowledged {
		if whole := p.entries[place{at.nest, ""}]; whole != nil && at.name != "" && a == Raise {
			to, en.left, en.Until = whole.Status, whole.left, whole.Until
		}
	}
	if en.Status = to; by != "" || a == Raise {
		en.By = by
	}
	if to != Shelved {
		en.left, en.Until, en.covers = 0, time.Time{}, None
	}
	if to == Normal {
		delete(p.entries, at)
	}
	return Change{en.Standing, a, from}, nil
}

// entry returns the place's entry, a new one where there is none.
func (p *Panel) entry(at place) *entry {
	en, ok := p.entries[at]
	if !ok {
		if p.entries == nil {
			p.entries = map[place]*entry{}
		}
		en = &entry{Standing: Standing{Event: Event{Nest: at.nest, Name: at.name}, Status: Normal}}
		p.entries[at] = en
	}
	return en
}

// another reports whether another alarm of the nest stands.
func (p *Panel) another(at place) bool {
	for other, en := range p.entries {
		if other.nest == at.nest && other != at && en.On() && !other.name.Chore() && en.Status != Suppressed {
			return true
		}
	}
	return false
}

// Merge gives what is on by the rules its status, and appends what is not on and not normal either.
func (p *Panel) Merge(on []Standing) (standing, quiet []Standing) {
	for _, st := range on {
		if en, ok := p.entries[place{st.Nest, st.Name}]; ok {
			with := en.Standing
			with.Event = st.Event
			st = with
		}
		standing = append(standing, st)
	}
	for at, en := range p.entries {
		if Find(on, at.nest, at.name).Severity == None {
			quiet = append(quiet, en.Standing)
		}
	}
	slices.SortFunc(quiet, compare)
	return standing, quiet
}

// Restore puts back what was stored. now and kept are the wall clock at the start and when it was stored: shelves have run on meanwhile,
// as far as a clock that may have been set can tell.
func (p *Panel) Restore(stored []Standing, kept, now time.Time) {
	p.entries = map[place]*entry{}
	off := max(now.Round(0).Sub(kept.Round(0)), 0)
	for _, st := range stored {
		if st.Status == "" || st.Status == Normal {
			st.Status = Unacknowledged
			if !st.Acknowledged.IsZero() {
				st.Status = Acknowledged
			}
		}
		en := &entry{Standing: st}
		if st.Status == Shelved {
			en.left = max(min(st.Until.Sub(kept), MaxShelf(st.Name))-off, 0)
			if en.On() {
				en.covers = st.Severity
			}
		}
		p.entries[place{st.Nest, st.Name}] = en
	}
}

func sortChanges(all []Change) {
	slices.SortFunc(all, func(a, b Change) int { return compare(a.Standing, b.Standing) })
}

func compare(a, b Standing) int {
	return cmp.Or(int(b.Severity)-int(a.Severity), slices.Index(Names, a.Name)-slices.Index(Names, b.Name), cmp.Compare(a.Nest, b.Nest))
}

func list(all []Action) (s string) {
	for i, a := range all {
		if i > 0 {
			s += ", "
		}
		s += string(a)
	}
	return s
}

func whole(name Name) string {
	if name == "" {
		return "a whole nest"
	}
	return string(name)
}

func where(nest string) string {
	if nest == "" {
		return "the site"
	}
	return "nest " + nest
}
