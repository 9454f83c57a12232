package web_test

import (
	"encoding/json"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"

	"nestmon/exporter/web"
	"nestmon/thresholds/alarm"
)

// diary is a past of events and acts, and counts how often it is read.
type diary struct {
	events []alarm.Event
	acts   []alarm.Act
	reads  int
}

func newest[T any](all []T, at func(T) time.Time, from, to time.Time, limit int) []T {
	in := slices.DeleteFunc(slices.Clone(all), func(e T) bool { return at(e).Before(from) || !at(e).Before(to) })
	return in[max(len(in)-limit, 0):]
}

func (d *diary) page(t *testing.T) *web.Server {
	t.Helper()
	s := web.New(web.Config{Listen: web.None}, site(), web.History{
		Events: func(from, to time.Time, limit int) ([]alarm.Event, error) {
			d.reads++
			return newest(d.events, func(e alarm.Event) time.Time { return e.Time }, from, to, limit), nil
		},
		Acts: func(from, to time.Time, limit int) ([]alarm.Act, error) {
			return newest(d.acts, func(a alarm.Act) time.Time { return a.At }, from, to, limit), nil
		},
	}, quiet())
	s.Now = func() time.Time { return noon }
	publish(t, s)
	return s
}

type journalAnswer struct {
	Entries []struct {
		Kind   string
		Time   time.Time
		Nest   *string
		Event  string
		Rule   *string
		Action *string
		By     *string
		For    *float64 `json:"for_s"`
	}
	Earlier *time.Time
}

func asked(t *testing.T, s *web.Server, query string) (j journalAnswer) {
	t.Helper()
	r := get(s.Handler(), "GET", "/api/journal?"+query)
	if text := body(t, r); r.StatusCode != http.StatusOK || json.Unmarshal([]byte(text), &j) != nil {
		t.Fatalf("%s: %d %s", query, r.StatusCode, text)
	}
	return j
}

func TestJournalIsWhatWasRaisedAndWhatPeopleDid(t *testing.T) {
	at := func(minutes int) time.Time { return noon.Add(time.Duration(minutes-60) * time.Minute) }
	d := &diary{
		events: []alarm.Event{
			{Time: at(1), Nest: "a1", Name: alarm.NestHeat, State: alarm.Raised, Severity: alarm.Urgent, Rule: "air over 37 °C"},
			{Time: at(2), Name: alarm.BusFault, State: alarm.Raised, Severity: alarm.Warning},
			{Time: at(4), Nest: "a1", Name: alarm.InspectDue, State: alarm.Raised, Severity: alarm.Notice},
			{Time: at(5), Nest: "a1", Name: alarm.Visit, State: alarm.Noted},
			{Time: at(6), Nest: "a1", Name: alarm.NestHeat, State: alarm.Cleared, Severity: alarm.Urgent},
		},
		acts: []alarm.Act{{At: at(3), Nest: "a1", Event: alarm.NestHeat, Action: alarm.Shelve, By: "anna, by command", For: 15 * time.Minute}, {At: at(7), Action: alarm.TakeOut, By: "page"}},
	}
	s := d.page(t)
	for query, want := range map[string]string{
		"":                                 "alarm:a1/nest-heat alarm:/bus-fault act:a1/nest-heat chore:a1/inspect-due noted:a1/visit alarm:a1/nest-heat act:/",
		"nest=a1&kind=alarm":               "alarm:a1/nest-heat alarm:a1/nest-heat",
		"nest=-":                           "alarm:/bus-fault act:/",
		"kind=act":                         "act:a1/nest-heat act:/",
		"kind=chore":                       "chore:a1/inspect-due",
		"max=2":                            "alarm:a1/nest-heat act:/",
		"to=" + at(3).Format(time.RFC3339): "alarm:a1/nest-heat alarm:/bus-fault",
	} {
		var got []string
		for _, e := range asked(t, s, query).Entries {
			nest := ""
			if e.Nest != nil {
				nest = *e.Nest
			}
			got = append(got, e.Kind+":"+nest+"/"+e.Event)
		}
		if strings.Join(got, " ") != want {
			t.Errorf("%q: %s\nwant %s", query, strings.Join(got, " "), want)
		}
	}
	all := asked(t, s, "").Entries
	if *all[0].Rule != "air over 37 °C" || *all[2].By != "anna, by command" || *all[2].For != 900 || *all[2].Action != "shelve" {
		t.Errorf("got %+v", all)
	}
	for _, query := range []string{"kind=moon", "nest=zz", "max=501", "from=x"} {
		if r := get(s.Handler(), "GET", "/api/journal?"+query); r.StatusCode != http.StatusBadRequest {
			t.Errorf("%s: %d", query, r.StatusCode)
		}
	}
}

// A past of many entries, some of one instant, is read page by page: each comes once, and none is left out.
func TestJournalIsReadToItsEnd(t *testing.T) {
	d := &diary{}
	for i := range 3000 {
		at := noon.Add(-time.Duration(3000-i/7*7) * time.Second) // seven at a time
		nest := ""
		if i%50 == 0 {
			nest = "a1"
		}
		d.events = append(d.events, alarm.Event{Time: at, Nest: nest, Name: alarm.NestHeat, State: alarm.Raised, Probe: fmt.Sprint(i)})
		if i%3 == 0 {
			d.acts = append(d.acts, alarm.Act{At: at, Nest: nest, Action: alarm.Acknowledge, By: fmt.Sprint(i)})
		}
	}
	s := d.page(t)
	for query, want := range map[string]int{"": 4000, "nest=a1": 60 + 20, "kind=act": 1000} {
		got, questions := 0, 0
		for to := noon.Format(time.RFC3339Nano); to != ""; questions++ {
			j := asked(t, s, "max=90&to="+to+"&"+query)
			got += len(j.Entries)
			if to = ""; j.Earlier != nil {
				to = j.Earlier.Format(time.RFC3339Nano)
			}
			if questions > 200 {
				t.Fatalf("%q: it does not end", query)
			}
		}
		if got != want {
			t.Errorf("%q: %d entries in %d answers, want %d", query, got, questions, want)
		}
	}
	if d.reads = 0; len(asked(t, s, "kind=noted").Entries) != 0 || d.reads > 10 {
		t.Errorf("%d reads for one answer", d.reads)
	}
}
