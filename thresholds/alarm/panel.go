package alarm

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"time"
)

// Panel keeps the status of every alarm that is not normal. It is fed with events, with the passing time and with what people do, and
// answers with changes. The zero Panel is ready; it is not safe for concurrent use.
//
// Of each poll: Take its events, Stand, Suppress what another alarm stands for, and Pass; then call people for the changes. It does not
// know which nests there are: who lets people act checks that.
type Panel struct {
	Latch []Name // alarms that stay after their end until somebody has looked, also when they had been acknowledged

	stands map[place]Standing
}

// place is where an alarm stands. An empty name is every alarm of the nest, those that come included.
type place struct {
	nest string
	name Name
}

// Change is one step of an alarm on the panel.
type Change struct {
	Standing // after it
	Did      Action
	From     Status
}

// How long an alarm can be shelved: rule of the house, ours, no source. OPC 10000-9 calls it MaxTimeShelved (5.8.2) and leaves it open.
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
	st := p.at(place{e.Nest, e.Name})
	var err error
	switch {
	case e.Name == "":
		return c, false
	case e.State == Raised && e.Severity != None:
		c, err = p.raise(st, e)
	case e.State == Cleared && st.On():
		st.Over = e.Time
		st.Latched = !st.Acknowledged.IsZero() && st.Worst >= Warning && slices.Contains(p.Latch, e.Name)
		c, err = st.after(Clear, "")
	default:
		return c, false
	}
	if err != nil {
		return c, false
	}
	p.put(c.Standing)
	if e.State == Cleared {
		c.Event = e // what is told of the end are its value and its words
	}
	return c, true
}

// raise returns the step of an alarm that begins or grows worse: what was acknowledged, and a shelf for something lesser, no longer count.
func (p *Panel) raise(st Standing, e Event) (Change, error) {
	from := st.Status
	if !st.On() {
		st.First = from != Suppressed && !p.another(e)
	}
	if !st.owed() {
		st.Worst = None
	}
	st.Event, st.Over, st.Acknowledged, st.Latched = e, time.Time{}, time.Time{}, false
	st.Worst = max(st.Worst, e.Severity)
	var ends Action
	switch {
	case from == Shelved && st.Covers != None && e.Severity > st.Covers:
		ends = Unshelve
	case from == Suppressed && e.Severity == Urgent:
		ends = Unsuppress
	}
	if ends != "" {
		c, err := st.after(ends, "")
		if err != nil {
			return c, err
		}
		st = c.Standing
	}
	c, err := st.after(Raise, "")
	c.From = from
	if whole, ok := p.stands[place{e.Nest, ""}]; ok && from == Normal {
		c.Status, c.By, c.Left, c.Until = whole.Status, whole.By, whole.Left, whole.Until
	}
	return c, err
}

// oneRaise is how far apart two tellings of one minute may lie: a minute that ran by the monotonic clock, and the same one judged again
// from the archive by the wall clock, differ by nanoseconds at least. Half the step of the decisions; ours, no source.
const oneRaise = 30 * time.Second

// Stand makes the panel agree with what is on by the rules: after a restart, and for what changes without an event, such as a severity
// that falls, the words and the value.
func (p *Panel) Stand(on []Standing, now time.Time) (all []Change) {
	take := func(e Event) {
		if c, ok := p.Take(e); ok {
			all = append(all, c)
		}
	}
	for at, st := range p.stands {
		if st.On() && !Find(on, at.nest, at.name).On() {
			e := st.Event
			e.Time, e.State, e.Text = now, Cleared, over(at.nest, at.name)
			take(e)
		}
	}
	for _, is := range on {
		e := is.Event
		e.State = Raised
		st := p.at(place{e.Nest, e.Name})
		if !st.On() || e.Severity > st.Severity || e.Time.After(st.Time.Add(oneRaise)) {
			take(e)
			continue
		}
		st.Event = e
		p.put(st)
	}
	sortChanges(all)
	return all
}

