package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"time"

	"nestmon/exporter"
)

// trialTime is what each channel has for a test message; a healthy service answers in a second or two. Ours, no source.
const trialTime = 20 * time.Second

// trialSlack is how much longer a command waits for the daemon's word of it; ours, no source.
const trialSlack = 5 * time.Second

// trialRequest asks for a test message.
type trialRequest struct {
	Channel string `json:"channel"` // empty for all
}

// trialAnswer is what came of it in one channel.
type trialAnswer struct {
	Channel string `json:"channel"`
	OK      bool   `json:"ok"`
	TookMs  int64  `json:"took_ms"`
	Says    string `json:"says"`
}

// trial sends a message, past the queues and whatever severity a channel carries, to one channel or to all at once, and says what came of it.
func (s *sinks) trial(ctx context.Context, channel string) ([]trialAnswer, error) {
	var names []string
	for _, p := range s.channels {
		names = append(names, p.Name())
	}
	if len(names) == 0 {
		return nil, errors.New("there is no channel; write one under phone: {channels: ...} and restart")
	}
	if channel != "" && !slices.Contains(names, channel) {
		return nil, fmt.Errorf("there is no channel %q; write --channel %s", channel, strings.Join(names, " or "))
	}
	m := s.words.Trial(s.now())
	answers := make([]trialAnswer, len(names))
	var wait sync.WaitGroup
	for i, name := range names {
		if channel == "" || name == channel {
			wait.Go(func() { answers[i] = s.try(ctx, i, m) })
		}
	}
	wait.Wait()
	return slices.DeleteFunc(answers, func(a trialAnswer) bool { return a.Channel == "" }), nil
}

// trialOfPage is trial as the page wants it: what went wrong by channel, empty where the message was taken.
func (s *sinks) trialOfPage(ctx context.Context, channel string) (map[string]string, error) {
	answers, err := s.trial(ctx, channel)
	wrong := map[string]string{}
	for _, a := range answers {
		if wrong[a.Channel] = a.Says; a.OK {
			wrong[a.Channel] = ""
		}
	}
	return wrong, err
}

func (s *sinks) try(ctx context.Context, i int, m exporter.Message) trialAnswer {
	p, far := s.channels[i], s.direct[i]
	began := time.Now()
	done := make(chan error, 1)
	go func() { done <- p.Try(ctx, func(ctx context.Context) error { return far.Send(ctx, m) }) }()
	var err error
	timer := time.NewTimer(trialTime + time.Second)
	defer timer.Stop()
	select {
	case err = <-done:
	case <-timer.C:
		err = errors.New("no answer in time")
	}
	a := trialAnswer{Channel: p.Name(), OK: err == nil, TookMs: time.Since(began).Milliseconds()}
	if a.Says = fmt.Sprintf("delivered in %d ms: the other side has taken it", a.TookMs); err != nil {
		a.Says = remedied(err)
	}
	return a
}

// remedied is what a channel says of a failure, as it reads where nothing is tried again.
func remedied(err error) string {
	text := strings.TrimSuffix(err.Error(), "; tried again slowly, nothing is lost")
	if !strings.Contains(text, ";") {
		text += "; look at the network, at the channel's settings, and at whatever is to receive it"
	}
	return text
}

func tryAlarms(ctx context.Context, args []string, std stdio) int {
	fs := flags("alarms test", "alarms test [--config F] [--channel NAME] [--json]", std)
	file := fs.String("config", installedConfig, "the daemon's configuration `file`")
	channel := fs.String("channel", "", "the `name` of the channel under phone; left out for all")
	asJSON := fs.Bool("json", false, "print one JSON value")
	if code, ok := parse(fs, args); !ok {
		return code
	}
	cfg, ok := openConfig("alarms test", *file, std)
	if !ok {
		return exitWrongUse
	}
	d, answers := call(cfg.Control).in(cfg.Site.Display), []trialAnswer{}
	d.client.Timeout = trialTime + trialSlack // all channels have their time
	err := d.post(ctx, "/control/alarms/test", trialRequest{*channel}, &answers)
	if err == nil && *asJSON {
		err = printJSON(std.out, answers)
	}
	if err != nil {
		fmt.Fprintf(std.err, "nestmon alarms test: %v\n", err)
		return exitWrongUse
	}
	code := exitDone
	for _, a := range answers {
		word := "ok"
		if !a.OK {
			word, code = "FAILED", exitFinding
		}
		if !*asJSON {
			fmt.Fprintf(std.out, "%-7s  %s: %s\n", word, a.Channel, strings.TrimPrefix(a.Says, "phone "+a.Channel+": "))
		}
	}
	if !*asJSON && slices.ContainsFunc(answers, func(a trialAnswer) bool { return a.OK }) {
		fmt.Fprintln(std.out, "Now look at the phone: only there you see that it arrived, and hear whether it would wake you.")
	}
	return code
}
