package radio

import (
	"context"
	"errors"

	"nestmon/sensors/broker"
)

// Check says what a person should put right before the probes can be heard. It connects under an id of its own, so that a daemon that
// listens already is not thrown out, and asks for every topic. It says nothing of files that cannot be used: those are looked at elsewhere.
func (s *Source) Check() []string {
	ctx, cancel := context.WithTimeout(s.ctx, s.Timing.Connect)
	defer cancel()
	id := s.client[:min(len(s.client), 22)] + "c"
	l, err := s.dial(ctx, id, func(string, []byte, bool) {})
	switch {
	case errors.Is(err, broker.ErrFile):
		return nil
	case err != nil:
		return []string{err.Error()}
	}
	defer l.end()
	var findings []string
	for _, topic := range s.topics {
		granted, err := l.subscribe(ctx, topic, s.Timing.Ack)
		switch {
		case err != nil:
			return append(findings, "radio "+s.host()+": subscribing to "+topic+": "+err.Error()+"; is the broker well?")
		case !granted:
			findings = append(findings, s.refusal(topic).Error())
		}
	}
	return findings
}
