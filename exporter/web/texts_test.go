package web_test

import (
	"io/fs"
	"regexp"
	"testing"

	"nestmon/dashboards"
	"nestmon/sensors"
	"nestmon/thresholds"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
	"nestmon/thresholds/nest"
)

// The page's catalogue must have words for every name that can arrive, or a person reads a key.
func TestPageHasWordsForEveryName(t *testing.T) {
	catalogue, err := fs.ReadFile(dashboards.Page(), "texts.js")
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, n := range alarm.Names {
		names = append(names, string(n))
	}
	for _, f := range sensors.Faults {
		names = append(names, string(f))
	}
	for _, d := range nest.Doubts {
		names = append(names, string(d))
	}
	for _, k := range brood.Kinds {
		names = append(names, string(k))
	}
	for _, s := range brood.Seasons {
		names = append(names, string(s))
	}
	for _, s := range thresholds.Stages {
		names = append(names, string(s))
	}
	for _, q := range sensors.Quantities {
		names = append(names, q.String())
	}
	for _, r := range []thresholds.Role{thresholds.Cluster, thresholds.Cluster2, thresholds.Air, thresholds.CO2, thresholds.Cage, thresholds.Outside, thresholds.Battery} {
		names = append(names, string(r))
	}
	for _, s := range alarm.Statuses {
		names = append(names, string(s))
	}
	for _, a := range alarm.Actions {
		names = append(names, string(a))
	}
	for s := alarm.None; s <= alarm.Urgent; s++ {
		names = append(names, s.String())
	}
	for _, name := range names {
		if key := regexp.MustCompile(`[{,\s]"?` + regexp.QuoteMeta(name) + `"?: `); !key.Match(catalogue) {
			t.Errorf("texts.js has no words for %q", name)
		}
	}
}
