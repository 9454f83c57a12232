package services_test

import (
	"encoding/json"
	"io"
	"net/http"
	"testing"
)

// sinkNow is what the page says of a sink.
type sinkNow struct {
	Sink     string
	OK       bool
	Wrong    bool `json:"misconfigured"`
	Error    string
	Sent     uint64
	Pending  int64
	Refused  uint64
	Backfill *struct {
		Polls, Sent int64
		Ended       *string
	}
}

// influxOf asks the page for the sink influx; it is empty while there is no answer.
func influxOf(t *testing.T, page string) sinkNow {
	t.Helper()
	var state struct{ Sinks []sinkNow }
	if json.Unmarshal([]byte(fetch("http://"+page+"/api/state")), &state) == nil {
		for _, s := range state.Sinks {
			if s.Sink == "influx" {
				return s
			}
		}
	}
	return sinkNow{}
}

// fetch is what a GET brings, or nothing.
func fetch(url string) string {
	resp, err := http.Get(url)
	if err != nil {
		return ""
	}
	defer resp.Body.Close()
	text, _ := io.ReadAll(resp.Body)
	return string(text)
}