// Pass lets time pass. Shelves end by it, not by the wall clock, which may leap: store what Merge returns now and then while one lasts,
// so that a restart knows how much of it is left.
func (p *Panel) Pass(d time.Duration) (all []Change) {
	for _, st := range p.stands {
		if st.Status != Shelved {
			continue
		}
		if st.Left -= max(d, 0); st.Left > 0 {
			p.put(st)
			continue
		}
		if c, err := st.after(Unshelve, ""); err == nil {
			p.put(c.Standing)
			all = append(all, c)
		}
	}
	sortChanges(all)
	return all
}

// Suppress says that another alarm stands for this one, or with an empty because that none does any more. It keeps no urgent alarm from
// anybody: what is urgent, or becomes so, is told for itself. Nor does it touch what a person has shelved or taken out of service.
func (p *Panel) Suppress(nest string, name, because Name) (c Change, ok bool) {
	st, a := p.at(place{nest, name}), Suppress
	_, hidden := p.stands[place{nest, ""}]
	switch {
	case because == "" && st.Status != Suppressed, name == "":
		return c, false
	case because == "":
		a = Unsuppress
	case st.Status == Suppressed:
		st.Because = because
		p.put(st)
		return c, false
	case st.Severity == Urgent, st.Status == Normal && hidden:
		return c, false
	}
	st.Because = because
	c, err := st.after(a, "")
	if err != nil {
		return c, false
	}
	p.put(c.Standing)
	return c, true
}

// Do notes what a person did and returns what changed by it, the most severe first. An error says why nothing did, and what to do instead.
// Of a whole nest those alarms are meant that can take the action; shelving it or taking it out of service holds for what comes as well.
func (p *Panel) Do(a Act) ([]Change, error) {
	longest := MaxShelf(a.Event)
	switch {
	case !slices.Contains(Actions, a.Action):
		return nil, fmt.Errorf("%q is nothing that can be done about an alarm; write one of: %s", a.Action, list(Actions))
	case a.Event != "" && !slices.Contains(Names, a.Event):
		return nil, fmt.Errorf("there is no event %q; write one such as %s, as the list of alarms names it", a.Event, NestHeat)
	case a.Event == "" && !a.Since.IsZero():
		return nil, fmt.Errorf("an occurrence of %s is meant, but not of which alarm; name the event too", where(a.Nest))
	case a.At.IsZero():
		return nil, fmt.Errorf("%q has no time; say when it was done", a.Action)
	case a.Action == Shelve && (a.For < 0 || a.For > longest):
		return nil, fmt.Errorf("%s can be shelved for %g h at most; write a time up to that, and shelve it again when it is over", whole(a.Event), longest.Hours())
	}
	a.For = cmp.Or(a.For, longest)
	var all []Change
	for _, at := range p.meant(a) {
		c, err := p.one(at, a)
		if err != nil {
			return nil, err
		}
		all = append(all, c)
	}
	if len(all) == 0 {
		return nil, fmt.Errorf("no alarm of %s can take %q now; look at what stands", where(a.Nest), a.Action)
	}
	for _, c := range all {
		p.put(c.Standing)
	}
	sortChanges(all)
	return all, nil
}

// meant lists the places an act is about.
func (p *Panel) meant(a Act) (all []place) {
	whole := place{a.Nest, ""}
	if a.Event != "" {
		return []place{{a.Nest, a.Event}}
	}
	for at, st := range p.stands {
		longer := a.Action == Shelve && st.Status == Shelved && st.Left > a.For // it would end sooner
		if at.nest == a.Nest && at != whole && next[st.Status][a.Action] != nil && !longer {
			all = append(all, at)
		}
	}
	slices.SortFunc(all, func(a, b place) int { return cmp.Compare(a.name, b.name) })
	if next[p.at(whole).Status][a.Action] != nil {
		all = append(all, whole)
	}
	return all
}

// one returns the step that an act makes at one place, and changes nothing yet.
func (p *Panel) one(at place, a Act) (Change, error) {
	st, by := p.at(at), a.By
	switch a.Action {
	case Acknowledge:
		if err := st.still(a); err != nil {
			return Change{}, err
		}
		if st.Status == Acknowledged {
			by = st.By // who was first
		}
		if st.Acknowledged.IsZero() || st.Latched {
			st.Acknowledged, st.Latched = a.At, false
		}
	case Shelve:
		st.Left, st.Until, st.Covers = a.For, a.At.Add(a.For), None
		if st.On() {
			st.Covers = st.Severity
		}
	}
	c, err := st.after(a.Action, by)
	if err != nil {
		return c, fmt.Errorf("%s of %s: %w", whole(at.name), where(at.nest), err)
	}
	return c, nil
}

