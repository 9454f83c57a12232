package web_test

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"net"
	"net/http"
	"net/http/httptest"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"nestmon/exporter/web/webtest"
)

// hostileBodies are what no page of ours sends.
var hostileBodies = []string{
	``, `{`, `}`, `null`, `[]`, `"x"`, `{}{}`, `{} x`, `{"password":}`, `{"nest":"a1","nest":"a1"}`, `{"nest":"a1","NEST":""}`,
	`{"for_s":1e999}`, `{"for_s":-0.5}`, `{"for_s":123456789012345678901234567890}`, `{"since":"9999-99-99T00:00:00Z"}`, `{"event":{"a":{"a":1,"a":2}}}`,
	"{\"nest\":\"\xff\xfe\"}", "\xef\xbb\xbf{}", "{\"nest\":\"\\ud800\"}", "{\"nest\":\"a1\x00\"}", "\x00", "%00", "a=b&c=d",
	strings.Repeat("[", 20000), `{"nest":` + strings.Repeat(`{"a":`, 9999), strings.Repeat(" ", 70<<10), `{"nest":"` + strings.Repeat("x", 70<<10) + `"}`,
	seen, `{"nest":"a1","event":"inspect-due"}`, `{"channel":"x"}`, `{"password":"x"}`, `{"id":"id-1"}`, send(`{"what":"noted","nest":"a1","note":"calm","on":"2031-07-01"}`), send(`{"replaces":"1","doe":"\u0000"}`), send(`{"what":"lost","kits":"-1"},{}`), send(`{"what":"lost","kits":"` + strings.Repeat("9", 5000) + `"}`),
}

// hostileHeaders change a request of our page into another's; each ends what it is about with a line feed.
var hostileHeaders = []string{
	"", "Origin: https://elsewhere.example", "Origin: null", "Sec-Fetch-Site: cross-site", "Host: rebound.example", "Host: ", "Host: [::1", "Host: 127.0.0.1:x", "Content-Type: text/plain", "Content-Type: application/json;charset", "Content-Type: ",
	"Cookie: nestmon-session=", "Cookie: =;;nestmon-session", "Last-Event-ID: \x00\xff", "Accept-Encoding: gzip;q=0,*", "If-None-Match: \"", "If-Modified-Since: yesterday", "Range: bytes=9-1", "Range: bytes=0-,0-,0-",
	"Authorization: Basic %%%", "X-Forwarded-For: 127.0.0.1", "X-HTTP-Method-Override: POST",
}

// hostileEnds are what is put behind an address.
var hostileEnds = []string{"", "?", "?%", "?from=x&to=%00", "?probe=a1-air&probe=b", "?max=9e9", "/../api/state", "%2f..%2f", "/%c0%ae", "?" + strings.Repeat("a=b&", 300), ";x=1"}

// reply is an answer as far as a test asks.
type reply struct {
	status int
	kind   string
	text   string
}

// ask sends what a fuzzer made up; ok is false for what is no request.
func (h *house) ask(method, target, header string, text []byte, cookie string) (a reply, ok bool) {
	u, err := url.ParseRequestURI(target)
	if err != nil || !strings.HasPrefix(target, "/") {
		return a, false
	}
	r := httptest.NewRequest("POST", "/", strings.NewReader(string(text)))
	if r.URL, r.RequestURI, r.Method = u, target, method; method == "GET" {
		r.Body, r.ContentLength = http.NoBody, 0
	}
	r.Host = "192.168.1.20:8380"
	r.Header.Set("Origin", "http://192.168.1.20:8380")
	r.Header.Set("Content-Type", "application/json")
	r.Header.Set("Cookie", "nestmon-session="+cookie)
	name, value, _ := strings.Cut(header, ": ")
	switch name {
	case "":
	case "Host":
		r.Host = value
	default:
		r.Header.Set(name, value)
	}
	w := httptest.NewRecorder()
	if strings.Contains(target, "stream") { // which does not end by itself
		ctx, leave := context.WithCancel(r.Context())
		leave()
		r = r.WithContext(ctx)
	}
	h.Handler().ServeHTTP(w, r)
	return reply{w.Code, w.Header().Get("Content-Type"), w.Body.String()}, true
}

