package web

import (
	"time"

	"nestmon/exporter"
	"nestmon/sensors"
	"nestmon/thresholds"
	"nestmon/thresholds/nest"
)

type probeView struct {
	Probe     string                   `json:"probe"`
	Fresh     bool                     `json:"fresh"`
	Reads     uint64                   `json:"reads"`
	Rejected  map[sensors.Fault]uint64 `json:"rejected"`
	LastGood  *time.Time               `json:"last_good"`
	LastFault *string                  `json:"last_fault"`
	FaultAt   *time.Time               `json:"fault_at"`
	Errors    *float64                 `json:"error_ratio"`
	Values    []measuredView           `json:"values"`
	Doubts    []nest.Doubt             `json:"doubts"`
	Offset    *offsetView              `json:"offset"`
}

type measuredView struct {
	Quantity string    `json:"quantity"`
	Unit     string    `json:"unit"`
	Value    *float64  `json:"value"`
	Fault    *string   `json:"fault"`
	Time     time.Time `json:"time"`
}

type offsetView struct {
	Temperature float64 `json:"temperature_c"`
	Humidity    float64 `json:"humidity_pct"`
	Date        string  `json:"date"`
	Method      string  `json:"method"`
}

type busView struct {
	Bus      string  `json:"bus"`
	Up       bool    `json:"up"`
	Hung     float64 `json:"hung_s"`
	Took     float64 `json:"took_s"`
	Restarts uint64  `json:"restarts"`
}

type sinkView struct {
	Sink    string     `json:"sink"`
	OK      bool       `json:"ok"`
	Since   *time.Time `json:"since"`
	LastOK  *time.Time `json:"last_ok"`
	Error   string     `json:"error"`
	Wrong   bool       `json:"misconfigured"`
	Sent    uint64     `json:"sent"`
	Failed  uint64     `json:"failed"`
	Pending int64      `json:"pending"`
	Oldest  *time.Time `json:"oldest"`

	Refused    uint64        `json:"refused"`
	RefusedWhy *string       `json:"refused_why"`
	Pruned     uint64        `json:"pruned"`
	Backfill   *backfillView `json:"backfill"`
}

type backfillView struct {
	From    time.Time  `json:"from"`
	To      time.Time  `json:"to"`
	Polls   int64      `json:"polls"`
	Sent    int64      `json:"sent"`
	Refused int64      `json:"refused"`
	Ended   *time.Time `json:"ended"`
	Stopped bool       `json:"stopped"`
}

func backfillOf(b *exporter.Backfill) *backfillView {
	if b == nil {
		return nil
	}
	return &backfillView{b.From, b.To, b.Polls, b.Sent, b.Refused, instant(b.Ended), b.Stopped}
}

// probeViews lists the health of every configured probe: one that nobody has heard of yet is silent, not absent.
func (s *Server) probeViews(st *exporter.State) []probeView {
	out := make([]probeView, 0, len(s.site.Probes))
	known := make(map[string]bool, len(st.Probes))
	for _, h := range st.Probes {
		known[h.Probe] = true
		out = append(out, probeView{
			Probe: h.Probe, Fresh: s.fresh(h, st.Snapshot.Time), Reads: h.Reads, Rejected: rejected(h), LastGood: instant(h.LastGood),
			LastFault: text(string(h.LastFault)), FaultAt: instant(h.FaultAt), Errors: number(h.Errors, h.Reads > 0), Values: measured(h.Latest),
			Doubts: doubts(st.Snapshot, h.Probe), Offset: s.offset(h.Probe),
		})
	}
	for _, p := range s.site.Probes {
		if !known[p.ID] {
			out = append(out, probeView{
				Probe: p.ID, Rejected: map[sensors.Fault]uint64{}, Values: []measuredView{}, Doubts: doubts(st.Snapshot, p.ID), Offset: s.offset(p.ID),
			})
		}
	}
	return out
}

// measured lists the newest reading of each quantity, value or fault; it may be old.
func measured(latest []sensors.Reading) []measuredView {
	out := make([]measuredView, 0, len(latest))
	for _, r := range latest {
		out = append(out, measuredView{r.Quantity.String(), r.Quantity.Unit(), number(r.Value, r.OK()), text(string(r.Fault)), r.Time})
	}
	return out
}

func doubts(s thresholds.Snapshot, probe string) []nest.Doubt {
	out := []nest.Doubt{}
	for _, d := range s.Doubts {
		if d.Probe == probe {
			out = append(out, d.Why)
		}
	}
	return out
}

// offset is what is added to the probe's values, nil where nobody compared it.
func (s *Server) offset(probe string) *offsetView {
	p, ok := s.site.probe(probe)
	if !ok || p.Offset == (sensors.Offset{}) {
		return nil
	}
	o := p.Offset
	return &offsetView{o.Temperature, o.Humidity, o.Date, o.Method}
}

// fresh reports whether the probe's newest good reading may still be held as current.
func (s *Server) fresh(h sensors.Health, now time.Time) bool {
	limit := sensors.DefaultStaleAfter(0)
	if p, ok := s.site.probe(h.Probe); ok && p.StaleAfter > 0 {
		limit = p.StaleAfter
	}
	return !h.LastGood.IsZero() && now.Sub(h.LastGood) <= limit
}

func rejected(h sensors.Health) map[sensors.Fault]uint64 {
	out := make(map[sensors.Fault]uint64, len(h.Rejected))
	for fault, n := range h.Rejected {
		if n > 0 {
			out[fault] = n
		}
	}
	return out
}

func busViews(in []sensors.BusHealth) []busView {
	out := make([]busView, 0, len(in))
	for _, b := range in {
		out = append(out, busView{b.Bus, b.Up, b.Hung.Seconds(), b.Took.Seconds(), b.Restarts})
	}
	return out
}

func sinkViews(in []exporter.SinkHealth) []sinkView {
	out := make([]sinkView, 0, len(in))
	for _, h := range in {
		out = append(out, sinkView{
			Sink: h.Name, OK: h.OK, Since: instant(h.Since), LastOK: instant(h.LastOK), Error: h.Error, Wrong: h.Misconfigured,
			Sent: h.Sent, Failed: h.Failed, Pending: h.Pending, Oldest: instant(h.OldestAt),
			Refused: h.Refused, RefusedWhy: text(h.RefusedWhy), Pruned: h.Pruned, Backfill: backfillOf(h.Backfill),
		})
	}
	return out
}
