package mail_test

import (
	"context"
	"errors"
	"fmt"
	"io"
	"mime"
	"mime/quotedprintable"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/phone/mail"
	"nestmon/exporter/sinktest"
	"nestmon/thresholds/alarm"
)

var at = time.Date(2026, 7, 14, 14, 5, 0, 0, time.UTC)

func hot() exporter.Message {
	return exporter.Message{
		ID: "m-1", Time: at, Title: "URGENT: nest a1: nest too hot, 106.2 °F (41.2 °C), since 15:45", Body: "Shade the nest.\nValue: 41.2 °C\n.\n..dots",
		Event: alarm.Event{Time: at, Since: at.Add(-20 * time.Minute), Nest: "a1", Name: alarm.NestHeat, State: alarm.Raised, Severity: alarm.Urgent},
	}
}

func assertNoSecret(t *testing.T, err error, secrets ...string) {
	t.Helper()
	for _, s := range append(secrets, password, "Zk3") {
		if err != nil && strings.Contains(fmt.Sprintf("%v %+v %#v", err, err, err), s) {
			t.Errorf("%q shows %q", err, s)
		}
	}
}

func TestConformance(t *testing.T) {
	sinktest.MessageSink(t, func(t *testing.T) sinktest.MessageRig {
		s := newServer(t, false)
		return sinktest.MessageRig{
			Sink: open(t, s.config()),
			Far: sinktest.Far{
				Can: []sinktest.Conduct{sinktest.Fails, sinktest.Refuses, sinktest.Hangs, sinktest.Absent},
				Set: s.behave, Secret: password,
			},
			Key: func(m exporter.Message) string { return "<" + m.ID + "@example.org>" },
			Got: func() (ids []string) {
				for _, d := range s.taken() {
					ids = append(ids, read(t, d).Header.Get("Message-ID"))
				}
				return ids
			},
		}
	})
}

func TestMessage(t *testing.T) {
	for _, row := range []struct {
		name    string
		fromTLS bool
		ext     []string
	}{
		{"STARTTLS, PLAIN", false, []string{"AUTH PLAIN LOGIN"}},
		{"STARTTLS, LOGIN alone", false, []string{"AUTH XOAUTH2 LOGIN"}},
		{"TLS from the first byte", true, []string{"AUTH LOGIN PLAIN"}},
		{"TLS, LOGIN alone", true, []string{"AUTH LOGIN"}},
	} {
		t.Run(row.name, func(t *testing.T) {
			s := newServer(t, row.fromTLS)
			s.offers(row.ext...)
			m := hot()
			m.Link = "http://barn.local:8380/answer?token=" + strings.Repeat("t0k", 60)
			if err := open(t, s.config("Keeper <keeper@example.org>", "neighbour@example.org")).Send(t.Context(), m); err != nil {
				t.Fatal(err)
			}
			d := s.taken()[0]
			got := read(t, d)
			title, err := new(mime.WordDecoder).DecodeHeader(got.Header.Get("Subject"))
			if err != nil || title != m.Title {
				t.Errorf("subject %q (%v), want %q", title, err, m.Title)
			}
			body, err := io.ReadAll(quotedprintable.NewReader(got.Body))
			if want := m.Body + "\n\nAnswer: " + m.Link + "\n"; err != nil || strings.ReplaceAll(string(body), "\r\n", "\n") != want {
				t.Errorf("body %q (%v), want %q", body, err, want)
			}
			for header, want := range map[string]string{
				"Message-ID": "<m-1@example.org>", "Date": at.Format(time.RFC1123Z), "Auto-Submitted": "auto-generated", "Importance": "high", "Priority": "urgent",
				"Content-Type": "text/plain; charset=UTF-8", "From": `"The Barn" <barn@example.org>`, "To": `"Keeper" <keeper@example.org>, <neighbour@example.org>`,
				"User-Agent": "", "X-Mailer": "",
			} {
				if got.Header.Get(header) != want {
					t.Errorf("%s is %q, want %q", header, got.Header.Get(header), want)
				}
			}
			if d.from != "FROM:<barn@example.org>" || !slices.Equal(d.to, []string{"keeper@example.org", "neighbour@example.org"}) {
				t.Errorf("from %s to %v", d.from, d.to)
			}
		})
	}
}

