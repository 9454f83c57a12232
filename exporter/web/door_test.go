package web_test

import (
	"cmp"
	"context"
	"errors"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/web"
	"nestmon/thresholds/alarm"
)

// An invented password, and its hash of the lowest cost; and another's.
const (
	password  = "willow-7741"
	hashLine  = "$2a$04$75K5oQdDChM.WRMK4URCaOPfAYjX/IW/wJiNeNWYtMN39UBkZzeHS\n"
	otherLine = "$2a$04$yBw512Vg4Tb8LvPvjSabouTZBMD0RPKpxeul2Vyi1cxz0wmt6MSXm\n"
	goodToken = "a-token-that-somebody-was-sent-1"
	usedToken = "a-token-that-was-used-before-0001"
)

// keeper notes what it is told.
type keeper struct {
	mu   sync.Mutex
	acts []alarm.Act
	done []string
	uses []string
	fail error
}

func (k *keeper) Act(_ context.Context, a alarm.Act) error {
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.fail == nil {
		k.acts = append(k.acts, a)
	}
	return k.fail
}

func (k *keeper) Done(_ context.Context, nest string, chore alarm.Name, by string) error {
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.fail == nil {
		k.done = append(k.done, nest+"/"+string(chore)+" by "+by)
	}
	return k.fail
}

func (k *keeper) Answer(_ context.Context, token string) error {
	k.mu.Lock()
	defer k.mu.Unlock()
	if slices.Contains(k.uses, token) {
		return exporter.ErrLinkUsed
	}
	if k.fail == nil {
		k.uses = append(k.uses, token)
	}
	return k.fail
}

func (k *keeper) Asked(_ context.Context, token string) (exporter.Message, error) {
	k.mu.Lock()
	defer k.mu.Unlock()
	switch {
	case token == usedToken || slices.Contains(k.uses, token):
		return exporter.Message{}, exporter.ErrLinkUsed
	case token == goodToken:
		return exporter.Message{Title: "a1: nest air 38.4 °C (101.1 °F) <b>now</b>", Body: "Open the box.\nGive shade.\n\nAnswer here:\nhttp://nests.example/answer/" + goodToken}, nil
	}
	return exporter.Message{}, exporter.ErrLinkUnknown
}

func (k *keeper) count() int {
	k.mu.Lock()
	defer k.mu.Unlock()
	return len(k.acts) + len(k.done) + len(k.uses)
}

// shelf is a store in memory.
type shelf struct {
	mu   sync.Mutex
	kept map[string]string
	fail error
}

func (s *shelf) Meta(key string) (string, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.kept[key], nil
}

func (s *shelf) SetMeta(key, value string) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.fail == nil {
		s.kept[key] = value
	}
	return s.fail
}

// house is a page with a password, a keeper and a store, and its clock.
type house struct {
	*web.Server
	keeper  *keeper
	store   *shelf
	file    string
	phones  *channel
	address string // none where empty
	view    string
	desk    *desk
	now     time.Time
	logged  strings.Builder
}

func newHouse(t testing.TB) *house {
	t.Helper()
	h := &house{keeper: &keeper{}, store: &shelf{kept: map[string]string{}}, file: filepath.Join(t.TempDir(), "page.password"), now: noon}
	h.write(t, hashLine)
	h.restart(t)
	return h
}

func (h *house) write(t testing.TB, line string) {
	t.Helper()
	if err := os.WriteFile(h.file, []byte(line), 0o600); err != nil {
		t.Fatal(err)
	}
}

// restart puts a new server in place of the old one.
func (h *house) restart(t testing.TB) {
	t.Helper()
	cfg := web.Config{Listen: cmp.Or(h.address, web.None), PasswordFile: h.file, Address: "https://nests.example", View: h.view}
	h.Server = web.New(cfg, site(), history(), slog.New(slog.NewTextHandler(&h.logged, nil)))
	h.Now = func() time.Time { return h.now }
	h.Options = web.Options{Keeper: h.keeper, Store: h.store, Test: func(_ context.Context, channel string) (map[string]string, error) {
		if channel != "" {
			return nil, errors.New("there is no such channel")
		}
		return map[string]string{"mobile": "", "post": "nobody answers"}, nil
	}}
	publish(t, h.Server)
}

