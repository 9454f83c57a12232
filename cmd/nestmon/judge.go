package main

import (
	"time"

	"nestmon/sensors"
	"nestmon/sensors/screen"
	"nestmon/thresholds"
	"nestmon/thresholds/alarm"
)

// judge is the middle of the pipeline, the same for the daemon, the demonstration and a replay: readings are screened once,
// then decided on.
type judge struct {
	screen   *screen.Screen
	tracker  *sensors.Tracker
	rabbitry *thresholds.Rabbitry
}

func newJudge(cfg thresholds.Config) (*judge, error) {
	r, err := thresholds.New(cfg)
	if err != nil {
		return nil, err
	}
	return &judge{screen.New(cfg.Probes, watches(cfg)...), sensors.NewTracker(cfg.Probes), r}, nil
}

// watches names the probes that should move together: those of one nest, and the one outside.
func watches(cfg thresholds.Config) []screen.Watch {
	var all []screen.Watch
	if cfg.Outside != "" {
		all = append(all, screen.Watch{Probes: []string{cfg.Outside}, Outside: true})
	}
	for _, n := range cfg.Nests {
		var ids []string
		for _, id := range append([]string{n.Air}, n.Cluster...) {
			if id != "" {
				ids = append(ids, id)
			}
		}
		all = append(all, screen.Watch{Probes: ids})
	}
	return all
}

// again is observe for readings of the archive: they were screened and corrected when they were stored, and say nothing of how the probes
// do now.
func (j *judge) again(t time.Time, readings []sensors.Reading) []alarm.Event {
	j.screen.ApplyStored(readings)
	j.tracker.Recall(readings)
	return j.rabbitry.Observe(t, readings)
}

// recorded is observe for readings of a file, which hold their offset.
func (j *judge) recorded(t time.Time, readings []sensors.Reading) []alarm.Event {
	j.screen.ApplyRecorded(readings)
	j.tracker.Recall(readings)
	return j.rabbitry.Observe(t, readings)
}

// observe takes the readings of one poll as the probes gave them, which it screens in place. The events are valid until the next call.
func (j *judge) observe(t time.Time, readings []sensors.Reading) []alarm.Event {
	j.screen.Apply(readings)
	j.tracker.Observe(readings)
	return j.rabbitry.Observe(t, readings)
}
