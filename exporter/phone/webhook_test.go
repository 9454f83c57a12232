package phone_test

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log"
	"mime"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/phone"
	"nestmon/exporter/sinktest"
	"nestmon/thresholds"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/calls"
)

// request is one request as the far side saw it.
type request struct {
	method, body string
	header       http.Header
}

// far is the phone's service.
type far struct {
	*httptest.Server
	mu      sync.Mutex
	conduct sinktest.Conduct
	status  int // answered where not 0
	got     []request
	release chan struct{}
}

const key = "Zk3-very-secret"

func newFar(t *testing.T) *far {
	f := &far{conduct: sinktest.Accepts, release: make(chan struct{})}
	f.Server = httptest.NewServer(f)
	t.Cleanup(func() { close(f.release); f.Close() })
	return f
}

func (f *far) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	body, _ := io.ReadAll(r.Body)
	f.mu.Lock()
	conduct, status := f.conduct, f.status
	f.mu.Unlock()
	switch conduct {
	case sinktest.Fails:
		status = http.StatusServiceUnavailable
	case sinktest.Refuses:
		status = http.StatusBadRequest
	case sinktest.Hangs:
		select {
		case <-f.release:
		case <-r.Context().Done():
		}
		return
	case sinktest.Absent: // the connection breaks without an answer
		panic(http.ErrAbortHandler)
	case sinktest.Slow:
		time.Sleep(50 * time.Millisecond)
	}
	if status != 0 {
		w.Header().Set("Location", f.URL+"/elsewhere")
		w.Header().Set("Retry-After", "120")
		w.WriteHeader(status)
		if status >= 300 {
			return
		}
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	f.got = append(f.got, request{r.Method, string(body), r.Header})
}

func (f *far) set(c sinktest.Conduct) { f.mu.Lock(); f.conduct = c; f.mu.Unlock() }
func (f *far) answer(status int)      { f.mu.Lock(); f.status = status; f.mu.Unlock() }

func (f *far) taken() []request {
	f.mu.Lock()
	defer f.mu.Unlock()
	return append([]request(nil), f.got...)
}

func (f *far) channel(change func(*phone.Channel)) phone.Channel {
	c := phone.Channel{Name: "mobile", URL: exporter.NewSecret(f.URL + "/push/" + key), AtLeast: alarm.Notice}
	if change != nil {
		change(&c)
	}
	return c
}

func open(t *testing.T, c phone.Channel) *phone.Webhook {
	t.Helper()
	w, err := phone.New(c)
	if err != nil {
		t.Fatal(err)
	}
	return w
}

func assertNoSecret(t *testing.T, err error, secrets ...string) {
	t.Helper()
	for _, s := range append(secrets, key) {
		if err != nil && strings.Contains(fmt.Sprintf("%v %+v %#v", err, err, err), s) {
			t.Errorf("%q shows %q", err, s)
		}
	}
}

func TestConformance(t *testing.T) {
	sinktest.MessageSink(t, func(t *testing.T) sinktest.MessageRig {
		f := newFar(t)
		return sinktest.MessageRig{
			Sink: open(t, f.channel(nil)),
			Far: sinktest.Far{
				Can:    []sinktest.Conduct{sinktest.Fails, sinktest.Refuses, sinktest.Slow, sinktest.Hangs, sinktest.Absent},
				Set:    f.set,
				Secret: key,
			},
			Key: func(m exporter.Message) string { return m.ID },
			Got: func() []string {
				var ids []string
				for _, r := range f.taken() {
					ids = append(ids, r.header.Get("Idempotency-Key"))
				}
				return ids
			},
		}
	})
}

func hot() exporter.Message { return told(heat(alarm.Raised, alarm.Urgent)) }

// told is the message about one alarm that began.
func told(e alarm.Event) exporter.Message {
	return phone.Writer{Display: "fahrenheit"}.Write(calls.Call{Why: calls.Began, About: []alarm.Event{e}}, e.Time, thresholds.Snapshot{})
}

