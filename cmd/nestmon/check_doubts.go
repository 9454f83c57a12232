package main

import (
	"context"
	"fmt"
	"net/url"
	"time"

	"nestmon/thresholds"
	"nestmon/thresholds/nest"
)

// When air that is warmer than the pile is worth a word at a look. The daemon's own alarm for swapped probes is slower and surer: it
// decides by night and against the air outside. Ours, no source.
const (
	turnedOver  = 3.0 // K of nest air over the cluster probe
	turnedHours = 6   // whole hours in a row
)

// asker is a running daemon.
type asker interface {
	get(ctx context.Context, what string, into any) error
}

// doubts says what the running daemon's probes show of themselves and of each other. Without a daemon there is nothing to say: one look at
// two probes tells nothing of which is which.
func doubts(ctx context.Context, c *config) []string {
	return doubtsOf(ctx, c, call(c.Control))
}

func doubtsOf(ctx context.Context, c *config, daemon asker) (all []string) {
	var state struct {
		stateView
		daemonView
	}
	if err := daemon.get(ctx, "/api/state", &state); err != nil {
		return nil // of another user, or gone meanwhile; status says so
	}
	for _, p := range state.daemonView.Probes {
		for _, d := range p.Doubts {
			if words, told := doubtWords[nest.Doubt(d)]; told {
				all = append(all, fmt.Sprintf("probe %s %s", p.Probe, words))
			}
		}
	}
	for _, n := range state.Nests {
		if n.Stage != string(thresholds.Nursing) {
			continue
		}
		for _, have := range c.Nests {
			if have.ID != n.ID || have.Air == "" {
				continue
			}
			for _, cluster := range have.Cluster {
				if over, ok := airOver(ctx, daemon, have.Air, cluster); ok {
					all = append(all, fmt.Sprintf("nest %s: for %d hours its air (%s) has been warmer than its pile of kits (%s), by %.1f °C (%.1f °F) at least: the two may be swapped, or the pile has left the probe. "+
						"Look at the kits; then warm %s in the hand: nestmon probes identify", n.ID, turnedHours, have.Air, cluster, over, over*9/5, cluster))
				}
			}
		}
	}
	return all
}

// doubtWords tells what is not told of elsewhere: check lists what is missing by itself.
var doubtWords = map[nest.Doubt]string{
	nest.DoubtFault:    "gives values that cannot be true; look at its plug, its cable, and for water",
	nest.DoubtOdd:      "jumps, or stands still while its nest moves; look at its plug and cable",
	nest.DoubtSwapped:  "may hang where another should; warm it in the hand: nestmon probes identify",
	nest.DoubtScale:    "reads otherwise than those beside it; compare it with ice: nestmon probes ice-point",
	nest.DoubtDrifting: "reads apart from its pair in the empty nest, or colder than all round it; compare both with ice: nestmon probes ice-point",
	nest.DoubtWet:      "has water on its humidity sensor; let it dry",
	nest.DoubtFailing:  "misses more and more readings; its cable or plug is going",
}

// airOver is by how much nest air was over the cluster at least in each half hour of the last hours; ok where it was in all of them.
func airOver(ctx context.Context, daemon asker, air, cluster string) (least float64, ok bool) {
	a, b := halfHours(ctx, daemon, air), halfHours(ctx, daemon, cluster)
	if len(a) != 2*turnedHours || len(b) != 2*turnedHours {
		return 0, false // half an hour nobody saw says nothing
	}
	least = a[0] - b[0]
	for i := range a {
		least = min(least, a[i]-b[i])
	}
	return least, least > turnedOver
}

// halfHours lists the means of a probe's last half hours, °C, nothing where one of them is missing.
func halfHours(ctx context.Context, daemon asker, probe string) (means []float64) {
	var day struct {
		To     time.Time    `json:"to"`
		Points [][4]float64 `json:"points"` // time in s, lowest, mean, highest
	}
	if daemon.get(ctx, "/api/series?quantity=temperature&buckets=48&probe="+url.QueryEscape(probe), &day) != nil {
		return nil
	}
	for ago := 2 * turnedHours; ago > 0; ago-- {
		begin := day.To.Add(-time.Duration(ago) * 30 * time.Minute).Unix()
		for _, p := range day.Points {
			if int64(p[0]) == begin {
				means = append(means, p[2])
			}
		}
	}
	return means
}