func TestHeaders(t *testing.T) {
	s := newServer(t, false)
	m := open(t, s.config())
	thread := func(change func(*exporter.Message)) (thread, importance string, text []byte) {
		t.Helper()
		msg := hot()
		change(&msg)
		if err := m.Send(t.Context(), msg); err != nil {
			t.Fatal(err)
		}
		all := s.taken()
		got := read(t, all[len(all)-1])
		if got.Header.Get("References") != got.Header.Get("In-Reply-To") {
			t.Errorf("references %q, in reply to %q", got.Header.Get("References"), got.Header.Get("In-Reply-To"))
		}
		return got.Header.Get("References"), got.Header.Get("Importance") + got.Header.Get("Priority"), all[len(all)-1].text
	}
	first, _, _ := thread(func(*exporter.Message) {})
	if !strings.HasSuffix(first, "@example.org>") {
		t.Errorf("thread %q", first)
	}
	for _, row := range []struct {
		name   string
		change func(*exporter.Message)
		same   bool // in the thread of the first
		none   bool // in no thread
		urgent bool
	}{
		{"a repetition", func(m *exporter.Message) { m.ID, m.Kind = "m-2", exporter.Repeat }, true, false, true},
		{"its end, told in another zone", func(m *exporter.Message) {
			m.Event.State, m.Event.Since = alarm.Cleared, m.Event.Since.In(time.FixedZone("x", 3600))
		}, true, false, false},
		{"a warning", func(m *exporter.Message) { m.Event.Severity = alarm.Warning }, true, false, false},
		{"the next one", func(m *exporter.Message) { m.Event.Since = at }, false, false, true},
		{"another nest", func(m *exporter.Message) { m.Event.Nest = "a2" }, false, false, true},
		{"another event", func(m *exporter.Message) { m.Event.Name = alarm.ClusterHeat }, false, false, true},
		{"many", func(m *exporter.Message) { m.Kind = exporter.Storm }, false, true, true},
		{"a digest", func(m *exporter.Message) { m.Kind, m.Event.Severity = exporter.Digest, alarm.Notice }, false, true, false},
		{"about nothing", func(m *exporter.Message) { m.Kind, m.Event = exporter.AllWell, alarm.Event{} }, false, true, false},
		{"without duration", func(m *exporter.Message) { m.Event.State, m.Event.Severity = alarm.Noted, alarm.Notice }, false, true, false},
	} {
		t.Run(row.name, func(t *testing.T) {
			got, importance, _ := thread(row.change)
			if (got == first) != row.same || (got == "") != row.none || (importance == "highurgent") != row.urgent || (importance == "") == row.urgent {
				t.Errorf("thread %q, the first is %q; importance %q", got, first, importance)
			}
		})
	}
	t.Run("a link that the body has already", func(t *testing.T) {
		const link = "http://barn.local:8380/answer"
		if _, _, text := thread(func(m *exporter.Message) { m.Body, m.Link = "Tap once:\n"+link, link }); strings.Count(string(text), link) != 1 {
			t.Errorf("sent\n%s", text)
		}
	})
	t.Run("nothing gets out of its header", func(t *testing.T) {
		_, _, text := thread(func(m *exporter.Message) {
			m.ID, m.Title = "x> \r\nBcc: <a@b", "too hot\r\nBcc: thief@example.org\r\n\r\nbody"+strings.Repeat(" ü", 90)+"\xff"
		})
		got := read(t, delivery{text: text})
		title, err := new(mime.WordDecoder).DecodeHeader(got.Header.Get("Subject"))
		if err != nil || got.Header.Get("Bcc") != "" || title != "too hot Bcc: thief@example.org body"+strings.Repeat(" ü", 90)+"?" {
			t.Errorf("%q, subject %q, %v", got.Header, title, err)
		}
		for line := range strings.SplitSeq(string(text), "\n") {
			if len(line) > 78 { // RFC 5322, 2.1.1
				t.Errorf("a line of %d: %s", len(line), line)
			}
		}
	})
}

