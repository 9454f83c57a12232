package web_test

import (
	"context"
	"net/http/httptest"
	"slices"
	"strings"
	"testing"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/web/webtest"
	"nestmon/thresholds/alarm"
)

// What a phone shows before its scripts run must be of now, and never more than was measured.
func TestFirstLook(t *testing.T) {
	s := server(t)
	first := func() string {
		_, look, _ := strings.Cut(body(t, get(s.Handler(), "GET", "/")), `<section id="first">`)
		look, _, _ = strings.Cut(look, "</section>")
		return strings.Join(strings.Fields(look), " ")
	}
	if got := first(); got != "" {
		t.Errorf("before anything was measured: %s", got)
	}
	st := state()
	st.Snapshot.Nests[0].Severity = alarm.Warning
	calm := st.Snapshot.Nests[0]
	calm.ID, calm.Severity = "<b1>", alarm.None
	st.Snapshot.Nests = append(st.Snapshot.Nests[:0:0], calm, st.Snapshot.Nests[0])
	show := func(change func(*exporter.State)) string {
		changed := *st
		change(&changed)
		if err := s.Publish(t.Context(), &changed); err != nil {
			t.Fatal(err)
		}
		return first()
	}
	got := show(func(*exporter.State) {})
	for _, want := range []string{
		"As it was at 12:00:00, 2031-07-19, not live.", `<article class="card is-warning"> <h3>a1</h3> <ul class="says"><li>Warning</li><li>Over the limit</li><li>Not judged: chill (No litter is entered.)</li></ul> <ul class="stands"><li class="stand is-warning"><p class="say">hot</p></li></ul>`,
		`<strong>Nest air</strong></p><p class="big"><span class="number">97.7</span><span class="unit">°F</span>`, // 36.5 °C
		`<div class="dial is-stale"><p class="what"><strong>Cluster</strong></p><p class="big"><span class="number">no data</span><span class="unit"></span>`,
		`<h3>&lt;b1&gt;</h3>`,
	} {
		if !strings.Contains(got, want) {
			t.Errorf("no %s in %s", want, got)
		}
	}
	if strings.Index(got, "a1") > strings.Index(got, "b1") {
		t.Error("the nest with the alarm does not come first")
	}
	if got := show(func(st *exporter.State) { st.Synced = false }); !strings.Contains(got, "As it was when this page was sent, not live.") {
		t.Errorf("with a clock that is not known: %s", got)
	}
	if got := show(func(st *exporter.State) {
		st.Snapshot.Alarms = slices.Clone(st.Snapshot.Alarms)
		for i := range st.Snapshot.Alarms {
			st.Snapshot.Alarms[i].Text = "nest air 36.5 °C (97.7 °F)"
		}
	}); !strings.Contains(got, `<p class="say">nest air 97.7 °F (36.5 °C)</p>`) {
		t.Errorf("the scale that is displayed does not come first: %s", got)
	}
	if kept := body(t, get(s.Handler(), "GET", "/?empty")); strings.Contains(kept, "97.7") || !strings.Contains(kept, "main.js") {
		t.Error("what a phone keeps holds a state, or is not the page")
	}
	s.Now = func() time.Time { return noon.Add(91 * time.Second) }
	if got := first(); got != "" {
		t.Errorf("an old state: %s", got)
	}
	if page := body(t, get(s.Handler(), "GET", "/")); !strings.Contains(page, `<p class="noscript">The readings are too old: look into the nests.</p>`) {
		t.Errorf("an old state is not called so without a script: %s", page)
	}
}

func TestFirstLookOfAClosedPage(t *testing.T) {
	h := closedHouse(t)
	if err := h.Publish(context.Background(), state()); err != nil {
		t.Fatal(err)
	}
	shown := func(cookie string) bool {
		r := httptest.NewRequest("GET", here+webtest.Path("/{$}", nil), nil)
		r.Header.Set("Cookie", "nestmon-session="+cookie)
		w := httptest.NewRecorder()
		h.Handler().ServeHTTP(w, r)
		first := strings.Contains(w.Body.String(), `id="first"`)
		if told := strings.Contains(w.Body.String(), `<p class="noscript">Nothing can be shown here: log in`); told == first {
			t.Errorf("shown %v, and that nothing can be shown %v", first, told)
		}
		return first
	}
	if shown("x") || !shown(h.login(t).Value) {
		t.Error("it is not shown to who has logged in, and to nobody else")
	}
}
