package web_test

import (
	"net/http"
	"strings"
	"testing"
)

// Where nobody knows what is in force the addresses say so, and nothing is changed without a login. What they do is tested with the daemon.
func TestSettingsWithoutATuner(t *testing.T) {
	s := newHouse(t)
	for _, path := range []string{"/api/settings", "/api/settings/preview"} {
		r := get(s.Handler(), http.MethodGet, path)
		if said := body(t, r); r.StatusCode != http.StatusNotFound || !strings.Contains(said, "nobody here knows what is in force") {
			t.Errorf("%s: %d %s", path, r.StatusCode, said)
		}
	}
	for _, path := range []string{"/api/settings/limits", "/api/settings/preview", "/api/settings/preview/stop"} {
		r := s.post(path, `{"revision":0,"limits":[{"place":"nest_air","key":"heat_warn","from":0,"to":3,"limit_c":31}]}`, "")
		if said := body(t, r); r.StatusCode != http.StatusUnauthorized {
			t.Errorf("%s: %d %s", path, r.StatusCode, said)
		}
	}
	if r := get(s.Handler(), http.MethodGet, "/api/settings/limits"); r.StatusCode != http.StatusMethodNotAllowed {
		t.Errorf("GET of what changes: %d", r.StatusCode)
	}
}
