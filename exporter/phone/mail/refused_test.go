package mail_test

import (
	"fmt"
	"strings"
	"testing"

	"nestmon/exporter"
)

func TestPartOfTheRecipients(t *testing.T) {
	const a, b, c = "a@example.org", "b@example.org", "c@example.org"
	counts := func(s *server) string {
		n := map[string]int{}
		for _, d := range s.taken() {
			for _, who := range d.to {
				n[who]++
			}
		}
		return fmt.Sprint(n[a], n[b], n[c])
	}
	t.Run("one is unknown", func(t *testing.T) {
		s := newServer(t, false)
		s.at("RCPT TO:<"+b+">", "550 5.1.1 no such user")
		err := open(t, s.config(a, b, c)).Send(t.Context(), hot())
		if !exporter.IsPermanent(err) || counts(s) != "1 0 1" {
			t.Fatalf("%v, delivered %s", err, counts(s))
		}
		for _, want := range []string{b + " was refused: 550 5.1.1 no such user", a + " and " + c + " got it", "check to"} {
			if !strings.Contains(err.Error(), want) {
				t.Errorf("%v does not say %q", err, want)
			}
		}
	})
	t.Run("one is put off", func(t *testing.T) {
		s := newServer(t, false)
		m := open(t, s.config(a, b, c))
		s.at("RCPT TO:<"+b+">", "450 4.2.0 greylisted")
		for range 2 {
			if err := m.Send(t.Context(), hot()); err == nil || exporter.IsPermanent(err) || exporter.IsMisconfigured(err) || counts(s) != "1 0 1" {
				t.Fatalf("%v, delivered %s", err, counts(s))
			}
		}
		s.at("RCPT TO:<"+b+">", "")
		if err := m.Send(t.Context(), hot()); err != nil || counts(s) != "1 1 1" {
			t.Fatalf("%v, delivered %s", err, counts(s))
		}
		other := hot()
		other.ID = "m-2"
		if err := m.Send(t.Context(), other); err != nil || counts(s) != "2 2 2" {
			t.Errorf("the next message: %v, delivered %s", err, counts(s))
		}
	})
	t.Run("one is put off, then unknown", func(t *testing.T) {
		s := newServer(t, false)
		m := open(t, s.config(a, b))
		s.at("RCPT TO:<"+b+">", "450 4.2.0 greylisted")
		if err := m.Send(t.Context(), hot()); err == nil || exporter.IsPermanent(err) {
			t.Fatal(err)
		}
		s.at("RCPT TO:<"+b+">", "550 5.1.1 no such user")
		if err := m.Send(t.Context(), hot()); !exporter.IsPermanent(err) || counts(s) != "1 0 0" || !strings.Contains(err.Error(), a+" got it") {
			t.Errorf("%v, delivered %s", err, counts(s))
		}
	})
	t.Run("all are unknown", func(t *testing.T) {
		s := newServer(t, false)
		s.at("RCPT", "550 5.1.1 no such user")
		m := open(t, s.config(a, b))
		if err := m.Send(t.Context(), hot()); !exporter.IsMisconfigured(err) || exporter.IsPermanent(err) || strings.Contains(s.said(), "DATA") {
			t.Fatalf("%v\n%s", err, s.said())
		}
		s.at("RCPT", "")
		if err := m.Send(t.Context(), hot()); err != nil || counts(s) != "1 1 0" {
			t.Errorf("%v, delivered %s", err, counts(s))
		}
	})
}

func TestNothingGoesInTheOpen(t *testing.T) {
	t.Run("no STARTTLS", func(t *testing.T) {
		s := newServer(t, false)
		s.at("EHLO", "250-mail.example.org\r\n250 AUTH PLAIN LOGIN")
		err := open(t, s.config()).Send(t.Context(), hot())
		if !exporter.IsMisconfigured(err) || !strings.Contains(err.Error(), "nothing was sent in the open") || strings.Contains(s.said(), "AUTH") || strings.Contains(s.said(), "MAIL") {
			t.Errorf("%v; heard\n%s", err, s.said())
		}
	})
	t.Run("a stranger's certificate", func(t *testing.T) {
		for _, fromTLS := range []bool{false, true} {
			s := newServer(t, fromTLS)
			c := s.config()
			c.CAFile = "" // the system's
			err := open(t, c).Send(t.Context(), hot())
			if !exporter.IsMisconfigured(err) || !strings.Contains(err.Error(), "ca_file") || strings.Contains(s.said(), "AUTH") {
				t.Errorf("%v; heard\n%s", err, s.said())
			}
		}
	})
	t.Run("a certificate for another name", func(t *testing.T) {
		s := newServer(t, false)
		s.identity, s.ca = certified(t, "127.0.0.9")
		c := s.config()
		if err := open(t, c).Send(t.Context(), hot()); !exporter.IsMisconfigured(err) || !strings.Contains(err.Error(), "as it stands in its certificate") {
			t.Error(err)
		}
	})
	t.Run("TLS where none is spoken", func(t *testing.T) {
		s := newServer(t, false)
		c := s.config()
		c.TLS = "tls"
		if err := open(t, c).Send(t.Context(), hot()); !exporter.IsMisconfigured(err) || !strings.Contains(err.Error(), "write tls: starttls") {
			t.Error(err)
		}
	})
	t.Run("no way to log in", func(t *testing.T) {
		s := newServer(t, false)
		s.offers("AUTH XOAUTH2")
		if err := open(t, s.config()).Send(t.Context(), hot()); !exporter.IsMisconfigured(err) || !strings.Contains(err.Error(), "takes no passwords") {
			t.Error(err)
		}
	})
	t.Run("to this machine alone", func(t *testing.T) {
		s := newServer(t, false)
		c := s.config()
		c.TLS, c.CAFile = "none", ""
		if err := open(t, c).Send(t.Context(), hot()); err != nil || len(s.taken()) != 1 || strings.Contains(s.said(), "STARTTLS") {
			t.Errorf("%v; heard\n%s", err, s.said())
		}
	})
}