// post sends a body as our page would; change makes it another's.
func (h *house) post(path, body, cookie string, change ...func(*http.Request)) *http.Response {
	r := httptest.NewRequest("POST", path, strings.NewReader(body))
	r.Host = "192.168.1.20:8380"
	r.Header.Set("Content-Type", "application/json")
	r.Header.Set("Origin", "http://192.168.1.20:8380")
	if cookie != "" {
		r.Header.Set("Cookie", "nestmon-session="+cookie)
	}
	for _, c := range change {
		c(r)
	}
	w := httptest.NewRecorder()
	h.Handler().ServeHTTP(w, r)
	return w.Result()
}

// login returns what the browser keeps.
func (h *house) login(t testing.TB, change ...func(*http.Request)) *http.Cookie {
	t.Helper()
	r := h.post("/api/login", `{"password":"`+password+`"}`, "", change...)
	if r.StatusCode != http.StatusOK || len(r.Cookies()) != 1 {
		t.Fatalf("login: %d %s", r.StatusCode, body(t, r))
	}
	return r.Cookies()[0]
}

const seen = `{"action":"acknowledge","nest":"a1","event":"nest-heat","since":"2031-07-19T12:00:00Z","time":"2031-07-19T12:00:00Z"}`

func TestALoginLetsPeopleAct(t *testing.T) {
	h := newHouse(t)
	if r := h.post("/api/alarms/act", seen, ""); r.StatusCode != http.StatusUnauthorized || h.keeper.count() != 0 {
		t.Fatalf("without a login: %d", r.StatusCode)
	}
	c := h.login(t)
	if !c.HttpOnly || c.SameSite != http.SameSiteStrictMode || c.Path != "/" || c.Secure || c.MaxAge != 30*24*3600 || len(c.Value) != 43 {
		t.Errorf("cookie %+v", c)
	}
	for _, tc := range []struct{ path, body string }{
		{"/api/alarms/act", seen},
		{"/api/alarms/act", `{"action":"shelve","nest":"a1","event":"nest-heat","for_s":900}`},
		{"/api/alarms/act", `{"action":"out-of-service","nest":"a1","event":""}`},
		{"/api/chores/done", `{"nest":"a1","event":"inspect-due"}`},
		{"/api/chores/done", `{"nest":"","event":"season-setup-due"}`},
	} {
		if r := h.post(tc.path, tc.body, c.Value); r.StatusCode != http.StatusOK {
			t.Errorf("%s %s: %d %s", tc.path, tc.body, r.StatusCode, body(t, r))
		}
	}
	want := []alarm.Act{
		{Action: alarm.Acknowledge, Nest: "a1", Event: alarm.NestHeat, By: "page", Since: noon, Worst: alarm.Warning},
		{Action: alarm.Shelve, Nest: "a1", Event: alarm.NestHeat, By: "page", For: 15 * time.Minute},
		{Action: alarm.TakeOut, Nest: "a1", By: "page"},
	}
	if !slices.Equal(h.keeper.acts, want) {
		t.Errorf("acts %+v", h.keeper.acts)
	}
	if want := []string{"a1/inspect-due by page", "/season-setup-due by page"}; !slices.Equal(h.keeper.done, want) {
		t.Errorf("done %q", h.keeper.done)
	}
	r := h.post("/api/alarms/test", `{}`, c.Value)
	if got := body(t, r); got != `{"channels":{"mobile":"","post":"nobody answers"}}` {
		t.Errorf("test: %d %s", r.StatusCode, got)
	}
	h.keeper.fail = errors.New("it has grown worse; look")
	if r := h.post("/api/alarms/act", seen, c.Value); r.StatusCode != http.StatusUnprocessableEntity || !strings.Contains(body(t, r), "grown worse; look") {
		t.Errorf("a keeper that refuses: %d", r.StatusCode)
	}
	if strings.Contains(h.logged.String(), c.Value) || strings.Contains(h.logged.String(), password) || strings.Contains(h.store.kept["page-sessions"], c.Value) {
		t.Error("a secret is written down")
	}
}

