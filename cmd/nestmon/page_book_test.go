package main

import (
	"bufio"
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/cookiejar"
	"net/http/httptest"
	"os"
	"os/exec"
	"strings"
	"sync"
	"testing"
	"time"

	"nestmon/exporter"
	"nestmon/thresholds/book"
)

const (
	enterPath = "/api/book/enter"
	jsonKind  = "application/json"
)

// pressed is what the page sends for a button that was pressed.
func pressed(n int, rows string) string {
	return fmt.Sprintf(`{"key":"%032x","by":"Anna","entries":[%s]}`, n, rows)
}

// What is entered on the page goes the way of a command: the daemon finds the litter, decides by it at once, and keeps it over a restart. What
// is sent again is answered as before, also after a restart, and changes nothing.
func TestPageEntersOnce(t *testing.T) {
	folder := barnFolder(t)
	b := newBarn(t, folder, demoStart)
	b.poll(24, 2*time.Minute)
	v, leave := b.visit(t)
	v.post(enterPath, jsonKind, pressed(1, `{"what":"noted","note":"x","nest":"box-0"}`), http.StatusUnauthorized)
	v.post("/api/login", jsonKind, `{"password":"willow-7741"}`, http.StatusOK)
	on := func(days int) string { return demoStart.AddDate(0, 0, -days).Format(time.DateOnly) }
	v.post(enterPath, jsonKind, pressed(1, `{"what":"kindled","nest":"box-0","kits":"8","doe":"Hazel","on":"`+on(3)+`"}`), http.StatusOK)
	looked := pressed(2, `{"what":"did","chore":"inspect-due","nest":"box-0"},{"what":"lost","nest":"box-0","kits":"2","cause":"chilled"}`)
	first := v.post(enterPath, jsonKind, looked, http.StatusOK)
	if !strings.Contains(first, `"by":"Anna, page"`) || !strings.Contains(first, `"litter":1`) {
		t.Errorf("stored as %s", first)
	}
	var same sync.WaitGroup
	answers := make([]string, 50)
	for i := range answers {
		same.Go(func() { answers[i] = v.post(enterPath, jsonKind, looked, http.StatusOK) })
	}
	same.Wait()
	for _, again := range answers {
		if again != first {
			t.Fatalf("sent again, it is answered %s, not %s", again, first)
		}
	}
	fresh := pressed(3, `{"what":"weighed","nest":"box-0","kits":"1","grams":"9kg"}`) // unusual, and at once fifty times
	for i := range answers {
		same.Go(func() { answers[i] = v.post(enterPath, jsonKind, fresh, http.StatusOK) })
	}
	same.Wait()
	for _, a := range answers {
		if a != answers[0] || !strings.Contains(a, "unusual") {
			t.Fatalf("at once: %s and %s", a, answers[0])
		}
	}
	if said := v.post(enterPath, jsonKind, pressed(2, `{"what":"noted","nest":"box-0","note":"something else"}`), http.StatusConflict); !strings.Contains(said, "something else was sent under this key") {
		t.Error(said)
	}
	if said := v.post(enterPath, jsonKind, pressed(4, `{"what":"lost","nest":"box-0","kits":"7","cause":"chilled"}`), http.StatusUnprocessableEntity); !strings.Contains(said, `"field":"kits"`) {
		t.Error(said)
	}
	v.post(enterPath, jsonKind, pressed(4, `{"what":"lost","nest":"box-0","kits":"1","cause":"chilled"}`), http.StatusOK) // a refused key is free
	corrected := pressed(5, `{"replaces":"3","kits":"1"}`)
	before := v.post(enterPath, jsonKind, corrected, http.StatusOK)
	v.post(enterPath, jsonKind, pressed(6, `{"what":"struck","replaces":"4"}`), http.StatusOK)
	if n := b.d.Book().Newest(); n != 7 {
		t.Errorf("%d entries", n)
	}
	if got := v.get("/api/book", http.StatusOK); !strings.Contains(got, `"alive":6`) {
		t.Error(got)
	}
	b.poll(24, time.Minute)
	if got := v.get("/api/agenda", http.StatusOK); !strings.Contains(got, `"event":"inspect-due","state":"done"`) || !strings.Contains(got, `"entry":2`) {
		t.Error(got)
	}
	now := b.pace.Now()
	leave()
	b.stop()

	b = newBarn(t, folder, now)
	defer b.stop()
	b.poll(24, time.Minute)
	again, leave := b.visit(t)
	defer leave()
	again.http.Jar = cookies(v, again)
	for body, want := range map[string]string{looked: first, fresh: answers[0], corrected: before} {
		if got := again.post(enterPath, jsonKind, body, http.StatusOK); got != want {
			t.Errorf("after a restart it is answered %s, not %s", got, want)
		}
	}
	if n := b.d.Book().Newest(); n != 7 {
		t.Errorf("%d entries after a restart", n)
	}
}

// A send whose write was given up and ended all the same is found by its key, and not written again.
func TestSendThatEndedLate(t *testing.T) {
	h := newHerd(t)
	under := exporter.Sending{Key: "k", Digest: "d"}
	_ = h.d.command(t.Context(), func() error {
		_, stored, _, err := h.d.Book().With(h.pace.Now(), book.Entry{What: book.Bred, Nest: "box-0", At: h.pace.Now()})
		if err == nil {
			err = h.d.archive.PutSent(stored, exporter.Sent{Sending: under, Entries: []int64{1}})
		}
		if err != nil {
			t.Error(err)
		}
		h.d.unsure = true
		return nil
	})
	stored, _, err := h.d.EnterOnce(t.Context(), under, func(*book.Book) ([]book.Entry, error) {
		return []book.Entry{{What: book.Bred, Nest: "box-0"}}, nil
	})
	if err != nil || len(stored) != 1 || stored[0].ID != 1 {
		t.Errorf("%+v, %v", stored, err)
	}
	if entries, nests := h.standing(); len(entries) != 1 || nests[0].Litter == nil {
		t.Errorf("%+v, and box-0 is judged by %+v", entries, nests[0].Litter)
	}
}