// TestAnswers checks every kind of answer at every step: what becomes of the message, and what a person is told.
func TestAnswers(t *testing.T) {
	const later, wrong, refused = "later", "wrong", "refused"
	for _, row := range []struct {
		step, answer string
		want, says   string
		slow         bool
	}{
		{"greeting", "421 4.3.2 closing", later, "patience", false},
		{"greeting", "554 5.7.1 no mail from there", wrong, "ask whoever runs the server", false},
		{"greeting", "* OK IMAP4rev1 ready", wrong, "no server for sending mail", false},
		{"greeting", hangUp, later, "the connection ended at the greeting", false},
		{"greeting", flood, later, "said too much", false},
		{"EHLO", "502 no", wrong, "offers no STARTTLS", false},
		{"EHLO", hangUp, later, "the connection ended", false},
		{"STARTTLS", "454 4.7.0 not now", later, "patience", false},
		{"STARTTLS", "502 no", wrong, "write tls: tls", false},
		{"STARTTLS", hangUp, later, "the connection ended at TLS", false},
		{"login", "535 5.7.8 wrong", wrong, "check username and password_file", true},
		{"login", "534 5.7.9 use another", wrong, "check username and password_file", true},
		{"login", "504 5.5.4 not this way", wrong, "check username and password_file", true},
		{"login", "454 4.7.0 not now", later, "patience", false},
		{"login", hangUp, later, "the connection ended at the login", false},
		{"MAIL", "451 4.3.0 not now", later, "patience", false},
		{"MAIL", "530 5.7.0 log in", wrong, "check username and password_file", true},
		{"MAIL", "550 5.7.1 not as this", wrong, "check from", false},
		{"RCPT", "450 4.2.0 greylisted", later, "tried again", false},
		{"RCPT", "550 5.1.1 no such user", wrong, "check to", false},
		{"RCPT", "554 5.7.1 relay access denied", wrong, "check to", false},
		{"RCPT", hangUp, later, "the connection ended at the recipient", false},
		{"DATA", "451 4.3.0 not now", later, "patience", false},
		{"DATA", "554 5.5.1 no", wrong, "ask whoever runs the server", false},
		{".", "452 4.3.1 disk full", later, "patience", false},
		{".", "550 5.7.26 who are you", wrong, "check from", false},
		{".", "552 5.2.2 mailbox full", wrong, "not full?", false},
		{".", "552 5.3.4 too large", refused, "for good", false},
		{".", "552 5.2.3 too long", refused, "for good", false},
		{".", "554 5.6.0 no such words", refused, "for good", false},
		{".", "554 no", refused, "for good", false},
		{".", hangUp, later, "the connection ended at the message", false},
	} {
		t.Run(row.step+" "+row.answer, func(t *testing.T) {
			s := newServer(t, false)
			s.at(row.step, row.answer)
			m := open(t, s.config())
			err := m.Send(t.Context(), hot())
			got := later
			switch {
			case err == nil:
				t.Fatal("delivered")
			case exporter.IsPermanent(err):
				got = refused
			case exporter.IsMisconfigured(err):
				got = wrong
			}
			var polite interface{ RetryAfter() time.Duration }
			slow := errors.As(err, &polite) && polite.RetryAfter() == 5*time.Minute
			if got != row.want || slow != row.slow || !strings.Contains(err.Error(), row.says) {
				t.Errorf("%s, slow %v, want %s saying %q: %v", got, slow, row.want, row.says, err)
			}
			assertNoSecret(t, err)
			s.at(row.step, "")
			if err := m.Send(t.Context(), hot()); err != nil || len(s.taken()) != 1 {
				t.Errorf("afterwards: %v, %d messages", err, len(s.taken()))
			}
		})
	}
}

// TestGoodbyeDoesNotMatter: go-mail's own DialAndSend reports a message as unsent whose QUIT or RSET failed, and it would go out again.
func TestGoodbyeDoesNotMatter(t *testing.T) {
	for _, does := range []string{"421 4.3.2 closing", "554 no", hangUp, mute} {
		t.Run(does, func(t *testing.T) {
			s := newServer(t, false)
			s.at("QUIT", does)
			s.at("RSET", does)
			if err := open(t, s.config()).Send(t.Context(), hot()); err != nil || len(s.taken()) != 1 {
				t.Errorf("%v, %d messages", err, len(s.taken()))
			}
		})
	}
}

// TestNothingOutlastsItsTime: whatever the server spends the time with, and wherever. go-mail's own client begins the time anew at
// several steps and does not look at its context once it is connected.
func TestNothingOutlastsItsTime(t *testing.T) {
	for _, step := range []string{"greeting", "EHLO", "STARTTLS", "login", "MAIL", "RCPT", "DATA", "."} {
		for _, does := range []string{mute, drip} {
			t.Run(does+" at "+step, func(t *testing.T) {
				t.Parallel()
				s := newServer(t, false)
				s.at(step, does)
				m := open(t, s.config())
				m.Hurry(300 * time.Millisecond)
				endless := m.Send(context.WithoutCancel(t.Context()), hot())
				ctx, cancel := context.WithCancel(t.Context())
				time.AfterFunc(100*time.Millisecond, cancel)
				m.Hurry(time.Hour)
				for _, err := range []error{endless, m.Send(ctx, hot())} {
					if err == nil || exporter.IsPermanent(err) || exporter.IsMisconfigured(err) || !strings.Contains(err.Error(), "in time") {
						t.Errorf("got %v, want no answer in time", err)
					}
				}
				for end := time.Now().Add(10 * time.Second); ; time.Sleep(10 * time.Millisecond) {
					s.mu.Lock()
					left := s.open
					s.mu.Unlock()
					if left == 0 {
						break
					}
					if time.Now().After(end) {
						t.Fatalf("%d connections are kept open", left)
					}
				}
			})
		}
	}
}

