package main

import (
	"strings"
	"testing"
	"time"

	"nestmon/sensors"
	"nestmon/thresholds"
)

// An offset is in what the archive holds: a restart and a replay take those values as they are, and the next reading joins on.
func TestOffsetsAreAppliedOnce(t *testing.T) {
	cfg := thresholds.Config{Location: time.UTC, Poll: 30 * time.Second, Outside: "shade", Probes: []sensors.Probe{{
		ID: "shade", Quantities: []sensors.Quantity{sensors.Temperature}, Interval: 30 * time.Second, StaleAfter: 90 * time.Second,
		Offset: sensors.Offset{Temperature: -0.31, Date: "2026-11-02", Method: sensors.IcePoint},
	}}}
	now := time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)
	poll := func(v float64) []sensors.Reading {
		now = now.Add(30 * time.Second)
		return []sensors.Reading{{Probe: "shade", Time: now, Value: v}}
	}
	shown := func(j *judge) float64 { return j.rabbitry.Snapshot().Outside.Values[0].Value }
	live, err := newJudge(cfg)
	if err != nil {
		t.Fatal(err)
	}
	stored := poll(12)
	live.observe(now, stored)
	if stored[0].Value != 11.69 || shown(live) != 11.69 {
		t.Fatalf("live: stored %v, shown %v; want 12 - 0.31", stored[0].Value, shown(live))
	}
	again, err := newJudge(cfg)
	if err != nil {
		t.Fatal(err)
	}
	for range 3 { // restarts
		again.again(now, stored)
	}
	if shown(again) != 11.69 {
		t.Errorf("after a restart %v is shown, want 11.69", shown(again))
	}
	next := poll(12)
	again.observe(now, next)
	if shown(again) != 11.69 || next[0].Suspect {
		t.Errorf("the next reading: %v, suspect %v", shown(again), next[0].Suspect)
	}
}

func TestCheckTellsOfOffsets(t *testing.T) {
	w := newWall(t)
	w.barn()
	file := w.config(barnConfig)
	check(t.Context(), []string{"--config", file, "--root", w.root}, stdio{nil, &w.out, &w.errs})
	if want := "offset    outside: +0.25 °C, ice-point of 2026-11-02, from the configuration\n"; !strings.Contains(w.out.String(), want) {
		t.Errorf("%q is not in:\n%s", want, w.out.String())
	}
	w.write("data/offsets.jsonl", `{"time":"2999-11-02T23:30:00Z","source":"w1","identity":"28-0316a2794d5f","probe":"old","chip":"ds18b20","method":"ice-point",`+
		`"temperature_offset_c":0.5,"mean_c":-0.5,"spread_c":0.06,"readings":40,"seconds":300}`+"\n")
	check(t.Context(), []string{"--config", file, "--root", w.root}, stdio{nil, &w.out, &w.errs})
	if want := "offsets.jsonl:1: the day of the comparison is yet to come"; !strings.Contains(w.out.String(), want) {
		t.Errorf("%q is not in:\n%s", want, w.out.String())
	}
	w.write("data/offsets.jsonl", "{\n")
	check(t.Context(), []string{"--config", file, "--root", w.root}, stdio{nil, &w.out, &w.errs})
	if want := "offsets.jsonl:1: not a record of a comparison"; !strings.Contains(w.out.String(), want) {
		t.Errorf("%q is not in:\n%s", want, w.out.String())
	}
}
