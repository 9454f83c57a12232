package services_test

import (
	"bytes"
	"cmp"
	"encoding/json"
	"fmt"
	"io"
	"mime"
	"mime/quotedprintable"
	netmail "net/mail"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/phone/mail"
	"nestmon/sensors/broker/certtest"
	"nestmon/thresholds/alarm"
)

// post is a mail server of aiosmtpd's, which may be down.
type post struct {
	dir                 string
	startTLS, fromTLS   int // ports
	cert, key, password string
}

// letter is one mail as the server took it, and as Python's parser reads it.
type letter struct {
	From             string
	To               []string
	Encrypted        bool
	Headers          map[string]string
	Type, Body, Text string
	Defects          []string
}

// newPost describes a server that is not started yet. Its password is the canary.
func newPost(t *testing.T, a *certtest.Authority) post {
	t.Helper()
	p := post{dir: t.TempDir(), startTLS: freePort(t), fromTLS: freePort(t), password: canary}
	p.cert, p.key = a.Sign(t, "mail", time.Now().Add(certtest.Long))
	return p
}

// start runs it with the interpreter that aiosmtpd was installed for.
func (p post) start(t *testing.T) *process {
	t.Helper()
	script, err := os.ReadFile(binary(t, "aiosmtpd"))
	if err != nil {
		t.Fatal(err)
	}
	interpreter, _, _ := strings.Cut(strings.TrimPrefix(string(script), "#!"), "\n")
	args := []string{"testdata/mailserver.py", p.dir, fmt.Sprint(p.startTLS), fmt.Sprint(p.fromTLS), p.cert, p.key, "barn", p.password}
	server := launch(t, strings.TrimSpace(interpreter), args...)
	server.ready(t, func() bool {
		return listens(fmt.Sprintf("127.0.0.1:%d", p.startTLS))() && listens(fmt.Sprintf("127.0.0.1:%d", p.fromTLS))()
	})
	return server
}

// order tells the server what to do otherwise; empty for nothing.
func (p post) order(t *testing.T, text string) {
	t.Helper()
	path := filepath.Join(p.dir, "orders")
	write(t, path+".new", cmp.Or(text, "{}"))
	if err := os.Rename(path+".new", path); err != nil {
		t.Fatal(err)
	}
}

func (p post) letters(t *testing.T) (all []letter) {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(p.dir, "*.json"))
	if err != nil {
		t.Fatal(err)
	}
	for _, file := range files {
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		var l letter
		if err := json.Unmarshal(text, &l); err != nil {
			t.Fatal(err)
		}
		all = append(all, l)
	}
	return all
}