func TestRefusedRequestsChangeNothing(t *testing.T) {
	h := newHouse(t)
	c := h.login(t).Value
	header := func(name, value string) func(*http.Request) {
		return func(r *http.Request) { r.Header.Set(name, value) }
	}
	host := func(name string) func(*http.Request) {
		return func(r *http.Request) { r.Host = name; r.Header.Del("Origin") }
	}
	long := `{"action":"shelve","nest":"` + strings.Repeat("x", 70<<10) + `","event":"nest-heat"}`
	for _, tc := range []struct {
		name, path, body string
		change           func(*http.Request)
		want             int
	}{
		{"another site", "/api/alarms/act", seen, header("Origin", "https://elsewhere.example"), 403},
		{"another site, as the browser says", "/api/alarms/act", seen, header("Sec-Fetch-Site", "cross-site"), 403},
		{"no origin at all", "/api/alarms/act", seen, header("Origin", "null"), 403},
		{"a form", "/api/alarms/act", seen, header("Content-Type", "application/x-www-form-urlencoded"), 415},
		{"text", "/api/alarms/act", seen, header("Content-Type", "text/plain"), 415},
		{"no type", "/api/alarms/act", seen, func(r *http.Request) { r.Header.Del("Content-Type") }, 415},
		{"a name that leads here", "/api/alarms/act", seen, host("rebound.example"), 403},
		{"a name that ends as ours", "/api/alarms/act", seen, host("evil-nests.example"), 403},
		{"no host", "/api/alarms/act", seen, host(""), 403},
		{"a stolen name of a cookie", "/api/alarms/act", seen, header("Cookie", "nestmon-session=x"), 401},
		{"no cookie", "/api/alarms/act", seen, func(r *http.Request) { r.Header.Del("Cookie") }, 401},
		{"GET", "/api/alarms/act", seen, func(r *http.Request) { r.Method = "GET" }, 405},
		{"PUT", "/api/alarms/act", seen, func(r *http.Request) { r.Method = "PUT" }, 405},
		{"too large", "/api/alarms/act", long, nil, 413},
		{"too large and of unknown length", "/api/alarms/act", long, func(r *http.Request) { r.ContentLength = -1 }, 413},
		{"nothing", "/api/alarms/act", "", nil, 400},
		{"not JSON", "/api/alarms/act", `{"action":`, nil, 400},
		{"null", "/api/alarms/act", `null`, nil, 400},
		{"a list", "/api/alarms/act", `[` + seen + `]`, nil, 400},
		{"twice", "/api/alarms/act", seen + seen, nil, 400},
		{"a name that stands twice", "/api/alarms/act", `{"action":"shelve","nest":"a1","event":"nest-heat","for_s":60,"NEST":""}`, nil, 400},
		{"an unknown name", "/api/alarms/act", `{"action":"shelve","nest":"a1","event":"nest-heat","by":"somebody"}`, nil, 400},
		{"no text", "/api/alarms/act", "{\"action\":\"shelve\",\"nest\":\"\xff\",\"event\":\"nest-heat\"}", nil, 400},
		{"an unknown action", "/api/alarms/act", `{"action":"raise","nest":"a1","event":"nest-heat"}`, nil, 400},
		{"an unknown event", "/api/alarms/act", `{"action":"shelve","nest":"a1","event":"x"}`, nil, 400},
		{"too long", "/api/alarms/act", `{"action":"shelve","nest":"a1","event":"nest-heat","for_s":3601}`, nil, 400},
		{"beyond all time", "/api/alarms/act", `{"action":"shelve","nest":"a1","event":"probe-silent","for_s":9223372036854775807}`, nil, 400},
		{"backwards", "/api/alarms/act", `{"action":"shelve","nest":"a1","event":"nest-heat","for_s":-1}`, nil, 400},
		{"a time for what has none", "/api/alarms/act", `{"action":"unshelve","nest":"a1","event":"nest-heat","for_s":1}`, nil, 400},
		{"whichever alarm stands", "/api/alarms/act", `{"action":"acknowledge","nest":"a1","event":"nest-heat"}`, nil, 400},
		{"an alarm that was before", "/api/alarms/act", strings.Replace(seen, "12:00", "11:00", 1), nil, 409},
		{"an alarm that has grown worse", "/api/alarms/act", strings.Replace(seen, `"time":"2031-07-19T12`, `"time":"2031-07-19T11`, 1), nil, 409},
		{"an alarm that does not stand", "/api/alarms/act", strings.Replace(seen, "nest-heat", "doe-heat", 1), nil, 409},
		{"a nest that is none", "/api/alarms/act", `{"action":"shelve","nest":"a2","event":"nest-heat"}`, nil, 422},
		{"an alarm that is no chore", "/api/chores/done", `{"nest":"a1","event":"nest-heat"}`, nil, 400},
		{"a chore of no nest", "/api/chores/done", `{"nest":"../a1","event":"inspect-due"}`, nil, 422},
		{"a channel that is none", "/api/alarms/test", `{"channel":"x"}`, nil, 422},
		{"a query that is too long", "/api/alarms/act?" + strings.Repeat("x", 1100), seen, nil, 400},
	} {
		t.Run(tc.name, func(t *testing.T) {
			change := tc.change
			if change == nil {
				change = func(*http.Request) {}
			}
			r := h.post(tc.path, tc.body, c, change)
			text := body(t, r)
			if r.StatusCode != tc.want || !strings.HasPrefix(text, `{"error":"`) || r.Header.Get("Content-Type") != "application/json" {
				t.Errorf("%d %s, want %d", r.StatusCode, text, tc.want)
			}
			if n := h.keeper.count(); n != 0 {
				t.Fatalf("%d things were done", n)
			}
		})
	}
	for _, name := range []string{"192.168.1.20:8380", "[fd00::1]:8380", "localhost:8380", "barn", "barn.local", "BARN.local.:8380", "nests.example"} {
		if r := h.post("/api/alarms/act", seen, c, host(name)); r.StatusCode != http.StatusOK {
			t.Errorf("as %s: %d %s", name, r.StatusCode, body(t, r))
		}
	}
	if r := h.post("/api/alarms/act", seen, c, header("Origin", "https://nests.example")); r.StatusCode != http.StatusOK {
		t.Errorf("from the configured address, through what stands before us: %d", r.StatusCode)
	}
}

