package phone_test

import (
	"fmt"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"nestmon/exporter"
	"nestmon/exporter/phone"
	"nestmon/sensors"
	"nestmon/thresholds"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/calls"
)

func heat(state alarm.State, severity alarm.Severity) alarm.Event {
	at := time.Date(2026, 7, 14, 14, 5, 0, 0, time.UTC)
	return alarm.Event{
		Time: at, Since: at.Add(-20 * time.Minute), Nest: "a1", Name: alarm.NestHeat, State: state, Severity: severity,
		Value: 41.2, HasValue: true, Limit: 40, HasLimit: true, Unit: "C", Probe: "a1-air", Text: "Nest a1: too hot. Shade the nest and open its vents.",
		Rule: "nest air above the urgent limit for 10 min", Source: "invented",
	}
}

// in changes a copy of an event.
func in(e alarm.Event, change func(*alarm.Event)) alarm.Event { change(&e); return e }

func elsewhere(nest string, e alarm.Event) alarm.Event { e.Nest = nest; return e }

// berlin is two hours ahead of UTC in July.
func berlin(t *testing.T) *time.Location {
	t.Helper()
	loc, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	return loc
}

func TestOneAlarm(t *testing.T) {
	rows := []struct {
		name, display string
		change        func(*alarm.Event)
		title         string
		body          []string
	}{
		{"raised", "fahrenheit", func(*alarm.Event) {}, "URGENT: nest a1: nest too hot, 106.2 °F (41.2 °C), limit 104.0 °F (40.0 °C), since 15:45", []string{
			"Nest a1: too hot. Shade the nest", "Value: 106.2 °F (41.2 °C)", "Limit: 104.0 °F (40.0 °C)", "Probe: a1-air", "Since: Tue 14 Jul 15:45", "Rule: nest air above",
		}},
		{"celsius first", "celsius", func(*alarm.Event) {}, "URGENT: nest a1: nest too hot, 41.2 °C (106.2 °F), limit 40.0 °C (104.0 °F), since 15:45", nil},
		{"since yesterday", "celsius", func(e *alarm.Event) { e.Since = e.Since.Add(-24 * time.Hour) }, "URGENT: nest a1: nest too hot, 41.2 °C (106.2 °F), limit 40.0 °C (104.0 °F), since Mon 13 Jul 15:45", nil},
		{"over", "celsius", func(e *alarm.Event) { e.State = alarm.Cleared; e.Value = 35 }, "Over: nest a1: nest too hot, 15:45 to 16:05, now 35.0 °C (95.0 °F)", []string{"was urgent"}},
		{"no value, whole site", "celsius", func(e *alarm.Event) {
			*e = alarm.Event{Time: e.Time, Name: alarm.BusFault, State: alarm.Raised, Severity: alarm.Warning}
		}, "WARNING: a whole bus of probes is dead", []string{"a whole bus of probes is dead"}},
		{"a probe of no nest", "celsius", func(e *alarm.Event) {
			*e = alarm.Event{Time: e.Time, Name: alarm.ProbeFault, State: alarm.Raised, Severity: alarm.Warning, Probe: "outside"}
		}, "WARNING: probe outside: probe faulty", nil},
		{"humidity", "celsius", func(e *alarm.Event) { e.Name, e.Unit, e.Value, e.HasLimit = alarm.ToteWet, "%", 96.4, false }, "URGENT: nest a1: wet, 96 %, since 15:45", nil},
		{"heat index", "celsius", func(e *alarm.Event) {
			e.Name, e.Nest, e.Probe, e.Unit, e.Value, e.Limit = alarm.DoeHeat, "", "outside", "", 28, 27.8
		}, "URGENT: probe outside: too hot for the doe, heat index 28.0, limit 27.8, since 15:45", []string{"Value: heat index 28.0"}},
		{"hours", "celsius", func(e *alarm.Event) { e.Name, e.Unit, e.Value = alarm.VisitOverdue, "h", 50 }, "URGENT: nest a1: no visit of the doe seen, 50.0 h, limit 40.0 h, since 15:45", nil},
		{"minutes", "celsius", func(e *alarm.Event) {
			e.Name, e.Unit, e.Value, e.Limit = alarm.ProbeSilent, "h", 0.03, 0.02
		}, "URGENT: nest a1: no data, nobody is watching, 2 min, limit 1 min, since 15:45", []string{"Value: 2 min\nLimit: 1 min\n"}},
		{"minutes up to two hours", "celsius", func(e *alarm.Event) {
			e.Name, e.Unit, e.Value, e.Limit = alarm.ProbeSilent, "h", 1.98, 2
		}, "URGENT: nest a1: no data, nobody is watching, 119 min, limit 2.0 h, since 15:45", []string{"Value: 119 min\nLimit: 2.0 h\n"}},
		{"less than a minute", "celsius", func(e *alarm.Event) {
			e.Name, e.Unit, e.Value, e.Limit = alarm.ProbeSilent, "h", 0.02, 0
		}, "URGENT: nest a1: no data, nobody is watching, 1 min, limit under 1 min, since 15:45", []string{"Limit: under 1 min\n"}},
		{"over, with a length of time", "celsius", func(e *alarm.Event) {
			e.Name, e.State, e.Unit, e.Value = alarm.VisitOverdue, alarm.Cleared, "h", 0
		}, "Over: nest a1: no visit of the doe seen, 15:45 to 16:05", nil},
		{"moisture", "celsius", func(e *alarm.Event) { e.Name, e.Unit, e.Value, e.HasLimit = alarm.VentilationDue, "g/m3", 9.25, false }, "URGENT: nest a1: ventilation due, 9.2 g/m³, since 15:45", nil},
	}
	for _, row := range rows {
		t.Run(row.name, func(t *testing.T) {
			e := in(heat(alarm.Raised, alarm.Urgent), row.change)
			m := phone.Writer{Display: row.display, Zone: berlin(t)}.Write(calls.Call{Why: calls.Began, About: []alarm.Event{e}}, e.Time, thresholds.Snapshot{})
			if m.Title != row.title {
				t.Errorf("title %q, want %q", m.Title, row.title)
			}
			for _, want := range row.body {
				if !strings.Contains(m.Body, want) {
					t.Errorf("body %q lacks %q", m.Body, want)
				}
			}
			if m.Event != e || !m.Time.Equal(e.Time) || m.Kind != exporter.Alarm {
				t.Error("the message does not carry its event")
			}
		})
	}
}

