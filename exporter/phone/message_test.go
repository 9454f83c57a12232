package phone_test

import (
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"nestmon/exporter/phone"
	"nestmon/thresholds/alarm"
)

func heat(state alarm.State, severity alarm.Severity) alarm.Event {
	at := time.Date(2026, 7, 14, 14, 5, 0, 0, time.UTC)
	return alarm.Event{
		Time: at, Since: at.Add(-20 * time.Minute), Nest: "a1", Name: alarm.NestHeat, State: state, Severity: severity,
		Value: 41.2, HasValue: true, Limit: 40, HasLimit: true, Unit: "C", Probe: "a1-air", Text: "Shade the nest and open its vents.",
		Rule: "nest air above the urgent limit for 10 min", Source: "invented",
	}
}

func TestCompose(t *testing.T) {
	berlin, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	rows := []struct {
		name, display string
		change        func(*alarm.Event)
		title         string
		body          []string
	}{
		{"raised", "fahrenheit", func(*alarm.Event) {}, "URGENT: nest a1: nest too hot, 106.2 °F (41.2 °C), since 15:45", []string{"Shade the nest", "Limit: 104.0 °F (40.0 °C)", "Probe: a1-air", "Since: Tue 14 Jul 15:45"}},
		{"celsius first", "celsius", func(*alarm.Event) {}, "URGENT: nest a1: nest too hot, 41.2 °C (106.2 °F), since 15:45", nil},
		{"since yesterday", "celsius", func(e *alarm.Event) { e.Since = e.Since.Add(-24 * time.Hour) }, "URGENT: nest a1: nest too hot, 41.2 °C (106.2 °F), since Mon 13 Jul 15:45", nil},
		{"over", "celsius", func(e *alarm.Event) { e.State = alarm.Cleared; e.Value = 35 }, "over: nest a1: nest too hot, 35.0 °C (95.0 °F), 15:45 to 16:05", []string{"was urgent"}},
		{"no value, whole site", "celsius", func(e *alarm.Event) {
			*e = alarm.Event{Time: e.Time, Name: alarm.BusFault, State: alarm.Raised, Severity: alarm.Warning}
		}, "WARNING: site: a whole bus of probes is dead", []string{"bus-fault"}},
		{"humidity", "celsius", func(e *alarm.Event) { e.Name, e.Unit, e.Value = alarm.ToteWet, "%", 96.4 }, "URGENT: nest a1: wet, 96 %, since 15:45", nil},
		{"hours", "celsius", func(e *alarm.Event) { e.Name, e.Unit, e.Value = alarm.VisitOverdue, "h", 50 }, "URGENT: nest a1: no visit of the doe seen, 50.0 h, since 15:45", nil},
		{"minutes", "celsius", func(e *alarm.Event) {
			e.Name, e.Unit, e.Value, e.Limit = alarm.ProbeSilent, "h", 0.03, 0.02
		}, "URGENT: nest a1: no data, nobody is watching, 2 min, since 15:45", []string{"Value: 2 min\nLimit: 1 min\n"}},
		{"minutes up to two hours", "celsius", func(e *alarm.Event) {
			e.Name, e.Unit, e.Value, e.Limit = alarm.ProbeSilent, "h", 1.98, 2
		}, "URGENT: nest a1: no data, nobody is watching, 119 min, since 15:45", []string{"Value: 119 min\nLimit: 2.0 h\n"}},
		{"less than a minute", "celsius", func(e *alarm.Event) {
			e.Name, e.Unit, e.Value, e.Limit = alarm.ProbeSilent, "h", 0.02, 0
		}, "URGENT: nest a1: no data, nobody is watching, 1 min, since 15:45", []string{"Limit: under 1 min\n"}},
		{"over, with a length of time", "celsius", func(e *alarm.Event) {
			e.Name, e.State, e.Unit, e.Value = alarm.VisitOverdue, alarm.Cleared, "h", 0
		}, "over: nest a1: no visit of the doe seen, 15:45 to 16:05", nil},
		{"moisture", "celsius", func(e *alarm.Event) { e.Name, e.Unit, e.Value = alarm.VentilationDue, "g/m3", 9.25 }, "URGENT: nest a1: ventilation due, 9.2 g/m³, since 15:45", nil},
	}
	for _, row := range rows {
		t.Run(row.name, func(t *testing.T) {
			e := heat(alarm.Raised, alarm.Urgent)
			row.change(&e)
			m := phone.Compose(e, row.display, berlin)
			if m.Title != row.title {
				t.Errorf("title %q, want %q", m.Title, row.title)
			}
			for _, want := range row.body {
				if !strings.Contains(m.Body, want) {
					t.Errorf("body %q lacks %q", m.Body, want)
				}
			}
			if m.Event != e || !m.Time.Equal(e.Time) {
				t.Error("the message does not carry its event")
			}
		})
	}
}