func TestWithoutAPasswordNothingChanges(t *testing.T) {
	s := server(t)
	k := &keeper{}
	s.Options.Keeper = k
	publish(t, s)
	h := &house{Server: s}
	for _, path := range []string{"/api/login", "/api/logout", "/api/alarms/act", "/api/alarms/test", "/api/chores/done", "/api/book/enter"} {
		r := h.post(path, seen, "x")
		if text := body(t, r); r.StatusCode != http.StatusForbidden || !strings.Contains(text, "can give it one on the board") || k.count() != 0 {
			t.Errorf("%s: %d %s", path, r.StatusCode, text)
		}
	}
	if got := body(t, get(s.Handler(), "GET", "/api/session")); got != `{"changes":false,"logged_in":false,"test":false,"closed":false}` {
		t.Errorf("session %s", got)
	}
}

func TestAPasswordFileThatWentBadIsToldAndLocks(t *testing.T) {
	h := newHouse(t)
	c := h.login(t).Value
	for name, line := range map[string]string{"no hash": "willow-7741\n", "a hash that takes minutes": strings.Replace(hashLine, "$04$", "$31$", 1), "empty": ""} {
		h.write(t, line)
		err := h.Publish(t.Context(), state())
		if !exporter.IsMisconfigured(err) || !strings.Contains(err.Error(), h.file) || strings.Contains(err.Error(), "willow") {
			t.Errorf("%s: published with %v", name, err)
		}
		if r := h.post("/api/alarms/act", seen, c); r.StatusCode != http.StatusServiceUnavailable || h.keeper.count() != 0 {
			t.Errorf("%s: acted with %d", name, r.StatusCode)
		}
	}
	if err := h.Start(); err != nil {
		t.Errorf("without an address there is nothing to start: %v", err)
	}
	s := web.New(web.Config{Listen: "127.0.0.1:0", PasswordFile: h.file + ".gone"}, site(), history(), quiet())
	if err := s.Start(); err == nil || !strings.Contains(err.Error(), "nestmon password") {
		t.Errorf("started without its password file: %v", err)
	}
}

