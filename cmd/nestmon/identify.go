package main

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"
	"sync"
	"time"

	"nestmon/sensors"
	"nestmon/sensors/warmed"
)

// How probes are watched while one is warmed; ours, no source.
const (
	identifyLeast = 500 * time.Millisecond // between two readings of a bus: drivers hold a value for so long and longer
	identifyLook  = 200 * time.Millisecond
	identifyHint  = time.Minute // without a rise, after which it is told what else may help, once in identifyAgain
	identifyAgain = 24 * time.Hour
	identifyRise  = 0.5             // K, from which a rise is told while it is not certain yet
	identifyEnd   = 2 * time.Second // readers have so long to end
	sureFrom      = 10.0            // of warmed.Verdict.Sure
	fairlyFrom    = 4.0
)

// identify watches every probe that can be read and names the one that is warmed in the hand, one after another, until it is interrupted.
func (b *bench) identify(ctx context.Context) int {
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	search := &search{bench: b}
	daemon := b.ask(ctx)
	s := find(ctx, b.root, b.cfg, daemon)
	var buses [][]int
	var unused []surveyBus
	for i := range s.Buses {
		var bus []int
		for k := range s.Buses[i].Probes {
			if p := &s.Buses[i].Probes[k]; p.found.Read != nil && p.Binds != "" && p.warms() {
				p.Health = nil // it is read here, whatever the daemon knows
				bus = append(bus, len(search.probes))
				search.probes = append(search.probes, p)
			}
		}
		if len(bus) > 0 {
			buses = append(buses, bus)
		} else if s.Buses[i].unused {
			unused = append(unused, s.Buses[i])
		} else if s.Buses[i].Problem != "" || s.Buses[i].held {
			fmt.Fprintf(b.std.err, "bus %s: %s\n", s.Buses[i].Bus, nonEmpty(s.Buses[i].Problem, "the daemon reads it; stop it to find probes here: sudo systemctl stop nestmon"))
		}
	}
	if len(search.probes) == 0 {
		for _, bus := range unused {
			fmt.Fprintf(b.std.err, "bus %s: %s\n", bus.Bus, bus.Problem)
		}
		fmt.Fprintln(b.std.err, "nestmon probes identify: no probe can be read here; 'nestmon probes' says what is missing")
		return exitFinding
	}
	search.watch = warmed.New(len(search.probes))
	round := s.takes()
	var readers sync.WaitGroup
	for _, bus := range buses {
		readers.Go(func() { search.read(ctx, bus) })
	}
	search.tell(ctx, round, daemon != nil)
	stop()
	waitBriefly(&readers)
	return exitDone
}

// warms reports whether the probe may have a temperature.
func (p *surveyProbe) warms() bool {
	_, quantities, known := sensors.Chip(p.Chip)
	return !known || slices.Contains(quantities, sensors.Temperature)
}

func nonEmpty(s, otherwise string) string {
	if s == "" {
		return otherwise
	}
	return s
}

// waitBriefly gives readers a moment to end; one that hangs in the kernel ends with the process.
func waitBriefly(readers *sync.WaitGroup) {
	done := make(chan struct{})
	go func() { readers.Wait(); close(done) }()
	select {
	case <-done:
	case <-time.After(identifyEnd):
	}
}

// search is the watch and the probes it numbers.
type search struct {
	*bench
	probes []*surveyProbe

	mu    sync.Mutex
	watch *warmed.Watch
}

// read reads the probes of one bus, one after another, until ctx ends.
func (s *search) read(ctx context.Context, bus []int) {
	for ctx.Err() == nil {
		begin := s.now()
		s.mu.Lock()
		i := s.watch.Next(bus, begin)
		s.mu.Unlock()
		value, ok := s.once(ctx, s.probes[i])
		if ctx.Err() != nil {
			return
		}
		s.mu.Lock()
		if at := s.now(); ok {
			s.watch.Add(i, at, value)
		} else {
			s.watch.Fail(i, at)
		}
		if s.probes[i].pending != nil { // the whole bus hangs
			for _, j := range bus {
				s.watch.Fail(j, s.now())
			}
		}
		s.mu.Unlock()
		s.sleep(ctx, identifyLeast-s.now().Sub(begin))
	}
}

func (s *search) once(ctx context.Context, p *surveyProbe) (float64, bool) {
	readings, told := p.take(ctx, sensors.Offset{})
	s.mu.Lock()
	p.learn(told)
	s.mu.Unlock()
	for _, r := range readings {
		if r.Quantity == sensors.Temperature && r.OK() {
			return r.Value, true
		}
	}
	return math.NaN(), false
}

