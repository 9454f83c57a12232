package web

import (
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"net/http"
	"slices"
	"sync"
	"time"
)

// Store keeps a short text under a key, also over a restart.
type Store interface {
	Meta(key string) (string, error)
	SetMeta(key, value string) error
}

// Sessions, all ours, no source.
const (
	sessionLife  = 30 * 24 * time.Hour
	mostSessions = 20 // the oldest goes: a family has fewer browsers
	sessionBytes = 32 // of randomness
	sessionsKey  = "page-sessions"
	cookieName   = "nestmon-session"
)

// session is one browser that knew the password. What the browser holds is kept hashed.
type session struct {
	Hash  string    `json:"hash"`
	Until time.Time `json:"until"`
	Lock  string    `json:"lock"` // the mark of the password it was opened with: another one ends it
}

// sessions are read from the store when they are first wanted.
type sessions struct {
	options *Options // for the store

	mu   sync.Mutex
	read bool
	all  []session
}

// open begins a session and returns what the browser keeps. With an error the session is good until a restart.
func (s *sessions) open(mark string, now time.Time) (token string, until time.Time, err error) {
	raw := make([]byte, sessionBytes)
	_, _ = rand.Read(raw) // it never fails
	token, until = base64.RawURLEncoding.EncodeToString(raw), now.Round(0).Add(sessionLife)
	s.mu.Lock()
	defer s.mu.Unlock()
	err = s.load()
	s.all = slices.DeleteFunc(s.all, func(e session) bool { return e.Lock != mark || !now.Before(e.Until) })
	s.all = append(s.all, session{hashed(token), until, mark})
	s.all = s.all[max(len(s.all)-mostSessions, 0):]
	if err != nil {
		return token, until, err
	}
	return token, until, s.save()
}

// close ends the sessions of a request. With an error they may come back after a restart.
func (s *sessions) close(r *http.Request) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	err := s.load()
	before := len(s.all)
	s.all = slices.DeleteFunc(s.all, func(e session) bool { return e.of(r) })
	if err != nil || len(s.all) == before {
		return err
	}
	return s.save()
}

// has reports whether a request belongs to a session.
func (s *sessions) has(r *http.Request, mark string, now time.Time) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.load() != nil && len(s.all) == 0 {
		return false
	}
	return slices.ContainsFunc(s.all, func(e session) bool { return e.Lock == mark && now.Before(e.Until) && e.of(r) })
}

// of compares in constant time. A browser may send several cookies of one name, from other ports of this machine.
func (e session) of(r *http.Request) bool {
	return slices.ContainsFunc(r.CookiesNamed(cookieName), func(c *http.Cookie) bool {
		return subtle.ConstantTimeCompare([]byte(e.Hash), []byte(hashed(c.Value))) == 1
	})
}

func hashed(token string) string {
	sum := sha256.Sum256([]byte(token))
	return hex.EncodeToString(sum[:])
}

func (s *sessions) load() error {
	if s.read || s.options.Store == nil {
		return nil
	}
	text, err := s.options.Store.Meta(sessionsKey)
	if err != nil {
		return err
	}
	s.read = true
	var stored []session
	if json.Unmarshal([]byte(text), &stored) == nil { // what is not understood logs everybody out
		s.all = append(stored, s.all...)
	}
	return nil
}

func (s *sessions) save() error {
	if s.options.Store == nil {
		return nil
	}
	text, err := json.Marshal(s.all)
	if err != nil {
		return err
	}
	return s.options.Store.SetMeta(sessionsKey, string(text))
}