func TestEveryEventHasWords(t *testing.T) {
	for _, name := range alarm.Names {
		m := phone.Compose(alarm.Event{Name: name, Nest: "a1", Severity: alarm.Notice, State: alarm.Raised}, "celsius", time.UTC)
		if strings.Contains(m.Title, string(name)) && strings.Contains(string(name), "-") {
			t.Errorf("%s has no words: %q", name, m.Title)
		}
	}
}

func TestTitleIsShort(t *testing.T) {
	e := heat(alarm.Raised, alarm.Urgent)
	e.Nest = strings.Repeat("ü", 300)
	if n := utf8.RuneCountInString(phone.Compose(e, "celsius", time.UTC).Title); n != 180 {
		t.Errorf("title of %d characters, want 180", n)
	}
}

func TestIDNamesTheChange(t *testing.T) {
	e := heat(alarm.Raised, alarm.Warning)
	id := phone.Compose(e, "celsius", time.UTC).ID
	rows := []struct {
		name   string
		change func(*alarm.Event)
		same   bool
	}{
		{"other words", func(e *alarm.Event) { e.Text = "x" }, true},
		{"other zone", func(e *alarm.Event) { e.Time = e.Time.In(time.FixedZone("x", 3600)) }, true},
		{"another time", func(e *alarm.Event) { e.Time = e.Time.Add(time.Second) }, false},
		{"another nest", func(e *alarm.Event) { e.Nest = "a2" }, false},
		{"another event", func(e *alarm.Event) { e.Name = alarm.DoeHeat }, false},
		{"another state", func(e *alarm.Event) { e.State = alarm.Cleared }, false},
		{"another severity", func(e *alarm.Event) { e.Severity = alarm.Urgent }, false},
	}
	for _, row := range rows {
		t.Run(row.name, func(t *testing.T) {
			other := e
			row.change(&other)
			if same := phone.Compose(other, "fahrenheit", time.Local).ID == id; same != row.same {
				t.Errorf("same id: %v, want %v", same, row.same)
			}
		})
	}
}