// TestCalls writes one message of every kind, an hour after the alarm began, with a page that answers.
func TestCalls(t *testing.T) {
	hot, cold := heat(alarm.Raised, alarm.Urgent), in(heat(alarm.Raised, alarm.Warning), func(e *alarm.Event) {
		e.Nest, e.Name, e.Value, e.Limit, e.Text = "b2", alarm.NestCold, 2, 4, "Nest b2: cold. Look now."
	})
	over := in(hot, func(e *alarm.Event) { e.State, e.Value, e.Text = alarm.Cleared, 30, "Over at nest a1: nest too hot." })
	box := alarm.Event{Time: hot.Time, Since: hot.Time, Nest: "b2", Name: alarm.BoxDue, State: alarm.Raised, Severity: alarm.Notice, Text: "Nest b2: put the box in."}
	var many, manyOver []alarm.Event
	for i := range 30 {
		many = append(many, elsewhere(fmt.Sprintf("n%02d", i), hot))
		manyOver = append(manyOver, elsewhere(fmt.Sprintf("n%02d", i), over))
	}
	link := "You are on it? Say so once, and the calls about this stop:\nhttps://nest.example/answer/x"
	rows := []struct {
		name  string
		call  calls.Call
		kind  exporter.Kind
		event alarm.Event
		about int
		title string
		body  string // whole; empty where body's parts say enough
		parts []string
	}{
		{
			"again",
			calls.Call{Why: calls.Again, About: []alarm.Event{hot}, Number: 3},
			exporter.Repeat, hot, 0,
			"STILL URGENT, call 4, nobody has answered: nest a1: nest too hot, 106.2 °F (41.2 °C), limit 104.0 °F (40.0 °C), since 15:45",
			"Nest a1: too hot. Shade the nest and open its vents.\nValue: 106.2 °F (41.2 °C)\nLimit: 104.0 °F (40.0 °C)\nProbe: a1-air\n" +
				"Since: Tue 14 Jul 15:45\nRule: nest air above the urgent limit for 10 min\n\n" + link, nil,
		},
		{
			"again, two, and somebody new",
			calls.Call{Why: calls.Again, About: []alarm.Event{hot, elsewhere("a2", hot)}, Number: 1, Fresh: []string{"berta"}},
			exporter.Repeat, hot, 2, "STILL URGENT, call 2, nobody has answered: 2 alarms at a1, a2; worst: nest a1: nest too hot, 106.2 °F (41.2 °C), limit 104.0 °F (40.0 °C), since 15:45",
			"",
			[]string{"Called as well, because nobody else has answered or can be reached: berta.\n\nNest a1: too hot."},
		},
		{
			"again, thirty",
			calls.Call{Why: calls.Again, About: many, Number: 1},
			exporter.Repeat, many[0], 30,
			"STILL URGENT, call 2, nobody has answered: 30 alarms at 30 places; worst: nest n00: nest too hot, 106.2 °F (41.2 °C), limit 104.0 °F (40.0 °C), since 15:45",
			"",
			[]string{"URGENT: nest n00: ", "URGENT: nest n29: ", "Rule: "},
		},
		{
			"storm",
			calls.Call{Why: calls.Storm, About: append(many[:29:29], cold), First: cold},
			exporter.Storm, many[0], 30,
			"URGENT: 30 alarms at 30 places, 29 urgent; worst: nest n00: nest too hot, 106.2 °F (41.2 °C), limit 104.0 °F (40.0 °C), since 15:45",
			"",
			[]string{"Many alarms at once, told in one message.", "It began with nest b2: nest cold, 35.6 °F (2.0 °C), limit 39.2 °F (4.0 °C), since 15:45.", "URGENT: nest n28", "WARNING: nest b2", "What to do about the worst:\nNest a1: too hot."},
		},
		{
			"storm that nobody answers, some over",
			calls.Call{Why: calls.Storm, About: []alarm.Event{hot, cold}, Over: []alarm.Event{elsewhere("c3", over)}, First: cold, Number: 2},
			exporter.Storm, hot, 3, "STILL URGENT, call 3, nobody has answered: 2 alarms at a1, b2, 1 urgent, 1 over; worst: nest a1: nest too hot, 106.2 °F (41.2 °C), limit 104.0 °F (40.0 °C), since 15:45",
			"",
			[]string{"Over since the last message:\nOver: nest c3: nest too hot, 15:45 to 16:05, now 86.0 °F (30.0 °C)"},
		},
		{
			"storm of warnings",
			calls.Call{Why: calls.Storm, About: []alarm.Event{cold}, First: cold},
			exporter.Storm, cold, 0,
			"WARNING: 1 alarm at b2; worst: nest b2: nest cold, 35.6 °F (2.0 °C), limit 39.2 °F (4.0 °C), since 15:45", "", nil,
		},
		{
			"storm that is over",
			calls.Call{Why: calls.Storm, Over: manyOver, First: cold},
			exporter.Storm, manyOver[0], 30,
			"Over: 30 alarms at 30 places", "",
			[]string{"Over: nest n00: nest too hot, 15:45 to 16:05", "Over: nest n29"},
		},
		{
			"digest",
			calls.Call{Why: calls.Waited, About: []alarm.Event{box, over, cold}, Number: 7},
			exporter.Digest, cold, 3,
			"Could wait: 1 warning, 1 notice, 1 that came and went. First look at: WARNING: nest b2: nest cold, 35.6 °F (2.0 °C), limit 39.2 °F (4.0 °C), since 15:45",
			"7 older ones are not listed; look at the page.\n\nNotice: nest b2: nest box due, since 16:05\nNest b2: put the box in.\n\n" +
				"Over: nest a1: nest too hot, 15:45 to 16:05, now 86.0 °F (30.0 °C)\n\nWARNING: nest b2: nest cold, 35.6 °F (2.0 °C), limit 39.2 °F (4.0 °C), since 15:45\nNest b2: cold. Look now.", nil,
		},
		{
			"digest of one",
			calls.Call{Why: calls.Waited, About: []alarm.Event{box}},
			exporter.Digest, box, 0,
			"Could wait: Notice: nest b2: nest box due, since 16:05", "Notice: nest b2: nest box due, since 16:05\nNest b2: put the box in.", nil,
		},
		{
			"ended",
			calls.Call{Why: calls.Ended, About: []alarm.Event{over}},
			exporter.Alarm, over, 0, "Over: nest a1: nest too hot, 15:45 to 16:05, now 86.0 °F (30.0 °C)",
			"Over at nest a1: nest too hot.\nValue: 86.0 °F (30.0 °C)\nProbe: a1-air\nSince: Tue 14 Jul 15:45\nOver: Tue 14 Jul 16:05, was urgent", nil,
		},
	}
	for _, row := range rows {
		t.Run(row.name, func(t *testing.T) {
			w := phone.Writer{Display: "fahrenheit", Zone: berlin(t), Site: "Willow Bend", Link: func(string) string { return "https://nest.example/answer/x" }}
			m := w.Write(row.call, hot.Time.Add(time.Hour), thresholds.Snapshot{})
			if testing.Verbose() {
				t.Logf("\n%s\n---\n%s", m.Title, m.Body)
			}
			if m.Kind != row.kind || m.Event != row.event || len(m.About) != row.about {
				t.Errorf("kind %q about %s/%s and %d, want %q about %s/%s and %d", m.Kind, m.Event.Nest, m.Event.Name, len(m.About), row.kind, row.event.Nest, row.event.Name, row.about)
			}
			if m.Title != row.title {
				t.Errorf("title\n%q\nwant\n%q", m.Title, row.title)
			}
			if row.body != "" && m.Body != row.body {
				t.Errorf("body\n%q\nwant\n%q", m.Body, row.body)
			}
			for _, part := range row.parts {
				if !strings.Contains(m.Body, part) {
					t.Errorf("body\n%s\nlacks\n%s", m.Body, part)
				}
			}
			asks := len(row.call.About) > 0 && row.call.About[0].State == alarm.Raised && row.kind != exporter.Digest
			if (m.Link != "") != asks || strings.HasSuffix(m.Body, link) != asks {
				t.Errorf("asked to answer: %v, want %v\n%s", m.Link != "", asks, m.Body)
			}
		})
	}
}

