package web

import (
	"context"
	"errors"
	"net/http"
	"strings"
	"time"
	"unicode"

	"nestmon/thresholds/brood"
)

// Settings is what is in force and where it comes from. It holds no secret, and no path that leads to one.
type Settings struct {
	Revision int           `json:"revision"` // rises with every change of a limit; a change names the one that it was made on
	Limits   []LimitRow    `json:"limits"`   // by place and age
	Aside    []LimitAside  `json:"aside"`    // set on the page, and not in force
	Changes  []LimitChange `json:"changes"`  // the newest, last first
	Wrong    string        `json:"wrong"`    // why what was set on the page cannot be read, empty where it can

	PollS    float64     `json:"poll_s"`
	PollLine *int        `json:"poll_line"`
	Timezone string      `json:"timezone"`
	Altitude float64     `json:"altitude_m"`
	Outside  string      `json:"outside"`
	Nests    []NestFact  `json:"nests"`
	Probes   []ProbeFact `json:"probes"`
	Chores   []ChoreFact `json:"chores"`
	Channels []string    `json:"channels"`
	Sinks    []SinkFact  `json:"sinks"`
	Page     PageFact    `json:"page"`
	Version  string      `json:"version"`
}

// LimitRow is the limits of one place for one span of ages in days, both inclusive.
type LimitRow struct {
	Place  brood.Place `json:"place"`
	From   int         `json:"from"`
	To     int         `json:"to"`
	Limits []LimitFact `json:"limits"` // cold, cold critical, heat, heat critical
}

// Where a number comes from.
const (
	Shipped  = "shipped" // with the program
	FromFile = "file"    // the keeper's configuration
	FromPage = "page"    // set here
)

// LimitFact is one number that decides something.
type LimitFact struct {
	Key      string     `json:"key"`
	C        float64    `json:"limit_c"`
	Delay    float64    `json:"delay_s"`
	Winter   float64    `json:"winter_delay_s"`
	Notice   bool       `json:"notice"`
	Source   string     `json:"source"`
	Origin   string     `json:"origin"`
	Line     *int       `json:"line"` // of the configuration, null unless it is from there
	By       *string    `json:"by"`   // who set it here, and when
	At       *time.Time `json:"at"`
	Beneath  float64    `json:"beneath_c"` // what would count if nobody had set it here
	ShippedC float64    `json:"shipped_c"`
}

// LimitAside is a limit that was set here and for which the configuration leaves no room any more.
type LimitAside struct {
	brood.Setting
	Why string `json:"why"`
}

// LimitChange is what one person changed at one time.
type LimitChange struct {
	At    time.Time     `json:"at"`
	By    string        `json:"by"`
	Items []LimitStepTo `json:"items"`
}

// LimitStepTo is one limit of it, for a span of ages in which it was and became the same.
type LimitStepTo struct {
	Place brood.Place `json:"place"`
	Key   string      `json:"key"`
	From  int         `json:"from"`
	To    int         `json:"to"`
	Was   float64     `json:"was_c"`
	Is    float64     `json:"is_c"`
	Back  bool        `json:"back"` // to what counts without the page
}

// NestFact is a nest as it is configured.
type NestFact struct {
	ID      string   `json:"id"`
	Kind    string   `json:"kind"`
	Floor   string   `json:"floor"`
	Lined   bool     `json:"lined"`
	Cluster []string `json:"cluster"`
	Air     string   `json:"air"`
	CO2     string   `json:"co2"`
	Cage    string   `json:"cage"`
	Line    *int     `json:"line"`
}

// ProbeFact is a probe as it is configured.
type ProbeFact struct {
	ID       string   `json:"id"`
	Source   string   `json:"source"`
	Measures []string `json:"measures"`
	Every    float64  `json:"every_s"`
	Stale    float64  `json:"stale_s"`
	Line     *int     `json:"line"`
}

// ChoreFact is one key of the block chores: its numbers in their order, hours where they are times.
type ChoreFact struct {
	Key    string    `json:"key"`
	Names  []string  `json:"names"` // of the numbers, empty for a single one
	Values []float64 `json:"values"`
	Line   *int      `json:"line"`
}

// SinkFact is a way out of the daemon.
type SinkFact struct {
	Name string `json:"name"`
	On   bool   `json:"on"`
	Line *int   `json:"line"`
}

// PageFact is how this page can be reached.
type PageFact struct {
	Address  string `json:"address"`
	TLS      bool   `json:"tls"`
	Password bool   `json:"password"`
	Closed   bool   `json:"closed"` // nobody reads without logging in
}

