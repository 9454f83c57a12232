package web

import (
	"encoding/json"
	"math"
	"net/http"
	"time"

	"nestmon/sensors"
	"nestmon/thresholds/alarm"
)

// Bounds of a query, ours, no source: more points than a wide screen has pixels say nothing more.
const (
	defaultSpan    = 24 * time.Hour
	defaultBuckets = 288 // five minutes each in a day
	maxBuckets     = 2000
	defaultEvents  = 200
	maxEvents      = 1000
	maxSpan        = 100 * 366 * 24 * time.Hour
	minStep        = time.Second
)

type seriesView struct {
	Probe    string       `json:"probe"`
	Quantity string       `json:"quantity"`
	Unit     string       `json:"unit"`
	From     time.Time    `json:"from"`
	To       time.Time    `json:"to"`
	Step     float64      `json:"step_s"`
	Gap      float64      `json:"gap_s"`
	Points   [][4]float64 `json:"points"`
}

type eventsView struct {
	From   time.Time     `json:"from"`
	To     time.Time     `json:"to"`
	Events []alarm.Event `json:"events"` // each as in an events file
}

func (s *Server) serveSeries(w http.ResponseWriter, r *http.Request) {
	q := s.parseQuery(r, "probe", "quantity", "from", "to", "buckets")
	probe := s.wantProbe(q)
	quantity := wantQuantity(q)
	from, to := q.span()
	buckets := q.count("buckets", defaultBuckets, maxBuckets)
	if q.problem == "" && to.Sub(from)/time.Duration(buckets) < minStep {
		q.fail("%d buckets are finer than a second each; ask for fewer or a longer span", buckets)
	}
	if q.refused(w) || !s.readSlot(w, r) {
		return
	}
	points, err := s.history.Series(probe.ID, quantity, from, to, buckets)
	<-s.reads
	if err != nil {
		s.unreadable(w, err)
		return
	}
	step := to.Sub(from) / time.Duration(buckets)
	v := seriesView{
		Probe: probe.ID, Quantity: quantity.String(), Unit: quantity.Unit(), From: from, To: to, Step: step.Seconds(),
		Gap: max(2*step, probe.StaleAfter, sensors.DefaultStaleAfter(probe.Interval)).Seconds(), Points: make([][4]float64, 0, len(points)),
	}
	for _, p := range points {
		v.Points = append(v.Points, [4]float64{float64(p.Time.Unix()), hundredth(p.Min), hundredth(p.Mean), hundredth(p.Max)})
	}
	s.answerJSON(w, v)
}

func (s *Server) serveEvents(w http.ResponseWriter, r *http.Request) {
	q := s.parseQuery(r, "from", "to", "max")
	from, to := q.span()
	limit := q.count("max", defaultEvents, maxEvents)
	if q.refused(w) || !s.readSlot(w, r) {
		return
	}
	events, err := s.history.Events(from, to, limit)
	<-s.reads
	if err != nil {
		s.unreadable(w, err)
		return
	}
	if events == nil {
		events = []alarm.Event{}
	}
	s.answerJSON(w, eventsView{from, to, events})
}

// readSlot waits for its turn at the archive and reports false when the reader left meanwhile.
func (s *Server) readSlot(w http.ResponseWriter, r *http.Request) bool {
	select {
	case s.reads <- struct{}{}:
		return true
	case <-r.Context().Done():
	case <-s.closing:
		refuse(w, http.StatusServiceUnavailable, "the daemon is stopping")
	}
	return false
}

func (s *Server) unreadable(w http.ResponseWriter, err error) {
	s.complain("page cannot read the archive", err)
	refuse(w, http.StatusServiceUnavailable, "the archive cannot be read now; see the daemon's log")
}

func (s *Server) answerJSON(w http.ResponseWriter, v any) {
	body, err := json.Marshal(v)
	if err != nil {
		s.unwritable(w, err)
		return
	}
	answer(w, body)
}

func (s *Server) unwritable(w http.ResponseWriter, err error) {
	s.complain("page cannot write an answer", err)
	refuse(w, http.StatusInternalServerError, "the answer cannot be written; see the daemon's log")
}

// hundredth drops digits that no probe has, so that a day's series stays small.
func hundredth(v float64) float64 { return math.Round(v*100) / 100 }