func TestSessions(t *testing.T) {
	h := newHouse(t)
	in := func(cookie string) bool {
		r := httptest.NewRequest("GET", "/api/session", nil)
		r.Header.Set("Cookie", "nestmon-session=of-another-port; nestmon-session="+cookie)
		w := httptest.NewRecorder()
		h.Handler().ServeHTTP(w, r)
		text, _ := io.ReadAll(w.Body)
		return strings.Contains(string(text), `"logged_in":true`)
	}
	first := h.login(t).Value
	h.restart(t)
	if !in(first) {
		t.Fatal("a restart logs out")
	}
	h.now = h.now.Add(30*24*time.Hour - time.Second)
	if !in(first) {
		t.Error("it ends too early")
	}
	h.now = h.now.Add(time.Second)
	if in(first) {
		t.Error("it does not end after 30 days")
	}
	second := h.login(t).Value
	if r := h.post("/api/logout", `{}`, second); r.StatusCode != http.StatusOK || r.Cookies()[0].MaxAge != -1 || in(second) {
		t.Errorf("logout: %d", r.StatusCode)
	}
	h.restart(t)
	if in(second) || h.post("/api/alarms/act", seen, second).StatusCode != http.StatusUnauthorized {
		t.Error("a restart logs in again")
	}
	third := h.login(t).Value
	var newest string
	for range 20 {
		newest = h.login(t).Value
	}
	if in(third) || !in(newest) {
		t.Error("of 21 sessions the oldest does not go")
	}
	h.write(t, otherLine)
	if in(newest) {
		t.Error("another password leaves sessions open")
	}
	h.write(t, hashLine)
	h.store.fail = errors.New("the card is full")
	kept := h.login(t).Value
	if !in(kept) {
		t.Error("a full card keeps people out")
	}
	if r := h.post("/api/logout", `{}`, kept); r.StatusCode != http.StatusServiceUnavailable || in(kept) {
		t.Errorf("a logout that is not stored: %d", r.StatusCode)
	}
}

func TestCookieIsSecureBehindTLS(t *testing.T) {
	h := newHouse(t)
	c := h.login(t, func(r *http.Request) { r.Host = "nests.example"; r.Header.Set("Origin", "https://nests.example") })
	if !c.Secure {
		t.Error("not at the configured https address")
	}
}

