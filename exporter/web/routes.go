package web

import (
	"encoding/json"
	"fmt"
	"net/http"
	"strconv"
	"strings"
	"time"
)

// policy lets the page load from this server only, and nothing inline.
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; " +
	"manifest-src 'self'; worker-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'self'"

func (s *Server) routes() http.Handler {
	mux := http.NewServeMux()
	for pattern, h := range map[string]http.HandlerFunc{
		index:                      s.serveIndex,
		"/static/{hash}/{file...}": s.assets.serveFile,
		"/api/state":               s.serveState,
		"/api/series":              s.serveSeries,
		"/api/nest":                s.serveNest,
		"/api/broods":              s.serveBroods,
		"/api/events":              s.serveEvents,
		"/api/journal":             s.serveJournal,
		"/api/calls":               s.serveCalls,
		"/api/quality":             s.serveQuality,
		"/api/stream":              s.serveStream,
		"/api/session":             s.serveSession,
		"/healthz":                 s.serveHealth,
		"/answer/{token}":          s.serveAnswer,
		"/api/agenda":              s.serveAgenda,
		"/api/book":                s.serveBook,
		"/api/book/forms":          s.serveForms,
		"/api/book/litter/{id}":    s.serveStory,
		"/api/book/nest/{id}":      s.serveNestPast,
		"/api/book/doe/{name}":     s.serveDoe,
		"/litters":                 s.serveLitters,
		"/litter/{id}":             s.serveLitter,
		"/calendar/{file}":         s.serveCalendar,
		"/ca.crt":                  s.serveAuthority,
		"/":                        nothingHere,
	} {
		mux.Handle(pattern, shows(h))
	}
	mux.Handle("POST /answer/{token}", small(s.serveAnswer))
	mux.Handle("/api/login", s.door(s.serveLogin))
	mux.Handle("/api/logout", s.door(s.serveLogout))
	mux.Handle("/api/alarms/act", s.changes(s.serveAct))
	mux.Handle("/api/alarms/test", s.changes(s.serveTest))
	mux.Handle("/api/chores/done", s.changes(s.serveDone))
	mux.Handle("/api/book/enter", s.changes(s.serveEnter))
	s.pushRoutes(mux)
	s.benchRoutes(mux)
	mux.HandleFunc(queries, s.serveQueries)
	s.settingsRoutes(mux)
	return guarded(s.veiled(mux))
}

// queries is where graphing tools ask, with longer questions than a page's.
const queries = "/api/v1/"

func (s *Server) serveQueries(w http.ResponseWriter, r *http.Request) {
	if s.Options.Queries == nil {
		nothingHere(w, r)
		return
	}
	s.Options.Queries.ServeHTTP(w, r)
}

func nothingHere(w http.ResponseWriter, _ *http.Request) {
	refuse(w, http.StatusNotFound, "there is nothing at this address; the page is at /")
}

// guarded sets the headers every answer carries.
func guarded(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", policy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Cache-Control", "no-store")
		switch {
		case len(r.URL.RawQuery) > maxQuery && !strings.HasPrefix(r.URL.Path, queries):
			refuse(w, http.StatusBadRequest, fmt.Sprintf("the query is longer than %d bytes; ask for less", maxQuery))
		case len(r.TransferEncoding) > 0: // where a request ends must be the same for all who read it
			h.Set("Connection", "close")
			refuse(w, http.StatusLengthRequired, "the request does not say how long it is; send it whole, with Content-Length")
		default:
			next.ServeHTTP(w, r)
		}
	})
}

// shows turns away what would change something, and what no page of ours would send.
func shows(next http.HandlerFunc) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		switch {
		case r.Method != http.MethodGet && r.Method != http.MethodHead:
			h.Set("Allow", "GET, HEAD")
			refuse(w, http.StatusMethodNotAllowed, "this address only shows; use GET")
		case r.ContentLength != 0:
			h.Set("Connection", "close")
			refuse(w, http.StatusBadRequest, "a request here has no body; send it without one")
		default:
			next(w, r)
		}
	})
}

// small looks at no body, and takes no large one.
func small(next http.HandlerFunc) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.ContentLength > largestBody {
			w.Header().Set("Connection", "close")
			refuse(w, http.StatusRequestEntityTooLarge, tooLarge)
			return
		}
		r.Body = http.MaxBytesReader(w, r.Body, largestBody)
		next(w, r)
	})
}

func (s *Server) serveState(w http.ResponseWriter, _ *http.Request) {
	f, _ := s.newest()
	if f == nil {
		w.Header().Set("Retry-After", "1")
		refuse(w, http.StatusServiceUnavailable, "nothing has been measured yet; ask again in a moment")
		return
	}
	body, err := f.json(s, s.Now())
	if err != nil {
		s.complain("page cannot write the state", err)
		refuse(w, http.StatusInternalServerError, "the state cannot be written; see the daemon's log")
		return
	}
	answer(w, body)
}

// serveHealth tells a supervisor whether states still arrive: a page that only repeats an old one is not healthy.
func (s *Server) serveHealth(w http.ResponseWriter, _ *http.Request) {
	f, _ := s.newest()
	if f == nil {
		refuse(w, http.StatusServiceUnavailable, "nothing has been measured yet")
		return
	}
	if ago := f.ago(s.Now()); ago > s.site.oldAfter() {
		refuse(w, http.StatusServiceUnavailable, fmt.Sprintf("the newest state is %s old", ago.Round(time.Second)))
		return
	}
	answer(w, []byte(`{"ok":true}`))
}

func answer(w http.ResponseWriter, body []byte) {
	w.Header().Set("Content-Type", "application/json")
	w.Header().Set("Content-Length", strconv.Itoa(len(body)))
	_, _ = w.Write(body) // a reader that has gone away needs no answer
}

func refuse(w http.ResponseWriter, status int, why string) {
	body, _ := json.Marshal(map[string]string{"error": why}) // a string always marshals
	w.Header().Set("Content-Type", "application/json")
	w.Header().Set("Content-Length", strconv.Itoa(len(body)))
	w.WriteHeader(status)
	_, _ = w.Write(body)
}

// complain logs err unless it is the one logged last.
func (s *Server) complain(msg string, err error) {
	s.mu.Lock()
	repeated := s.lastError == err.Error()
	s.lastError = err.Error()
	s.mu.Unlock()
	if !repeated {
		s.log.Error(msg, "err", err)
	}
}