func TestTextFormat(t *testing.T) {
	f := newFar(t)
	if err := open(t, f.channel(nil)).Send(t.Context(), hot()); err != nil {
		t.Fatal(err)
	}
	r := f.taken()[0]
	title, err := new(mime.WordDecoder).DecodeHeader(r.header.Get("Title"))
	if err != nil || title != hot().Title {
		t.Errorf("title %q (%v), want %q", title, err, hot().Title)
	}
	if r.method != http.MethodPost || r.body != hot().Body || r.header.Get("Priority") != "5" ||
		r.header.Get("Content-Type") != "text/plain; charset=utf-8" {
		t.Errorf("sent %+v", r)
	}
}

// TestTheEndWakesNobody: that an urgent alarm is over is good news.
func TestTheEndWakesNobody(t *testing.T) {
	f := newFar(t)
	if err := open(t, f.channel(nil)).Send(t.Context(), told(heat(alarm.Cleared, alarm.Urgent))); err != nil {
		t.Fatal(err)
	}
	if got := f.taken()[0].header.Get("Priority"); got != "3" {
		t.Errorf("priority %s", got)
	}
}

func TestJSONFormat(t *testing.T) {
	f := newFar(t)
	if err := open(t, f.channel(func(c *phone.Channel) { c.Format = "json" })).Send(t.Context(), hot()); err != nil {
		t.Fatal(err)
	}
	var got map[string]any
	if err := json.Unmarshal([]byte(f.taken()[0].body), &got); err != nil {
		t.Fatal(err)
	}
	want := map[string]any{
		"id": hot().ID, "time": "2026-07-14T14:05:00Z", "since": "2026-07-14T13:45:00Z", "nest": "a1", "event": "nest-heat",
		"severity": "urgent", "state": "raised", "title": hot().Title, "text": hot().Body, "value": 41.2, "limit": 40.0, "unit": "C", "probe": "a1-air",
		"rule": "nest air above the urgent limit for 10 min", "source": "invented", "kind": "alarm", "link": "", "alarms": 1.0,
	}
	for k, v := range want {
		if got[k] != v {
			t.Errorf("%s is %v, want %v", k, got[k], v)
		}
	}
	if len(got) != len(want) {
		t.Errorf("got %d keys, want %d: %v", len(got), len(want), got)
	}
}

func TestOwnTemplate(t *testing.T) {
	f := newFar(t)
	w := open(t, f.channel(func(c *phone.Channel) {
		c.Method, c.ContentType = http.MethodPut, "application/x-own"
		c.Body = `{"m":{{json .title}},"v":{{json .value}}}`
		c.Headers = map[string]exporter.Secret{"Authorization": exporter.NewSecret("Bearer " + key), "X-Nest": exporter.NewSecret("{{.nest}}")}
	}))
	m := hot()
	m.Title, m.Event.HasValue = "says \"hot\"\nand more", false
	if err := w.Send(t.Context(), m); err != nil {
		t.Fatal(err)
	}
	r := f.taken()[0]
	if want := `{"m":"says \"hot\"\nand more","v":null}`; r.body != want {
		t.Errorf("body %s, want %s", r.body, want)
	}
	if r.method != http.MethodPut || r.header.Get("Authorization") != "Bearer "+key || r.header.Get("X-Nest") != "a1" ||
		r.header.Get("Content-Type") != "application/x-own" || r.header.Get("Title") != "" {
		t.Errorf("sent %+v", r)
	}
}

