package query

import (
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"mime"
	"net/http"
	"net/url"
	"runtime"
	"strconv"
	"time"

	"nestmon/exporter/archive"
	"nestmon/sensors"
	"nestmon/thresholds"
)

// Bounds of a request, ours, no source. A browser or a proxy sends no longer address than 8 kB as a rule; the longest expression of our dashboards
// has 0.7 kB.
const (
	LongestQuery  = 8 << 10 // bytes of an address's parameters
	longestForm   = 16 << 10
	maxWaiting    = 32               // requests that wait for their turn or have it
	patience      = 30 * time.Second // for one's turn
	longestWork   = 15 * time.Second // for working it out
	answerTimeout = 20 * time.Second // to take the answer
)

// Place is where a probe is: a nest, or none, and what it is for there.
type Place struct {
	Nest string
	Role thresholds.Role
}

// Config is what the archive does not know of itself.
type Config struct {
	Site    string // site.id
	Version string
	Probes  []sensors.Probe
	Places  map[string]Place // by probe
}

// API answers requests below /api/v1/. It may be used by any number of goroutines.
type API struct {
	Now func() time.Time // time.Now unless a test sets it before the first request

	cfg     Config
	archive *archive.Archive
	log     *slog.Logger
	mux     http.ServeMux
	origins *http.CrossOriginProtection
	waiting chan struct{}
	turn    chan struct{}
	engine  *engine
}

// New makes the API over an open archive.
func New(cfg Config, a *archive.Archive, log *slog.Logger) *API {
	api := &API{
		Now: time.Now, cfg: cfg, archive: a, log: log, origins: http.NewCrossOriginProtection(),
		waiting: make(chan struct{}, maxWaiting), turn: make(chan struct{}, 1), engine: newEngine(),
	}
	for path, h := range map[string]func(http.ResponseWriter, *http.Request){
		"/api/v1/query":               api.inTurn(api.serveInstant),
		"/api/v1/query_range":         api.inTurn(api.serveRange),
		"/api/v1/series":              api.serveSeries,
		"/api/v1/labels":              api.serveLabels,
		"/api/v1/label/{name}/values": api.serveValues,
		"/api/v1/metadata":            api.serveMetadata,
		"/api/v1/status/buildinfo":    api.serveBuildInfo,
		"/": func(w http.ResponseWriter, _ *http.Request) {
			refuse(w, fault{http.StatusNotFound, "not_found", "there is nothing at this address; nestmon answers query, query_range, series, labels, label/NAME/values, metadata and status/buildinfo"})
		},
	} {
		api.mux.HandleFunc(path, h)
	}
	return api
}

// ServeHTTP answers one request. What is posted is a question too long for an address, and changes nothing.
func (a *API) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	costly := *r // another site's page would not get the answer, but the work would be done: no matter by which method
	costly.Method = http.MethodPost
	switch {
	case r.Method != http.MethodGet && r.Method != http.MethodHead && r.Method != http.MethodPost:
		w.Header().Set("Allow", "GET, HEAD, POST")
		refuse(w, fault{http.StatusMethodNotAllowed, "bad_data", "this address only shows; use GET or POST"})
	case a.origins.Check(&costly) != nil:
		refuse(w, fault{http.StatusForbidden, "bad_data", "the request comes from another site; ask nestmon from a program of your own"})
	case len(r.URL.RawQuery) > LongestQuery:
		refuse(w, tooLong("the query", LongestQuery))
	default:
		if f := readForm(w, r); f != nil {
			w.Header().Set("Connection", "close")
			refuse(w, *f)
			return
		}
		a.mux.ServeHTTP(w, r)
	}
}

func tooLong(what string, most int) fault {
	return badData("%s is longer than %d bytes; ask for less", what, most)
}

// readForm fills r.Form, with what is posted before what stands in the address, or says why it cannot.
func readForm(w http.ResponseWriter, r *http.Request) *fault {
	wrong := func(f fault) *fault { return &f }
	var posted url.Values
	switch kind, _, err := mime.ParseMediaType(r.Header.Get("Content-Type")); {
	case r.Method != http.MethodPost && r.ContentLength != 0:
		return wrong(badData("a GET here has no body; use POST"))
	case r.Method == http.MethodPost && r.ContentLength != 0:
		if err != nil || kind != "application/x-www-form-urlencoded" {
			return wrong(fault{http.StatusUnsupportedMediaType, "bad_data", "what is posted is no form; send Content-Type: application/x-www-form-urlencoded"})
		}
		text, err := io.ReadAll(http.MaxBytesReader(w, r.Body, longestForm))
		if err != nil && len(text) >= longestForm {
			return wrong(tooLong("the form", longestForm))
		} else if err != nil {
			return wrong(badData("the request ended before it was whole; send it again"))
		}
		if posted, err = url.ParseQuery(string(text)); err != nil {
			return wrong(badData("the form cannot be read; write name=value pairs joined by &"))
		}
	}
	form, err := url.ParseQuery(r.URL.RawQuery)
	if err != nil {
		return wrong(badData("the query cannot be read; write name=value pairs joined by &"))
	}
	for name, values := range posted {
		form[name] = append(values, form[name]...)
	}
	r.Form = form
	return nil
}

// inTurn lets one request after another through.
func (a *API) inTurn(h func(http.ResponseWriter, *http.Request)) func(http.ResponseWriter, *http.Request) {
	return func(w http.ResponseWriter, r *http.Request) {
		busy := fault{http.StatusServiceUnavailable, "unavailable", "too many queries wait for their turn; ask for fewer at once, or again in a moment"}
		select {
		case a.waiting <- struct{}{}:
			defer func() { <-a.waiting }()
		default:
			refuse(w, busy)
			return
		}
		_ = http.NewResponseController(w).SetWriteDeadline(time.Now().Add(patience + longestWork + answerTimeout)) // not every writer has deadlines
		late := time.NewTimer(patience)
		defer late.Stop()
		select {
		case a.turn <- struct{}{}:
			defer func() { <-a.turn }()
			h(w, r)
		case <-late.C:
			refuse(w, busy)
		case <-r.Context().Done():
		}
	}
}

// fault is an answer that says what is wrong.
type fault struct {
	code int
	kind string // Prometheus's errorType
	text string
}

func badData(format string, args ...any) fault {
	return fault{http.StatusBadRequest, "bad_data", fmt.Sprintf(format, args...)}
}

func refuse(w http.ResponseWriter, f fault) {
	text, _ := json.Marshal(map[string]string{"status": "error", "errorType": f.kind, "error": f.text}) // strings always marshal
	write(w, f.code, text)
}

// answer sends data, which must be what always marshals.
func answer(w http.ResponseWriter, data any) {
	text, _ := json.Marshal(map[string]any{"status": "success", "data": data})
	write(w, http.StatusOK, text)
}

func write(w http.ResponseWriter, code int, text []byte) {
	h := w.Header()
	h.Set("Content-Type", "application/json")
	h.Set("Content-Length", strconv.Itoa(len(text)))
	w.WriteHeader(code)
	_, _ = w.Write(text) // a reader that has gone away needs no answer
}

// speaks is the Prometheus whose API this is, for tools that ask before they ask more: the first that takes match[] for labels and their values
// (its CHANGELOG, 2.24.0).
const speaks = "2.24.0"

func (a *API) serveBuildInfo(w http.ResponseWriter, _ *http.Request) {
	answer(w, map[string]string{
		"version": speaks, "revision": a.cfg.Version, "branch": "", "buildUser": "", "buildDate": "", "goVersion": runtime.Version(), "application": "nestmon",
	})
}
