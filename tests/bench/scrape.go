package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"slices"
	"strconv"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/promhttp"
)

// scrape prints what a scrape of the daemon takes, beside a request that does nothing, and beside the library's own handler over a
// registry that holds as many constant metrics with two labels, which makes and sorts them at each scrape.
func scrape(w io.Writer, address string) error {
	idle, _, err := paced(address + "/")
	if err != nil {
		return err
	}
	took, text, err := paced(address + "/metrics")
	if err != nil {
		return err
	}
	series := 0
	for line := range bytes.Lines(text) {
		if line[0] != '#' {
			series++
		}
	}
	registry := prometheus.NewRegistry()
	if err := registry.Register(constants(series)); err != nil {
		return err
	}
	bare := httptest.NewServer(promhttp.HandlerFor(registry, promhttp.HandlerOpts{DisableCompression: true}))
	defer bare.Close()
	library, _, err := paced(bare.URL)
	if err != nil {
		return err
	}
	fmt.Fprintf(w, "  a scrape of %d series, %d kB: %s, %.1f times an empty request (%s), %.2f times the library's own handler (%s); %d scrapes each\n",
		series, len(text)/1000, took, ratio(took.median, idle.median), idle, ratio(took.median, library.median), library, scrapes)
	return nil
}

// constants is a collector of so many constant metrics.
type constants int

var constant = prometheus.NewDesc("bare_metric", "One of many.", []string{"nest", "probe"}, nil)

func (constants) Describe(out chan<- *prometheus.Desc) { out <- constant }

func (n constants) Collect(out chan<- prometheus.Metric) {
	for i := range int(n) {
		out <- prometheus.MustNewConstMetric(constant, prometheus.GaugeValue, float64(i)/7, strconv.Itoa(i/40), strconv.Itoa(i))
	}
}

// spread is how long many requests took.
type spread struct{ median, late time.Duration } // late: 99 % took less

func (s spread) String() string {
	return fmt.Sprintf("median %.2f ms, p99 %.2f ms", float64(s.median.Microseconds())/1e3, float64(s.late.Microseconds())/1e3)
}

func ratio(a, b time.Duration) float64 { return float64(a) / float64(b) }

func paced(url string) (s spread, text []byte, err error) {
	all := make([]time.Duration, scrapes)
	for i := range all {
		began := time.Now()
		if text, err = get(url); err != nil {
			return s, nil, err
		}
		all[i] = time.Since(began)
	}
	slices.Sort(all)
	return spread{all[len(all)/2], all[len(all)*99/100]}, text, nil
}

func get(url string) ([]byte, error) {
	req, err := http.NewRequestWithContext(context.Background(), http.MethodGet, url, nil)
	if err != nil {
		return nil, err
	}
	resp, err := http.DefaultClient.Do(req)
	if err != nil {
		return nil, err
	}
	defer resp.Body.Close()
	text, err := io.ReadAll(resp.Body)
	if err == nil && resp.StatusCode != http.StatusOK {
		err = errors.New(url + ": " + resp.Status)
	}
	return text, err
}
