package web_test

import (
	"context"
	"errors"
	"net/http"
	"strings"
	"testing"
	"time"

	"nestmon/exporter"
)

// channel is one on which phones sign up, as the page knows it.
type channel struct {
	err  error
	did  []string
	last exporter.Subscription
}

func (b *channel) PublicKey() (string, error) { return "BKey", b.err }

func (b *channel) List() ([]exporter.Phone, error) {
	return []exporter.Phone{{ID: "id-1", Label: "Ada", Agent: "Invented 1", Since: noon}, {ID: "id-2", Label: "Bo", Since: noon, Gone: noon.Add(time.Hour)}}, b.err
}

func (b *channel) Subscribe(s exporter.Subscription) error { b.last = s; return b.err }

func (b *channel) Unsubscribe(which exporter.Secret) error {
	b.did = append(b.did, "off "+which.Reveal())
	return b.err
}

func (b *channel) Test(_ context.Context, which exporter.Secret) error {
	b.did = append(b.did, "test "+which.Reveal())
	return b.err
}

var pushPaths = []string{"/api/push/subscribe", "/api/push/unsubscribe", "/api/push/test"}

func TestNobodySignsUpWithoutADoor(t *testing.T) {
	s, b := newHouse(t), &channel{}
	s.SignUp(b)
	send := func(path, text string) (int, string) {
		r := s.post(path, text, "")
		return r.StatusCode, body(t, r)
	}
	for _, path := range pushPaths {
		if status, said := send(path, `{"endpoint":"https://push.example/x"}`); status != http.StatusUnauthorized || !strings.Contains(said, "log in") {
			t.Errorf("%s: %d %s", path, status, said)
		}
		if r := get(s.Handler(), http.MethodGet, path); r.StatusCode == http.StatusOK {
			t.Errorf("GET %s is answered", path)
		}
	}
	if len(b.did) != 0 || b.last.Endpoint.IsSet() {
		t.Errorf("%+v", b)
	}
}

func TestPhonesSignUpOnThePage(t *testing.T) {
	s, b := newHouse(t), &channel{}
	session := s.login(t).Value
	send := func(path, text string) (int, string) {
		r := s.post(path, text, session)
		return r.StatusCode, body(t, r)
	}
	if text := body(t, get(s.Handler(), http.MethodGet, "/api/push/key")); text != `{"key":null,"phones":[]}` {
		t.Errorf("without a channel: %s", text)
	}
	for _, path := range pushPaths {
		if status, said := send(path, `{}`); status != http.StatusNotFound || !strings.Contains(said, "write a channel with push:") {
			t.Errorf("without a channel, %s: %d %s", path, status, said)
		}
	}
	s.SignUp(b)
	want := `{"key":"BKey","phones":[{"id":"id-1","label":"Ada","agent":"Invented 1","since":"2031-07-19T12:00:00Z","last_ok":null,"gone":null},` +
		`{"id":"id-2","label":"Bo","agent":"","since":"2031-07-19T12:00:00Z","last_ok":null,"gone":"2031-07-19T13:00:00Z"}]}`
	if text := body(t, get(s.Handler(), http.MethodGet, "/api/push/key")); text != want {
		t.Errorf("got %s\nwant %s", text, want)
	}
	full := `{"endpoint":"https://push.example/x","p256dh":"p","auth":"a","label":"Ada","agent":"Invented 1","replaces":"id-0"}`
	if status, said := send("/api/push/subscribe", full); status != http.StatusOK || said != `{"ok":true}` {
		t.Errorf("%d %s", status, said)
	}
	if b.last != (exporter.Subscription{Endpoint: exporter.NewSecret("https://push.example/x"), P256dh: "p", Auth: exporter.NewSecret("a"), Label: "Ada", Agent: "Invented 1", Replaces: "id-0"}) {
		t.Errorf("%+v", b.last)
	}
	send("/api/push/unsubscribe", `{"id":"id-2"}`)
	send("/api/push/test", `{"endpoint":"https://push.example/x"}`)
	if got := strings.Join(b.did, ", "); got != "off id-2, test https://push.example/x" {
		t.Errorf("did %s", got)
	}
	for _, bad := range []string{"", "[]", `{"endpoint":7}`, `{"secret-x":1}`, `{"label":7}`} {
		if status, said := send("/api/push/subscribe", bad); status != http.StatusBadRequest || strings.Contains(said, "secret-x") {
			t.Errorf("%.40q: %d %s", bad, status, said)
		}
	}
	b.err = errors.New("20 phones have signed up, which is the most; take one off first")
	for _, path := range pushPaths {
		if status, said := send(path, `{}`); status != http.StatusUnprocessableEntity || !strings.Contains(said, "take one off first") {
			t.Errorf("%s: %d %s", path, status, said)
		}
	}
	if r := get(s.Handler(), http.MethodGet, "/api/push/key"); r.StatusCode != http.StatusServiceUnavailable {
		t.Errorf("a list that cannot be read: %s", r.Status)
	}
}

// The worker watches over the page from beside it, and is asked for anew at every visit.
func TestTheWorkerStandsBesideThePage(t *testing.T) {
	s := server(t)
	for path, kind := range map[string]string{"/sw.js": "text/javascript; charset=utf-8", "/manifest.webmanifest": "application/manifest+json"} {
		r := get(s.Handler(), http.MethodGet, path)
		text := body(t, r)
		if r.StatusCode != http.StatusOK || r.Header.Get("Content-Type") != kind || r.Header.Get("Cache-Control") != "no-cache" || r.Header.Get("Content-Security-Policy") == "" {
			t.Errorf("%s: %s %v", path, r.Status, r.Header)
		}
		if strings.Contains(text, "@HASH@") || strings.Contains(text, "@FILES@") || strings.Contains(text, "@WORDS@") {
			t.Errorf("%s has a mark left: %s", path, text)
		}
		var files []string
		if _, list, found := strings.Cut(text, "const files = ["); found { // what the worker keeps, for when there is no network
			_, hash, _ := strings.Cut(text, `const hash = "`)
			list, _, _ = strings.Cut(list, "]")
			for name := range strings.SplitSeq(list, ", ") {
				files = append(files, hash[:strings.Index(hash, `"`)]+"/"+strings.Trim(name, `"`))
			}
		}
		for _, after := range strings.Split(text, `"static/`)[1:] {
			files = append(files, after[:strings.Index(after, `"`)])
		}
		if len(files) == 0 || path == "/sw.js" && len(files) < 20 {
			t.Errorf("%s names %d files of the page: %s", path, len(files), text)
		}
		for _, file := range files {
			if get(s.Handler(), http.MethodGet, "/static/"+file).StatusCode != http.StatusOK {
				t.Errorf("%s names /static/%s, which is not there", path, file)
			}
		}
	}
}