// The child of TestKilledBetweenStoreAndAnswer finds its folder here.
const bookVictimFolder = "NESTMON_BOOK_VICTIM"

// dying answers as the page does, but where it is asked to, it is gone when all is stored and before a byte of the answer left.
func dying(page http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Header.Get("X-Then") != "die" {
			page.ServeHTTP(w, r)
			return
		}
		page.ServeHTTP(httptest.NewRecorder(), r)
		self, err := os.FindProcess(os.Getpid())
		if err == nil {
			_ = self.Kill()
		}
		select {}
	})
}

// TestBookVictim is the daemon that TestKilledBetweenStoreAndAnswer kills.
func TestBookVictim(t *testing.T) {
	folder := os.Getenv(bookVictimFolder)
	if folder == "" {
		t.Skip("runs as a child of TestKilledBetweenStoreAndAnswer alone")
	}
	b := newBarn(t, folder, demoStart)
	b.poll(24, time.Minute)
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	fmt.Println(l.Addr())
	go http.Serve(l, dying(b.d.sinks.page.Handler())) //nolint:errcheck,gosec // it ends with the process
	_, _ = io.ReadAll(os.Stdin)
	b.stop()
}

// The daemon is killed -9 when an entry is stored and its answer has not left, and while it is being stored. The phone sends it again, and it
// stands in the book once.
func TestKilledBetweenStoreAndAnswer(t *testing.T) {
	long(t)
	folder := barnFolder(t)
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	client := &http.Client{Jar: jar, Timeout: 20 * time.Second, Transport: &http.Transport{DisableKeepAlives: true}}
	life := func() (at string, c *exec.Cmd, end io.Closer) {
		c = exec.Command(os.Args[0], "-test.run=^TestBookVictim$")
		c.Env = append(os.Environ(), bookVictimFolder+"="+folder)
		in, err := c.StdinPipe()
		if err != nil {
			t.Fatal(err)
		}
		out, err := c.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := c.Start(); err != nil {
			t.Fatal(err)
		}
		line, err := bufio.NewReader(out).ReadString('\n')
		if err != nil {
			t.Fatalf("the daemon does not begin: %v", err)
		}
		return "http://" + strings.TrimSpace(line), c, in
	}
	post := func(at, path, body, then string) (int, string) {
		r, err := http.NewRequest(http.MethodPost, at+path, bytes.NewBufferString(body))
		if err != nil {
			t.Fatal(err)
		}
		r.Header.Set("Content-Type", jsonKind)
		r.Header.Set("X-Then", then)
		answer, err := client.Do(r)
		if err != nil {
			return 0, ""
		}
		defer answer.Body.Close()
		text, _ := io.ReadAll(answer.Body)
		return answer.StatusCode, string(text)
	}
	const sends = 3
	storedBefore := 0
	for i := range sends {
		at, c, _ := life()
		if i == 0 {
			if status, said := post(at, "/api/login", `{"password":"willow-7741"}`, ""); status != http.StatusOK {
				t.Fatalf("login: %d %s", status, said)
			}
		}
		body := pressed(i, fmt.Sprintf(`{"what":"noted","nest":"box-0","note":"look %d"}`, i))
		if i%2 == 0 {
			if status, said := post(at, enterPath, body, "die"); status != 0 {
				t.Fatalf("it lived to answer: %d %s", status, said)
			}
		} else {
			go func() {
				time.Sleep(time.Duration(i) * time.Millisecond)
				_ = c.Process.Kill()
			}()
			post(at, enterPath, body, "")
		}
		_ = c.Wait()
		at, c, end := life()
		if b := entriesIn(t, client, at); strings.Contains(b, fmt.Sprintf("look %d", i)) {
			storedBefore++
		} else if i%2 == 0 {
			t.Errorf("send %d was stored when it died, and is not there", i)
		}
		status, first := post(at, enterPath, body, "")
		if status, again := post(at, enterPath, body, ""); status != http.StatusOK || again != first {
			t.Errorf("send %d: %d %s, and then %s", i, status, first, again)
		}
		if status != http.StatusOK {
			t.Errorf("send %d: %d %s", i, status, first)
		}
		if n := strings.Count(entriesIn(t, client, at), fmt.Sprintf("look %d\",", i)); n != 1 {
			t.Errorf("send %d stands in the book %d times", i, n)
		}
		_ = end.Close()
		if err := c.Wait(); err != nil {
			t.Errorf("it ended with %v", err)
		}
	}
	t.Logf("%d of %d were stored when the daemon was killed", storedBefore, sends)
}

// entriesIn are the notes of the nest, one a line, as its past tells them.
func entriesIn(t *testing.T, client *http.Client, at string) string {
	t.Helper()
	answer, err := client.Get(at + "/api/book/nest/box-0")
	if err != nil {
		t.Fatal(err)
	}
	defer answer.Body.Close()
	var past struct {
		Entries []struct {
			Row struct{ Note string }
		}
	}
	if err := json.NewDecoder(answer.Body).Decode(&past); err != nil {
		t.Fatal(err)
	}
	notes := ""
	for _, e := range past.Entries {
		notes += e.Row.Note + "\",\n"
	}
	return notes
}
