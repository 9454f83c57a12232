package main

import (
	"context"
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/archive"
	"nestmon/thresholds"
	"nestmon/thresholds/alarm"
)

// replies are the links by which a message is answered. A token is the message's id and a signature (HMAC-SHA256, RFC 2104): nobody who
// has not received the message can make one. It works once.
type replies struct {
	key     []byte
	address string // under which phones reach the page, empty where nobody says
	archive *archive.Archive
}

const (
	answerKey  = "answer.key"
	answered   = "answer.used" // ids, the newest last
	mostUsed   = 500           // are remembered; a message is for longer than that forgotten after a thousand others. Ours, no source
	answersFor = 7 * 24 * time.Hour
)

// answerAddress is under which phones reach the page, empty where nobody says.
func (c *config) answerAddress() string {
	if c.Publish.Page == nil {
		return ""
	}
	return c.Publish.Page.Address
}

func openReplies(a *archive.Archive, address string) (*replies, error) {
	s := &replies{address: strings.TrimSuffix(address, "/"), archive: a}
	if address == "" {
		return s, nil
	}
	text, err := a.Meta(answerKey)
	if err != nil {
		return nil, fmt.Errorf("reading the key of answer links: %w", err)
	}
	if s.key, err = hex.DecodeString(text); err == nil && len(s.key) == sha256.Size {
		return s, nil
	}
	s.key = make([]byte, sha256.Size)
	rand.Read(s.key) //nolint:errcheck // it never fails (crypto/rand)
	if err := a.SetMeta(answerKey, hex.EncodeToString(s.key)); err != nil {
		// A board that starts with a full card must watch all the same: its links end with this run.
		return s, nil //nolint:nilerr // the card's fault is told elsewhere
	}
	return s, nil
}

// link is where a message of this id is answered, empty where it cannot be.
func (s *replies) link(id string) string {
	raw, err := hex.DecodeString(id)
	if s.key == nil || err != nil {
		return ""
	}
	return s.address + "/answer/" + base64.RawURLEncoding.EncodeToString(append(raw, s.sign(raw)...))
}

func (s *replies) sign(id []byte) []byte {
	mac := hmac.New(sha256.New, s.key)
	mac.Write(id)
	return mac.Sum(nil)[:16] // 128 bit, far beyond guessing
}

// read returns the message that a token belongs to.
func (s *replies) read(token string, now time.Time) (exporter.Message, error) {
	raw, err := base64.RawURLEncoding.DecodeString(token)
	if err != nil || len(raw) <= 16 || s.key == nil {
		return exporter.Message{}, exporter.ErrLinkUnknown
	}
	id, mac := raw[:len(raw)-16], raw[len(raw)-16:]
	if !hmac.Equal(mac, s.sign(id)) {
		return exporter.Message{}, exporter.ErrLinkUnknown
	}
	m, ok, err := s.archive.Message(hex.EncodeToString(id))
	switch {
	case err != nil:
		return m, err
	case !ok || now.Sub(m.Time) > answersFor:
		return m, exporter.ErrLinkTooOld
	}
	return m, nil
}

func (s *replies) used() (ids []string, err error) {
	text, err := s.archive.Meta(answered)
	if err != nil || text == "" {
		return nil, err
	}
	return ids, json.Unmarshal([]byte(text), &ids)
}

// spend marks a message as answered.
func (s *replies) spend(id string) error {
	ids, err := s.used()
	if err != nil {
		return err
	}
	if ids = append(ids, id); len(ids) > mostUsed {
		ids = slices.Delete(ids, 0, len(ids)-mostUsed)
	}
	text, err := json.Marshal(ids)
	if err != nil {
		return err
	}
	return s.archive.SetMeta(answered, string(text))
}

// Asked tells what a token is about.
func (d *daemon) Asked(ctx context.Context, token string) (exporter.Message, error) {
	m, err := d.sinks.replies.read(token, d.pace.Now())
	if err != nil {
		return m, err
	}
	used, err := d.sinks.replies.used()
	switch {
	case err != nil:
		return m, err
	case slices.Contains(used, m.ID):
		return m, exporter.ErrLinkUsed
	}
	return m, d.command(ctx, func() error { return stillAsked(about(m), d.snapshot()) })
}

// about lists all that a message is about.
func about(m exporter.Message) []alarm.Event {
	if len(m.About) > 0 {
		return m.About
	}
	return []alarm.Event{m.Event}
}

// stillAsked says why nothing of what a message was about waits for an answer any more, nil while something does.
func stillAsked(events []alarm.Event, s thresholds.Snapshot) error {
	seen := false
	for _, st := range slices.Concat(s.Alarms, s.Quiet) {
		same := func(e alarm.Event) bool {
			return e.State == alarm.Raised && e.Nest == st.Nest && e.Name == st.Name && e.Since.Equal(st.Since)
		}
		switch {
		case !slices.ContainsFunc(events, same):
		case st.Status.Calls(), st.Status == alarm.Returned, st.Status == alarm.Shelved, st.Status == alarm.Suppressed:
			return nil
		default:
			seen = true
		}
	}
	if seen {
		return exporter.ErrLinkSeen
	}
	return alarm.ErrOver
}

// Answer acknowledges what a message was about, as far as it still stands as it was told.
func (d *daemon) Answer(ctx context.Context, token string) error {
	m, err := d.Asked(ctx, token)
	if err != nil {
		return err
	}
	all := about(m)
	var refused error
	done := 0
	for _, e := range all {
		if e.State != alarm.Raised {
			continue
		}
		act := alarm.Act{Action: alarm.Acknowledge, Nest: e.Nest, Event: e.Name, By: "link to " + strings.Join(m.To, ", "), Since: e.Since, Worst: e.Severity}
		if err := d.Act(ctx, act); err != nil {
			refused = err
			continue
		}
		done++
	}
	switch {
	case done == 0 && refused != nil:
		return refused
	case errors.Is(refused, alarm.ErrWorse): // what is over needs no answer
		return fmt.Errorf("%d of %d are acknowledged: %w", done, len(all), refused)
	}
	return d.sinks.replies.spend(m.ID)
}