func TestWithoutAPageAddress(t *testing.T) {
	for severity, want := range map[alarm.Severity]bool{alarm.Warning: false, alarm.Urgent: true} {
		e := heat(alarm.Raised, severity)
		m := phone.Writer{Link: func(string) string { return "" }}.Write(calls.Call{Why: calls.Began, About: []alarm.Event{e}}, e.Time, thresholds.Snapshot{})
		if got := strings.Contains(m.Body, "nestmon alarms ack --nest "+e.Nest); got != want || m.Link != "" {
			t.Errorf("%s: says how to stop the calls: %v, want %v", severity, got, want)
		}
	}
}

// TestWhoCarriesAnEnd: a channel for urgent alarms alone hears that one is over, also among warnings.
func TestWhoCarriesAnEnd(t *testing.T) {
	warm, over := heat(alarm.Raised, alarm.Warning), elsewhere("b2", heat(alarm.Cleared, alarm.Urgent))
	for name, c := range map[string]calls.Call{
		"alone":          {Why: calls.Ended, About: []alarm.Event{over}},
		"all over":       {Why: calls.Storm, Over: []alarm.Event{elsewhere("a1", heat(alarm.Cleared, alarm.Warning)), over}},
		"among warnings": {Why: calls.Storm, About: []alarm.Event{warm}, Over: []alarm.Event{over}},
	} {
		if m := (phone.Writer{}).Write(c, over.Time, thresholds.Snapshot{}); !m.Carried(alarm.Urgent) {
			t.Errorf("%s: %q does not reach it", name, m.Title)
		}
	}
	if m := (phone.Writer{}).Write(calls.Call{Why: calls.Storm, About: []alarm.Event{warm, warm}}, over.Time, thresholds.Snapshot{}); m.Carried(alarm.Urgent) {
		t.Error("warnings reach it")
	}
}

