package metrics

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"sync/atomic"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"nestmon/exporter"
)

var _ exporter.Publisher = (*Sink)(nil)

// Sink keeps the newest State for the next scrape.
type Sink struct {
	Now func() time.Time // time.Now unless a test sets it before the first scrape

	state    atomic.Pointer[exporter.State]
	registry *prometheus.Registry
	server   *http.Server
}

// New registers the sink's collector with reg and returns the sink. It serves nothing before Serve.
func New(reg *prometheus.Registry) (*Sink, error) {
	s := &Sink{Now: time.Now, registry: reg}
	if err := reg.Register(collector{s}); err != nil {
		return nil, fmt.Errorf("prometheus: registering the metrics: %w", err)
	}
	return s, nil
}

// Name returns prometheus.
func (s *Sink) Name() string { return "prometheus" }

// Publish stores the state for the next scrape.
func (s *Sink) Publish(ctx context.Context, state *exporter.State) error {
	s.state.Store(state)
	return ctx.Err()
}

const (
	scrapesAtOnce = 4 // two servers and two people; ours, no source
	// scrapeTimeout is below the 10 s after which a Prometheus gives up by default.
	scrapeTimeout = 5 * time.Second
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
	mux.Handle("GET /metrics", promhttp.HandlerFor(s.registry, promhttp.HandlerOpts{
		MaxRequestsInFlight: scrapesAtOnce, Timeout: scrapeTimeout,
		DisableCompression: true, // packing 60 kB costs a small board more than sending them
	}))
	mux.HandleFunc("GET /{$}", landing)
	return mux
}

func landing(w http.ResponseWriter, _ *http.Request) {
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Content-Security-Policy", "default-src 'none'")
	w.Header().Set("X-Content-Type-Options", "nosniff")
	fmt.Fprint(w, `<!doctype html>
<html lang="en"><title>nestmon metrics</title>
<h1>nestmon metrics</h1>
<p>A Prometheus server reads them at <a href="/metrics">/metrics</a>.</p>
</html>
`)
}

// Serve listens at c.Listen and answers scrapes until Close. It returns as soon as it listens.
func (s *Sink) Serve(c Config, log *slog.Logger) error {
	l, err := c.open()
	if err != nil {
		return err
	}
	s.server = &http.Server{
		Handler: s.Handler(), ErrorLog: slog.NewLogLogger(log.Handler(), slog.LevelDebug),
		ReadHeaderTimeout: headerTimeout, ReadTimeout: readTimeout, WriteTimeout: writeTimeout, IdleTimeout: idleTimeout, MaxHeaderBytes: maxHeader,
	}
	log.Info("serving metrics", slog.String("address", l.Addr().String()))
	go func() {
		if err := s.server.Serve(l); !errors.Is(err, http.ErrServerClosed) {
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
