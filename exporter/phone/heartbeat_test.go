package phone_test

import (
	"net/http"
	"strings"
	"testing"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/phone"
	"nestmon/exporter/sinktest"
)

// enough bounds a failing test; nothing is measured with it.
const enough = 30 * time.Second

// lull is how long nothing must come to count as silence: many times what a heartbeat of these tests waits.
const lull = 300 * time.Millisecond

// beating is a heartbeat of every 40 ms from cycles of 20 ms.
func beating(t *testing.T, f *far, change func(*phone.Beats)) *phone.Heartbeat {
	t.Helper()
	b := phone.Beats{URL: exporter.NewSecret(f.URL + "/beat/" + key), Every: 40 * time.Millisecond}
	if change != nil {
		change(&b)
	}
	h, err := phone.NewHeartbeat(b, 20*time.Millisecond, exporter.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := h.Stop(t.Context()); err != nil && t.Context().Err() == nil {
			t.Error(err)
		}
	})
	return h
}

// cycles beats until ok.
func cycles(t *testing.T, h *phone.Heartbeat, what string, ok func() bool) {
	t.Helper()
	for end := time.Now().Add(enough); time.Now().Before(end); time.Sleep(5 * time.Millisecond) {
		if h.Beat(); ok() {
			return
		}
	}
	t.Fatal("did not happen: " + what)
}

func TestHeartbeat(t *testing.T) {
	f := newFar(t)
	h := beating(t, f, nil)
	time.Sleep(lull)
	if n := len(f.taken()); n != 0 || !h.Health().OK {
		t.Fatalf("%d came before a cycle was whole; health %+v", n, h.Health())
	}
	cycles(t, h, "three heartbeats", func() bool { return len(f.taken()) >= 3 })
	r := f.taken()[0]
	if r.method != http.MethodGet || r.body != "" || strings.Contains(strings.Join(r.header["User-Agent"], ""), key) {
		t.Errorf("sent %+v", r)
	}
	if s := h.Health(); s.Name != phone.HeartbeatName || !s.OK || s.LastOK.IsZero() || s.Sent < 2 || s.Owes {
		t.Errorf("health %+v", s)
	}
	time.Sleep(lull)
	n := len(f.taken())
	time.Sleep(lull)
	if more := len(f.taken()) - n; more != 0 {
		t.Errorf("%d came while no cycle ended", more)
	}
}

func TestHeartbeatMethods(t *testing.T) {
	for _, method := range []string{http.MethodPost, http.MethodHead} {
		f := newFar(t)
		h := beating(t, f, func(b *phone.Beats) { b.Method = method })
		cycles(t, h, method, func() bool { return len(f.taken()) > 0 })
		if got := f.taken()[0].method; got != method {
			t.Errorf("got %s, want %s", got, method)
		}
	}
}

// What speaks against a heartbeat ends the tries of the one before, too.
func TestHeartbeatIsHeldBack(t *testing.T) {
	f := newFar(t)
	f.set(sinktest.Fails)
	h := beating(t, f, nil)
	cycles(t, h, "a try that fails", func() bool { return h.Health().Failed > 0 })
	h.Hold(http.ErrServerClosed)
	f.set(sinktest.Accepts)
	h.Wake()
	time.Sleep(4 * lull) // longer than the first wait after a failure
	if n := len(f.taken()); n != 0 {
		t.Errorf("%d came though it was held back", n)
	}
	if s := h.Health(); s.OK || !s.Since.IsZero() || !strings.HasPrefix(s.Error, "held back: "+http.ErrServerClosed.Error()) {
		t.Errorf("health %+v", s)
	}
	cycles(t, h, "it goes on", func() bool { return len(f.taken()) > 0 && h.Health().OK })
}

func TestHeartbeatThatDoesNotArrive(t *testing.T) {
	for _, row := range []struct {
		name   string
		make   func(t *testing.T) *phone.Heartbeat
		wrong  bool
		reason string
	}{
		{"gone", answering(http.StatusGone), true, "410 Gone; check url"},
		{"no such address", answering(http.StatusNotFound), true, "404 Not Found; check url"},
		{"a wrong key", answering(http.StatusForbidden), true, "403 Forbidden; check url"},
		{"another method", answering(http.StatusMethodNotAllowed), true, "write another method"},
		{"elsewhere", answering(http.StatusFound), true, "write the final address"},
		{"busy", answering(http.StatusTooManyRequests), false, "429 Too Many Requests"},
		{"broken", answering(http.StatusBadGateway), false, "502 Bad Gateway"},
		{"breaks off", conducting(sinktest.Absent), false, "EOF"},
		{"nobody there", func(t *testing.T) *phone.Heartbeat {
			f := newFar(t)
			f.Server.Close()
			return beating(t, f, nil)
		}, false, "refused"},
		{"no such name", func(t *testing.T) *phone.Heartbeat {
			return beating(t, newFar(t), func(b *phone.Beats) { b.URL = exporter.NewSecret("https://" + key + ".invalid/" + key) })
		}, false, "(secret)"},
	} {
		t.Run(row.name, func(t *testing.T) {
			h := row.make(t)
			cycles(t, h, "a failure", func() bool { return h.Health().Failed > 0 })
			s := h.Health()
			if s.OK || s.Misconfigured != row.wrong || !strings.Contains(s.Error, row.reason) || strings.Contains(s.Error, key) {
				t.Errorf("health %+v, want %q", s, row.reason)
			}
			if err := h.Stuck(); err != nil {
				t.Error(err)
			}
		})
	}
}

func answering(status int) func(t *testing.T) *phone.Heartbeat {
	return func(t *testing.T) *phone.Heartbeat {
		f := newFar(t)
		f.answer(status)
		return beating(t, f, nil)
	}
}

func conducting(c sinktest.Conduct) func(t *testing.T) *phone.Heartbeat {
	return func(t *testing.T) *phone.Heartbeat {
		f := newFar(t)
		f.set(c)
		return beating(t, f, nil)
	}
}

func TestHeartbeatsAddressIsASecret(t *testing.T) {
	_, err := phone.NewHeartbeat(phone.Beats{URL: exporter.NewSecret("beat.example/" + key)}, time.Second, exporter.Options{})
	if err == nil || !strings.Contains(err.Error(), "write https://") {
		t.Errorf("got %v", err)
	}
	assertNoSecret(t, err)
	if err := (phone.Beats{URLFile: t.TempDir() + "/none"}).Check(); err == nil || !strings.Contains(err.Error(), "url_file") {
		t.Errorf("got %v", err)
	}
}