// memory is all that a request could change, but for who has tried to log in.
func (h *house) memory(t testing.TB) string {
	t.Helper()
	h.keeper.mu.Lock()
	done := fmt.Sprint(h.keeper.acts, h.keeper.done, h.keeper.uses)
	h.keeper.mu.Unlock()
	h.store.mu.Lock()
	kept := maps.Clone(h.store.kept)
	h.store.mu.Unlock()
	return fmt.Sprint(done, kept, h.desk.Book().Entries(), h.phones.did, h.phones.last, body(t, get(h.Handler(), "GET", "/api/state")))
}

// FuzzEveryAddress sends what nobody means to every address, those that are added later too: it is never the daemon's fault, the refusal is
// plain JSON, and what was refused has changed nothing.
func FuzzEveryAddress(f *testing.F) {
	h := newHouse(f).furnish()
	var paths []string
	for _, pattern := range webtest.Patterns(f, ".") {
		paths = append(paths, webtest.Path(pattern, filled))
	}
	slices.Sort(paths)
	paths = slices.Compact(paths)
	idle := map[string]int{} // what an address answers to who asks properly: some need what is not here
	for _, path := range paths {
		for _, method := range []string{"POST", "GET"} {
			a, _ := h.ask(method, path, "", []byte(`{}`), h.login(f).Value) // anew: one of them logs out
			idle[path] = max(idle[path], a.status)
		}
	}
	cookie, ends := h.login(f).Value, noon.Add(20*24*time.Hour)
	for i := range paths {
		for _, text := range hostileBodies {
			f.Add(uint8(i), "POST", "", "", []byte(text))
		}
		for _, header := range hostileHeaders {
			f.Add(uint8(i), "POST", "", header, []byte(seen))
			f.Add(uint8(i), "GET", "", header, []byte(nil))
		}
		for _, end := range hostileEnds {
			f.Add(uint8(i), "GET", end, "", []byte(nil))
		}
	}
	f.Add(uint8(0), "BREW", "", "", []byte("x"))
	f.Fuzz(func(t *testing.T, which uint8, method, end, header string, text []byte) {
		path := paths[int(which)%len(paths)]
		h.now = h.now.Add(time.Hour) // nobody is slowed down
		st := state()
		st.Snapshot.Time = h.now
		if err := h.Publish(t.Context(), st); err != nil {
			t.Fatal(err)
		}
		if h.now.After(ends) {
			cookie, ends = h.login(t).Value, h.now.Add(20*24*time.Hour)
		}
		before := h.memory(t)
		a, ok := h.ask(method, path+end, header, text, cookie)
		if !ok {
			return
		}
		switch {
		case a.status >= 500 && a.status != idle[path], a.status == http.StatusInternalServerError:
			t.Fatalf("%s %s%s, %q, %.80q: %d %s", method, path, end, header, text, a.status, a.text)
		case a.status < 400:
			if path == "/api/logout" || path == "/api/login" {
				cookie = h.login(t).Value
			}
			return
		case strings.HasPrefix(path, "/answer/") && strings.HasPrefix(a.kind, "text/html"): // a person follows a link
		case method != http.MethodHead && (a.kind != "application/json" || !plainError(a.text)):
			t.Fatalf("%s %s%s, %q, %.80q: %d %s %s", method, path, end, header, text, a.status, a.kind, a.text)
		}
		if after := h.memory(t); after != before {
			t.Fatalf("%s %s%s, %q, %.80q: refused with %d, and changed\n%s\nto\n%s", method, path, end, header, text, a.status, before, after)
		}
	})
}

// plainError reports whether a text is {"error": words} and nothing else.
func plainError(text string) bool {
	var v struct {
		Error string  `json:"error"`
		Row   *int    `json:"row"`   // of what was sent to the book
		Field *string `json:"field"` // of that row
	}
	in := json.NewDecoder(strings.NewReader(text))
	in.DisallowUnknownFields()
	return in.Decode(&v) == nil && v.Error != "" && len(v.Error) < 400
}

