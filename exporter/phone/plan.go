package phone

import (
	"fmt"
	"net/url"
	"slices"
	"strings"
	"time"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/calls"
)

// Contact is a person, with the channels that reach them.
type Contact struct {
	Name     string   `yaml:"name"`
	Channels []string `yaml:"channels"`
}

// Window is the block quiet_hours: a span of every day in local time, such as 22:00 to 06:00.
type Window struct {
	From  string         `yaml:"from"`
	To    string         `yaml:"to"`
	Holds alarm.Severity `yaml:"holds"` // the highest severity that may wait; empty for warning
}

// everybody is the only contact where none is written down.
const everybody = "everybody"

// contacts lists who is called, in their order.
func (c Config) contacts() []Contact {
	if len(c.Contacts) > 0 || len(c.Channels) == 0 {
		return c.Contacts
	}
	one := Contact{Name: everybody}
	for _, ch := range c.Channels {
		one.Channels = append(one.Channels, ch.Name)
	}
	return []Contact{one}
}

// Plan is what the configuration says about who is called when. It has been validated.
func (c Config) Plan(zone *time.Location) calls.Plan {
	p := calls.Plan{Repeat: c.Repeat, Escalate: c.EscalateAfter, Digest: clock(c.Digest), AllWell: clock(c.AllWell), Zone: zone}
	if q := c.QuietHours; q != nil {
		p.Quiet = calls.Window{From: clock(q.From), To: clock(q.To)}
		p.Holds = q.Holds
	}
	for _, who := range c.contacts() {
		contact := calls.Contact{Name: who.Name, AtLeast: alarm.Urgent}
		for _, ch := range c.Channels {
			if slices.Contains(who.Channels, ch.Name) {
				contact.AtLeast = min(contact.AtLeast, ch.Level())
			}
		}
		p.Contacts = append(p.Contacts, contact)
	}
	return p
}

func clock(text string) calls.Clock {
	at, err := calls.ParseClock(text)
	if err != nil {
		return calls.Never
	}
	return at
}

// ChannelsOf lists the channels that reach these contacts, each once.
func (c Config) ChannelsOf(contacts []string) (names []string) {
	for _, who := range c.contacts() {
		if !slices.Contains(contacts, who.Name) {
			continue
		}
		for _, name := range who.Channels {
			if !slices.Contains(names, name) {
				names = append(names, name)
			}
		}
	}
	return names
}

// Alone says why one fault could silence every channel, and what to do about it; empty where none is known.
func (c Config) Alone() string {
	hosts := map[string]bool{}
	for _, ch := range c.Channels {
		host := ch.Name // of what has no address of its own, nothing is known
		if address, err := ch.address(); err == nil {
			if u, err := url.Parse(address.Reveal()); err == nil {
				host = strings.ToLower(u.Hostname())
			}
		}
		hosts[host] = true
	}
	switch {
	case len(c.Channels) == 1:
		return "one channel alone leads to a phone, and nobody is called while it fails; write a second one under phone that goes by another service"
	case len(hosts) == 1:
		return "all channels go to the same server, and nobody is called while it fails; write one more under phone that goes by another service"
	}
	return ""
}

// Of the plan's settings, ours, no source.
const (
	shortestRepeat = 2 * time.Minute
	longestRepeat  = time.Hour
	mostEscalate   = 12 // repeats; after them they come more slowly
	longestQuiet   = 12 * time.Hour
)

func (c Config) validatePlan(report func(path, problem string)) {
	c.validateContacts(report)
	if c.Repeat != 0 && (c.Repeat < shortestRepeat || c.Repeat > longestRepeat) {
		report("repeat", fmt.Sprintf("%s is not possible; write from %s to %s, such as 10m", short(c.Repeat), short(shortestRepeat), short(longestRepeat)))
	}
	switch {
	case c.EscalateAfter < 0, c.EscalateAfter > mostEscalate:
		report("escalate_after", fmt.Sprintf("%d is not possible; write after how many repeats the next contact is called, from 1 to %d, such as 3", c.EscalateAfter, mostEscalate))
	case c.EscalateAfter > 0 && len(c.Contacts) < 2:
		report("escalate_after", "there is nobody to escalate to; write a second contact under contacts, or leave it out")
	}
	for path, text := range map[string]string{"digest": c.Digest, "all_well": c.AllWell} {
		if _, err := calls.ParseClock(text); err != nil {
			report(path, err.Error())
		}
	}
	if c.QuietHours != nil {
		c.QuietHours.validate(func(path, problem string) { report("quiet_hours."+path, problem) })
	}
}

func (c Config) validateContacts(report func(path, problem string)) {
	if len(c.Contacts) == 0 {
		return
	}
	used, names, known := map[string]bool{}, map[string]bool{}, []string{}
	for _, ch := range c.Channels {
		known = append(known, ch.Name)
	}
	if len(known) == 0 {
		report("channels", "there is none, so nothing reaches the contacts; write one or more, such as {name: mobile, url_file: FILE}")
		return
	}
	for i, who := range c.Contacts {
		at := func(path, problem string) { report(fmt.Sprintf("contacts[%d].%s", i, path), problem) }
		switch {
		case who.Name == "":
			at("name", "is missing; write who it is, such as anna")
		case names[who.Name]:
			at("name", fmt.Sprintf("%q is used twice; write another", who.Name))
		}
		names[who.Name] = true
		if len(who.Channels) == 0 {
			at("channels", fmt.Sprintf("nothing reaches %q; write one or more of the channels, such as [%s]", who.Name, strings.Join(known, ", ")))
		}
		for _, name := range who.Channels {
			if used[name] = true; !slices.Contains(known, name) {
				at("channels", fmt.Sprintf("there is no channel %q; write one of: %s", name, strings.Join(known, ", ")))
			}
		}
	}
	for i, name := range known {
		if !used[name] {
			report(fmt.Sprintf("channels[%d].name", i), fmt.Sprintf("no contact has the channel %q, so nothing would be sent there; write it under a contact, or remove it", name))
		}
	}
}

func (w Window) validate(report func(path, problem string)) {
	good := true
	for path, text := range map[string]string{"from": w.From, "to": w.To} {
		if at, err := calls.ParseClock(text); err != nil || at == calls.Never {
			report(path, fmt.Sprintf("%q is no time of day; write it like \"22:00\"", text))
			good = false
		}
	}
	if w.Holds == alarm.Urgent {
		report("holds", "urgent alarms never wait: kits die within the night; write warning or notice")
	}
	if !good {
		return
	}
	span := time.Duration(clock(w.To)-clock(w.From)) * time.Minute
	if span < 0 {
		span += 24 * time.Hour
	}
	switch {
	case span == 0:
		report("to", fmt.Sprintf("from %s to %s is no time at all; write the time at which you get up", w.From, w.To))
	case span > longestQuiet:
		report("to", fmt.Sprintf("from %s to %s are %s, in which warnings would wait; write %s at most", w.From, w.To, short(span), short(longestQuiet)))
	}
}

// short writes a duration without its zeros.
func short(d time.Duration) string {
	s := d.String()
	if strings.HasSuffix(s, "m0s") {
		s = strings.TrimSuffix(s, "0s")
	}
	if strings.HasSuffix(s, "h0m") {
		s = strings.TrimSuffix(s, "0m")
	}
	return s
}
