package main

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"nestmon/exporter/phone"
)

// examineServers asks every server that can be asked without sending anything, and the daemon what it got rid of.
func examineServers(ctx context.Context, p *patient) (found []sign) {
	for _, k := range sinkKinds {
		if _, on := k.target(p.cfg); !on || k.tries == nil || len(k.tries(p.cfg)) == 0 {
			continue
		}
		if !p.able() {
			found = append(found, blind(askAs, "%s: its password is not for this user to read, so it was not asked", k.says))
			continue
		}
		works, lacks := reachOne(ctx, p.cfg, k)
		for _, w := range works {
			found = append(found, fine("%s answers and lets nestmon in", w.Text))
		}
		for _, l := range lacks {
			found = append(found, fromCheck(failed, l))
		}
	}
	for _, s := range p.daemon.state.Sinks {
		if s.Sink == phone.HeartbeatName || p.isChannel(s.Sink) {
			continue // each has an examination of its own
		}
		if !s.OK && s.Error != "" {
			found = append(found, fromCheck(failed, s.Sink+": "+remedied(errorOf(strings.TrimPrefix(s.Error, s.Sink+": ")))))
		}
		if s.Refused > 0 && s.RefusedWhy != nil {
			found = append(found, lookAt("nestmon export --refused lists them", "%s has refused %d for good, the last because: %s", s.Sink, s.Refused, *s.RefusedWhy))
		}
		if s.Pruned > 0 {
			found = append(found, lookAt("let it be reachable within the 90 days that single readings are kept", "%d polls grew too old before %s took them", s.Pruned, s.Sink))
		}
	}
	return found
}

type errorOf string

func (e errorOf) Error() string { return string(e) }

func (p *patient) isChannel(sink string) bool {
	return p.cfg.Phone != nil && slices.ContainsFunc(p.cfg.Phone.Channels, func(c phone.Channel) bool { return c.Name == sink })
}

// quietScrapes is after how long without one it is said that nobody scrapes: a few of the longest usual interval, a minute. Ours, no source.
const quietScrapes = 10 * time.Minute

// examineScrapes asks when Prometheus came last: it fetches, so that it is away shows nowhere else.
func examineScrapes(_ context.Context, p *patient) []sign {
	if p.cfg.Publish.Prometheus == nil {
		return nil
	}
	const remedy = "look at its targets page, at the network, and at publish.prometheus.listen; or take the section out"
	young := p.daemon.state.Started != nil && p.now.Sub(*p.daemon.state.Started) < quietScrapes
	switch v := p.daemon.inside; {
	case v == nil:
		return []sign{blind(notAsked(p), "when it was scraped last is known to the daemon alone")}
	case v.Scraped == nil && young:
		return []sign{blind("ask again in "+span(quietScrapes), "nobody has scraped it yet: the daemon has just started")}
	case v.Scraped == nil:
		return []sign{lookAt(remedy, "nobody has scraped it since the daemon started")}
	case p.now.Sub(*v.Scraped) > quietScrapes:
		return []sign{lookAt(remedy, "it was scraped last %s", agoText(p.now.Sub(*v.Scraped)))}
	}
	return []sign{fine("scraped %s", agoText(p.now.Sub(*p.daemon.inside.Scraped)))}
}

// notAsked is what to do where the daemon did not answer.
func notAsked(p *patient) string {
	if p.daemon.there {
		return "restart it, so that what was installed runs"
	}
	return "see the line of the daemon"
}

