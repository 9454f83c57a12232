package web_test

import (
	"bufio"
	"context"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/web"
	"nestmon/exporter/web/webtest"
	"nestmon/thresholds/book"
)

// furnish lets a house answer at every address.
func (h *house) furnish() *house {
	page := func() (web.Page, error) { return web.Page{Body: []byte("<p>kits"), Policy: "default-src 'none'"}, nil }
	h.Options.Report = func(int64) (web.Page, error) { return page() }
	h.Options.Litters = page
	h.Options.Calendar = func(_ context.Context, secret exporter.Secret) ([]byte, time.Time, error) {
		if secret.Reveal() != feedSecret {
			return nil, time.Time{}, exporter.ErrLinkUnknown
		}
		return []byte("BEGIN:VCALENDAR\r\nEND:VCALENDAR\r\n"), noon, nil
	}
	h.desk = newDesk(1)
	if _, _, err := h.desk.Enter(context.Background(), []book.Entry{{What: book.Bred, Nest: "1", Doe: "1", At: noon.AddDate(0, 0, -20)}}); err != nil {
		panic(err) // an invented litter
	}
	h.Options.Book = h.desk
	h.phones = &channel{}
	h.Options.Book = newDesk(1)
	h.Options.Queries = http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { _, _ = w.Write([]byte(`{"status":"success"}`)) })
	h.SignUp(h.phones)
	return h
}

// closedHouse shows nothing to who has not logged in.
func closedHouse(t testing.TB) *house {
	t.Helper()
	h := &house{keeper: &keeper{}, store: &shelf{kept: map[string]string{}}, file: filepath.Join(t.TempDir(), "page.password"), now: noon, view: web.Password}
	h.write(t, hashLine)
	h.restart(t)
	return h.furnish()
}

var filled = map[string]string{"token": goodToken, "file": feedSecret + ".ics"}

// listen serves a house on a real socket, hurriedly.
func (h *house) listen(t *testing.T) string {
	t.Helper()
	h.address = "127.0.0.1:0"
	h.restart(t)
	h.Hurry(200*time.Millisecond, time.Second, 50*time.Millisecond)
	if err := h.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = h.Close(context.Background()) })
	return h.Addr()
}

// seenBy is the status of an address for a browser that holds this cookie. A stream is left at once.
func (h *house) seenBy(cookie, path string) int {
	ctx, leave := context.WithCancel(context.Background())
	leave()
	r := httptest.NewRequestWithContext(ctx, http.MethodGet, here+path, nil)
	r.Header.Set("Cookie", "nestmon-session="+cookie)
	w := httptest.NewRecorder()
	h.Handler().ServeHTTP(w, r)
	return w.Code
}

// bare are the addresses that are not hidden: what is added later is.
var bare = []string{
	"/{$}", "/static/{hash}/{file...}", "/sw.js", "/manifest.webmanifest", "/ca.crt", "/healthz", "/", "/api/session", "/api/login", "/api/logout",
	"/answer/{token}", "POST /answer/{token}", "/calendar/{file}",
}

func TestAClosedPageShowsNothingWithoutALogin(t *testing.T) {
	h := closedHouse(t)
	in := h.login(t).Value
	for _, pattern := range webtest.Patterns(t, ".") {
		path := webtest.Path(pattern, filled)
		want := slices.Contains(bare, pattern)
		if got := h.seenBy("x", path); (got != http.StatusUnauthorized) != want {
			t.Errorf("%s without a login: %d", path, got)
		}
		if got := h.seenBy(in, path); got == http.StatusUnauthorized {
			t.Errorf("%s after a login: %d", path, got)
		}
	}
	for path, want := range map[string]int{"//api/state": 401, "/api/./state": 401, "/api/state/": 404, "/API/state": 404, "/static/../api/state": 401, "/api/session/../state": 401} {
		if got := h.seenBy("x", path); got != want {
			t.Errorf("%s: %d, want %d", path, got, want)
		}
	}
	if got := body(t, get(h.Handler(), "GET", "/api/session")); !strings.Contains(got, `"logged_in":false`) || !strings.Contains(got, `"closed":true`) {
		t.Errorf("session %s", got)
	}
	h.post("/api/logout", `{}`, in)
	if got := h.seenBy(in, "/api/state"); got != http.StatusUnauthorized {
		t.Errorf("after the logout: %d", got)
	}
	h.write(t, "no hash\n")
	if got := h.seenBy(in, "/api/state"); got != http.StatusServiceUnavailable {
		t.Errorf("with a password file that went bad: %d", got)
	}
}

