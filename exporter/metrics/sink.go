package metrics

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"strconv"
	"sync"
	"sync/atomic"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/common/expfmt"

	"nestmon/exporter"
	"nestmon/exporter/webconfig"
)

var _ exporter.Publisher = (*Sink)(nil)

// Sink keeps the newest State for the next scrape.
type Sink struct {
	Now  func() time.Time // time.Now unless a test sets it before the first scrape
	Page PageLink         // where the landing page sends people; set before Serve

	config  Config
	text    atomic.Pointer[exposition]
	program program
	slots   chan struct{} // for answers under way
	scraped atomic.Int64  // when the last scrape was answered, unix ns
	server  *http.Server
}

// New returns the sink. It serves nothing before Serve.
func New() *Sink {
	return &Sink{Now: time.Now, program: newProgram(), slots: make(chan struct{}, scrapesAtOnce)}
}

// Name returns prometheus.
func (s *Sink) Name() string { return "prometheus" }

// Publish writes the state down for the next scrapes.
func (s *Sink) Publish(ctx context.Context, state *exporter.State) error {
	fresh, err := written(collector{state: state})
	s.text.Store(&exposition{state: state, fresh: fresh, old: sync.OnceValue(func() []byte {
		text, _ := written(collector{state: state, old: true}) // its series are some of those that were all right
		return text
	})})
	if err != nil {
		return exporter.Taken(fmt.Errorf("prometheus: writing the metrics: %w", err))
	}
	if err := webconfig.Current(s.config.WebConfigFile, s.Now()); err != nil {
		return exporter.Taken(fmt.Errorf("publish.prometheus.web_config_file: %w", err))
	}
	return ctx.Err()
}

// exposition is one state as Prometheus reads it, written once for all its scrapes.
type exposition struct {
	state *exporter.State
	fresh []byte
	old   func() []byte // without what must not be shown of an old state
}

func (e *exposition) at(now time.Time) []byte {
	if old(e.state, now) {
		return e.old()
	}
	return e.fresh
}

// written returns what a registry makes of c. Next to an error it is what was all right.
func written(c prometheus.Collector) ([]byte, error) {
	registry := prometheus.NewRegistry()
	if err := registry.Register(c); err != nil {
		return nil, err
	}
	families, err := registry.Gather()
	var b bytes.Buffer
	for _, f := range families {
		_, failed := expfmt.MetricFamilyToText(&b, f)
		err = errors.Join(err, failed)
	}
	return b.Bytes(), err
}

const (
	scrapesAtOnce = 40 // answers under way; a reader that does not read holds its own for writeTimeout. Ours, no source
	// What a client may take, so that none holds a scrape or a connection for ever: to ask, to take the answer, and between two
	// scrapes, which are a minute apart by default. Ours, no source.
	headerTimeout = 10 * time.Second
	readTimeout   = 10 * time.Second
	writeTimeout  = 20 * time.Second
	idleTimeout   = 2 * time.Minute
	maxHeader     = 8 << 10 // bytes
)

// Handler serves /metrics, and at / a page that leads there.
func (s *Sink) Handler() http.Handler {
	mux := http.NewServeMux()
	mux.HandleFunc("GET /metrics", s.metrics)
	mux.HandleFunc("GET /{$}", s.landing)
	return mux
}

// metrics answers one scrape: not packed, since that costs a small board more than sending.
func (s *Sink) metrics(w http.ResponseWriter, _ *http.Request) {
	select {
	case s.slots <- struct{}{}:
		defer func() { <-s.slots }()
	default:
		http.Error(w, "too many scrapes at once; scrape less often, and read the answers", http.StatusServiceUnavailable)
		return
	}
	var own bytes.Buffer
	s.program.write(&own)
	var state []byte
	if e := s.text.Load(); e != nil {
		state = e.at(s.Now())
	}
	w.Header().Set("Content-Type", string(expfmt.NewFormat(expfmt.TypeTextPlain)))
	w.Header().Set("Content-Length", strconv.Itoa(len(state)+own.Len()))
	_, _ = w.Write(state) // a scraper that has gone away needs no answer
	if _, err := w.Write(own.Bytes()); err == nil {
		s.scraped.Store(s.Now().UnixNano())
	}
}

// Scraped is when the metrics were fetched last, zero when they never were.
func (s *Sink) Scraped() time.Time {
	if at := s.scraped.Load(); at != 0 {
		return time.Unix(0, at)
	}
	return time.Time{}
}

// Serve listens at c.Listen and answers scrapes until Close. It returns as soon as it listens.
func (s *Sink) Serve(c Config, log *slog.Logger) error {
	l, err := c.open()
	if err != nil {
		return err
	}
	s.config = c
	s.server = &http.Server{
		Handler: s.Handler(), ErrorLog: slog.NewLogLogger(log.Handler(), slog.LevelDebug),
		ReadHeaderTimeout: headerTimeout, ReadTimeout: readTimeout, WriteTimeout: writeTimeout, IdleTimeout: idleTimeout, MaxHeaderBytes: maxHeader,
	}
	log.Info("serving metrics", slog.String("address", l.Addr().String()))
	go func() {
		if err := webconfig.Serve(l, s.server, c.WebConfigFile); !errors.Is(err, http.ErrServerClosed) {
			log.Error("metrics server ended", slog.Any("err", err))
		}
	}()
	return nil
}

// Close stops serving; scrapes under way may finish until ctx ends.
func (s *Sink) Close(ctx context.Context) error {
	if s.server == nil {
		return nil
	}
	if err := s.server.Shutdown(ctx); err != nil {
		return errors.Join(fmt.Errorf("prometheus: stopping: %w", err), s.server.Close())
	}
	return nil
}
