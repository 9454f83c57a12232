package web

import (
	"fmt"
	"math"
	"net/http"
	"strconv"
	"time"
)

type loginBody struct {
	Password string `json:"password"`
}

// sessionView says what this browser can do.
type sessionView struct {
	Changes  bool `json:"changes"` // a password is set, and somebody here takes what people do
	LoggedIn bool `json:"logged_in"`
	Test     bool `json:"test"`   // there is a way to try
	Closed   bool `json:"closed"` // looking needs a login too
}

func (s *Server) serveSession(w http.ResponseWriter, r *http.Request) {
	v := sessionView{Changes: s.cfg.PasswordFile != "" && s.Options.Keeper != nil, Test: s.Options.Test != nil && s.called(), Closed: s.cfg.View == Password}
	v.LoggedIn = s.loggedIn(r)
	s.answerJSON(w, v)
}

// called reports whether an alarm calls anybody.
func (s *Server) called() bool { return s.Options.Called != nil && s.Options.Called() }

func (s *Server) serveLogin(w http.ResponseWriter, r *http.Request, l lock) {
	body, ok := taken[loginBody](w, r)
	if !ok {
		return
	}
	from := origin(r.RemoteAddr)
	if wait := s.logins.take(from, s.Now()); wait > 0 {
		slowDown(w, wait)
		refuse(w, http.StatusTooManyRequests, fmt.Sprintf("too many tries; wait %.0f seconds", math.Ceil(wait.Seconds())))
		return
	}
	select {
	case s.checking <- struct{}{}:
	case <-r.Context().Done():
		return
	}
	right := l.opens(body.Password)
	<-s.checking
	if !right {
		s.log.Warn("a wrong password was tried at the page", "from", from)
		refuse(w, http.StatusUnauthorized, "this is not the password")
		return
	}
	s.logins.giveBack(from)
	token, until, err := s.sessions.open(l.mark, s.Now())
	if err != nil {
		s.complain("page cannot store who is logged in", err) // good until a restart all the same: an alarm may wait for an answer
	}
	http.SetCookie(w, s.cookie(r, token, until))
	answer(w, []byte(`{"ok":true}`))
}

func (s *Server) serveLogout(w http.ResponseWriter, r *http.Request, _ lock) {
	if _, ok := taken[struct{}](w, r); !ok {
		return
	}
	err := s.sessions.close(r)
	http.SetCookie(w, s.cookie(r, "", time.Unix(1, 0)))
	if err != nil {
		s.complain("page cannot store who is logged out", err)
		refuse(w, http.StatusServiceUnavailable, "this browser is logged out, but that could not be stored; log out once more later")
		return
	}
	answer(w, []byte(`{"ok":true}`))
}

func (s *Server) cookie(r *http.Request, value string, until time.Time) *http.Cookie {
	c := &http.Cookie{
		Name: cookieName, Value: value, Path: "/", HttpOnly: true, SameSite: http.SameSiteStrictMode, Secure: s.secure(r),
		MaxAge: int(sessionLife.Seconds()), // the board's clock may be wrong; the browser counts from now
	}
	if value == "" {
		c.MaxAge, c.Expires = -1, until
	}
	return c
}

func slowDown(w http.ResponseWriter, wait time.Duration) {
	w.Header().Set("Retry-After", strconv.Itoa(int(math.Ceil(wait.Seconds()))))
}