// Nothing is hidden in a request that another reads as two, and nobody holds a connection by sending slowly.
func TestRawRequests(t *testing.T) {
	h := newHouse(t)
	cookie := h.login(t).Value
	s := h.listen(t)
	const act = "POST /api/alarms/act HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Type: application/json\r\n"
	own := act + "Cookie: nestmon-session=" + cookie + "\r\n"
	hidden := own + fmt.Sprintf("Content-Length: %d\r\n\r\n%s", len(seen), seen)
	for _, tc := range []struct {
		name, text string
		closes     bool // or every answer is a refusal
	}{
		{"two lengths", own + fmt.Sprintf("Content-Length: 2\r\nContent-Length: %d\r\n\r\n{}%s", 2+len(hidden), hidden), true},
		{"two lengths in one", own + "Content-Length: 2, 4\r\n\r\n{}" + hidden, true},
		{"a length that is none", own + "Content-Length: +2\r\n\r\n{}" + hidden, true},
		{"less than nothing", own + "Content-Length: -1\r\n\r\n" + hidden, true},
		{"chunks and a length", own + fmt.Sprintf("Transfer-Encoding: chunked\r\nContent-Length: %d\r\n\r\n0\r\n\r\n%s", 5+len(hidden), hidden), true},
		{"chunks", own + fmt.Sprintf("Transfer-Encoding: chunked\r\n\r\n%x\r\n%s\r\n0\r\n\r\n", len(seen), seen) + hidden, true},
		{"chunks in disguise", own + "Transfer-Encoding: xchunked\r\nContent-Length: 2\r\n\r\n{}" + hidden, true},
		{"chunks behind a space", own + "Transfer-Encoding : chunked\r\n\r\n0\r\n\r\n" + hidden, true},
		{"chunks for who only looks", "GET /api/state HTTP/1.1\r\nHost: 127.0.0.1\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\n" + hidden, true},
		{"a body for who only looks", "GET /api/state HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: " + fmt.Sprint(len(hidden)) + "\r\n\r\n" + hidden, true},
		{"a folded header", own + "X: a\r\n b\r\nContent-Length\r\n : 2\r\n\r\n" + hidden, true},
		{"a bare line feed in a name", own + "X\nY: a\r\n\r\n" + hidden, true},
		{"a nul in a header", own + "X: \x00\r\n\r\n" + hidden, true},
		{"no host", "GET /api/state HTTP/1.1\r\n\r\n", true},
		{"two hosts", "GET /api/state HTTP/1.1\r\nHost: a\r\nHost: b\r\n\r\n" + hidden, true},
		{"a header without end", "GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nX: " + strings.Repeat("x", 20<<10), true},
		{"headers without number", "GET / HTTP/1.1\r\nHost: 127.0.0.1\r\n" + strings.Repeat("X: y\r\n", 5000), true},
		{"an address without end", "GET /" + strings.Repeat("x", 20<<10) + " HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n", true},
		{"another protocol", "SSH-2.0-x\r\n\r\n", true},
		{"a version to come", "GET / HTTP/9.9\r\nHost: 127.0.0.1\r\n\r\n", true},
		{"HTTP/2 without TLS", "PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n", true},
		{"a tunnel", "CONNECT 127.0.0.1:22 HTTP/1.1\r\nHost: 127.0.0.1:22\r\n\r\n", false},
		{"an address elsewhere", "GET http://rebound.example/api/nothing HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n", false},
		{"a head that comes slowly", "GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nX: ", true},
		{"a body that comes slowly", own + "Content-Length: 400\r\n\r\n{\"action\":", true},
		{"nothing at all", "", true},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			c, err := net.Dial("tcp", s)
			if err != nil {
				t.Fatal(err)
			}
			defer c.Close()
			_ = c.SetDeadline(time.Now().Add(30 * time.Second)) // ends a test that hangs
			go func() { _, _ = io.WriteString(c, tc.text) }()
			for in := bufio.NewReader(c); ; {
				r, err := http.ReadResponse(in, nil)
				if err != nil {
					if timeout := net.Error(nil); errors.As(err, &timeout) && timeout.Timeout() {
						t.Error("neither answered nor closed")
					}
					break
				}
				_, _ = io.Copy(io.Discard, r.Body)
				if r.StatusCode < 400 || r.StatusCode == 500 {
					t.Errorf("answered with %s", r.Status)
				}
				if !tc.closes {
					break
				}
			}
			if n := h.keeper.count(); n != 0 {
				t.Errorf("%d things were done", n)
			}
		})
	}
}
