//go:build promql

package query

import (
	"context"
	"errors"
	"log/slog"
	"net/http"
	"strconv"
	"strings"
	"sync/atomic"
	"time"

	"github.com/prometheus/common/model"
	"github.com/prometheus/prometheus/promql"
	"github.com/prometheus/prometheus/promql/parser"

	"nestmon/sensors"
)

// Bounds of an expression, ours, no source, but for the points, which are Prometheus's own (its API refuses more).
const (
	mostPoints  = 11000
	longestSpan = 11 * 366 * 24 * time.Hour // of query_range; hourly rows are kept for ten years
	mostSamples = 2_000_000                 // in the engine's memory at once, 16 bytes each
	defaultStep = time.Minute               // of a subquery that names none: Prometheus's default evaluation interval
)

type engine struct {
	*promql.Engine
	said atomic.Pointer[string] // the newest error of the archive
}

func newEngine() *engine {
	return &engine{Engine: promql.NewEngine(promql.EngineOpts{
		MaxSamples: mostSamples, Timeout: longestWork, LookbackDelta: longestLife,
		NoStepSubqueryIntervalFn: func(int64) int64 { return defaultStep.Milliseconds() },
		EnableAtModifier:         true, EnableNegativeOffset: true,
	})}
}

// longestLife is how far back a value may be that is still current: no probe's value and no hour lives longer.
const longestLife = sensors.StaleLimit

func (f fault) Error() string { return f.text }

func (a *API) serveInstant(w http.ResponseWriter, r *http.Request) {
	p := &params{r: r}
	at, most := p.instant("time", a.Now()), p.limit("limit")
	a.work(w, p, most, func(ctx context.Context, text string) (promql.Query, error) {
		if err := bounded(text, 0); err != nil {
			return nil, err
		}
		return a.engine.NewInstantQuery(ctx, a.storage(), nil, text, at)
	})
}

func (a *API) serveRange(w http.ResponseWriter, r *http.Request) {
	p := &params{r: r}
	from, to, step, most := p.want("start"), p.want("end"), p.span("step", 0), p.limit("limit")
	switch {
	case to.Before(from):
		p.fail("invalid parameter \"end\": it is before start")
	case to.Sub(from) > longestSpan:
		p.fail("from start to end are more than %d days; ask for less", longestSpan/(24*time.Hour))
	case to.Sub(from)/step > mostPoints:
		p.fail("exceeded maximum resolution of %d points per timeseries; ask for a longer step", mostPoints)
	}
	a.work(w, p, most, func(ctx context.Context, text string) (promql.Query, error) {
		if err := bounded(text, to.Sub(from)); err != nil {
			return nil, err
		}
		return a.engine.NewRangeQuery(ctx, a.storage(), nil, text, from, to, step)
	})
}

// work answers with what the expression comes to.
func (a *API) work(w http.ResponseWriter, p *params, most int, prepare func(ctx context.Context, text string) (promql.Query, error)) {
	text, within := p.text("query"), p.span("timeout", longestWork)
	if text == "" {
		p.fail("invalid parameter \"query\": it is missing; write an expression such as nestmon_probe_temperature_celsius")
	} else if len(text) > longestExpression {
		p.fail("invalid parameter \"query\": it is longer than %d bytes; ask for less", longestExpression)
	}
	if p.refused(w) {
		return
	}
	ctx, cancel := context.WithTimeout(p.r.Context(), min(within, longestWork))
	defer cancel()
	q, err := prepare(ctx, text)
	if err != nil {
		refuse(w, a.explain(err, badData("invalid parameter \"query\": %s", err)))
		return
	}
	defer q.Close()
	result := q.Exec(ctx)
	if result.Err != nil {
		refuse(w, a.explain(result.Err, fault{http.StatusUnprocessableEntity, "execution", result.Err.Error()}))
		return
	}
	warnings, infos := result.Warnings.AsStrings(text, 10, 10)
	send(w, result.Value, warnings, infos, most)
}

// explain says what an error is to who asked, or other where it is none of these.
func (a *API) explain(err error, other fault) fault {
	var known fault
	var broken unreadable
	switch {
	case errors.As(err, &known):
		return known
	case errors.As(err, &broken):
		return a.complain(broken.error)
	case errors.As(err, new(promql.ErrQueryTimeout)), errors.Is(err, context.DeadlineExceeded):
		return fault{http.StatusServiceUnavailable, "timeout", err.Error() + "; ask for less, or a longer step"}
	case errors.As(err, new(promql.ErrQueryCanceled)), errors.Is(err, context.Canceled):
		return fault{http.StatusServiceUnavailable, "canceled", err.Error()}
	case errors.As(err, new(parser.ParseErrors)) && strings.Contains(err.Error(), "unknown function"):
		return fault{http.StatusUnprocessableEntity, "execution", err.Error()}
	}
	return other
}

// complain logs why the archive cannot be read, unless it is what was logged last.
func (a *API) complain(err error) fault {
	text := err.Error()
	if last := a.engine.said.Swap(&text); last == nil || *last != text {
		a.log.Error("a query cannot read the archive", slog.Any("err", err))
	}
	return fault{http.StatusServiceUnavailable, "unavailable", "the archive cannot be read now; see the daemon's log"}
}

// want is instant where there must be one.
func (p *params) want(name string) time.Time {
	if p.text(name) == "" {
		p.fail("invalid parameter %q: it is missing; write unix seconds, or 2030-02-14T03:15:00Z", name)
	}
	return p.instant(name, earliest)
}

// span reads seconds or a duration, which must be longer than none.
func (p *params) span(name string, fallback time.Duration) time.Duration {
	text := p.text(name)
	if text == "" && fallback > 0 {
		return fallback
	}
	s, err := strconv.ParseFloat(text, 64)
	if err != nil {
		var d model.Duration
		if d, err = model.ParseDuration(text); err == nil {
			s = time.Duration(d).Seconds()
		}
	}
	// A millisecond is the finest that samples have; a span longer than all that is answered means all of it.
	if err != nil || !(s >= 0.001) {
		p.fail("invalid parameter %q: %q is not a span of time; write seconds, from 0.001 on, or one like 5m", name, clip(text))
		return time.Second
	}
	return time.Duration(min(s, latest.Sub(earliest).Seconds()) * float64(time.Second))
}
