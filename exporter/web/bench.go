package web

import (
	"context"
	"encoding/json"
	"errors"
	"net/http"
	"time"

	"nestmon/sensors"
	"nestmon/thresholds"
	"nestmon/thresholds/alarm"
)

// Bench is where a person works with probes while the daemon reads them, one piece of work at a time: one is warmed in the hand, or one lies in
// ice. What is refused is said in words for that person.
type Bench interface {
	// Probes lists every configured probe, in the order of the configuration.
	Probes() []Place
	// Warm begins to watch for a probe that is warmed, or joins who does so already. It ends when nobody has followed it for a while.
	Warm(ctx context.Context) error
	// Ice begins to compare a probe with melting ice. What it would blind asks for sure: ErrUnsure otherwise. It goes on when nobody follows.
	Ice(ctx context.Context, probe string, sure bool) error
	// End ends what is under way.
	End(ctx context.Context) error
	// Doing is what is under way: warm, ice or nothing.
	Doing() string
	// Follow sends how the work is, now and whenever something changes, until ctx ends, send reports false, or the work has ended.
	Follow(ctx context.Context, send func(Work) bool)
}

// ErrUnsure asks for a second word before something that can harm. What it is wrapped in says why.
var ErrUnsure = errors.New("say that you are sure")

// Place is where a probe hangs and what it is.
type Place struct {
	Probe    string           `json:"probe"`
	Nest     *string          `json:"nest"`
	Role     *thresholds.Role `json:"role"`
	Bus      *string          `json:"bus"`
	Source   string           `json:"source"`
	Identity string           `json:"identity"`
	Chip     *string          `json:"chip"`
	Watched  bool             `json:"watched"` // it can be found by warming it
	Ice      *string          `json:"no_ice"`  // why it cannot be compared with ice, null where it can
	Only     *string          `json:"only"`    // the nest that it is the only one to watch just now, where kits may lie
	Raises   []alarm.Name     `json:"raises"`  // what its nest may raise while it lies in ice
	Waiting  *Offset          `json:"waiting"` // an offset that was measured and counts from the next start
}

// Offset is a temperature that was found by a comparison.
type Offset struct {
	Temperature float64 `json:"temperature_c"`
	Date        string  `json:"date"`
}

// Work is what is under way at the bench.
type Work struct {
	Over bool  `json:"over"`
	Warm *Warm `json:"warm"`
	Ice  *Ice  `json:"ice"`
}

// Warm is a search for the probe that somebody holds.
type Warm struct {
	State  string   `json:"state"` // learning, waiting, rising, several or named
	Left   float64  `json:"left_s"`
	Round  float64  `json:"round_s"` // the probe that is read least often is read once in
	Probe  *string  `json:"probe"`   // the one that rises most
	Other  *string  `json:"other"`   // the next
	Rise   float64  `json:"rise_k"`
	Second float64  `json:"second_k"`
	Bars   []Bar    `json:"bars"`
	Found  []Found  `json:"found"` // the newest first
	Apart  []string `json:"apart"` // probes that cannot be found so
}

// Bar is one probe of it, above its own start.
type Bar struct {
	Probe string   `json:"probe"`
	Value *float64 `json:"value_c"`
	Rise  *float64 `json:"rise_k"`
	Age   *float64 `json:"age_s"`
	Blind bool     `json:"blind"`
}

// Found is a probe that was named.
type Found struct {
	Probe string    `json:"probe"`
	At    time.Time `json:"time"`
	Rise  float64   `json:"rise_k"`
	Sure  string    `json:"sure"` // sure, fairly or probably
	Other *string   `json:"other"`
	Next  float64   `json:"second_k"`
}

// Ice is a comparison with melting ice.
type Ice struct {
	Probe    string        `json:"probe"`
	State    string        `json:"state"` // as package icepoint has them, and stopped
	Last     string        `json:"last"`  // what was the matter, where it took too long
	Since    float64       `json:"since_s"`
	Left     float64       `json:"left_s"`
	Limit    float64       `json:"limit_s"`
	Value    *float64      `json:"value_c"`
	Spread   float64       `json:"spread_c"`
	Slope    float64       `json:"slope_c_min"`
	Fault    sensors.Fault `json:"fault"`
	Trace    [][2]float64  `json:"trace"`  // [s since the begin, °C], the newest at the end
	Offset   *Offset       `json:"offset"` // that was measured
	Mean     float64       `json:"mean_c"` // of the readings it rests on
	Readings int           `json:"readings"`
	Stored   bool          `json:"stored"`
	Trouble  string        `json:"trouble"` // why it is not stored, or does not count
	Line     string        `json:"line"`    // for the configuration
}

