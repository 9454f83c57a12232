package metrics

import (
	"bytes"
	"slices"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	dto "github.com/prometheus/client_model/go"
	"github.com/prometheus/common/expfmt"
)

// programMetrics are the few of the usual metrics of a Go program that a board's keeper can act on.
var programMetrics = []string{
	"process_cpu_seconds_total", "process_open_fds", "process_resident_memory_bytes", "process_start_time_seconds",
	"go_goroutines", "go_memstats_heap_alloc_bytes",
}

// program measures this program at each scrape. It reads /proc, never the card and never a bus.
type program struct{ registry *prometheus.Registry }

func newProgram() *program {
	p := &program{prometheus.NewRegistry()}
	p.registry.MustRegister(collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}), collectors.NewGoCollector())
	return p
}

func (p *program) text() ([]byte, error) {
	families, err := p.registry.Gather()
	if err != nil {
		return nil, err
	}
	return text(slices.DeleteFunc(families, func(f *dto.MetricFamily) bool { return !slices.Contains(programMetrics, f.GetName()) }))
}

// text writes families in the text format that every Prometheus reads.
func text(families []*dto.MetricFamily) ([]byte, error) {
	var b bytes.Buffer
	for _, f := range families {
		if _, err := expfmt.MetricFamilyToText(&b, f); err != nil {
			return nil, err
		}
	}
	return b.Bytes(), nil
}