// A site elsewhere lets its own name lead here: its page would be let to read what ours shows (DNS rebinding).
func TestAStrangeNameReadsNothing(t *testing.T) {
	h := newHouse(t)
	publish(t, h.Server)
	seen := func(host, path string) string {
		ctx, leave := context.WithCancel(t.Context())
		leave()
		r := httptest.NewRequestWithContext(ctx, http.MethodGet, path, nil)
		r.Host = host
		w := httptest.NewRecorder()
		h.Handler().ServeHTTP(w, r)
		return w.Body.String()
	}
	const told = "this name is not known here"
	for _, pattern := range webtest.Patterns(t, ".") {
		path := webtest.Path(pattern, filled)
		silent := path != "/" && slices.Contains(bare, pattern)
		for _, host := range []string{"rebound.example", "rebound.example:8380", "x.lan.example", "local.example", "evil-nests.example", "127.0.0.1.example", ""} {
			if got := strings.Contains(seen(host, path), told); got == silent {
				t.Errorf("%s as %q: refused %v", path, host, got)
			}
		}
	}
	r := httptest.NewRequest(http.MethodGet, "http://rebound.example/", nil)
	r.Header.Set("Accept", "text/html,*/*")
	w := httptest.NewRecorder()
	h.Handler().ServeHTTP(w, r)
	if w.Code != http.StatusForbidden || !strings.HasPrefix(w.Header().Get("Content-Type"), "text/plain") || !strings.Contains(w.Body.String(), told) {
		t.Errorf("a person is told %d %s", w.Code, w.Body)
	}
	for _, host := range []string{
		"192.168.1.20:8380", "[fd00::1]:8380", "localhost:8380", "board", "nests.example", "NESTS.example.:443", "board.local", "board.lan:8380",
		"board.home.arpa", "board.internal",
	} {
		for _, path := range []string{"/", "/api/state"} {
			if strings.Contains(seen(host, path), told) {
				t.Errorf("%s as %q is refused", path, host)
			}
		}
	}
}

// Who may open the socket's file needs no password.
func TestCommandsSeeAClosedPage(t *testing.T) {
	h := closedHouse(t)
	at := filepath.Join(t.TempDir(), "s")
	l, err := net.Listen("unix", at)
	if err != nil {
		t.Fatal(err)
	}
	srv := httptest.NewUnstartedServer(h.Handler())
	srv.Listener = l
	srv.Start()
	defer srv.Close()
	client := http.Client{Transport: &http.Transport{DialContext: func(ctx context.Context, _, _ string) (net.Conn, error) {
		return (&net.Dialer{}).DialContext(ctx, "unix", at)
	}}}
	r, err := client.Get("http://nestmon/api/state")
	if err != nil {
		t.Fatal(err)
	}
	if _ = r.Body.Close(); r.StatusCode != http.StatusOK {
		t.Errorf("%s", r.Status)
	}
	client.CloseIdleConnections()
}

func TestALogoutEndsAStream(t *testing.T) {
	h := closedHouse(t)
	h.Hurry(time.Second, time.Second, 20*time.Millisecond)
	cookie := h.login(t).Value
	srv := httptest.NewServer(h.Handler())
	defer srv.Close()
	ctx, leave := context.WithTimeout(t.Context(), 30*time.Second) // ends a test that hangs
	defer leave()
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, srv.URL+"/api/stream", nil)
	if err != nil {
		t.Fatal(err)
	}
	req.Header.Set("Cookie", "nestmon-session="+cookie)
	r, err := http.DefaultClient.Do(req)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close()
	in := bufio.NewReader(r.Body)
	events(t, in, "beat", 3)
	h.post("/api/logout", `{}`, cookie)
	if _, err := io.Copy(io.Discard, in); err != nil {
		t.Errorf("the stream breaks in place of ending: %v", err)
	}
}

func TestViewIsValidated(t *testing.T) {
	for _, tc := range []struct{ view, file, want string }{
		{"", "", ""},
		{"open", "", ""},
		{"password", "page.password", ""},
		{"password", "", "there is no password to log in with; make one with 'nestmon password'"},
		{"closed", "page.password", `"closed" is none of open, password; write`},
	} {
		said := ""
		web.Config{Listen: web.None, View: tc.view, PasswordFile: tc.file}.Validate(func(path, problem string) { said += path + ": " + problem })
		if tc.want == "" && said != "" || tc.want != "" && !strings.HasPrefix(said, "view: "+tc.want) {
			t.Errorf("%q with %q: %s", tc.view, tc.file, said)
		}
	}
	s := web.New(web.Config{Listen: web.None, View: web.Password}, site(), history(), slog.New(slog.DiscardHandler))
	if r := get(s.Handler(), "GET", "/api/state"); r.StatusCode != http.StatusServiceUnavailable {
		t.Errorf("closed without a password: %d", r.StatusCode)
	}
}