func TestHold(t *testing.T) {
	newYork, err := time.LoadLocation("America/New_York")
	if err != nil {
		t.Fatal(err)
	}
	local := func(s string) time.Time {
		at, err := time.ParseInLocation("2006-01-02 15:04", s, newYork)
		if err != nil {
			t.Fatal(err)
		}
		return at
	}
	night, nap := &phone.Window{From: "22:00", To: "06:30"}, &phone.Window{From: "13:00", To: "14:00"}
	event := func(name alarm.Name, severity alarm.Severity, state alarm.State) alarm.Event {
		return alarm.Event{Name: name, Severity: severity, State: state}
	}
	wet := event(alarm.ToteWet, alarm.Warning, alarm.Raised)
	// In New York clocks went from 02:00 to 03:00 on 8 March 2026 and go from 02:00 back to 01:00 on 1 November 2026
	// (IANA time zone database).
	rows := []struct {
		name  string
		quiet *phone.Window
		e     alarm.Event
		now   time.Time
		until time.Time // zero: not held
	}{
		{"no quiet hours", nil, wet, local("2026-07-14 23:10"), time.Time{}},
		{"by day", night, wet, local("2026-07-14 12:00"), time.Time{}},
		{"before midnight", night, wet, local("2026-07-14 23:10"), local("2026-07-15 06:30")},
		{"after midnight", night, wet, local("2026-07-15 03:10"), local("2026-07-15 06:30")},
		{"the first minute", night, wet, local("2026-07-14 22:00"), local("2026-07-15 06:30")},
		{"the minute of the end", night, wet, local("2026-07-15 06:30"), time.Time{}},
		{"within one day", nap, wet, local("2026-07-15 13:59"), local("2026-07-15 14:00")},
		{"now in another zone", night, wet, local("2026-07-14 23:10").UTC(), local("2026-07-15 06:30")},
		{"urgent", night, event(alarm.NestHeat, alarm.Urgent, alarm.Raised), local("2026-07-15 03:10"), time.Time{}},
		{"urgent without a name of its own", night, event(alarm.DaemonFault, alarm.Urgent, alarm.Raised), local("2026-07-15 03:10"), time.Time{}},
		{"end of an urgent one", night, event(alarm.NestHeat, alarm.Urgent, alarm.Cleared), local("2026-07-15 03:10"), time.Time{}},
		{"chill", night, event(alarm.ClusterChill, alarm.Warning, alarm.Raised), local("2026-07-15 03:10"), time.Time{}},
		{"silent probe", night, event(alarm.ProbeSilent, alarm.Warning, alarm.Raised), local("2026-07-15 03:10"), time.Time{}},
		{"end of a chill", night, event(alarm.ClusterChill, alarm.Warning, alarm.Cleared), local("2026-07-15 03:10"), local("2026-07-15 06:30")},
		{"cold as a notice", night, event(alarm.NestCold, alarm.Notice, alarm.Raised), local("2026-07-15 03:10"), local("2026-07-15 06:30")},
		{"a chore, whatever its severity", night, event(alarm.BoxDue, alarm.Urgent, alarm.Raised), local("2026-07-15 03:10"), local("2026-07-15 06:30")},
		{"spring: the night is an hour short", night, wet, local("2026-03-07 23:00"), local("2026-03-08 06:30")},
		{"spring: the end does not exist", &phone.Window{From: "22:00", To: "02:30"}, wet, local("2026-03-07 23:00"), local("2026-03-08 03:00")},
		{"autumn: the night is an hour long", night, wet, local("2026-10-31 23:00"), local("2026-11-01 06:30")},
		{"autumn: the second of two hours", &phone.Window{From: "22:00", To: "01:30"}, wet, local("2026-11-01 03:00").Add(-110 * time.Minute), local("2026-11-01 03:00").Add(-90 * time.Minute)},
		{"no time of day", &phone.Window{From: "x", To: "y"}, wet, local("2026-07-15 03:10"), time.Time{}},
	}
	for _, row := range rows {
		t.Run(row.name, func(t *testing.T) {
			want := row.until
			if want.IsZero() {
				want = row.now
			}
			if got := (phone.Config{QuietHours: row.quiet}).Hold(row.e, row.now, newYork); !got.Equal(want) {
				t.Errorf("held until %v, want %v", got.In(newYork), want.In(newYork))
			}
		})
	}
}

