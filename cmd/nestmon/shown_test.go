package main

import (
	"crypto/ecdh"
	"crypto/rand"
	"encoding/base64"
	"encoding/json"
	"io"
	"net/http"
	"net/url"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/influx"
	"nestmon/exporter/mqtt"
	"nestmon/exporter/phone"
	"nestmon/exporter/phone/mail"
	"nestmon/exporter/phone/push"
	"nestmon/exporter/web"
	"nestmon/exporter/web/webtest"
)

// whisper is in every invented secret of a configuration.
const whisper = "wh1sper-"

// nowhere is a port of this machine at which nobody answers.
const nowhere = "127.0.0.1:1"

// secretive gives a daemon every secret that a configuration can hold, and sinks that all complain.
func secretive(t *testing.T, folder string) func(*config) {
	return func(c *config) {
		word := filepath.Join(folder, "word")
		plant(t, word, whisper+"mail")
		broker := mqtt.DefaultConfig()
		broker.Broker, broker.Device, broker.Username, broker.Password = "tcp://"+nowhere, "barn", "keeper", secret(whisper+"broker")
		c.Publish.MQTT = &broker
		c.Publish.InfluxDB = &influx.Config{URL: "http://" + nowhere, Bucket: "b", Token: secret(whisper + "token")}
		c.Publish.Page.View = web.Password
		c.Phone.Channels = append(c.Phone.Channels,
			phone.Channel{Name: "far", URL: secret("http://" + whisper + "user:" + whisper + "pass@" + nowhere + "/" + whisper + "path?key=" + whisper + "query"), Headers: map[string]exporter.Secret{"Authorization": secret("Bearer " + whisper + "header")}},
			phone.Channel{Name: "post", Mail: &mail.Config{Server: nowhere, TLS: "tls", Username: "keeper", PasswordFile: word, From: "barn@nests.example", To: []string{"keeper@nests.example"}}},
			phone.Channel{Name: "board", Push: &push.Config{Contact: "mailto:keeper@nests.example"}},
		)
		c.Phone.Heartbeat = &phone.Beats{URL: secret("http://" + nowhere + "/" + whisper + "beat"), Every: time.Minute}
	}
}

// stringsIn lists the strings in a stored value.
func stringsIn(v any) (all []string) {
	switch v := v.(type) {
	case string:
		return []string{v}
	case []any:
		for _, e := range v {
			all = append(all, stringsIn(e)...)
		}
	case map[string]any:
		for _, e := range v {
			all = append(all, stringsIn(e)...)
		}
	}
	return all
}

// No answer of the page holds a secret, whoever asks and for whatever: neither one of the configuration nor one that the daemon made.
func TestNoAddressShowsASecret(t *testing.T) {
	folder := barnFolder(t)
	b := newBarn(t, folder, demoStart, secretive(t, folder))
	defer b.stop()
	inside, leave := b.visit(t)
	defer leave()
	inside.post("/api/login", "application/json", `{"password":"willow-7741"}`, http.StatusOK)
	key, err := ecdh.P256().GenerateKey(rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	b64 := base64.RawURLEncoding
	signUp, err := json.Marshal(map[string]string{
		"endpoint": "https://push.example/" + whisper + "phone", "p256dh": b64.EncodeToString(key.PublicKey().Bytes()), "auth": b64.EncodeToString([]byte(whisper + "authenti")), "label": "Ada",
	})
	if err != nil {
		t.Fatal(err)
	}
	inside.post("/api/push/subscribe", "application/json", string(signUp), http.StatusOK)
	b.poll(24, 2*time.Hour)
	b.poll(38, 40*time.Minute)
	link := b.link("URGENT")
	feed := b.ask(t, feedRequest{Do: feedAddress})
	complaints := func() (all []string) {
		var state struct {
			Sinks []struct{ Sink, Error string }
		}
		if err := json.Unmarshal([]byte(inside.get("/api/state", http.StatusOK)), &state); err != nil {
			t.Fatal(err)
		}
		for _, s := range state.Sinks {
			if s.Error != "" {
				all = append(all, s.Sink)
			}
		}
		slices.Sort(all)
		return all
	}
	for end := time.Now().Add(time.Minute); len(complaints()) < 5; time.Sleep(20 * time.Millisecond) { // each is tried by its own clock
		if time.Now().After(end) {
			t.Fatalf("only %q complain", complaints())
		}
		b.poll(38, stepOf)
	}

	hidden := map[string]string{"the configuration's": whisper, "the password's hash": pageLine[7:], "the calendar's": feed.Secret, "the link's": link}
	at, err := url.Parse(inside.at)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range inside.http.Jar.Cookies(at) {
		hidden["the cookie's"] = c.Value
	}
	for name, key := range map[string]string{"the links' key": answerKey, "the sessions'": "page-sessions", "the phones'": "push"} {
		text, err := b.d.archive.Meta(key)
		if err != nil || text == "" {
			t.Fatalf("%s: %q, %v", name, text, err)
		}
		var v any
		if json.Unmarshal([]byte(text), &v) != nil {
			v = text
		}
		if stored, ok := v.(map[string]any); ok {
			delete(stored, "public")
		}
		for _, s := range stringsIn(v) {
			if len(s) > 20 && !strings.HasPrefix(s, "20") { // no label, and no time
				hidden[name+" "+s[:4]] = s
			}
		}
	}
	if len(hidden) < 9 {
		t.Errorf("only %d secrets are looked for", len(hidden))
	}
	look := func(who, path, text string) {
		for name, word := range hidden {
			own := name == "the calendar's" && strings.HasPrefix(path, "/calendar/") || name == "the link's" && strings.HasPrefix(path, "/answer/")
			if strings.Contains(text, word) && !own {
				t.Errorf("%s finds %s secret at %s: %s", who, name, path, beside(text, word))
			}
		}
	}
	outside, leaveToo := b.visit(t)
	defer leaveToo()
	values := map[string]string{"token": link, "file": feed.Secret + ".ics", "hash": strings.Split(inside.get("/", http.StatusOK), "static/")[1][:16]}
	for _, pattern := range webtest.Patterns(t, "../../exporter/web") {
		path := webtest.Path(pattern, values)
		for _, query := range []string{"", "?probe=box-0", "?query=up&match[]=up"} {
			if path == "/api/stream" {
				continue // it never ends, and says what /api/state says
			}
			look("a stranger", path, outside.any(path+query))
			look("a keeper", path, inside.any(path+query))
		}
	}
}

// beside is a word with a little of what stands beside it.
func beside(text, word string) string {
	i := strings.Index(text, word)
	return text[max(0, i-40):min(len(text), i+len(word)+10)]
}

// any is an answer with its headers, whatever it is.
func (v visitor) any(path string) string {
	v.t.Helper()
	resp, err := v.http.Get(v.at + path)
	if err != nil {
		v.t.Fatal(err)
	}
	defer resp.Body.Close()
	text, err := io.ReadAll(resp.Body)
	if err != nil {
		v.t.Fatal(err)
	}
	var head strings.Builder
	_ = resp.Header.Write(&head)
	return head.String() + string(text)
}