// Why an alarm that a person was told of is not acknowledged.
var (
	ErrOver  = errors.New("that alarm is over")
	ErrWorse = errors.New("it has grown worse since")
)

// still reports whether the alarm is the one that a person was told of.
func (s Standing) still(a Act) error {
	of := fmt.Sprintf("%s of %s", whole(s.Name), where(s.Nest))
	switch {
	case !a.Since.IsZero() && s.Severity == None:
		return fmt.Errorf("%s: %w; look at what stands now", of, ErrOver)
	case !a.Since.IsZero() && !s.Since.Equal(a.Since):
		return fmt.Errorf("%s: %w, and came again; look at it, then acknowledge that", of, ErrOver)
	case a.Worst != None && s.Severity > a.Worst:
		return fmt.Errorf("%s: %w, it is %s now; look at it, then acknowledge that", of, ErrWorse, s.Severity)
	}
	return nil
}

// at returns what stands at a place, a normal one where nothing does.
func (p *Panel) at(at place) Standing {
	if st, ok := p.stands[at]; ok {
		return st
	}
	return Standing{Event: Event{Nest: at.nest, Name: at.name}, Status: Normal}
}

func (p *Panel) put(st Standing) {
	at := place{st.Nest, st.Name}
	if st.Status == Normal {
		delete(p.stands, at)
		return
	}
	if p.stands == nil {
		p.stands = map[place]Standing{}
	}
	p.stands[at] = st
}

// another reports whether another alarm of the nest stands, or e is a chore, which is none.
func (p *Panel) another(e Event) bool {
	for at, st := range p.stands {
		if at.nest == e.Nest && at.name != e.Name && st.On() && !at.name.Chore() && st.Status != Suppressed {
			return true
		}
	}
	return e.Name.Chore()
}

// Merge gives what is on by the rules its status, and returns beside it what is not on and not normal either. Both together are what
// Restore takes.
func (p *Panel) Merge(on []Standing) (standing, quiet []Standing) {
	for _, is := range on {
		st := p.at(place{is.Nest, is.Name})
		if st.On() {
			st.Event = is.Event
		} else if c, err := p.raise(st, is.Event); err == nil {
			st = c.Standing
		}
		standing = append(standing, st)
	}
	for at, st := range p.stands {
		if !Find(on, at.nest, at.name).On() {
			quiet = append(quiet, st)
		}
	}
	slices.SortFunc(quiet, compare)
	return standing, quiet
}

// Restore puts back what was stored. now and kept are the wall clock at the start and when it was stored: shelves have run on meanwhile,
// as far as a clock that may have been set can tell. One that is over by then ends at the next Pass, which tells of it.
func (p *Panel) Restore(stored []Standing, kept, now time.Time) {
	p.stands = nil
	off := max(now.Round(0).Sub(kept.Round(0)), 0)
	for _, st := range stored {
		st.Worst = max(st.Worst, st.Severity)
		switch st.Status {
		case Shelved:
			st.Left = max(min(st.Left, MaxShelf(st.Name))-off, 0)
			st.Until = now.Add(st.Left)
		case Suppressed, OutOfService:
		default:
			st.Status = open(life{on: st.On(), owed: st.owed()})
		}
		p.put(st)
	}
}

func sortChanges(all []Change) {
	slices.SortStableFunc(all, func(a, b Change) int { return compare(a.Standing, b.Standing) })
}

func compare(a, b Standing) int {
	return cmp.Or(
		cmp.Compare(b.Severity, a.Severity), cmp.Compare(slices.Index(Names, a.Name), slices.Index(Names, b.Name)),
		cmp.Compare(a.Name, b.Name), cmp.Compare(a.Nest, b.Nest),
	)
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
