package main

import (
	"slices"
	"strings"
	"testing"
	"time"

	"nestmon/sensors"
	"nestmon/thresholds/alarm"
)

// polls lets a busBook see polls of two lines every half minute. State is u for up, d for down and s for down with values that come late.
type polls struct {
	book   busBook
	slot   alarm.Slot
	now    time.Time
	heard  map[string]time.Time
	events []string // as "12 raised east", by minute and the lines that do not answer
}

func (p *polls) see(state map[string]byte) {
	if p.heard == nil {
		p.now, p.heard = demoStart, map[string]time.Time{}
	}
	var buses []sensors.BusHealth
	for _, name := range []string{"east", "west"} {
		if state[name] != 'd' {
			p.heard[name] = p.now.Add(time.Millisecond)
		}
		buses = append(buses, sensors.BusHealth{Bus: name, Probes: []sensors.Probe{{ID: name + "-air"}}, Up: state[name] == 'u', Heard: p.heard[name]})
	}
	p.book.step(buses, p.now)
	c, text := p.book.words()
	words := func(alarm.Condition) alarm.Words { return alarm.Words{Text: text} }
	if e, ok := p.slot.Apply(p.now, "", alarm.BusFault, c, words); ok {
		_, dead, _ := strings.Cut(text, "Probe line ")
		dead, _, _ = strings.Cut(dead, " does not answer")
		dead, _, _ = strings.Cut(dead, ", or only now and then")
		minute := p.now.Sub(demoStart).Round(time.Minute).Minutes()
		p.events = append(p.events, strings.TrimSpace(strings.Join([]string{time.Duration(minute * float64(time.Minute)).String(), string(e.State), dead}, " ")))
	}
	p.now = p.now.Add(30 * time.Second)
}

// run feeds both lines a course, a letter each half minute.
func (p *polls) run(east, west string) {
	for i := range east {
		p.see(map[string]byte{"east": east[i], "west": west[i]})
	}
}

func TestBusesThatGoDown(t *testing.T) {
	many := strings.Repeat
	for _, c := range []struct {
		name, east, west string
		want             []string
		cut              []string // at the end
	}{
		{"well", many("u", 20), many("u", 20), nil, nil},
		{"a poll missed", "uuduuuuuuu", many("u", 10), nil, nil},
		{"one dies and comes back", "uu" + many("d", 10) + many("u", 30), many("u", 42), []string{"3m0s raised east", "16m0s cleared"}, nil},
		{"both die", many("d", 10), "uu" + many("d", 8), []string{"2m0s raised east", "3m0s raised east, west"}, []string{"east-air", "west-air"}},
		{"a plug is moved to the other", many("d", 10) + many("u", 40), many("u", 10) + many("d", 40), []string{"2m0s raised east", "7m0s raised west"}, []string{"west-air"}},
		{"the other dies as the first has long been back", many("d", 6) + many("u", 60), many("u", 22) + many("d", 44), []string{"2m0s raised east", "13m0s raised west"}, []string{"west-air"}},
		{"an answer now and then", many("dddddddu", 60), many("u", 480), []string{"2m0s raised east"}, nil},
		{"an answer every two minutes", many("dddu", 60), many("u", 240), []string{"2m0s raised east answers late"}, nil},
		{"slower than the poll", many("s", 40), many("u", 40), []string{"2m0s raised east answers late"}, nil},
		{"slow, then dead", many("s", 10) + many("d", 10), many("u", 20), []string{"2m0s raised east answers late"}, []string{"east-air"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			var p polls
			p.run(c.east, c.west)
			if !slices.Equal(p.events, c.want) {
				t.Errorf("got %q, want %q", p.events, c.want)
			}
			if got := p.book.cut(); !slices.Equal(got, c.cut) {
				t.Errorf("%q are cut off, want %q", got, c.cut)
			}
		})
	}
}

// What is told of a bus says by which rule and what to do.
func TestWordsOfABus(t *testing.T) {
	for _, state := range []string{"d", "s"} {
		var p polls
		p.run(strings.Repeat(state, 6), "uuuuuu")
		if c, text := p.book.words(); c.Rule == "" || c.Source == "" || !strings.Contains(text, ". ") {
			t.Errorf("%s: rule %q, source %q, %q: want all three, and what to do in the last", state, c.Rule, c.Source, text)
		}
	}
}
