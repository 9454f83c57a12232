package calls

import (
	"slices"

	"nestmon/thresholds/alarm"
)

// reach adds to those who know of something whoever has to know of such a severity now: the first contact that wants to, another one where
// nobody has answered, and others where none of these can be reached. fresh are all but the first.
func (d *Desk) reach(now Now, knows []string, severity alarm.Severity, another bool) (all, fresh []string) {
	all = merge(d.known(knows), d.first(severity))
	for _, c := range d.plan.Contacts {
		if severity < c.AtLeast || slices.Contains(all, c.Name) || !another && !d.deaf(now, all) {
			continue
		}
		all, fresh = append(all, c.Name), append(fresh, c.Name)
		another = false
	}
	return all, fresh
}

// first is the contact who is called first about such a severity; empty where nobody wants to know.
func (d *Desk) first(severity alarm.Severity) []string {
	for _, c := range d.plan.Contacts {
		if severity >= c.AtLeast {
			return []string{c.Name}
		}
	}
	return nil
}

// known drops those who are no longer in the plan.
func (d *Desk) known(names []string) (all []string) {
	for _, name := range names {
		if slices.ContainsFunc(d.plan.Contacts, func(c Contact) bool { return c.Name == name }) {
			all = append(all, name)
		}
	}
	return all
}

// wanting keeps of some contacts those who want to know of such a severity.
func (d *Desk) wanting(names []string, severity alarm.Severity) (all []string) {
	for _, c := range d.plan.Contacts {
		if severity >= c.AtLeast && slices.Contains(names, c.Name) {
			all = append(all, c.Name)
		}
	}
	return all
}

// stranded reports whether nobody who was called can be reached, and somebody is left to call.
func (d *Desk) stranded(now Now, o *Open) bool {
	return len(o.Knows) > 0 && len(d.wanting(o.Knows, alarm.Urgent)) < len(d.plan.Contacts) && d.deaf(now, o.Knows)
}

// deaf reports whether none of these can be reached.
func (d *Desk) deaf(now Now, names []string) bool {
	return now.Unreachable != nil && !slices.ContainsFunc(names, func(name string) bool { return !now.Unreachable(name) })
}
