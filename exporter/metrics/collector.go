package metrics

import (
	"math"
	"runtime"
	"strings"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"nestmon/exporter"
)

// A State is old, and its values are no longer shown, after as long as a Prometheus itself looks back for a sample by default, or
// after three that did not come where they come more seldom (three: ours, no source).
const (
	oldState    = 5 * time.Minute
	missedState = 3
)

// old reports whether a newer state than s should have come by now.
func old(s *exporter.State, now time.Time) bool {
	return now.Sub(s.Snapshot.Time) > max(oldState, missedState*s.Every)
}

// collector makes every metric of one state anew.
type collector struct {
	state *exporter.State
	old   bool // its values are not shown any more
}

// Describe announces nothing: which series there are depends on the state.
func (c collector) Describe(chan<- *prometheus.Desc) {}

// Collect writes the state.
func (c collector) Collect(out chan<- prometheus.Metric) {
	w, s := writer{out: out}, c.state
	w.site(s)
	w.sinks(s.Sinks)
	w.buses(s.Buses)
	w.probes(s, c.old)
	w.alarms(s.Snapshot)
	w.nests(s.Snapshot.Nests, c.old)
}

// writer sends metrics of families.
type writer struct{ out chan<- prometheus.Metric }

// put sends one sample. What is no number is left out: absence is the marker for missing.
func (w writer) put(f family, v float64, labels ...string) {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return
	}
	for i, l := range labels {
		labels[i] = strings.ToValidUTF8(l, "�")
	}
	m, err := prometheus.NewConstMetric(f.desc, f.kind, v, labels...)
	if err != nil {
		m = prometheus.NewInvalidMetric(f.desc, err)
	}
	w.out <- m
}

// at sends a moment, unless it never came.
func (w writer) at(f family, t time.Time, labels ...string) {
	if !t.IsZero() {
		w.put(f, float64(t.UnixMilli())/1000, labels...)
	}
}

func (w writer) bool(f family, b bool, labels ...string) {
	v := 0.0
	if b {
		v = 1
	}
	w.put(f, v, labels...)
}

func (w writer) site(s *exporter.State) {
	w.put(buildInfo, 1, s.Version, runtime.Version())
	w.at(started, s.Started)
	w.at(snapshotTime, s.Snapshot.Time)
	w.bool(clockSynchronized, s.Synced)
	if d := s.Disk; d.Bytes > 0 {
		w.put(diskFree, float64(d.Free))
		w.put(archiveSize, float64(d.Archive))
	}
	if s.Snapshot.Season != "" {
		w.put(seasonInfo, 1, string(s.Snapshot.Season))
	}
}

func (w writer) sinks(all []exporter.SinkHealth) {
	if exporter.Mute(all) {
		w.put(phoneMute, 1)
	}
	for _, h := range all {
		w.bool(sinkUp, h.OK, h.Name)
		if h.Misconfigured {
			w.put(sinkWrong, 1, h.Name)
		}
		w.put(sinkSent, float64(h.Sent), h.Name)
		w.put(sinkFailed, float64(h.Failed), h.Name)
		if h.Owes {
			w.put(sinkRefused, float64(h.Refused), h.Name)
			if h.Pruned > 0 {
				w.put(sinkPruned, float64(h.Pruned), h.Name)
			}
			w.put(spoolPoints, float64(h.Pending), h.Name)
		}
		w.at(spoolOldest, h.OldestAt, h.Name)
	}
}
