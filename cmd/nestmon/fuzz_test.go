package main

import (
	"bytes"
	"context"
	"encoding/json"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"nestmon/exporter/archive"
	"nestmon/sensors"
)

// FuzzBook: a file of the litter book is taken as rows that it can be written as again, or refused with its line.
func FuzzBook(f *testing.F) {
	for _, text := range []string{
		"", "what,on,nest,doe,kits,cause\nbred,2026-03-01,a1,Hazel,,\nkindled,2026-04-01,a1,,8,\nlost,2026-04-03,a1,,1,chilled\n", "what,on\nbred,\"2026-03-01\n\"\n", "what;on\n", "\xef\xbb\xbfwhat,on,nest\nended,1926-02-30,x\n",
		"what,on,weight_g\nweighed,2026-03-01T25:00,1e400\n", "what,what\n", "what,on\nbred,2026-03-01\n\n\nbred", "\xff\xfew", "what,on,note\nnote,2026-03-01,\"a\"\"b\"\n", strings.Join(litterColumns, ",") + "\na1,2026-03-01,,,\n",
	} {
		f.Add([]byte(text))
	}
	dir := f.TempDir()
	file := filepath.Join(dir, "book.csv")
	zone, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		f.Fatal(err)
	}
	c := &config{Nests: []nestConfig{{ID: "a1"}}, Site: siteConfig{Timezone: "Europe/Berlin"}}
	f.Fuzz(func(t *testing.T, text []byte) {
		if err := os.WriteFile(file, text, 0o600); err != nil {
			t.Fatal(err)
		}
		if all, err := readLitters(file, c); err == nil {
			for _, l := range all {
				if err := checkLitter(l); err != nil || l.Nest != "a1" {
					t.Errorf("%q: %+v, %v", text, l, err)
				}
			}
		}
		read, err := readBook(file, zone)
		if err != nil {
			if !strings.HasPrefix(err.Error(), file+":") {
				t.Errorf("%q: %v has no line", text, err)
			}
			return
		}
		var b bytes.Buffer
		if err := writeBook(&b, read.entries, zone); err != nil {
			t.Fatalf("%q: %v", text, err)
		}
		if err := os.WriteFile(file, b.Bytes(), 0o600); err != nil {
			t.Fatal(err)
		}
		again, err := readBook(file, zone)
		if err != nil || len(again.entries) != len(read.entries) {
			t.Errorf("%q: %d rows, written and read again: %+v, %v\n%s", text, len(read.entries), again, err, &b)
		}
	})
}

// FuzzBesideTheArchive gives the same text to every small file that lies beside the archive: it is used or refused, and what is used fits the bounds.
func FuzzBesideTheArchive(f *testing.F) {
	for _, text := range []string{
		"", "{}", "null", `{"revision":1,"limits":[{"place":"nest_air","key":"heat_warn","from":0,"to":7,"limit_c":29,"by":"x"}],"changes":[]}`, `{"revision":1,"limits":[{"place":"","key":"","from":-1,"to":99999,"limit_c":-1e308}]}`,
		`{"revision":-1}`, `{"revision":1}{}`, `{"time":"2031-04-02T06:30:00Z","file":"/x","bytes":-1}`, `{"time":"x"}`, "[[[[", "\x00",
	} {
		f.Add([]byte(text))
	}
	c, findings := parseConfig([]byte(strings.Replace(onBoard, "DATA", f.TempDir(), 1)), time.Now())
	if anyError(findings) {
		f.Fatal(findings)
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		for _, name := range []string{archive.LimitsFile, backupNote} {
			if err := os.WriteFile(filepath.Join(c.Data, name), text, 0o600); err != nil {
				t.Fatal(err)
			}
		}
		c.own.Store(nil)
		if _, err := c.takeLimits(); err != nil && len(c.owned().Limits) > 0 {
			t.Errorf("%q is refused (%v), and counts", text, err)
		}
		_ = c.tables()
		_ = planOf(c)
		for _, s := range examineBackup(t.Context(), &patient{cfg: c, now: time.Date(2031, 4, 3, 0, 0, 0, 0, time.UTC)}) {
			if s.Verdict == good && !bytes.Contains(text, []byte("2031")) {
				t.Errorf("%q: %+v", text, s)
			}
		}
	})
}

// FuzzControl sends what no command sends through the daemon's own door, to every way there is: the answer is JSON or text and the daemon goes on.
func FuzzControl(f *testing.F) {
	dir, err := os.MkdirTemp("", "nestmon-fuzz-") // f.TempDir may be longer than a socket's path can be
	if err != nil {
		f.Fatal(err)
	}
	defer os.RemoveAll(dir)
	cfg, findings := parseConfig([]byte(strings.Replace(onBoard, "DATA", dir, 1)), time.Now())
	if anyError(findings) {
		f.Fatal(findings)
	}
	d, err := newDaemon(cfg, parts{
		log: slog.New(slog.DiscardHandler), pace: plainPace(time.Hour), trusted: func(time.Time) bool { return true },
		sources: func() ([]sensors.Source, error) { return nil, nil },
	})
	if err != nil {
		f.Fatal(err)
	}
	defer d.stop(context.Background()) //nolint:errcheck // the test is over
	door, err := openControl(cfg.Control, d, http.NotFoundHandler())
	if err != nil {
		f.Fatal(err)
	}
	defer door.stop(context.Background()) //nolint:errcheck // the test is over
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- d.run(ctx) }()
	defer cancel()

	ways := controlWays(f)
	for i := range ways {
		for _, text := range []string{"", "{}", `{"action":"acknowledge","nest":"a1","event":"nest-heat"}`, "days=-1&nest=a1&since=2026-02-30", "days=99999999999&by=season&litter=1", `{"sink":"x","from":"0001-01-01T00:00:00Z","to":"9999-12-31T23:59:59Z"}`} {
			f.Add(uint8(i), text)
		}
	}
	f.Fuzz(func(t *testing.T, which uint8, text string) {
		method, way, _ := strings.Cut(ways[int(which)%len(ways)], " ")
		req := httptest.NewRequest(method, way, strings.NewReader(text))
		if method == http.MethodGet {
			req.URL = &url.URL{Path: way, RawQuery: text}
		}
		answer := httptest.NewRecorder()
		door.server.Handler.ServeHTTP(answer, req)
		body := answer.Body.Bytes()
		if answer.Header().Get("Content-Type") == "application/json" && !json.Valid(body) {
			t.Errorf("%s %s %q: %d %q is no JSON", method, way, text, answer.Code, body)
		}
		select {
		case err := <-ended:
			ended <- err
			t.Fatalf("%s %s %q ended the daemon: %v", method, way, text, err)
		default:
		}
	})
}

// controlWays finds every way through the door in the source.
func controlWays(f *testing.F) (ways []string) {
	for _, file := range []string{"control.go", "litter_door.go"} {
		text, err := os.ReadFile(file)
		if err != nil {
			f.Fatal(err)
		}
		for _, m := range regexp.MustCompile(`mux\.HandleFunc\("([A-Z]+ /control/[^"]+)"`).FindAllStringSubmatch(string(text), -1) {
			ways = append(ways, m[1])
		}
	}
	if len(ways) < 20 {
		f.Fatalf("only %d ways were found: %q", len(ways), ways)
	}
	return ways
}
