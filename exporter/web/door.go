package web

import (
	"context"
	"mime"
	"net"
	"net/http"
	"net/netip"
	"net/url"
	"slices"
	"strings"
	"time"

	"nestmon/exporter"
	"nestmon/thresholds/alarm/quality"
	"nestmon/thresholds/brood"
)

// Options are what people can do through the page. They are set before the first request; what is missing cannot be done.
type Options struct {
	Keeper exporter.Keeper // takes what people do about alarms and chores
	// Test sends a trial message over a channel, over all of them where channel is empty, and returns by channel what went wrong; empty is arrived.
	Test   func(ctx context.Context, channel string) (map[string]string, error)
	Called func() bool // whether there is a way to anybody; nil where there is none
	Store  Store       // remembers who is logged in; nil forgets it at the end

	Book exporter.Bookkeeper // the litter book; nil where nobody keeps one

	Report  func(litter int64) (Page, error) // looks back on one litter; ErrNoReport where there is nothing
	Litters func() (Page, error)             // leads to all of them
	Tables  func() brood.Tables              // the limits by age in force; nil for those as shipped

	Calendar CalendarFunc // nil where there is none
	Queries  http.Handler // answers graphing tools below /api/v1/, bounds what it takes and does, and changes nothing; nil where there is none

	Bench   Bench                                  // the work with probes; nil where there is none
	Calls   Calls                                  // who is called
	Quality func(days int) (quality.Report, error) // how good the alarms were; nil where nobody knows
	Tuner   Tuner                                  // nil where nobody knows what is in force
}

// Bounds of a request that changes something, ours, no source.
const (
	largestBody  = 64 << 10         // bytes; a browser's subscription to messages is under 1 kB
	doPatience   = 10 * time.Second // for the daemon to store what was done
	testPatience = time.Minute      // for every channel to answer
)

const (
	locked = "nothing can be changed from this page while it has no password; make one on the board with 'nestmon password', and name its file under publish.page.password_file"
	logIn  = "log in first"

	strange = "this name is not known here; write it under publish.page.address, or open the page by its numeric address"
)

// changes lets a request through to h that a person sent who has logged in, from a page of this server, as JSON of a bounded size.
func (s *Server) changes(h http.HandlerFunc) http.Handler {
	return s.door(func(w http.ResponseWriter, r *http.Request, l lock) {
		if !s.sessions.has(r, l.mark, s.Now()) {
			refuse(w, http.StatusUnauthorized, logIn)
			return
		}
		h(w, r)
	})
}

// door is changes before somebody has logged in.
func (s *Server) door(h func(http.ResponseWriter, *http.Request, lock)) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		kind, _, err := mime.ParseMediaType(r.Header.Get("Content-Type"))
		switch {
		case r.Method != http.MethodPost:
			w.Header().Set("Allow", http.MethodPost)
			refuse(w, http.StatusMethodNotAllowed, "this address changes something; use POST")
			return
		case err != nil || kind != "application/json": // which a form of another site cannot send
			refuse(w, http.StatusUnsupportedMediaType, "the request is not JSON; send Content-Type: application/json")
			return
		case r.ContentLength > largestBody:
			w.Header().Set("Connection", "close")
			refuse(w, http.StatusRequestEntityTooLarge, tooLarge)
			return
		case !s.known(r.Host):
			refuse(w, http.StatusForbidden, strange)
			return
		case s.origins.Check(r) != nil:
			refuse(w, http.StatusForbidden, "the request comes from another site; open the page of nestmon and do it there")
			return
		case s.cfg.PasswordFile == "":
			refuse(w, http.StatusForbidden, locked)
			return
		}
		l, err := readLock(s.cfg.PasswordFile)
		if err != nil {
			s.complain("page cannot read its password", err)
			refuse(w, http.StatusServiceUnavailable, "the page's password cannot be read; whoever keeps nestmon finds the reason in the daemon's log")
			return
		}
		r.Body = http.MaxBytesReader(w, r.Body, largestBody)
		h(w, r, l)
	})
}

// known reports whether a browser that sends this Host can have it from us: a site elsewhere may let its own name lead here, and its page
// would then pass for ours. Nobody elsewhere owns an address, a name without a dot, or one under a domain kept for homes.
func (s *Server) known(hostport string) bool {
	host := hostport
	if h, _, err := net.SplitHostPort(hostport); err == nil {
		host = h
	}
	host = strings.ToLower(strings.TrimSuffix(strings.Trim(host, "[]"), "."))
	if _, err := netip.ParseAddr(host); err == nil {
		return true
	}
	if host == "" {
		return false
	}
	domain := host[strings.LastIndex(host, ".")+1:]
	return domain == host || slices.Contains(homely, domain) || strings.HasSuffix(host, ".home.arpa") || host == s.cfg.host()
}

// homely are the domains that are never given to anybody: local (RFC 6762), internal (ICANN, 2024, from memory), localhost (RFC 6761), and
// lan, which many routers use and nobody keeps (common practice, no source). So is home.arpa (RFC 8375).
var homely = []string{"local", "internal", "localhost", "lan"}

// host is the name in the configured address, empty where none is configured.
func (c Config) host() string {
	u, err := url.Parse(c.Address)
	if err != nil {
		return ""
	}
	return strings.ToLower(u.Hostname())
}

// secure reports whether the browser reached us over TLS, here or at what stands before us.
func (s *Server) secure(r *http.Request) bool {
	return r.TLS != nil || strings.HasPrefix(s.cfg.Address, "https://") && "https://"+r.Host == strings.TrimSuffix(s.cfg.Address, "/")
}

// within is the time a person's deed may take. It goes on when the browser has gone: a phone loses its network in a barn.
func within(r *http.Request, d time.Duration) (context.Context, context.CancelFunc) {
	return context.WithTimeout(context.WithoutCancel(r.Context()), d)
}