// examineHeartbeat asks when somebody outside heard last that the daemon lives.
func examineHeartbeat(_ context.Context, p *patient) []sign {
	if p.cfg.Phone == nil || p.cfg.Phone.Heartbeat == nil {
		return nil // that nobody notices a dead board is said of the configuration
	}
	if !p.daemon.there {
		return []sign{blind(notAsked(p), "when it was heard last is known to the daemon alone")}
	}
	silence := p.cfg.Phone.Heartbeat.Silence()
	for _, s := range p.daemon.state.Sinks {
		if s.Sink != phone.HeartbeatName {
			continue
		}
		switch {
		case !s.OK && s.Error != "":
			return []sign{fromCheck(failed, remedied(errorOf(strings.TrimPrefix(s.Error, phone.HeartbeatName+": "))))}
		case s.Last == nil:
			return []sign{blind("ask again in "+span(p.cfg.Phone.Heartbeat.Every), "none was due yet since the daemon started")}
		case p.now.Sub(*s.Last) > silence:
			return []sign{fails("look at the network and at the receiver", "the last was heard %s, and after %s its receiver calls you", agoText(p.now.Sub(*s.Last)), span(silence))}
		}
		return []sign{fine("heard %s; that the receiver calls you when none comes, only a trial shows: hardware/heartbeat.md", agoText(p.now.Sub(*s.Last)))}
	}
	return []sign{blind("restart it: it runs with an older configuration", "the running daemon knows of none")}
}

// lately is for how long a message that got through speaks for its channel; ours, no source.
const lately = 31 * 24 * time.Hour

// examinePhone sends a test message through each channel where a person or a flag says so, and else says when one got through last.
func examinePhone(ctx context.Context, p *patient) (found []sign) {
	if p.cfg.Phone == nil || len(p.cfg.Phone.Channels) == 0 {
		return nil // that nobody is called is said of the configuration
	}
	if !p.daemon.there {
		return []sign{blind(notAsked(p), "messages go by the daemon, so none was tried")}
	}
	if p.daemon.state.Nobody {
		return []sign{fromCheck(failed, "nobody "+nobodyCalled)}
	}
	for _, c := range p.cfg.Phone.Channels {
		if p.send || p.confirms("Send a test message through "+c.Name+" now? Whoever it reaches hears it. [y/N] ") {
			found = append(found, p.tryChannel(ctx, c.Name))
			continue
		}
		found = append(found, p.channelLately(c.Name))
	}
	return found
}

func (p *patient) tryChannel(ctx context.Context, name string) sign {
	var answers []trialAnswer
	door := call(p.cfg.Control)
	door.client.Timeout = trialTime + trialSlack
	if err := door.post(ctx, "/control/alarms/test", trialRequest{name}, &answers); err != nil {
		return fromCheck(failed, name+": "+remedied(err))
	}
	if len(answers) != 1 || !answers[0].OK {
		why := "the daemon said nothing of it"
		if len(answers) == 1 {
			why = strings.TrimPrefix(answers[0].Says, "phone "+name+": ")
		}
		return fromCheck(failed, name+": "+why)
	}
	return fine("%s: %s; only on the phone you see that it arrived, and hear whether it would wake you", name, answers[0].Says)
}

func (p *patient) channelLately(name string) sign {
	const remedy = "send one: nestmon doctor --send, or nestmon alarms test"
	for _, s := range p.daemon.state.Sinks {
		switch {
		case s.Sink != name:
			continue
		case !s.OK && s.Error != "":
			return fromCheck(failed, name+": "+remedied(errorOf(strings.TrimPrefix(s.Error, "phone "+name+": "))))
		case s.Last != nil && p.now.Sub(*s.Last) <= lately:
			return fine("%s: a message got through %s; none was sent now", name, agoText(p.now.Sub(*s.Last)))
		case s.Last != nil:
			return blind(remedy, "%s: a message got through last %s, and none was sent now", name, agoText(p.now.Sub(*s.Last)))
		}
	}
	return blind(remedy, "%s: no message went this way since the daemon started, and none was sent now", name)
}

// confirms asks a person at a terminal. Without one nobody has agreed.
func (p *patient) confirms(question string) bool {
	if !atTerminal(p.std.in) {
		return false
	}
	fmt.Fprint(p.std.err, question)
	var word string
	_, _ = fmt.Fscanln(p.std.in, &word) // nothing is no
	return strings.EqualFold(word, "y") || strings.EqualFold(word, "yes")
}
