package quality

import (
	"fmt"
	"strings"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
)

// From how many on something is worth a word; all ours, no source.
const (
	oftenAgain    = 3
	oftenFleeting = 3
	oftenUnseen   = 3
	oftenUrgent   = 20 // raised in all, before their shares mean anything
	oftenOne      = 10 // of one alarm, when they are half of all
	oftenAwake    = 3  // calls at night by one alarm, when they are half of all
)

// remedy is what a keeper can do about an alarm that comes too often: with the hands first, then with the configuration.
type remedy struct {
	hands string
	place string // whose limit it is, as the page calls it; empty where none can be set
	warn  string // the limit of its warnings
	up    bool   // the event names this limit, and raising it gives fewer
	set   string // what else the configuration has for it
}

var remedies = map[alarm.Name]remedy{
	alarm.NestHeat:     {"shade the nest and let air through it", "nest air", "hot", true, ""},
	alarm.ClusterHeat:  {"thin the fur over the kits and let air through", "pile of kits", "hot", true, ""},
	alarm.HeatExpected: {hands: "shade the nest before the sun reaches it"},
	alarm.ClusterChill: {"cover the pile, and see that the probe lies in its middle; two cluster probes are judged more closely than one", "pile of kits", "cold", false, ""},
	alarm.NestCold:     {"keep draughts off and add bedding", "nest air", "cold", false, ""},
	alarm.DoeHeat:      {hands: "give the doe shade, water and moving air"},
	alarm.DoeCold:      {hands: "give the doe shelter and dry straw"},
	alarm.ToteWet:      {hands: "see to drain, vents and bedding"},
	alarm.CheckNest:    {hands: "look where its probes lie"},
	alarm.ProbeSilent:  {hands: "look at its plugs and cables", set: "where a probe is slow by nature, write a longer `interval` and `stale_after` in its line under `probes`"},
	alarm.ProbeFault:   {hands: "exchange the probe or its cable"},
	alarm.BusFault:     {hands: "look at the line's cable, plugs and supply"},
	alarm.SinkFault:    {hands: "look at the network and at what takes the data there"},
	alarm.PowerFault:   {hands: "charge or exchange the battery, or look at the supply", set: "see whether `battery_low_v` under `site` fits the battery's kind"},
	alarm.DaemonFault:  {hands: "do what its text says"},
	alarm.VisitOverdue: {hands: "look whether the kits are fed, and whether the probe lies where the doe moves it"},
}

// advice says what to mend, the worst first.
func (r *Report) advice() (all []string) {
	say := func(format string, args ...any) {
		if len(all) < most {
			all = append(all, fmt.Sprintf(format, args...))
		}
	}
	for _, row := range r.Rows {
		if n := r.nights(row.Nest, row.Event); n >= oftenAwake && 2*n >= r.Woken {
			say("%s made %d of %d calls at night: %s", row.title(), n, r.Woken, row.mend())
		}
	}
	for _, row := range r.Rows {
		if row.Chattering > 0 {
			say("%s chattered %s: its rule lets nothing through so quickly, so this is a fault of nestmon's. Tell its makers.", row.title(), times(row.Chattering))
		}
		if row.Again >= oftenAgain {
			say("%s came again within 10 min of its end %s: %s", row.title(), times(row.Again), row.mend())
		}
	}
	for _, name := range alarm.Names {
		if where := r.stale(name); where != "" {
			say("%s stood for more than a day %s: %s. What stands for days is overlooked when it comes anew.", name, where, remedies[name].hands)
		}
	}
	for _, row := range r.Rows {
		if row.Fleeting >= oftenFleeting && 2*row.Fleeting >= row.Alarms && row.Again < oftenAgain {
			say("%s was over within 5 min, with nobody doing a thing, %d times of %d: %s", row.title(), row.Fleeting, row.Alarms, row.mend())
		}
	}
	t := &r.Total
	for _, row := range r.Rows {
		if row.Alarms >= oftenOne && 2*row.Alarms >= t.Alarms && row.Again < oftenAgain {
			say("%s made %d of all %d alarms: %s", row.title(), row.Alarms, t.Alarms, row.mend())
		}
	}
	if t.Unseen >= oftenUnseen {
		say("%d of %d alarms were never acknowledged. If they were worth a walk, say so when you have been there; if not, see above which to mend.", t.Unseen, t.Alarms)
	}
	if sum := t.Raised.sum(); sum >= oftenUrgent && float64(t.Raised.Urgent) >= mostUrgent*float64(sum) {
		say("%d of %d were urgent, where one of twenty is plenty: %s.", t.Raised.Urgent, sum, r.urgent())
	}
	return all
}

// stale names the places at which an alarm stood too long.
func (r *Report) stale(name alarm.Name) string {
	var all []string
	for _, row := range r.Rows {
		if row.Event == name && row.Stale > 0 {
			all = append(all, at(row.Nest)+" "+times(row.Stale))
		}
	}
	return strings.Join(all, ", ")
}

// nights is how often an alarm called at night.
func (r *Report) nights(nest string, name alarm.Name) (n int) {
	for _, c := range r.Calls {
		n += one(c.Night && c.Nest == nest && c.Event == name)
	}
	return n
}

// urgent names the alarms that were urgent most often.
func (r *Report) urgent() string {
	var names []string
	for _, row := range r.Rows {
		if row.Raised.Urgent > 0 && len(names) < 3 {
			names = append(names, fmt.Sprintf("%s %s", row.title(), times(row.Raised.Urgent)))
		}
	}
	return strings.Join(names, ", ")
}

// mend says what can be done about a row's alarm. What makes an alarm urgent guards life, and is not for loosening.
func (r *Row) mend() string {
	m := remedies[r.Event]
	e := r.last
	switch {
	case m.hands == "":
		return "see what its text says."
	case m.place == "" || !e.HasLimit || e.Unit != "C" || e.Limit == brood.RawChill:
		if m.set != "" {
			return m.hands + "; " + m.set + "."
		}
		return m.hands + "."
	case r.Raised.Urgent > 0:
		return fmt.Sprintf("%s. It was urgent %s; leave the limit “%s, urgent” of the %s alone.", m.hands, times(r.Raised.Urgent), m.warn, m.place)
	}
	if !m.up { // cold is judged by more than its limit
		return fmt.Sprintf("%s. If the kits were well all the time, lower the limit “%s” of the %s for their age by %s and see.", m.hands, m.warn, m.place, degrees(brood.Deadband))
	}
	return fmt.Sprintf("%s. If the kits were well all the time, raise the limit “%s” of the %s for their age by %s, from %s to %s: a value that swings about its limit no longer passes it then.",
		m.hands, m.warn, m.place, degrees(brood.Deadband), celsius(e.Limit), celsius(e.Limit+brood.Deadband))
}

func (r *Row) title() string {
	return fmt.Sprintf("%s %s", r.Event, at(r.Nest))
}

func at(nest string) string {
	if nest == "" {
		return "of the site"
	}
	return "at " + nest
}

func times(n int) string {
	switch n {
	case 1:
		return "once"
	case 2:
		return "twice"
	}
	return fmt.Sprintf("%d times", n)
}

func celsius(c float64) string { return fmt.Sprintf("%.1f °C (%.1f °F)", c, c*9/5+32) }

func degrees(k float64) string { return fmt.Sprintf("%.1f °C (%.1f °F)", k, k*9/5) }
