package web

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"net/http"
	"strings"
	"time"

	"nestmon/exporter"
)

// CalendarFunc returns the chores as a calendar file, and when it last changed, to who knows its secret; to all others exporter.ErrLinkUnknown.
type CalendarFunc func(ctx context.Context, secret exporter.Secret) (text []byte, changed time.Time, err error)

// serveCalendar gives the chores to a phone's calendar, which cannot log in: the secret in its address is all that is asked for. What is not
// known here is answered like any other address that is not, and tries are counted as those of links are. What a phone has already is not
// sent again.
func (s *Server) serveCalendar(w http.ResponseWriter, r *http.Request) {
	h := w.Header()
	h.Set("X-Robots-Tag", "noindex")
	from := origin(r.RemoteAddr)
	if wait := s.links.take(from, s.Now()); wait > 0 {
		slowDown(w, wait)
		refuse(w, http.StatusTooManyRequests, "too many addresses were tried that are not known here; wait a minute")
		return
	}
	text, changed, err := s.calendar(r)
	if errors.Is(err, exporter.ErrLinkUnknown) {
		nothingHere(w, r)
		return
	}
	s.links.giveBack(from)
	if err != nil {
		h.Set("Retry-After", "60")
		refuse(w, http.StatusServiceUnavailable, err.Error())
		return
	}
	sum := sha256.Sum256(text)
	h.Set("Content-Type", "text/calendar; charset=utf-8")
	h.Set("Content-Disposition", `inline; filename="chores.ics"`) // the address would be the name else
	h.Set("Cache-Control", "private, no-cache")                   // a phone may keep it and has to ask; nobody between may
	h.Set("ETag", `"`+hex.EncodeToString(sum[:16])+`"`)
	r.Header.Del("Range") // it is sent whole or not at all
	http.ServeContent(w, r, "", changed, bytes.NewReader(text))
}

func (s *Server) calendar(r *http.Request) (text []byte, changed time.Time, err error) {
	secret, ok := strings.CutSuffix(r.PathValue("file"), ".ics")
	if !ok || !linkToken.MatchString(secret) || s.Options.Calendar == nil {
		return nil, changed, exporter.ErrLinkUnknown
	}
	ctx, cancel := within(r, doPatience)
	defer cancel()
	return s.Options.Calendar(ctx, exporter.NewSecret(secret))
}
