package main

import (
	"crypto/ecdh"
	"crypto/rand"
	"encoding/base64"
	"encoding/json"
	"io"
	"net/http"
	"net/http/cookiejar"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/phone"
	"nestmon/exporter/phone/push"
	"nestmon/thresholds/alarm"
)

// visitor is a browser at the barn's page.
type visitor struct {
	t    *testing.T
	http *http.Client
	at   string
}

func (b *barn) visit(t *testing.T) (v visitor, leave func()) {
	t.Helper()
	server := httptest.NewServer(b.d.sinks.page.Handler())
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	return visitor{t, &http.Client{Jar: jar, Timeout: time.Minute}, server.URL}, server.Close
}

func (v visitor) post(path, kind, body string, want int) string {
	v.t.Helper()
	resp, err := v.http.Post(v.at+path, kind, strings.NewReader(body))
	if err != nil {
		v.t.Fatal(err)
	}
	defer resp.Body.Close()
	text, err := io.ReadAll(resp.Body)
	if err != nil || resp.StatusCode != want {
		v.t.Errorf("%s %s: %d %s, %v; want %d", path, body, resp.StatusCode, text, err, want)
	}
	return string(text)
}

func (v visitor) get(path string, want int) string {
	v.t.Helper()
	resp, err := v.http.Get(v.at + path)
	if err != nil {
		v.t.Fatal(err)
	}
	defer resp.Body.Close()
	text, err := io.ReadAll(resp.Body)
	if err != nil || resp.StatusCode != want {
		v.t.Errorf("%s: %d, %v; want %d", path, resp.StatusCode, err, want)
	}
	return string(text)
}

// acknowledge is what the page sends when the button of an alarm is pressed that it shows.
func (v visitor) acknowledge(nest string) string {
	v.t.Helper()
	var state struct {
		Alarms []map[string]any `json:"alarms"`
	}
	if err := json.Unmarshal([]byte(v.get("/api/state", http.StatusOK)), &state); err != nil {
		v.t.Fatal(err)
	}
	for _, a := range state.Alarms {
		if a["nest"] == nest && a["event"] == string(alarm.NestHeat) {
			body, err := json.Marshal(map[string]any{"action": "acknowledge", "nest": nest, "event": a["event"], "since": a["since"], "time": a["time"]})
			if err != nil {
				v.t.Fatal(err)
			}
			return string(body)
		}
	}
	v.t.Fatalf("no heat of %s on the page", nest)
	return ""
}

// What is done on the page is stored: who knows the password acknowledges there, also after a restart, and a message's link does without.
func TestPageActs(t *testing.T) {
	folder := barnFolder(t)
	b := newBarn(t, folder, demoStart)
	b.poll(24, 2*time.Hour)
	b.poll(32, 40*time.Minute)
	v, leave := b.visit(t)
	const kind, act = "application/json", "/api/alarms/act"
	early := v.acknowledge("box-0")
	v.post(act, kind, early, http.StatusUnauthorized)
	v.post("/api/login", kind, `{"password":"hazel-0000"}`, http.StatusUnauthorized)
	v.post("/api/login", kind, `{"password":"willow-7741"}`, http.StatusOK)
	b.poll(38, 40*time.Minute)
	if v.post(act, kind, early, http.StatusConflict); b.status("box-0") != alarm.Unacknowledged {
		t.Errorf("a warning was seen, and the urgent alarm it became is %s", b.status("box-0"))
	}
	if v.post(act, kind, v.acknowledge("box-0"), http.StatusOK); b.status("box-0") != alarm.Acknowledged {
		t.Errorf("box-0 is %s", b.status("box-0"))
	}
	if said := v.post("/api/alarms/test", kind, `{}`, http.StatusOK); !strings.HasPrefix(said, `{"channels":{"`) || strings.Count(said, `":""`) == 0 {
		t.Errorf("the phone is tested with %s", said)
	}
	if said := v.get("/api/v1/label/nest/values?match[]=nestmon_probe_temperature_celsius", http.StatusOK); !strings.Contains(said, `"box-0"`) {
		t.Errorf("a graphing tool is told of the nests %s", said)
	}
	now := b.pace.Now()
	leave()
	b.stop()

	b = newBarn(t, folder, now)
	defer b.stop()
	b.poll(38, 12*time.Minute)
	again, leave := b.visit(t)
	defer leave()
	again.http.Jar = cookies(v, again)
	if again.post(act, kind, `{"action":"shelve","nest":"box-0","event":"nest-heat","for_s":900}`, http.StatusOK); b.status("box-0") != alarm.Shelved {
		t.Errorf("box-0 is %s", b.status("box-0"))
	}
	link := "/answer/" + b.link("STILL URGENT")
	if page := again.get(link, http.StatusOK); !strings.Contains(page, "STILL URGENT") || b.status("box-1") != alarm.Unacknowledged {
		t.Errorf("looked at, box-1 is %s:\n%s", b.status("box-1"), page)
	}
	stranger, leave := b.visit(t) // the link is all that is needed
	defer leave()
	if stranger.post(link, "application/x-www-form-urlencoded", "", http.StatusOK); b.status("box-1") != alarm.Acknowledged {
		t.Errorf("answered, box-1 is %s", b.status("box-1"))
	}
	stranger.get(link, http.StatusGone)
	stranger.get(link+"x", http.StatusNotFound)
}