func TestWhy(t *testing.T) {
	event := func(name alarm.Name, severity alarm.Severity, state alarm.State) alarm.Event {
		return alarm.Event{Nest: "a1", Name: name, Severity: severity, State: state}
	}
	rows := []struct {
		name    string
		e       alarm.Event
		atLeast alarm.Severity
		told    alarm.Severity
		want    phone.Reason // empty: not told
	}{
		{"begins", event(alarm.NestHeat, alarm.Warning, alarm.Raised), alarm.Warning, alarm.None, phone.Began},
		{"begins below the level", event(alarm.NestCold, alarm.Notice, alarm.Raised), alarm.Warning, alarm.None, ""},
		{"rises", event(alarm.NestHeat, alarm.Urgent, alarm.Raised), alarm.Warning, alarm.Warning, phone.GrewWorse},
		{"rises to the level", event(alarm.NestCold, alarm.Warning, alarm.Raised), alarm.Warning, alarm.None, phone.Began},
		{"ends", event(alarm.NestHeat, alarm.Warning, alarm.Cleared), alarm.Warning, alarm.Urgent, phone.Ended},
		{"ends having fallen below the level", event(alarm.NestCold, alarm.Notice, alarm.Cleared), alarm.Warning, alarm.Urgent, phone.Ended},
		{"ends untold", event(alarm.NestHeat, alarm.Warning, alarm.Cleared), alarm.Warning, alarm.None, ""},
		{"a notice ends", event(alarm.NestCold, alarm.Notice, alarm.Cleared), alarm.Notice, alarm.Notice, ""},
		{"a chore", event(alarm.BoxDue, alarm.Warning, alarm.Raised), alarm.Warning, alarm.None, phone.Began},
		{"a chore done", event(alarm.BoxDue, alarm.Warning, alarm.Cleared), alarm.Warning, alarm.Warning, ""},
		{"kits born", event(alarm.Kindled, alarm.Notice, alarm.Noted), alarm.Notice, alarm.None, phone.Happened},
		{"a visit", event(alarm.Visit, alarm.Notice, alarm.Noted), alarm.Notice, alarm.None, ""},
	}
	for _, row := range rows {
		t.Run(row.name, func(t *testing.T) {
			got, yes := phone.Why(row.e, row.atLeast, row.told)
			if yes != (row.want != "") || (yes && got != row.want) {
				t.Errorf("got %q %v, want %q", got, yes, row.want)
			}
		})
	}
}

// TestHeatThatCameIsNotOver: the end of heat-expected is told where the heat stayed away, not while it is there.
func TestHeatThatCameIsNotOver(t *testing.T) {
	e := func(nest string, name alarm.Name, severity alarm.Severity, state alarm.State) alarm.Event {
		return alarm.Event{Nest: nest, Name: name, Severity: severity, State: state}
	}
	expected := []alarm.Event{e("a1", alarm.HeatExpected, alarm.Warning, alarm.Raised), e("a2", alarm.HeatExpected, alarm.Warning, alarm.Raised)}
	told := phone.NewTold(alarm.Warning, []alarm.Standing{{Event: expected[0]}, {Event: expected[1]}})
	for i, step := range []struct {
		e    alarm.Event
		want phone.Reason
	}{
		{e("a1", alarm.NestHeat, alarm.Urgent, alarm.Raised), phone.Began},
		{e("a1", alarm.HeatExpected, alarm.Warning, alarm.Cleared), ""},
		{e("a2", alarm.HeatExpected, alarm.Warning, alarm.Cleared), phone.Ended},
		{e("a1", alarm.NestHeat, alarm.Warning, alarm.Cleared), phone.Ended},
		{e("a1", alarm.HeatExpected, alarm.Warning, alarm.Raised), phone.Began},
		{e("a1", alarm.HeatExpected, alarm.Warning, alarm.Cleared), phone.Ended},
	} {
		if got, yes := told.Take(step.e); got != step.want || yes != (step.want != "") {
			t.Errorf("step %d, %s of %s: got %q %v, want %q", i, step.e.Name, step.e.Nest, got, yes, step.want)
		}
	}
}

func TestToldRemembers(t *testing.T) {
	e := func(severity alarm.Severity, state alarm.State) alarm.Event {
		return alarm.Event{Nest: "a1", Name: alarm.NestHeat, Severity: severity, State: state}
	}
	told := phone.NewTold(alarm.Warning, []alarm.Standing{{Event: e(alarm.Warning, alarm.Raised)}})
	steps := []struct {
		name string
		e    alarm.Event
		want phone.Reason
	}{
		{"what stood at the start grows worse", e(alarm.Urgent, alarm.Raised), phone.GrewWorse},
		{"and ends", e(alarm.Notice, alarm.Cleared), phone.Ended},
		{"comes as a notice", e(alarm.Notice, alarm.Raised), ""},
		{"whose end nobody hears", e(alarm.Notice, alarm.Cleared), ""},
		{"comes again", e(alarm.Warning, alarm.Raised), phone.Began},
	}
	for _, step := range steps {
		if got, yes := told.Take(step.e); got != step.want || yes != (step.want != "") {
			t.Errorf("%s: got %q %v, want %q", step.name, got, yes, step.want)
		}
	}
}