func TestWrongPasswordsAreSlowedDown(t *testing.T) {
	h := newHouse(t)
	try := func(from, word string) *http.Response {
		return h.post("/api/login", `{"password":"`+word+`"}`, "", func(r *http.Request) { r.RemoteAddr = from })
	}
	for i := range 5 {
		if r := try("192.168.1.7:1000", "wrong-word"); r.StatusCode != http.StatusUnauthorized {
			t.Fatalf("try %d: %d", i, r.StatusCode)
		}
	}
	if r := try("192.168.1.7:1001", password); r.StatusCode != http.StatusTooManyRequests || r.Header.Get("Retry-After") != "60" {
		t.Errorf("the sixth: %d, after %s s", r.StatusCode, r.Header.Get("Retry-After"))
	}
	if r := try("192.168.1.8:1000", password); r.StatusCode != http.StatusOK {
		t.Errorf("another address: %d", r.StatusCode)
	}
	h.now = h.now.Add(time.Minute)
	if r := try("192.168.1.7:1000", "wrong-word"); r.StatusCode != http.StatusUnauthorized {
		t.Errorf("after a minute: %d", r.StatusCode)
	}
	if r := try("192.168.1.7:1000", password); r.StatusCode != http.StatusTooManyRequests {
		t.Errorf("twice after a minute: %d", r.StatusCode)
	}
	tries := 0
	for i := range 100 {
		from := "[2001:db8:0:" + string(rune('1'+i%9)) + "::" + string(rune('1'+i%7)) + "]:9"
		if try(from, "wrong-word").StatusCode == http.StatusUnauthorized {
			tries++
		}
	}
	if tries == 0 || tries > 20 {
		t.Errorf("%d tries from everywhere at once", tries)
	}
	if strings.Contains(h.logged.String(), "wrong-word") {
		t.Error("a tried password is logged")
	}
}

func TestHashPassword(t *testing.T) {
	for _, bad := range []string{"", "nine-char", "tab\tin-the-word", strings.Repeat("x", 73), "not-\xff-text-at-all"} {
		if line, err := web.HashPassword(bad); err == nil || line != "" || bad != "" && strings.Contains(err.Error(), bad) {
			t.Errorf("%q: %q, %v", bad, line, err)
		}
	}
	h := newHouse(t)
	line, err := web.HashPassword("äußere-Wiese")
	if err != nil {
		t.Fatal(err)
	}
	h.write(t, line)
	if r := h.post("/api/login", `{"password":"äußere-Wiese"}`, ""); r.StatusCode != http.StatusOK {
		t.Errorf("its own password: %d", r.StatusCode)
	}
}

// FuzzChanges sends bodies with every right but sense. Whatever comes, the answer is JSON, and what reaches the keeper is what it may.
func FuzzChanges(f *testing.F) {
	h := newHouse(f)
	cookie := h.login(f).Value
	h.Options.Book = newDesk(1)
	paths := []string{"/api/alarms/act", "/api/chores/done", "/api/alarms/test", "/api/login", "/api/logout", "/api/book/enter"}
	for i, text := range []string{seen, `{"nest":"a1","event":"inspect-due"}`, `{"channel":""}`, `{"password":"x"}`, `{}`, send(`{"what":"bred","nest":"a1","on":"2031-07-01"}`)} {
		f.Add(uint8(i), []byte(text))
	}
	f.Add(uint8(0), []byte(`{"action":"shelve","nest":"a1","event":"","for_s":3600}`))
	f.Add(uint8(0), []byte(`{"action":"shelve","ACTION":"in-service","nest":"\ud800","event":"nest-heat","for_s":1e3}`))
	f.Fuzz(func(t *testing.T, path uint8, text []byte) {
		p := paths[int(path)%len(paths)]
		if p == "/api/logout" {
			cookie = h.login(t).Value
		}
		h.now = h.now.Add(time.Hour) // a login is possible again
		before := h.keeper.count()
		r := h.post(p, string(text), cookie)
		answer := body(t, r)
		switch {
		case r.StatusCode == http.StatusOK:
		case !strings.HasPrefix(answer, `{"error":"`) || r.StatusCode < 400 || r.StatusCode == http.StatusInternalServerError:
			t.Fatalf("%s %q: %d %s", p, text, r.StatusCode, answer)
		case h.keeper.count() != before:
			t.Fatalf("%s %q: refused and done", p, text)
		}
		for _, a := range h.keeper.acts {
			ok := slices.Contains(alarm.Actions, a.Action) && (a.Nest == "" || a.Nest == "a1") && a.By == "page" &&
				(a.Event == "" || slices.Contains(alarm.Names, a.Event)) && a.For >= 0 && a.For <= alarm.MaxShelf(a.Event)
			if !ok {
				t.Fatalf("%q led to %+v", text, a)
			}
		}
		h.keeper.acts = nil
	})
}
