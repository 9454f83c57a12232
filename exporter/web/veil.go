package web

import (
	"errors"
	"fmt"
	"net"
	"net/http"
	"strconv"
	"strings"

	"nestmon/exporter/webconfig"
)

// errShut is what they are told who have not.
var errShut = errors.New("only who has logged in may look; open the page at / and log in first")

// index is the page's own address. It is bare, but carries a first look where everybody may look.
const index = "/{$}"

// veiled keeps what is to be seen from who has not logged in, where the configuration says so, and from pages elsewhere whose name leads here:
// whatever address is added later, too.
func (s *Server) veiled(mux *http.ServeMux) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		_, pattern := mux.Handler(r)
		bare := s.bare(pattern)
		if (!bare || pattern == index) && !ofCommand(r) && !s.known(r.Host) {
			s.turnAway(w, r, pattern)
			return
		}
		if !bare {
			if err := s.veil(r); err != nil {
				status := http.StatusUnauthorized
				if !errors.Is(err, errShut) {
					s.complain("page cannot read its password", err)
					status = http.StatusServiceUnavailable
				}
				refuse(w, status, err.Error())
				return
			}
		}
		mux.ServeHTTP(w, r)
	})
}

// turnAway says to whoever comes under a strange name what to do, in plain words where a person looks at it.
func (s *Server) turnAway(w http.ResponseWriter, r *http.Request, pattern string) {
	if pattern != index || !strings.Contains(r.Header.Get("Accept"), "text/html") {
		refuse(w, http.StatusForbidden, strange)
		return
	}
	way := "http://"
	if s.secure(r) {
		way = "https://"
	}
	at, _ := r.Context().Value(http.LocalAddrContextKey).(net.Addr)
	if at == nil {
		at = &net.TCPAddr{}
	}
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	w.WriteHeader(http.StatusForbidden)
	_, _ = fmt.Fprintf(w, "%s: %s%s/\n", strange, way, at) // a reader that has gone away needs no answer
}

// bare reports whether an address tells nothing of the nests by itself, or asks for a secret of its own.
func (s *Server) bare(pattern string) bool {
	switch pattern {
	case index, "/static/{hash}/{file...}", "/ca.crt", "/healthz", "/", // files that are the same everywhere, and whether the daemon lives
		"/api/session", "/api/login", "/api/logout",
		"/answer/{token}", "POST /answer/{token}", "/calendar/{file}":
		return true
	}
	_, file := s.assets.top[pattern[min(1, len(pattern)):]]
	return file
}

// veil returns nil where a request may see what there is to see. A stream asks again before each event: a logout ends it.
func (s *Server) veil(r *http.Request) error {
	if s.cfg.View != Password || ofCommand(r) {
		return nil
	}
	in, err := s.session(r)
	switch {
	case err != nil:
		return errors.New("the page's password cannot be read; whoever keeps nestmon finds the reason in the daemon's log")
	case !in:
		return errShut
	}
	return nil
}

// ofCommand reports whether a request came over the control socket: its file says who may.
func ofCommand(r *http.Request) bool {
	at, _ := r.Context().Value(http.LocalAddrContextKey).(net.Addr)
	return at != nil && at.Network() == "unix"
}

// serveAuthority gives the certificate that a phone must trust to trust this server's, where the home has an authority of its own.
func (s *Server) serveAuthority(w http.ResponseWriter, _ *http.Request) {
	ca, ok := webconfig.Authority(s.cfg.WebConfigFile)
	if !ok {
		refuse(w, http.StatusNotFound, "there is no certificate of an authority of your own; make one on the board with 'nestmon certificate make'")
		return
	}
	text := webconfig.CertificateFile(ca)
	h := w.Header()
	h.Set("Content-Type", "application/x-x509-ca-cert")
	h.Set("Content-Disposition", `attachment; filename="nestmon-ca.crt"`)
	h.Set("Content-Length", strconv.Itoa(len(text)))
	_, _ = w.Write(text) // a reader that has gone away needs no answer
}
