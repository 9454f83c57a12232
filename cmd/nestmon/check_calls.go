package main

import (
	"fmt"
	"strings"

	"nestmon/exporter/phone"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/calls"
)

// callLines says who is called and when, as check prints it.
func callLines(p *phone.Config) []planLine {
	plan := p.Plan(nil)
	repeat := span(plan.Every())
	first := "everybody at once, by " + strings.Join(p.ChannelsOf([]string{plan.Contacts[0].Name}), " and ")
	var next []string
	if len(p.Contacts) > 0 {
		first = "first " + by(p, plan.Contacts[0])
		for _, who := range plan.Contacts[1:] {
			next = append(next, by(p, who))
		}
	}
	out := []planLine{{"called", first + "; what is urgent again every " + repeat + " until somebody acknowledges it"}}
	if len(next) > 0 {
		times := plan.Steps()
		out = append(out, planLine{"called", fmt.Sprintf("after %d repeats without an answer also %s", times, strings.Join(next, fmt.Sprintf(", after %d more ", times)))})
	}
	if q := p.QuietHours; q != nil {
		what := "what can wait is held"
		if plan.Holds == alarm.Notice {
			what = "notices alone are held"
		}
		out = append(out, planLine{"quiet", fmt.Sprintf("from %s to %s %s; urgent alarms never are", q.From, q.To, what)})
	}
	if p.AllWell != "" {
		out = append(out, planLine{"daily", "how things stand, at " + p.AllWell})
	}
	return out
}

func by(p *phone.Config, who calls.Contact) string {
	return who.Name + " by " + strings.Join(p.ChannelsOf([]string{who.Name}), " and ")
}
