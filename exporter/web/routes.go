package web

import (
	"encoding/json"
	"fmt"
	"net/http"
	"strconv"
	"time"
)

// policy lets the page load from this server only, and nothing inline.
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; " +
	"manifest-src 'self'; worker-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'self'"

func (s *Server) routes() http.Handler {
	mux := http.NewServeMux()
	mux.HandleFunc("/{$}", s.assets.serveIndex)
	mux.HandleFunc("/static/{hash}/{file...}", s.assets.serveFile)
	mux.HandleFunc("/api/state", s.serveState)
	mux.HandleFunc("/api/series", s.serveSeries)
	mux.HandleFunc("/api/events", s.serveEvents)
	mux.HandleFunc("/api/stream", s.serveStream)
	mux.HandleFunc("/healthz", s.serveHealth)
	mux.HandleFunc("/", func(w http.ResponseWriter, _ *http.Request) {
		refuse(w, http.StatusNotFound, "there is nothing at this address; the page is at /")
	})
	return s.withPush(mux, guarded(mux))
}

// guarded sets the headers every answer carries and turns away what no page of ours would send.
func guarded(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		setHeaders(h)
		switch {
		case r.Method != http.MethodGet && r.Method != http.MethodHead:
			h.Set("Allow", "GET, HEAD")
			refuse(w, http.StatusMethodNotAllowed, "this page only shows; use GET")
		case r.ContentLength != 0:
			h.Set("Connection", "close")
			refuse(w, http.StatusBadRequest, "a request here has no body; send it without one")
		case len(r.URL.RawQuery) > maxQuery:
			refuse(w, http.StatusBadRequest, fmt.Sprintf("the query is longer than %d bytes; ask for less", maxQuery))
		default:
			next.ServeHTTP(w, r)
		}
	})
}

func setHeaders(h http.Header) {
	h.Set("Content-Security-Policy", policy)
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("Referrer-Policy", "no-referrer")
	h.Set("Cross-Origin-Resource-Policy", "same-origin")
	h.Set("Cache-Control", "no-store")
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