func TestEveryEventHasWords(t *testing.T) {
	for _, name := range alarm.Names {
		e := alarm.Event{Name: name, Nest: "a1", Severity: alarm.Notice, State: alarm.Raised}
		m := phone.Writer{}.Write(calls.Call{Why: calls.Began, About: []alarm.Event{e}}, e.Time, thresholds.Snapshot{})
		if strings.Contains(m.Title, string(name)) && strings.Contains(string(name), "-") || m.Body == "" {
			t.Errorf("%s has no words: %q, %q", name, m.Title, m.Body)
		}
	}
}

func TestTitleIsShort(t *testing.T) {
	e := elsewhere(strings.Repeat("ü", 300), heat(alarm.Raised, alarm.Urgent))
	all := []alarm.Event{e, elsewhere(strings.Repeat("x", 300), e)}
	for _, why := range []calls.Why{calls.Began, calls.Worse, calls.Ended, calls.Happened, calls.Again, calls.Storm, calls.Waited} {
		m := phone.Writer{}.Write(calls.Call{Why: why, About: all, First: e}, e.Time, thresholds.Snapshot{})
		if n := utf8.RuneCountInString(m.Title); n != 180 {
			t.Errorf("%s: title of %d characters, want 180", why, n)
		}
	}
}

func TestIDNamesTheCall(t *testing.T) {
	e := heat(alarm.Raised, alarm.Warning)
	c := calls.Call{Why: calls.Began, About: []alarm.Event{e}}
	id := phone.Writer{}.Write(c, e.Time, thresholds.Snapshot{}).ID
	rows := []struct {
		name   string
		change func(c *calls.Call, e *alarm.Event, now *time.Time)
		same   bool
	}{
		{"other words", func(_ *calls.Call, e *alarm.Event, _ *time.Time) { e.Text = "x" }, true},
		{"other zone", func(_ *calls.Call, e *alarm.Event, now *time.Time) {
			e.Time, *now = e.Time.In(time.FixedZone("x", 3600)), now.In(time.FixedZone("x", 3600))
		}, true},
		{"other people", func(c *calls.Call, _ *alarm.Event, _ *time.Time) { c.To = []string{"anna"} }, true},
		{"a later call", func(_ *calls.Call, _ *alarm.Event, now *time.Time) { *now = now.Add(time.Second) }, false},
		{"for another reason", func(c *calls.Call, _ *alarm.Event, _ *time.Time) { c.Why = calls.Worse }, false},
		{"another time", func(_ *calls.Call, e *alarm.Event, _ *time.Time) { e.Time = e.Time.Add(time.Second) }, false},
		{"another nest", func(_ *calls.Call, e *alarm.Event, _ *time.Time) { e.Nest = "a2" }, false},
		{"another event", func(_ *calls.Call, e *alarm.Event, _ *time.Time) { e.Name = alarm.DoeHeat }, false},
		{"another state", func(_ *calls.Call, e *alarm.Event, _ *time.Time) { e.State = alarm.Cleared }, false},
		{"another severity", func(_ *calls.Call, e *alarm.Event, _ *time.Time) { e.Severity = alarm.Urgent }, false},
		{"something over", func(c *calls.Call, e *alarm.Event, _ *time.Time) { c.Over = []alarm.Event{*e} }, false},
	}
	for _, row := range rows {
		t.Run(row.name, func(t *testing.T) {
			c, e, now := c, e, e.Time
			row.change(&c, &e, &now)
			c.About = []alarm.Event{e}
			if same := (phone.Writer{Display: "fahrenheit", Zone: time.Local}).Write(c, now, thresholds.Snapshot{}).ID == id; same != row.same {
				t.Errorf("same id: %v, want %v", same, row.same)
			}
		})
	}
}