// TestAnswers checks every kind of answer. Retry-After is in seconds (RFC 9110, 10.2.3).
func TestAnswers(t *testing.T) {
	const asked, slow = 2 * time.Minute, 5 * time.Minute
	rows := []struct {
		status int
		want   string // delivered, refused or later
		after  time.Duration
		says   string
	}{
		{200, "delivered", 0, ""},
		{202, "delivered", 0, ""},
		{204, "delivered", 0, ""},
		{302, "later", slow, "not followed"},
		{307, "later", slow, "not followed"},
		{400, "refused", 0, "400 Bad Request"},
		{401, "later", slow, "check the key"},
		{403, "later", slow, "check the key"},
		{404, "later", slow, "check the path"},
		{408, "later", asked, "408"},
		{410, "refused", 0, "410 Gone"},
		{413, "refused", 0, "413"},
		{425, "later", asked, "425"},
		{429, "later", asked, "429"},
		{500, "later", asked, "500"},
		{503, "later", asked, "503"},
	}
	for _, row := range rows {
		t.Run(http.StatusText(row.status), func(t *testing.T) {
			f := newFar(t)
			f.answer(row.status)
			err := open(t, f.channel(nil)).Send(t.Context(), hot())
			assertNoSecret(t, err, f.URL, "/push/")
			got, after := "delivered", time.Duration(0)
			var polite interface{ RetryAfter() time.Duration }
			switch {
			case exporter.IsPermanent(err):
				got = "refused"
			case err != nil:
				got = "later"
				if errors.As(err, &polite) {
					after = polite.RetryAfter()
				}
			}
			if got != row.want || after != row.after || (err != nil && !strings.Contains(err.Error(), row.says)) {
				t.Errorf("%s after %v (%v), want %s after %v saying %q", got, after, err, row.want, row.after, row.says)
			}
			if row.want != "delivered" && len(f.taken()) != 0 {
				t.Error("a redirect was followed")
			}
		})
	}
}

func TestTriedAgainWithTheSameID(t *testing.T) {
	f := newFar(t)
	w := open(t, f.channel(nil))
	f.answer(500)
	if err := w.Send(t.Context(), hot()); err == nil || exporter.IsPermanent(err) {
		t.Fatalf("got %v, want an error that another try can cure", err)
	}
	f.answer(0)
	if err := w.Send(t.Context(), hot()); err != nil {
		t.Fatal(err)
	}
	if got := f.taken()[0].header.Get("Idempotency-Key"); got != hot().ID {
		t.Errorf("id %q, want %q", got, hot().ID)
	}
}

func TestNoSecretInTransportErrors(t *testing.T) {
	f := newFar(t)
	nobody := httptest.NewServer(nil)
	nobody.Close()
	stranger := httptest.NewUnstartedServer(nil) // its certificate is signed by nobody known
	stranger.Config.ErrorLog = log.New(io.Discard, "", 0)
	stranger.StartTLS()
	defer stranger.Close()
	rows := []struct {
		name, url string
	}{
		{"a certificate nobody signed", strings.Replace(stranger.URL, "//", "//barn:hunter2@", 1) + "/push/" + key + "?token=tk-1234"},
		{"nobody listens", "http://barn:hunter2@" + nobody.Listener.Addr().String() + "/push/" + key + "?token=tk-1234"},
		{"no such host", "https://barn:hunter2@" + key + ".invalid/push?token=tk-1234"},
		{"no TLS there", strings.Replace(f.URL, "http:", "https:", 1) + "/push/" + key + "?token=tk-1234"},
	}
	for _, row := range rows {
		t.Run(row.name, func(t *testing.T) {
			w := open(t, f.channel(func(c *phone.Channel) { c.URL = exporter.NewSecret(row.url) }))
			err := w.Send(t.Context(), hot())
			if err == nil || exporter.IsPermanent(err) {
				t.Fatalf("got %v, want an error that another try can cure", err)
			}
			assertNoSecret(t, err, "hunter2", "tk-1234", "/push", row.url)
		})
	}
	t.Run("mute", func(t *testing.T) {
		f.set(sinktest.Hangs)
		ctx, cancel := context.WithTimeout(t.Context(), 100*time.Millisecond)
		defer cancel()
		err := open(t, f.channel(nil)).Send(ctx, hot())
		if err == nil || exporter.IsPermanent(err) || !strings.Contains(err.Error(), "no answer in time") {
			t.Errorf("got %v, want no answer in time", err)
		}
		assertNoSecret(t, err, f.URL)
	})
}

func TestBelowTheLevelIsNotSent(t *testing.T) {
	f := newFar(t)
	w := open(t, f.channel(func(c *phone.Channel) { c.AtLeast = alarm.None })) // which stands for warning
	for _, severity := range []alarm.Severity{alarm.Notice, alarm.Warning, alarm.Urgent} {
		if err := w.Send(t.Context(), told(heat(alarm.Raised, severity))); err != nil {
			t.Fatal(err)
		}
	}
	if n := len(f.taken()); n != 2 {
		t.Errorf("%d messages sent, want the warning and the urgent one", n)
	}
}
