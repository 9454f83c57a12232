//go:build !promql

package query_test

import (
	"errors"
	"strings"
	"testing"
	"time"

	v1 "github.com/prometheus/client_golang/api/prometheus/v1"
)

// Without the engine a question gets an answer that says how to have one.
func TestWithoutTheEngine(t *testing.T) {
	const remedy = "go build -tags promql"
	_, _, _, err := stored.client.Query(t.Context(), "nestmon_probe_temperature_celsius", begin)
	_, _, _, errOfRange := stored.client.QueryRange(t.Context(), "1", v1.Range{Start: begin, End: begin.Add(time.Hour), Step: time.Minute})
	for _, err := range []error{err, errOfRange} {
		var refused *v1.Error
		if !errors.As(err, &refused) || refused.Type != v1.ErrServer || !strings.Contains(refused.Msg+refused.Detail, remedy) {
			t.Errorf("%v %+v", err, refused)
		}
	}
	if code, e := ask(t, "POST", "/api/v1/query", "query=1"); code != 501 || e.ErrorType != "unavailable" {
		t.Errorf("%d %+v", code, e)
	}
}