// tell says what the watch finds, each thing once.
func (s *search) tell(ctx context.Context, round time.Duration, running bool) {
	s.say("learning", nil, fmt.Sprintf("Watching %d probes; they are read once in about %.0f s. Do not touch any of them yet.", len(s.probes), max(1, round.Seconds())))
	if running {
		s.say("note", nil, "The daemon reads the same buses; its readings may come late while this runs.")
	}
	last, told, since := warmed.Learning, "", s.now()
	for ; ctx.Err() == nil; s.sleep(ctx, identifyLook) {
		s.mu.Lock()
		v := s.watch.Verdict(s.now())
		s.mu.Unlock()
		key := fmt.Sprint(v.State, v.Probe)
		switch {
		case v.State == warmed.Waiting && last == warmed.Learning:
			s.say("waiting", nil, "Now close your hand round the tip of ONE probe and hold it."+s.blind(v))
			since = s.now()
		case v.State == warmed.Waiting && s.now().Sub(since) > identifyHint:
			s.say("hint", nil, "Nothing rises. Lay it down for two minutes and grip it again. Where the air is as warm as your hand, dip the tip into warm water (not hot: 40 °C, 105 °F)."+s.blind(v))
			since = s.now().Add(identifyAgain)
		case v.State == warmed.Rising && told != key && v.Rise > identifyRise:
			s.say("rising", &v, fmt.Sprintf("%s rises; hold on.", s.name(v.Probe)))
			told = key
		case v.State == warmed.Several && told != key:
			s.say("several", &v, fmt.Sprintf("%s and %s rise. Let go of both, wait a minute, and hold one alone.", s.name(v.Probe), s.name(v.Other)))
			told = key
		case v.State == warmed.Named:
			s.named(v)
			s.mu.Lock()
			s.watch.Release(v.Probe)
			s.mu.Unlock()
			told, since = "", s.now()
		}
		last = v.State
	}
}

// named prints what was found and the line to paste.
func (s *search) named(v warmed.Verdict) {
	p := s.probes[v.Probe]
	other := "no other is there to compare with"
	if v.Other >= 0 {
		other = fmt.Sprintf("the next, %s, %s", s.name(v.Other), kelvin(v.Second))
	}
	what := "It is free. Paste this under probes, with an id of your own, and name that id in its nest:"
	line := fmt.Sprintf("  - {id: NAME, %s}", s.binds(p))
	if p.Place != nil {
		what, line = "It is bound already, as "+p.Place.text()+".", ""
	}
	text := fmt.Sprintf("That is %s, %s: it rose by %s; %s.%s\n%s", p.Identity, sureWords[sureOf(v.Sure())], kelvin(v.Rise), other, s.blind(v), what)
	if line != "" {
		text += "\n" + line
	}
	s.say("named", &v, text+"\nLet it go, and hold the next one. Ctrl-C ends.")
}

// binds is what a reading may add to.
func (s *search) binds(p *surveyProbe) string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return p.Binds
}

// sureness is how sure a name is, in a word.
type sureness string

const (
	sure     sureness = "sure"
	fairly   sureness = "fairly"
	probably sureness = "probably"
)

func sureOf(by float64) sureness {
	switch {
	case by >= sureFrom:
		return sure
	case by >= fairlyFrom:
		return fairly
	}
	return probably
}

var sureWords = map[sureness]string{sure: "sure", fairly: "quite sure", probably: "probably; warm it once more to be sure"}

func kelvin(k float64) string { return fmt.Sprintf("%+.1f °C (%+.1f °F)", k, k*9/5) }

// blind names the probes that cannot be read: the one that is held may be among them.
func (s *search) blind(v warmed.Verdict) string {
	if len(v.Blind) == 0 {
		return ""
	}
	var names []string
	for _, i := range v.Blind {
		names = append(names, s.name(i))
	}
	return " Not seen, for they give no value: " + strings.Join(names, ", ") + "."
}

func (s *search) name(i int) string {
	p := s.probes[i]
	if p.Place != nil {
		return p.Place.Probe + " (" + p.Identity + ")"
	}
	return p.Identity
}

// say prints a line for people, or one JSON value on a line.
func (s *search) say(state string, v *warmed.Verdict, text string) {
	if !s.json {
		fmt.Fprintln(s.std.out, text)
		return
	}
	out := struct {
		State    string       `json:"state"`
		Text     string       `json:"text"`
		Identity *string      `json:"identity"`
		Binds    *string      `json:"binds"`
		Bound    *surveyPlace `json:"bound"`
		Rise     *float64     `json:"rise_k"`
		Next     *float64     `json:"next_k"`
	}{State: state, Text: text}
	if v != nil && v.Probe >= 0 {
		p := s.probes[v.Probe]
		binds := s.binds(p)
		out.Identity, out.Binds, out.Bound, out.Rise = &p.Identity, &binds, p.Place, &v.Rise
		if v.Other >= 0 {
			out.Next = &v.Second
		}
	}
	line, err := json.Marshal(out)
	if err != nil { // a NaN, which the watch never returns
		line = []byte(`{"state":"fault"}`)
	}
	fmt.Fprintf(s.std.out, "%s\n", line)
}
