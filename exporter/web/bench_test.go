package web_test

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"nestmon/exporter/web"
	"nestmon/thresholds/alarm/quality"
)

// stand is a bench that notes what it is told.
type stand struct {
	told []string
	work chan web.Work
}

func (b *stand) Probes() []web.Place        { return []web.Place{{Probe: "a1-air", Source: "w1"}} }
func (b *stand) Doing() string              { return "warm" }
func (b *stand) Warm(context.Context) error { b.told = append(b.told, "warm"); return nil }
func (b *stand) End(context.Context) error  { b.told = append(b.told, "end"); return nil }

func (b *stand) Ice(_ context.Context, probe string, sure bool) error {
	if !sure {
		return fmt.Errorf("it is the only one; %w", web.ErrUnsure)
	}
	b.told = append(b.told, "ice "+probe)
	if probe == "a1-wet" {
		return errors.New("water ruins it")
	}
	return nil
}

func (b *stand) Follow(ctx context.Context, send func(web.Work) bool) {
	for {
		select {
		case w := <-b.work:
			if !send(w) || w.Over {
				return
			}
		case <-ctx.Done():
			return
		}
	}
}

// Whoever is not logged in makes the board do nothing.
func TestTheBenchIsBehindTheDoor(t *testing.T) {
	h, b := newHouse(t), &stand{work: make(chan web.Work, 3)}
	h.Options.Bench = b
	bodies := map[string]string{"warm": "{}", "ice": `{"probe":"a1-air","sure":true}`, "end": "{}"}
	for what, sent := range bodies {
		if r := h.post("/api/probes/"+what, sent, ""); r.StatusCode != http.StatusUnauthorized {
			t.Errorf("%s of a stranger: %d", what, r.StatusCode)
		}
		if r := get(h.Handler(), "GET", "/api/probes/"+what); r.StatusCode != http.StatusMethodNotAllowed {
			t.Errorf("%s looked at: %d", what, r.StatusCode)
		}
	}
	if r := get(h.Handler(), "GET", "/api/probes/work"); r.StatusCode != http.StatusUnauthorized || len(b.told) > 0 {
		t.Errorf("a stranger follows: %d, and %v was done", r.StatusCode, b.told)
	}
	cookie := h.login(t).Value
	for what, sent := range bodies {
		if r := h.post("/api/probes/"+what, sent, cookie); r.StatusCode != http.StatusOK {
			t.Errorf("%s: %d %s", what, r.StatusCode, body(t, r))
		}
	}
	for _, row := range []struct {
		sent, want string
		status     int
	}{
		{`{"probe":"a1-air"}`, "the only one; say that you are sure", http.StatusConflict},
		{`{"probe":"a1-wet","sure":true}`, "water ruins it", http.StatusUnprocessableEntity},
		{`{"probe":7}`, "not the JSON object", http.StatusBadRequest},
		{`{"probe":"a1-air","salt":true}`, "not the JSON object", http.StatusBadRequest},
	} {
		if r := h.post("/api/probes/ice", row.sent, cookie); r.StatusCode != row.status || !strings.Contains(body(t, r), row.want) {
			t.Errorf("%s: %d, want %d with %q", row.sent, r.StatusCode, row.status, row.want)
		}
	}
	b.work <- web.Work{Warm: &web.Warm{State: "waiting"}}
	b.work <- web.Work{Over: true, Warm: &web.Warm{State: "named"}}
	r := httptest.NewRequest("GET", here+"/api/probes/work", nil)
	r.Header.Set("Cookie", "nestmon-session="+cookie)
	w := httptest.NewRecorder()
	h.Handler().ServeHTTP(w, r)
	if text := w.Body.String(); strings.Count(text, "event: work\ndata: {") != 2 || !strings.Contains(text, `"state":"named"`) || w.Header().Get("Content-Type") != "text/event-stream" {
		t.Errorf("followed:\n%s", text)
	}
}

func TestWhatHasNoBenchSaysSo(t *testing.T) {
	h := newHouse(t)
	if r := h.post("/api/probes/warm", "{}", h.login(t).Value); r.StatusCode != http.StatusServiceUnavailable {
		t.Errorf("warm: %d", r.StatusCode)
	}
	for path, want := range map[string]string{
		"/api/probes":           `{"doing":"","probes":[]}`,
		"/api/calls":            `{"contacts":[],"repeat_s":0,`,
		"/api/quality":          "nobody here",
		"/api/quality?days=400": "not a whole number from 1 to 366",
	} {
		if text := body(t, get(h.Handler(), "GET", path)); !strings.Contains(text, want) {
			t.Errorf("%s: %s", path, text)
		}
	}
	h.Options.Quality = func(days int) (quality.Report, error) {
		return quality.Report{NestWeeks: float64(days) / 7, Figures: []quality.Figure{{What: "alarms", Here: "3"}}}, nil
	}
	if text := body(t, get(h.Handler(), "GET", "/api/quality?days=14")); !strings.Contains(text, `{"days":14,"nest_weeks":2,"few":false,"figures":[{"what":"alarms","here":"3",`) {
		t.Errorf("quality: %s", text)
	}
}