// TestSMTPUTF8IsNotAskedFor: go-mail asks for it wherever it is offered, and the next server may send the message back for that alone.
func TestSMTPUTF8IsNotAskedFor(t *testing.T) {
	s := newServer(t, false)
	if err := open(t, s.config()).Send(t.Context(), hot()); err != nil || strings.Contains(s.said(), "SMTPUTF8") {
		t.Errorf("%v; heard\n%s", err, s.said())
	}
	if !strings.Contains(s.said(), "EHLO [127.0.0.1]") {
		t.Errorf("introduced itself otherwise:\n%s", s.said())
	}
}

func TestServersRepeatWhatTheyHear(t *testing.T) {
	m := hot()
	m.Link = "https://barn.example/answer?token=a1b2c3d4"
	for step, echoes := range map[string]string{
		"login": "535 5.7.8 wrong: " + password + " AGJhcm5AZXhhbXBsZS5vcmcAWmszIHZlcnk9c2VjcmV0 WmszIHZlcnk9c2VjcmV0",
		".":     "554 5.7.1 " + m.Link + " is listed (barn.example/answer?token=a1b2c3d4)",
		"RCPT":  "550 5.1.1 " + m.Link,
	} {
		t.Run(step, func(t *testing.T) {
			s := newServer(t, false)
			s.at(step, echoes)
			err := open(t, s.config()).Send(t.Context(), m)
			assertNoSecret(t, err, "AGJhcm5A", "WmszIHZl", "a1b2c3d4")
			if err == nil || !strings.Contains(err.Error(), "(secret)") {
				t.Errorf("got %v", err)
			}
		})
	}
}

func TestNobodyThere(t *testing.T) {
	s := newServer(t, false)
	c := s.config()
	_ = s.listener.Close()
	if err := open(t, c).Send(t.Context(), hot()); err == nil || exporter.IsMisconfigured(err) || !strings.Contains(err.Error(), "nobody listens there") {
		t.Errorf("got %v", err)
	}
	c.Server = "no-such-host.invalid"
	if err := open(t, c).Send(t.Context(), hot()); err == nil || exporter.IsPermanent(err) {
		t.Errorf("got %v", err)
	}
}

func TestBelowTheLevelIsNotSent(t *testing.T) {
	s := newServer(t, false)
	m, err := mail.New("post", alarm.Warning, s.config())
	if err != nil {
		t.Fatal(err)
	}
	for _, severity := range []alarm.Severity{alarm.Notice, alarm.Warning, alarm.Urgent} {
		msg := hot()
		msg.Event.Severity = severity
		if err := m.Send(t.Context(), msg); err != nil {
			t.Fatal(err)
		}
	}
	if err := m.Send(t.Context(), exporter.Message{ID: "m-9", Time: at, Kind: exporter.AllWell, Title: "All well"}); err != nil {
		t.Fatal(err)
	}
	if n := len(s.taken()); n != 3 {
		t.Errorf("%d messages, want the warning, the urgent one, and the one about nothing", n)
	}
}

func TestTryLogsInAndSendsNothing(t *testing.T) {
	s := newServer(t, false)
	m := open(t, s.config())
	if err := m.Try(t.Context()); err != nil || !strings.Contains(s.said(), "AUTH") || strings.Contains(s.said(), "MAIL") {
		t.Errorf("%v; heard\n%s", err, s.said())
	}
	s.at("login", "535 5.7.8 wrong")
	if err := m.Try(t.Context()); !exporter.IsMisconfigured(err) {
		t.Errorf("got %v", err)
	}
}

func TestFilesThatCannotBeUsed(t *testing.T) {
	s := newServer(t, false)
	c := s.config()
	for _, text := range []string{"", "\n", "two\nlines\n"} {
		if err := os.WriteFile(c.PasswordFile, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		if _, err := mail.New("post", alarm.Warning, c); err == nil || !strings.Contains(err.Error(), "password_file") || strings.Contains(err.Error(), "two") {
			t.Errorf("got %v", err)
		}
	}
	c = s.config()
	m := open(t, c)
	if err := os.WriteFile(c.CAFile, []byte("no certificate"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := mail.New("post", alarm.Warning, c); err == nil || !strings.Contains(err.Error(), "ca_file") {
		t.Errorf("got %v", err)
	}
	if err := m.Send(t.Context(), hot()); !exporter.IsMisconfigured(err) || !strings.Contains(err.Error(), "ca_file") {
		t.Errorf("got %v", err)
	}
}
