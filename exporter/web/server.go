package web

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"strings"
	"sync"
	"syscall"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/webconfig"
)

// Bounds of the server, all ours, no source. A browser's whole request is under 2 kB, and a home has a handful of screens.
const (
	maxHeader = 8 << 10 // bytes
	maxQuery  = 1 << 10 // bytes
	maxReads  = 2       // of the archive at once: it shares a small board with the daemon
)

// times are how long a reader may take, and how a stream goes.
type times struct {
	header time.Duration // to send the request's head
	read   time.Duration // to send the request
	write  time.Duration // to take an answer; a stream has it for each of its events
	idle   time.Duration // between requests of one connection
	gap    time.Duration // least time between two states of a stream: an accelerated demonstration publishes hundreds per second
	beat   time.Duration // longest silence of a stream: the page must notice a broken one within 15 s, and three beats fit into that
}

// usualTimes are ours, no source.
func usualTimes() times {
	return times{5 * time.Second, 10 * time.Second, 20 * time.Second, 60 * time.Second, 500 * time.Millisecond, 5 * time.Second}
}

// Server is the page. It is made by New, fed by Publish, and may be used by any number of goroutines.
type Server struct {
	Now     func() time.Time // time.Now unless a test sets it before the first request
	Options Options          // what people can do, set before the first request

	cfg     Config
	site    Site
	history History
	log     *slog.Logger
	assets  assets
	handler http.Handler
	reads   chan struct{} // slots for reading the archive
	streams streams
	times   times
	closing chan struct{} // closed when streams must end

	origins  *http.CrossOriginProtection
	sessions sessions
	logins   throttle
	links    throttle      // tries of tokens that were wrong
	checking chan struct{} // one password is looked at at a time: that takes a small board a second
	testing  chan struct{} // one test of the channels at a time

	followers chan struct{} // slots for following the work with probes

	mu        sync.Mutex
	current   *frame        // nil until the first Publish
	changed   chan struct{} // closed and replaced when current changes
	http      *http.Server  // nil while not listening
	addr      string
	broken    error // why the listener ended by itself
	lastError string
	closed    bool
	phones    exporter.Phones // nil where phones cannot sign up
}

var _ exporter.Publisher = (*Server)(nil)

// New makes a server that answers through Handler; Start adds the network address.
func New(cfg Config, site Site, history History, log *slog.Logger) *Server {
	s := &Server{
		Now: time.Now, cfg: cfg, site: site, history: history, log: log, assets: loadAssets(),
		reads: make(chan struct{}, maxReads), times: usualTimes(),
		closing: make(chan struct{}), changed: make(chan struct{}),
		origins: http.NewCrossOriginProtection(), checking: make(chan struct{}, 1), testing: make(chan struct{}, 1), followers: make(chan struct{}, maxFollowers),
		logins: throttle{each: loginPace, all: allLogins}, links: throttle{each: wrongLinks, all: allWrongLinks},
	}
	if cfg.Address != "" {
		if err := s.origins.AddTrustedOrigin(strings.TrimSuffix(cfg.Address, "/")); err != nil {
			log.Warn("publish.page.address is no address of a page", "err", err) // Validate has refused it
		}
	}
	s.sessions.options = &s.Options
	s.handler = s.routes()
	return s
}

// Name is page, as in the configuration.
func (s *Server) Name() string { return "page" }

// Handler answers requests from any listener.
func (s *Server) Handler() http.Handler { return s.handler }

// Start listens on the configured address. It does nothing when that is None.
func (s *Server) Start() error {
	if s.cfg.Listen == None {
		return nil
	}
	if err := webconfig.Check(s.cfg.WebConfigFile); err != nil {
		return fmt.Errorf("publish.page.web_config_file: %w", err)
	}
	if err := s.cfg.CheckPassword(); err != nil {
		return fmt.Errorf("publish.page.password_file: %w", err)
	}
	l, err := listen(s.cfg.Listen, s.times.write)
	switch {
	case errors.Is(err, syscall.EADDRINUSE):
		return fmt.Errorf("page: address %q is in use by another program; stop that one, or write another port under publish.page.listen", s.cfg.Listen)
	case errors.Is(err, syscall.EADDRNOTAVAIL):
		return fmt.Errorf("page: address %q belongs to no network of this machine; write one of its own, 127.0.0.1 or 0.0.0.0 under publish.page.listen", s.cfg.Listen)
	case errors.Is(err, syscall.EACCES):
		return fmt.Errorf("page: address %q is not allowed to this user; write a port above 1023 under publish.page.listen", s.cfg.Listen)
	case err != nil:
		return fmt.Errorf("page: listen on %q: %w; write another address under publish.page.listen", s.cfg.Listen, err)
	}
	srv := &http.Server{
		Handler: s.handler, ErrorLog: slog.NewLogLogger(s.log.Handler(), slog.LevelDebug),
		ReadHeaderTimeout: s.times.header, ReadTimeout: s.times.read, WriteTimeout: s.times.write, IdleTimeout: s.times.idle,
		MaxHeaderBytes: maxHeader,
	}
	s.mu.Lock()
	s.http, s.addr = srv, l.Addr().String()
	s.mu.Unlock()
	s.log.Info("serving the page", slog.String("address", l.Addr().String()))
	go func() {
		err := webconfig.Serve(l, srv, s.cfg.WebConfigFile)
		if !errors.Is(err, http.ErrServerClosed) {
			s.mu.Lock()
			s.broken = fmt.Errorf("page: no longer listening on %q: %w", s.addr, err)
			s.mu.Unlock()
			s.log.Error("page stopped listening", "err", err)
		}
	}()
	return nil
}

// Addr is the address that is listened on, empty while there is none.
func (s *Server) Addr() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.addr
}

// Publish makes st the state that is shown and wakes the streams. It never waits for them.
func (s *Server) Publish(_ context.Context, st *exporter.State) error {
	s.take(st)
	if err := webconfig.Current(s.cfg.WebConfigFile, s.Now()); err != nil {
		return exporter.Taken(fmt.Errorf("publish.page.web_config_file: %w", err))
	}
	if err := s.cfg.CheckPassword(); err != nil {
		return exporter.Taken(fmt.Errorf("publish.page.password_file: %w", err))
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	return exporter.Taken(s.broken)
}

func (s *Server) take(st *exporter.State) {
	s.mu.Lock()
	defer s.mu.Unlock()
	f := &frame{seq: 1, at: s.Now(), state: st}
	if last := s.current; last != nil {
		f.seq = last.seq + 1
		if st.Snapshot.Time.Equal(last.state.Snapshot.Time) && st.Started.Equal(last.state.Started) {
			f.at = last.at // a deed shows the same readings again: they are no younger for it
		}
	}
	s.current = f
	close(s.changed)
	s.changed = make(chan struct{})
}

// Close ends the streams and then the listener, by ctx at the latest.
func (s *Server) Close(ctx context.Context) error {
	s.mu.Lock()
	srv, first := s.http, !s.closed
	s.closed = true
	s.mu.Unlock()
	if first {
		close(s.closing)
	}
	if srv == nil {
		return nil
	}
	if err := srv.Shutdown(ctx); err != nil {
		return errors.Join(fmt.Errorf("page: close: %w", err), srv.Close())
	}
	return nil
}

// newest returns the current frame, nil when there is none, and a channel that is closed when it is replaced.
func (s *Server) newest() (*frame, <-chan struct{}) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.current, s.changed
}