// Without a way to anybody nobody may believe in one: not the page, not the commands. A channel for phones that none has signed up to is no way.
func TestNobodyIsCalledWithoutAWay(t *testing.T) {
	board := &phone.Config{Channels: []phone.Channel{{Name: "board", Push: &push.Config{Contact: "mailto:keeper@willow-bend.example"}}}}
	for name, row := range map[string]struct {
		phone  *phone.Config
		signed bool
		nobody bool
	}{"no phone": {nil, false, true}, "no phone has signed up": {board, false, true}, "one has": {board, true, false}} {
		t.Run(name, func(t *testing.T) {
			b := newBarn(t, barnFolder(t), demoStart, func(c *config) { c.Phone = row.phone })
			defer b.stop()
			if row.signed {
				key, err := ecdh.P256().GenerateKey(rand.Reader)
				if err != nil {
					t.Fatal(err)
				}
				b64 := base64.RawURLEncoding
				if err := b.d.sinks.direct[0].(*push.Channel).Subscribe(exporter.Subscription{
					Endpoint: secret("https://push.example/wp/1"), P256dh: b64.EncodeToString(key.PublicKey().Bytes()), Auth: secret(b64.EncodeToString(make([]byte, 16))), Label: "Ada",
				}); err != nil {
					t.Fatal(err)
				}
			}
			b.poll(24, 2*time.Minute)
			v, leave := b.visit(t)
			defer leave()
			var s stateView
			if err := json.Unmarshal([]byte(v.get("/api/state", http.StatusOK)), &s); err != nil {
				t.Fatal(err)
			}
			var out strings.Builder
			s.write(&out, &config{})
			if s.Nobody != row.nobody || strings.Contains(out.String(), "\nNOBODY   is called") != row.nobody {
				t.Errorf("nobody %v, want %v:\n%s", s.Nobody, row.nobody, out.String())
			}
			if said := v.get("/api/session", http.StatusOK); strings.Contains(said, `"test":true`) == row.nobody {
				t.Errorf("session %s", said)
			}
		})
	}
}

// cookies are those of a browser, at the page's new address.
func cookies(from, to visitor) http.CookieJar {
	jar, _ := cookiejar.New(nil) // it fails for no options
	old, _ := http.NewRequest(http.MethodGet, from.at, nil)
	now, _ := http.NewRequest(http.MethodGet, to.at, nil)
	jar.SetCookies(now.URL, from.http.Jar.Cookies(old.URL))
	return jar
}
