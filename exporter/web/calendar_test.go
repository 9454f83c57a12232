package web_test

import (
	"context"
	"errors"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"nestmon/exporter"
)

const (
	feedSecret = "c2VjcmV0LW9mLXRoZS1jYWxlbmRhcg-3"
	feedPath   = "/calendar/" + feedSecret + ".ics"
)

// subscribed is a house with a calendar.
func subscribed(t testing.TB) (h *house, text *string, changed *time.Time) {
	h, text, changed = newHouse(t), new(string), new(time.Time)
	*text, *changed = "BEGIN:VCALENDAR\r\nEND:VCALENDAR\r\n", noon
	h.Options.Calendar = func(_ context.Context, secret exporter.Secret) ([]byte, time.Time, error) {
		if secret.Reveal() != feedSecret {
			return nil, time.Time{}, exporter.ErrLinkUnknown
		}
		if *text == "" {
			return nil, time.Time{}, errors.New("nothing has been measured yet")
		}
		return []byte(*text), *changed, nil
	}
	return h, text, changed
}

func (h *house) calls(method, path, from string, header ...string) *http.Response {
	r := httptest.NewRequest(method, path, nil)
	r.RemoteAddr = from
	for i := 0; i < len(header); i += 2 {
		r.Header.Set(header[i], header[i+1])
	}
	w := httptest.NewRecorder()
	h.Handler().ServeHTTP(w, r)
	return w.Result()
}

func TestCalendarIsFetched(t *testing.T) {
	h, text, changed := subscribed(t)
	const from = "192.0.2.1:1"
	r := h.calls("GET", feedPath, from)
	if got := body(t, r); r.StatusCode != http.StatusOK || got != *text {
		t.Fatalf("%d %q", r.StatusCode, got)
	}
	for name, want := range map[string]string{
		"Content-Type": "text/calendar; charset=utf-8", "Cache-Control": "private, no-cache", "Referrer-Policy": "no-referrer", "X-Robots-Tag": "noindex",
		"Last-Modified": noon.UTC().Format(http.TimeFormat), "Content-Disposition": `inline; filename="chores.ics"`, "Set-Cookie": "", "Location": "",
	} {
		if got := r.Header.Get(name); got != want {
			t.Errorf("%s: %q, want %q", name, got, want)
		}
	}
	tag := r.Header.Get("ETag")
	for _, step := range []struct {
		name, method string
		header       []string
		status       int
	}{
		{"the same", "GET", []string{"If-None-Match", tag}, http.StatusNotModified},
		{"the same, compressed on the way", "GET", []string{"If-None-Match", "W/" + tag}, http.StatusNotModified},
		{"since then", "GET", []string{"If-Modified-Since", noon.UTC().Format(http.TimeFormat)}, http.StatusNotModified},
		{"another", "GET", []string{"If-None-Match", `"x"`}, http.StatusOK},
		{"its head", "HEAD", nil, http.StatusOK},
		{"posted", "POST", nil, http.StatusMethodNotAllowed},
		{"deleted", "DELETE", nil, http.StatusMethodNotAllowed},
		{"asked for by another way", "PROPFIND", nil, http.StatusMethodNotAllowed},
	} {
		r := h.calls(step.method, feedPath, from, step.header...)
		got, err := io.ReadAll(r.Body)
		if err != nil || r.StatusCode != step.status || (step.status == http.StatusNotModified || step.method == "HEAD") && len(got) > 0 {
			t.Errorf("%s: %d %q, %v", step.name, r.StatusCode, got, err)
		}
		if strings.Contains(string(got), feedSecret) {
			t.Errorf("%s: the secret is in the answer", step.name)
		}
	}
	*text, *changed = *text+"\r\n", noon.Add(time.Hour)
	if r := h.calls("GET", feedPath, from, "If-None-Match", tag); r.StatusCode != http.StatusOK || r.Header.Get("ETag") == tag {
		t.Errorf("changed: %d", r.StatusCode)
	}
	*text = ""
	if r := h.calls("GET", feedPath, from); r.StatusCode != http.StatusServiceUnavailable || r.Header.Get("Retry-After") == "" || r.Header.Get("ETag") != "" || strings.Contains(body(t, r), feedSecret) {
		t.Errorf("not known yet: %d %v", r.StatusCode, r.Header)
	}
	if strings.Contains(h.logged.String(), feedSecret) {
		t.Errorf("logged: %s", h.logged.String())
	}
}

// What is wrong is answered as any address that is not here, and cannot be tried for long.
func TestCalendarIsNotGuessed(t *testing.T) {
	h, _, _ := subscribed(t)
	const from = "192.0.2.1:1"
	nowhere := body(t, h.calls("GET", "/nowhere", from))
	for i, path := range []string{
		"/calendar/" + strings.Repeat("x", 43) + ".ics", "/calendar/" + feedSecret, "/calendar/.ics", "/calendar/x.ics", "/calendar/" + strings.ToUpper(feedSecret) + ".ics",
		"/calendar/" + feedSecret[1:] + ".ics", feedPath + ".ics", "/calendar/" + feedSecret + "%2eics%00", "/calendar/%2e%2e%2e.ics", "/calendar/" + strings.Repeat("x", 500) + ".ics",
	} {
		r := h.calls("GET", path, from)
		if got := body(t, r); r.StatusCode != http.StatusNotFound || got != nowhere {
			t.Errorf("%d %s: %d %s", i, path, r.StatusCode, got)
		}
	}
	if r := h.calls("GET", feedPath, from); r.StatusCode != http.StatusTooManyRequests || r.Header.Get("Retry-After") != "60" {
		t.Errorf("after ten: %d", r.StatusCode)
	}
	if r := h.calls("GET", feedPath, "192.0.2.2:1"); r.StatusCode != http.StatusOK {
		t.Errorf("from elsewhere: %d", r.StatusCode)
	}
	h.now = h.now.Add(time.Minute)
	for range 30 {
		if r := h.calls("GET", feedPath, from); r.StatusCode != http.StatusOK {
			t.Fatalf("right ones are counted too: %d", r.StatusCode)
		}
	}
	h.Options.Calendar = nil
	if r := h.calls("GET", feedPath, "192.0.2.3:1"); r.StatusCode != http.StatusNotFound || body(t, r) != nowhere {
		t.Errorf("without a calendar: %d", r.StatusCode)
	}
}
