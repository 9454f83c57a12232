package simulated

import (
	"context"
	"fmt"
	"sync"
	"time"

	"nestmon/sensors"
)

// World is a weather with nests, on its own clock. Its methods may be called from several goroutines.
type World struct {
	mu     sync.Mutex
	config Config
	origin time.Time // a day before Start
	at     time.Duration
	around surroundings
	nests  []*nest
	probes []*probe // the outside one last
}

// before is how long a world lives unseen ahead of its start, so that walls, bedding and probes have settled.
const before = 24 * time.Hour

// New makes a world and lets it settle. Events begin at Start at the earliest.
func New(c Config) (*World, error) {
	if err := c.complete(); err != nil {
		return nil, fmt.Errorf("simulated: %w", err)
	}
	w := &World{config: c, origin: c.Start.Add(-before)}
	seen := make(map[string]bool)
	for i, n := range c.Nests {
		if err := w.add(n, seen); err != nil {
			return nil, fmt.Errorf("simulated: nests[%d] %s: %w", i, n.ID, err)
		}
	}
	if c.Outside != "" {
		if err := claim(seen, c.Outside); err != nil {
			return nil, fmt.Errorf("simulated: outside: %w", err)
		}
		w.probes = append(w.probes, newProbe(c.Outside, outside, nil, &w.config))
	}
	_, hour := w.look()
	for _, n := range w.nests {
		n.settle(w.around, hour)
	}
	w.advance(context.Background(), before)
	for _, n := range w.nests {
		n.log = nil
	}
	return w, nil
}

// add builds a nest and its probes.
func (w *World) add(c Nest, seen map[string]bool) error {
	n, err := newNest(c, &w.config, w.origin)
	if err != nil {
		return err
	}
	for _, other := range w.nests {
		if other.ID == n.ID {
			return fmt.Errorf("the id is there twice; give each nest its own")
		}
	}
	w.nests = append(w.nests, n)
	hang := func(id string, at where) (*probe, error) {
		if err := claim(seen, id); err != nil {
			return nil, err
		}
		q := newProbe(id, at, n, &w.config)
		w.probes = append(w.probes, q)
		return q, nil
	}
	for i, id := range c.Cluster {
		q, err := hang(id, inCluster)
		if err != nil {
			return err
		}
		if i == 1 {
			q.beside()
		}
	}
	if c.Air != "" {
		if _, err := hang(c.Air, inAir); err != nil {
			return err
		}
	}
	if c.CO2 != "" {
		_, err = hang(c.CO2, inAirCO2)
	}
	return err
}

// claim takes the id of a probe.
func claim(seen map[string]bool, id string) error {
	switch {
	case !sensors.ValidID(id):
		return fmt.Errorf("probe id %q cannot be an id; write lower-case letters, digits and dashes", id)
	case seen[id]:
		return fmt.Errorf("probe %q hangs in two places; give each probe its own id", id)
	}
	seen[id] = true
	return nil
}

// Schedule adds an event. One that began in the past begins now.
func (w *World) Schedule(e Event) error {
	w.mu.Lock()
	defer w.mu.Unlock()
	p, err := plan(e, w.origin)
	if err != nil {
		return fmt.Errorf("simulated: event at %s: %w", e.Nest, err)
	}
	if !eventFacts[e.Kind].probe {
		n, err := w.nest(e.Nest)
		if err != nil {
			return fmt.Errorf("simulated: %s: %w", e.Kind, err)
		}
		n.events = append(n.events, p)
		return nil
	}
	found := false
	for _, q := range w.probes {
		mine := e.Nest == "" && e.Probe == q.ID || q.nest != nil && q.nest.ID == e.Nest
		if mine && p.befalls(q) {
			q.events = append(q.events, p)
			found = true
		}
	}
	if !found {
		return fmt.Errorf("simulated: %s: nest %q has no probe %q that it can befall; name a probe of the nest, or leave Probe out", e.Kind, e.Nest, e.Probe)
	}
	return nil
}

func (w *World) nest(id string) (*nest, error) {
	for _, n := range w.nests {
		if n.ID == id {
			return n, nil
		}
	}
	return nil, fmt.Errorf("no nest %q in this world; name one of its nests", id)
}

// Now is the world's time.
func (w *World) Now() time.Time {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.origin.Add(w.at)
}

// Advance lets whole steps pass until the next one would lie beyond to. Time never goes back.
func (w *World) Advance(to time.Time) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.advance(context.Background(), to.Sub(w.origin))
}

// patience is the number of steps between two looks at a context.
const patience = 1024

func (w *World) advance(ctx context.Context, to time.Duration) (arrived bool) {
	for n := 0; w.at+w.config.Step <= to; n++ {
		if n%patience == 0 && ctx.Err() != nil {
			return false
		}
		w.step()
	}
	return true
}

// look refreshes what surrounds all nests and returns the time, with the hour of the local clock.
func (w *World) look() (now time.Time, hours float64) {
	now = w.origin.Add(w.at).In(w.config.Location)
	c := w.config.Weather.At(now)
	w.around = surroundings{
		air:    c.Temperature,
		vapour: min(density(saturation(c.DewPoint), c.Temperature), moistest*saturated(c.Temperature)),
		sun:    c.Sun,
		soil:   w.config.Soil.At(now),
	}
	return now, hour(now)
}

// moistest is the share of saturation beyond which outside air never goes; fog wets probes in other ways.
const moistest = 0.97

func (w *World) step() {
	now, hour := w.look()
	step := w.config.Step
	for _, n := range w.nests {
		n.advance(w.at, step, now, hour, w.around)
	}
	for _, q := range w.probes {
		q.step(w.at, step.Seconds(), w.around)
	}
	w.at += step
}
