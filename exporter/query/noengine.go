//go:build !promql

package query

import "net/http"

type engine struct{}

func newEngine() *engine { return nil }

var noEngine = fault{
	http.StatusNotImplemented, "unavailable",
	"this nestmon was built without the query engine; build it with 'go build -tags promql ./cmd/nestmon', or let a Prometheus scrape it",
}

func (a *API) serveInstant(w http.ResponseWriter, _ *http.Request) { refuse(w, noEngine) }

func (a *API) serveRange(w http.ResponseWriter, _ *http.Request) { refuse(w, noEngine) }