// TestMailByARealServer sends to it directly: what it takes, both ways to encrypt, and what becomes of each refusal.
func TestMailByARealServer(t *testing.T) {
	t.Parallel()
	a := certtest.New(t)
	p := newPost(t, a)
	p.start(t)
	password := write(t, filepath.Join(t.TempDir(), "mail.password"), canary+"\n")
	channel := func(tls string, port int) *mail.Mailer {
		m, err := mail.New("post", alarm.Warning, mail.Config{
			Server: fmt.Sprintf("127.0.0.1:%d", port), TLS: tls, Username: "barn", PasswordFile: password, CAFile: a.CA,
			From: "The Barn <barn@example.org>", To: []string{"keeper@example.org", "neighbour@example.org"},
		})
		if err != nil {
			t.Fatal(err)
		}
		return m
	}
	at := time.Date(2026, 7, 14, 14, 5, 0, 0, time.UTC)
	message := func(id string) exporter.Message {
		return exporter.Message{
			ID: id, Time: at, Title: "URGENT: nest a1: nest too hot, 106.2 °F (41.2 °C), " + strings.Repeat("ü", 100), Link: "https://barn.example/answer?token=a1b2c3",
			Body:  "Shade the nest.\n.\nValue: 41.2 °C\n" + strings.Repeat("long ", 300),
			Event: alarm.Event{Time: at, Since: at.Add(-time.Hour), Nest: "a1", Name: alarm.NestHeat, State: alarm.Raised, Severity: alarm.Urgent},
		}
	}
	for _, row := range []struct {
		tls  string
		port int
	}{{"starttls", p.startTLS}, {"tls", p.fromTLS}} {
		m := message("sent-by-" + row.tls)
		if err := channel(row.tls, row.port).Send(t.Context(), m); err != nil {
			t.Fatal(err)
		}
		i := slices.IndexFunc(p.letters(t), func(l letter) bool { return l.Headers["message-id"] == "<"+m.ID+"@example.org>" })
		if i < 0 {
			t.Fatalf("%s: nothing arrived", row.tls)
		}
		l := p.letters(t)[i]
		if l.Headers["subject"] != m.Title || strings.TrimSpace(strings.ReplaceAll(l.Body, "\r\n", "\n")) != m.Body+"\n\nAnswer: "+m.Link || l.Type != "text/plain" || len(l.Defects) > 0 || !l.Encrypted {
			t.Errorf("%s: Python reads %+v", row.tls, l)
		}
		if l.From != "barn@example.org" || !slices.Equal(l.To, []string{"keeper@example.org", "neighbour@example.org"}) || l.Headers["auto-submitted"] != "auto-generated" ||
			l.Headers["importance"] != "high" || l.Headers["in-reply-to"] == "" {
			t.Errorf("%s: %+v", row.tls, l)
		}
		assertGoReads(t, l, m)
	}

	m := channel("starttls", p.startTLS)
	for _, row := range []struct {
		name, order        string
		permanent, misset  bool
		says               string
		keepers, neighbour int // how often each has it after a second try without the order
	}{
		{"later", `{"data": "451 4.3.0 later"}`, false, false, "patience", 1, 1},
		{"mailbox full", `{"data": "552 5.2.2 mailbox full"}`, false, true, "not full?", 1, 1},
		{"for good", `{"data": "554 5.6.0 no such words"}`, true, false, "for good", 0, 0},
		{"one put off", `{"rcpt": {"neighbour@example.org": "450 4.2.0 greylisted"}}`, false, false, "keeper@example.org got it", 1, 1},
		{"one unknown", `{"rcpt": {"neighbour@example.org": "550 5.1.1 who?"}}`, true, false, "keeper@example.org got it; check to", 1, 0},
		{"all unknown", `{"rcpt": {"neighbour@example.org": "550 5.1.1 who?", "keeper@example.org": "550 5.1.1 who?"}}`, false, true, "check to", 1, 1},
		{"slow", `{"wait": 1}`, false, false, "", 1, 1},
	} {
		t.Run(row.name, func(t *testing.T) {
			p.order(t, row.order)
			msg := message(strings.ReplaceAll(row.name, " ", "-"))
			err := m.Send(t.Context(), msg)
			if (err == nil) != (row.says == "") || exporter.IsPermanent(err) != row.permanent || exporter.IsMisconfigured(err) != row.misset || err != nil && !strings.Contains(err.Error(), row.says) {
				t.Errorf("got %v, want one that says %q", err, row.says)
			}
			p.order(t, "")
			if err != nil && !exporter.IsPermanent(err) {
				if err := m.Send(t.Context(), msg); err != nil {
					t.Error(err)
				}
			}
			got := map[string]int{}
			for _, l := range p.letters(t) {
				for _, who := range l.To {
					if l.Headers["message-id"] == "<"+msg.ID+"@example.org>" {
						got[who]++
					}
				}
			}
			if got["keeper@example.org"] != row.keepers || got["neighbour@example.org"] != row.neighbour {
				t.Errorf("delivered %v", got)
			}
		})
	}
}

// assertGoReads parses a mail by Go's standard library.
func assertGoReads(t *testing.T, l letter, m exporter.Message) {
	t.Helper()
	got, err := netmail.ReadMessage(bytes.NewReader([]byte(l.Text)))
	if err != nil {
		t.Fatal(err)
	}
	title, err := new(mime.WordDecoder).DecodeHeader(got.Header.Get("Subject"))
	if err != nil || title != m.Title {
		t.Errorf("Go reads subject %q, %v", title, err)
	}
	body, err := io.ReadAll(quotedprintable.NewReader(got.Body))
	if err != nil || !strings.HasPrefix(strings.ReplaceAll(string(body), "\r\n", "\n"), m.Body) {
		t.Errorf("Go reads body %q, %v", body, err)
	}
	if at, err := got.Header.Date(); err != nil || !at.Equal(m.Time) {
		t.Errorf("Go reads date %v, %v", at, err)
	}
}

