package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"net/url"
	"strings"
	"testing"
	"time"
)

// answers is a daemon that answers from texts.
type answers struct {
	state string
	means map[string]func(ago float64) float64 // by probe, of the hours ago; nil where it has no values
}

func (d answers) get(_ context.Context, what string, into any) error {
	path, query, _ := strings.Cut(what, "?")
	if path == "/api/state" {
		if d.state == "" {
			return errors.New("nobody there")
		}
		return json.Unmarshal([]byte(d.state), into)
	}
	q, err := url.ParseQuery(query)
	if err != nil || path != "/api/series" || q.Get("buckets") != "48" {
		return fmt.Errorf("unexpected question %q", what)
	}
	to := time.Date(2026, 11, 25, 12, 0, 7, 0, time.UTC)
	points := [][4]float64{}
	if mean := d.means[q.Get("probe")]; mean != nil {
		for ago := 48; ago > 0; ago-- {
			if v := mean(float64(ago) / 2); v == v {
				points = append(points, [4]float64{float64(to.Add(-time.Duration(ago) * 30 * time.Minute).Unix()), v - 1, v, v + 1})
			}
		}
	}
	text, err := json.Marshal(map[string]any{"to": to, "points": points})
	if err != nil {
		return err
	}
	return json.Unmarshal(text, into)
}

func TestCheckTellsWhatTheDaemonSeesOfItsProbes(t *testing.T) {
	level := func(v float64) func(float64) float64 { return func(float64) float64 { return v } }
	nursing := `{"nests": [{"id": "a1", "stage": "nursing"}], "probes": []}`
	for _, row := range []struct {
		name string
		answers
		want []string
	}{
		{"nobody there", answers{}, nil},
		{"as it should be", answers{nursing, map[string]func(float64) float64{"a1-air": level(15), "a1-cluster": level(35)}}, nil},
		{"turned over for hours", answers{nursing, map[string]func(float64) float64{"a1-air": level(35), "a1-cluster": level(16)}}, []string{"nest a1: for 6 hours its air (a1-air) has been warmer than its pile of kits (a1-cluster), by 19.0 °C (34.2 °F)"}},
		{"a warm afternoon", answers{nursing, map[string]func(float64) float64{"a1-air": func(ago float64) float64 {
			if ago <= 5 {
				return 37
			}
			return 30
		}, "a1-cluster": level(33)}}, nil},
		{"an hour without values", answers{nursing, map[string]func(float64) float64{"a1-air": func(ago float64) float64 {
			if ago == 2 {
				return nan()
			}
			return 35
		}, "a1-cluster": level(16)}}, nil},
		{"no kits", answers{`{"nests": [{"id": "a1", "stage": "empty"}]}`, map[string]func(float64) float64{"a1-air": level(35), "a1-cluster": level(16)}}, nil},
		{"doubted probes", answers{`{"probes": [{"probe": "a1-air", "doubts": ["silent", "wet"]}, {"probe": "outside", "doubts": ["failing"]}]}`, nil}, []string{"probe a1-air has water on its humidity sensor", "probe outside misses more and more readings"}},
	} {
		t.Run(row.name, func(t *testing.T) {
			c := defaultConfig()
			c.Nests = []nestConfig{{ID: "a1", Air: "a1-air", Cluster: []string{"a1-cluster"}}}
			got := doubtsOf(t.Context(), c, row.answers)
			if len(got) != len(row.want) {
				t.Fatalf("got %q, want %q", got, row.want)
			}
			for i := range got {
				if !strings.HasPrefix(got[i], row.want[i]) {
					t.Errorf("got %q, want %q", got[i], row.want[i])
				}
			}
		})
	}
}

func nan() float64 { return math.NaN() }