func TestHowThingsStand(t *testing.T) {
	at := time.Date(2026, 7, 14, 6, 0, 0, 0, time.UTC)
	judged := thresholds.NestState{ID: "a1", Judged: []thresholds.Judgement{{Danger: "heat", Judged: true}}}
	blind := thresholds.NestState{ID: "b2", Judged: []thresholds.Judgement{{Danger: "heat", Judged: true}, {Danger: "chill", Why: "no litter entered"}, {Danger: "cold", Why: "no litter entered"}}}
	hot := alarm.Standing{Event: heat(alarm.Raised, alarm.Urgent), Status: alarm.Unacknowledged}
	with := func(st alarm.Standing, status alarm.Status) alarm.Standing { st.Status = status; return st }
	over := with(hot, alarm.Returned)
	over.Over = hot.Time
	shelved := with(hot, alarm.Shelved)
	shelved.Until = at.Add(time.Hour)
	box := alarm.Standing{Event: alarm.Event{Nest: "a1", Name: alarm.BoxDue, State: alarm.Raised, Severity: alarm.Notice}}
	limit := 30.0
	tooHot := judged
	tooHot.ID, tooHot.Limits.AirHot = "c3", &limit
	tooHot.Values = []thresholds.Value{{Role: thresholds.Air, Quantity: sensors.Temperature, Value: 38, Fresh: true}}
	rows := []struct {
		name  string
		s     thresholds.Snapshot
		title string
		body  []string
	}{
		{"all well", thresholds.Snapshot{Nests: []thresholds.NestState{judged}}, "All well: 1 nest watched, no alarm", []string{"Willow Bend is watched. If this message stays away one day"}},
		{"a chore is no alarm", thresholds.Snapshot{Nests: []thresholds.NestState{judged}, Alarms: []alarm.Standing{box}}, "All well: 1 nest watched, no alarm", nil},
		{"no nest", thresholds.Snapshot{}, "How things stand: 0 nests, no alarm on", nil},
		{"on", thresholds.Snapshot{Nests: []thresholds.NestState{judged}, Alarms: []alarm.Standing{hot}}, "How things stand: 1 nest, 1 alarm on", []string{"On now:\nURGENT: nest a1: nest too hot"}},
		{"seen, and on", thresholds.Snapshot{Nests: []thresholds.NestState{judged}, Alarms: []alarm.Standing{with(hot, alarm.Acknowledged)}}, "How things stand: 1 nest, 1 alarm on", nil},
		{"suppressed, and on", thresholds.Snapshot{Nests: []thresholds.NestState{judged}, Alarms: []alarm.Standing{with(hot, alarm.Suppressed), hot}}, "How things stand: 1 nest, 2 alarms on", nil},
		{"over, not seen", thresholds.Snapshot{Nests: []thresholds.NestState{judged}, Quiet: []alarm.Standing{over}}, "How things stand: 1 nest, no alarm on, 1 over that nobody has acknowledged", []string{"Over: nest a1: nest too hot, Tue 14 Jul 15:45 to Tue 14 Jul 16:05"}},
		{"over its limit, and no alarm yet", thresholds.Snapshot{Nests: []thresholds.NestState{tooHot}}, "How things stand: 1 nest, no alarm on, 1 over its limit", []string{"not for long enough to be an alarm yet:\nnest c3: air 38.0 °C (100.4 °F), limit 30.0 °C (86.0 °F)"}},
		{"not judged", thresholds.Snapshot{Nests: []thresholds.NestState{judged, blind}}, "How things stand: 2 nests, no alarm on, not everything judged in 1", []string{"Not judged now:\nnest b2: chill (no litter entered), cold (no litter entered)"}},
		{"shelved", thresholds.Snapshot{Nests: []thresholds.NestState{judged}, Alarms: []alarm.Standing{shelved}}, "How things stand: 1 nest, 1 alarm on, calls are off for 1", []string{"On now:\nURGENT: nest a1", "Nobody is called for:\nnest a1: nest too hot, shelved until 09:00"}},
		{"out of service", thresholds.Snapshot{Nests: []thresholds.NestState{judged}, Quiet: []alarm.Standing{{Event: alarm.Event{Nest: "a1"}, Status: alarm.OutOfService}}}, "How things stand: 1 nest, no alarm on, calls are off for 1", []string{"nest a1: all alarms, out of service"}},
	}
	for _, row := range rows {
		t.Run(row.name, func(t *testing.T) {
			now := at
			if row.name == "over, not seen" {
				now = at.AddDate(0, 0, 1)
			}
			m := phone.Writer{Display: "celsius", Zone: berlin(t), Site: "Willow Bend"}.Write(calls.Call{Why: calls.AllWell}, now, row.s)
			if m.Title != row.title || m.Kind != exporter.AllWell || m.Link != "" {
				t.Errorf("%s %q, want %q", m.Kind, m.Title, row.title)
			}
			for _, want := range row.body {
				if !strings.Contains(m.Body, want) {
					t.Errorf("body\n%s\nlacks %q", m.Body, want)
				}
			}
		})
	}
}