// TestMailOfTheDaemon takes up to a minute, most of which it waits for the daemon's first look at all rules: an alarm that was raised while the mail server was down, and that met a strange certificate and a wrong password
// afterwards, each told where people look, arrives once, though the daemon was killed three times on the way.
func TestMailOfTheDaemon(t *testing.T) {
	t.Parallel()
	binary(t, "aiosmtpd")
	dir, b, program := t.TempDir(), newBoard(t), built(t)
	a, stranger := certtest.New(t), certtest.New(t)
	p := newPost(t, a)
	data, page, exported := filepath.Join(dir, "data"), fmt.Sprintf("127.0.0.1:%d", freePort(t)), fmt.Sprintf("127.0.0.1:%d", freePort(t))
	if err := os.Mkdir(data, 0o700); err != nil {
		t.Fatal(err)
	}
	write(t, filepath.Join(data, "readings.db"), strings.Repeat("this was an archive once. ", 400)) // which is an alarm
	password := write(t, filepath.Join(dir, "mail.password"), canary+"\n")
	config := write(t, filepath.Join(dir, "nestmon.yaml"), fmt.Sprintf(`
site: {id: barn, name: Barn, timezone: UTC, display: celsius}
data: %s
`+oak+`publish:
  page: {listen: "%s"}
  prometheus: {listen: "%s"}
phone:
  channels:
    - name: post
      at_least: notice
      mail: {server: "127.0.0.1:%d", username: barn, password_file: %s, ca_file: %s, from: The Barn <barn@example.org>, to: keeper@example.org}
`, data, page, exported, p.startTLS, password, a.CA))
	var said []string
	run := func() *process { return launch(t, program, "run", "--config", config, "--root", b.root) }
	tells := func(words string, misset bool) {
		t.Helper()
		eventually(t, "the page tells "+words, func() bool { return strings.Contains(fetch("http://"+page+"/api/state"), words) })
		var metrics string
		eventually(t, "the metrics show it", func() bool {
			metrics = fetch("http://" + exported + "/metrics")
			return strings.Contains(metrics, `nestmon_sink_up{sink="post"} 0`) && strings.Contains(metrics, `nestmon_sink_misconfigured{sink="post"} 1`) == misset
		})
		tried, _ := exec.Command(program, "check", "--connect", "--config", config, "--root", b.root).CombinedOutput()
		if !strings.Contains(string(tried), "missing   phone: mail post: ") || !strings.Contains(string(tried), words) {
			t.Errorf("check --connect does not say %q:\n%s", words, tried)
		}
		said = append(said, string(tried), metrics, fetch("http://"+page+"/api/state"))
	}

	for i, row := range []struct {
		words  string
		misset bool
		server func() *process // nil while it is down
	}{
		{"nobody listens there", false, nil},
		{"the server's certificate is not trusted", true, func() *process {
			strange := p
			strange.cert, strange.key = stranger.Sign(t, "mail", time.Now().Add(certtest.Long))
			return strange.start(t)
		}},
		{"check username and password_file", true, func() *process {
			changed := p
			changed.password = "another-" + canary
			return changed.start(t)
		}},
	} {
		var server *process
		if row.server != nil {
			server = row.server()
		}
		began := time.Now()
		daemon := run()
		if i == 0 { // alarms are raised with the first poll of a minute
			eventually(t, "the next minute", func() bool { return time.Now().After(began.Truncate(time.Minute).Add(time.Minute)) })
		}
		tells(row.words, row.misset)
		daemon.kill()
		if said = append(said, daemon.out.String()); server != nil {
			server.end()
		}
		if n := len(p.letters(t)); n != 0 {
			t.Fatalf("%d mails arrived too early, in step %d", n, i)
		}
	}

	p.start(t)
	daemon := run()
	eventually(t, "the mail arrives", func() bool { return len(p.letters(t)) > 0 })
	tried, err := exec.Command(program, "check", "--connect", "--config", config, "--root", b.root).CombinedOutput()
	if want := fmt.Sprintf("reached   phone: post, by 127.0.0.1:%d", p.startTLS); !strings.Contains(string(tried), want) {
		t.Errorf("check --connect (%v) does not say %q:\n%s", err, want, tried)
	}
	eventually(t, "nothing waits any more", func() bool {
		return strings.Contains(fetch("http://"+exported+"/metrics"), `nestmon_sink_up{sink="post"} 1`)
	})
	daemon.end()
	said = append(said, daemon.out.String())
	ids := map[string]int{}
	for _, l := range p.letters(t) {
		ids[l.Headers["message-id"]]++
	}
	first := p.letters(t)[0]
	if ids[first.Headers["message-id"]] != 1 || len(first.Defects) > 0 || !slices.ContainsFunc(p.letters(t), func(l letter) bool { return strings.Contains(l.Headers["subject"]+l.Body, "archive") }) {
		t.Errorf("arrived %v, the first as %+v", ids, first)
	}
	for id, n := range ids {
		if n != 1 {
			t.Errorf("%s arrived %d times", id, n)
		}
	}
	for _, text := range said {
		if strings.Contains(text, canary) {
			t.Errorf("the password is in:\n%s", text)
		}
	}
	withoutCanary(t, data)
}