// LimitWish is what somebody wants changed.
type LimitWish struct {
	Revision int           `json:"revision"`
	Limits   []WishedLimit `json:"limits"`
	By       string        `json:"by"`
	Sure     bool          `json:"sure"` // also where a limit becomes laxer than shipped
}

// WishedLimit is one limit of a wish; nil goes back to what counts without the page.
type WishedLimit struct {
	Place brood.Place `json:"place"`
	Key   string      `json:"key"`
	From  int         `json:"from"`
	To    int         `json:"to"`
	C     *float64    `json:"limit_c"`
}

// Tuner shows what is in force and changes limits. Errors are for the person who asked.
type Tuner interface {
	Settings() Settings
	// SetLimits puts a wish in force, durable before it returns. ErrChanged and ErrUnsure are told apart.
	SetLimits(ctx context.Context, w LimitWish) error
	// StartPreview begins to work out what a wish would have raised, unless one is under way.
	StartPreview(w LimitWish) error
	Preview() Preview
	StopPreview(ctx context.Context) error
}

// ErrChanged says that limits were changed since the person looked.
var ErrChanged = errors.New("limits were changed since they were shown; look at them again")

// Bounds of a wish, ours, no source: eight limits in a hundred days are fewer.
const (
	mostWishes = 200
	longestBy  = 40 // characters
)

func (s *Server) settingsRoutes(mux *http.ServeMux) {
	mux.Handle("/api/settings", shows(s.serveSettings))
	mux.Handle("/api/settings/limits", s.changes(s.serveLimits))
	mux.Handle("GET /api/settings/preview", shows(s.servePreview))
	mux.Handle("/api/settings/preview", s.changes(s.servePreviewStart))
	mux.Handle("/api/settings/preview/stop", s.changes(s.servePreviewStop))
}

func (s *Server) serveSettings(w http.ResponseWriter, _ *http.Request) {
	if s.tuner(w) {
		s.answerJSON(w, s.Options.Tuner.Settings())
	}
}

func (s *Server) tuner(w http.ResponseWriter) bool {
	if s.Options.Tuner == nil {
		refuse(w, http.StatusNotFound, "nobody here knows what is in force; open the page of the running daemon")
	}
	return s.Options.Tuner != nil
}

// wish reads one. When ok is false the request is answered.
func (s *Server) wish(w http.ResponseWriter, r *http.Request) (v LimitWish, ok bool) {
	if v, ok = taken[LimitWish](w, r); !ok || !s.tuner(w) {
		return v, false
	}
	if len(v.Limits) == 0 || len(v.Limits) > mostWishes {
		refuse(w, http.StatusBadRequest, "nothing, or far too much, is to be changed; send 1 to 200 limits")
		return v, false
	}
	v.By = named(v.By)
	return v, true
}

// named is who did something, as it may stand in a journal and in a message.
func named(name string) string {
	name = strings.Join(strings.Fields(strings.Map(func(r rune) rune {
		if unicode.IsPrint(r) {
			return r
		}
		return ' '
	}, name)), " ")
	if short := []rune(name); len(short) > longestBy {
		name = string(short[:longestBy])
	}
	if name == "" {
		return by
	}
	return name
}

func (s *Server) serveLimits(w http.ResponseWriter, r *http.Request) {
	wish, ok := s.wish(w, r)
	if !ok {
		return
	}
	ctx, cancel := within(r, doPatience)
	defer cancel()
	err := s.Options.Tuner.SetLimits(ctx, wish)
	if errors.Is(err, ErrChanged) || errors.Is(err, ErrUnsure) {
		refuse(w, http.StatusConflict, err.Error())
		return
	}
	s.done(w, err)
}

func (s *Server) servePreview(w http.ResponseWriter, _ *http.Request) {
	if s.tuner(w) {
		s.answerJSON(w, s.Options.Tuner.Preview())
	}
}

func (s *Server) servePreviewStart(w http.ResponseWriter, r *http.Request) {
	if wish, ok := s.wish(w, r); ok {
		s.done(w, s.Options.Tuner.StartPreview(wish))
	}
}

func (s *Server) servePreviewStop(w http.ResponseWriter, r *http.Request) {
	if _, ok := taken[struct{}](w, r); ok && s.tuner(w) {
		ctx, cancel := within(r, doPatience)
		defer cancel()
		s.done(w, s.Options.Tuner.StopPreview(ctx))
	}
}
