package services_test

import (
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strconv"
	"testing"
	"time"
)

// series is one of a Prometheus's answer, its newest value last.
type series struct {
	Metric map[string]string
	Value  [2]any
	Values [][2]any
}

func (s series) last(t *testing.T) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(fmt.Sprint(s.Value[1]), 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// ranged asks for values over the last minutes, or the newest only.
func ranged(t *testing.T, server, query string, latest bool) []series {
	t.Helper()
	now := time.Now()
	form, path := url.Values{"query": {query}}, "query"
	if !latest {
		path = "query_range"
		form.Set("start", strconv.FormatInt(now.Add(-5*time.Minute).Unix(), 10))
		form.Set("end", strconv.FormatInt(now.Unix(), 10))
		form.Set("step", "15s")
	}
	resp, err := http.PostForm("http://"+server+"/api/v1/"+path, form)
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	text, _ := io.ReadAll(resp.Body)
	var answer struct {
		Data struct{ Result []series }
	}
	if err := json.Unmarshal(text, &answer); err != nil || resp.StatusCode != http.StatusOK {
		t.Fatalf("%s:\n%d %s", query, resp.StatusCode, text)
	}
	return answer.Data.Result
}

// listed are the values of a label among some series.
func listed(t *testing.T, server, label, match string) []string {
	t.Helper()
	var answer struct{ Data []string }
	text := body(t, "http://"+server+"/api/v1/label/"+label+"/values?"+url.Values{"match[]": {match}}.Encode())
	if err := json.Unmarshal([]byte(text), &answer); err != nil {
		t.Fatal(err)
	}
	return answer.Data
}