// benchRoutes adds the work with probes.
func (s *Server) benchRoutes(mux *http.ServeMux) {
	mux.Handle("/api/probes", shows(s.serveProbes))
	mux.Handle("/api/probes/work", shows(s.serveWork))
	mux.Handle("/api/probes/warm", s.changes(bench(s, func(ctx context.Context, b Bench, _ struct{}) error { return b.Warm(ctx) })))
	mux.Handle("/api/probes/ice", s.changes(bench(s, func(ctx context.Context, b Bench, body iceBody) error { return b.Ice(ctx, body.Probe, body.Sure) })))
	mux.Handle("/api/probes/end", s.changes(bench(s, func(ctx context.Context, b Bench, _ struct{}) error { return b.End(ctx) })))
}

type iceBody struct {
	Probe string `json:"probe"`
	Sure  bool   `json:"sure"`
}

// bench reads what was sent and does it.
func bench[T any](s *Server, do func(context.Context, Bench, T) error) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		body, ok := taken[T](w, r)
		if !ok {
			return
		}
		if s.Options.Bench == nil {
			refuse(w, http.StatusServiceUnavailable, nobody)
			return
		}
		ctx, cancel := within(r, doPatience)
		defer cancel()
		err := do(ctx, s.Options.Bench, body)
		if errors.Is(err, ErrUnsure) {
			refuse(w, http.StatusConflict, err.Error())
			return
		}
		s.done(w, err)
	}
}

type placesView struct {
	Doing  string  `json:"doing"`
	Probes []Place `json:"probes"`
}

func (s *Server) serveProbes(w http.ResponseWriter, _ *http.Request) {
	v := placesView{Probes: []Place{}}
	if b := s.Options.Bench; b != nil {
		v = placesView{b.Doing(), b.Probes()}
	}
	s.answerJSON(w, v)
}

// maxFollowers is how many pages follow a piece of work at once; ours, no source.
const maxFollowers = 4

// serveWork sends how the work at the bench is, to who has logged in: for it the board reads its probes more often.
func (s *Server) serveWork(w http.ResponseWriter, r *http.Request) {
	switch {
	case !s.loggedIn(r):
		refuse(w, http.StatusUnauthorized, logIn)
		return
	case s.Options.Bench == nil:
		refuse(w, http.StatusNotFound, nobody)
		return
	}
	select {
	case s.followers <- struct{}{}:
		defer func() { <-s.followers }()
	default:
		w.Header().Set("Retry-After", "5")
		refuse(w, http.StatusServiceUnavailable, "enough pages follow this already; close one")
		return
	}
	h := w.Header()
	h.Set("Content-Type", "text/event-stream")
	h.Set("X-Accel-Buffering", "no")
	if r.Method == http.MethodHead {
		return
	}
	ctx, stop := context.WithCancel(r.Context())
	defer stop()
	go func() {
		select {
		case <-s.closing:
			stop()
		case <-ctx.Done():
		}
	}()
	out := eventWriter{w, http.NewResponseController(w), s.times.write}
	s.Options.Bench.Follow(ctx, func(work Work) bool {
		body, err := json.Marshal(work)
		if err != nil {
			s.complain("page cannot write the work with probes", err)
			return false
		}
		return s.loggedIn(r) && out.send("event: work\ndata: "+string(body)+"\n\n")
	})
}

// loggedIn reports whether a request belongs to somebody who knew the password.
func (s *Server) loggedIn(r *http.Request) bool {
	if s.cfg.PasswordFile == "" {
		return false
	}
	in, err := s.session(r)
	return in && err == nil
}

// session is loggedIn where there is a password; the error is of its file.
func (s *Server) session(r *http.Request) (bool, error) {
	l, err := readLock(s.cfg.PasswordFile)
	return err == nil && s.sessions.has(r, l.mark, s.Now()), err
}
