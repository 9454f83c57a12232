// Package sourcetest is the suite that every source of readings must pass: whole answers, faults instead of holes, probes
// that vanish and come back, old values that are not said again, a bus that hangs, and a Close that can always be called. A new probe type is tested by giving
// it a Rig.
package sourcetest

import (
	"context"
	"log/slog"
	"math"
	"slices"
	"testing"
	"time"

	"nestmon/sensors"
)

// Rig is a source over something that a test can break. All its probes work at first.
type Rig struct {
	Source sensors.Source
	// Vanish takes a probe off its bus and Return puts it back.
	Vanish, Return func(probe string)
	// Speak makes every probe that is there say something, after so long that one that does not is overdue. It is called before each
	// Read that should answer for every probe, and is nil for probes that are asked.
	Speak func()
	// Hang makes the next Read block until release is called. It is nil for a bus that has nothing to wait for.
	Hang func() (release func())
}

// Run gives every test of the suite a rig of its own.
func Run(t *testing.T, rig func(t *testing.T) Rig) {
	for _, test := range []struct {
		name string
		run  func(t *testing.T, r Rig)
	}{
		{"describes itself the same way every time", steady},
		{"answers for every probe and quantity", whole},
		{"a vanished probe is a fault in its place", vanishes},
		{"ends early with its context, whole", cancelled},
		{"says nothing twice", once},
		{"closes twice, and answers with faults afterwards", closes},
		{"a hung bus delays no other and closes", hangs},
	} {
		t.Run(test.name, func(t *testing.T) { test.run(t, rig(t)) })
	}
}

func steady(t *testing.T, r Rig) {
	defer closeIt(t, r)
	bus, probes := r.Source.Bus(), r.Source.Probes()
	if bus == "" || len(probes) == 0 {
		t.Fatalf("bus %q with %d probes: a source without a name or a probe can be asked nothing", bus, len(probes))
	}
	seen := make(map[string]bool)
	for _, p := range probes {
		if !sensors.ValidID(p.ID) || seen[p.ID] {
			t.Errorf("probe %q: not an id, or there twice", p.ID)
		}
		seen[p.ID] = true
		if len(p.Quantities) == 0 || p.Interval <= 0 || p.StaleAfter < p.Interval {
			t.Errorf("probe %q: got %+v, want quantities, an interval and a longer time to staleness", p.ID, p)
		}
	}
	r.Source.Read(t.Context())
	again := r.Source.Probes()
	same := slices.EqualFunc(again, probes, func(a, b sensors.Probe) bool { return a.ID == b.ID && slices.Equal(a.Quantities, b.Quantities) })
	if r.Source.Bus() != bus || !same {
		t.Errorf("after a read it is bus %q with %+v, before it was %q with %+v", r.Source.Bus(), again, bus, probes)
	}
}

// read checks the shape that every answer must have and returns the fault of each probe's quantities.
func read(ctx context.Context, t *testing.T, r Rig) map[string]sensors.Fault {
	t.Helper()
	if r.Speak != nil {
		r.Speak()
	}
	got := r.Source.Read(ctx)
	i := 0
	faults := make(map[string]sensors.Fault)
	for _, p := range r.Source.Probes() {
		for _, q := range p.Quantities {
			if i >= len(got) {
				t.Fatalf("answer ends after %d readings, before %s of %s", i, q, p.ID)
			}
			g := got[i]
			i++
			if g.Probe != p.ID || g.Quantity != q {
				t.Fatalf("reading %d is %s of %s, want %s of %s", i, g.Quantity, g.Probe, q, p.ID)
			}
			if g.Time.IsZero() {
				t.Errorf("%s of %s has no time", q, p.ID)
			}
			if math.IsNaN(g.Value) {
				t.Errorf("%s of %s is NaN", q, p.ID)
			}
			if g.Fault != "" && !slices.Contains(sensors.Faults, g.Fault) {
				t.Errorf("%s of %s: fault %q is not in the list of faults", q, p.ID, g.Fault)
			}
			faults[p.ID] = g.Fault
		}
	}
	if i != len(got) {
		t.Errorf("%d readings too many", len(got)-i)
	}
	return faults
}

func whole(t *testing.T, r Rig) {
	defer closeIt(t, r)
	for range 3 {
		for probe, fault := range read(t.Context(), t, r) {
			if fault != "" {
				t.Errorf("%s: got %q of a working probe", probe, fault)
			}
		}
	}
}

func vanishes(t *testing.T, r Rig) {
	defer closeIt(t, r)
	for _, p := range r.Source.Probes() {
		r.Vanish(p.ID)
		for probe, fault := range read(t.Context(), t, r) {
			if (fault != "") != (probe == p.ID) {
				t.Errorf("%s is gone: %s has fault %q", p.ID, probe, fault)
			}
		}
		r.Return(p.ID)
		for probe, fault := range read(t.Context(), t, r) {
			if fault != "" {
				t.Errorf("%s came back: %s has fault %q", p.ID, probe, fault)
			}
		}
	}
}

func cancelled(t *testing.T, r Rig) {
	defer closeIt(t, r)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	read(ctx, t, r)
	for probe, fault := range read(t.Context(), t, r) {
		if fault != "" {
			t.Errorf("%s: got %q after a cancelled read", probe, fault)
		}
	}
}

func once(t *testing.T, r Rig) {
	defer closeIt(t, r)
	if r.Speak == nil {
		t.Skip("the probes of this bus are asked")
	}
	read(t.Context(), t, r)
	if got := r.Source.Read(t.Context()); got == nil || len(got) > 0 {
		t.Errorf("nobody spoke since the last read: got %+v, want an empty answer, not nil", got)
	}
}

func closes(t *testing.T, r Rig) {
	closeIt(t, r)
	closeIt(t, r)
	for probe, fault := range read(t.Context(), t, r) {
		if fault == "" {
			t.Errorf("%s: got a value from a closed bus", probe)
		}
	}
}

func hangs(t *testing.T, r Rig) {
	if r.Hang == nil {
		t.Skip("this bus has nothing to wait for")
	}
	release := r.Hang()
	p := sensors.NewPoller([]sensors.Source{r.Source, other{}}, slog.New(slog.DiscardHandler))
	for n, want := range []sensors.Fault{sensors.TimedOut, sensors.BusDown} {
		for _, g := range p.Poll(t.Context(), 200*time.Millisecond) {
			switch {
			case g.Probe == otherID && !g.OK():
				t.Errorf("poll %d: the other bus has fault %q", n, g.Fault)
			case g.Probe != otherID && g.Fault != want:
				t.Errorf("poll %d: %s of the hung bus: got %q, want %q", n, g.Probe, g.Fault, want)
			}
		}
	}
	if err := p.Close(); err == nil {
		t.Error("close of a poller does not name the bus that hangs")
	}
	closeIt(t, r)
	release()
}

func closeIt(t *testing.T, r Rig) {
	t.Helper()
	if err := r.Source.Close(); err != nil {
		t.Errorf("close: %v", err)
	}
}

const otherID = "sourcetest-other"

// other is a second bus that always answers at once.
type other struct{}

func (other) Bus() string { return "sourcetest" }

func (other) Probes() []sensors.Probe {
	return []sensors.Probe{{ID: otherID, Quantities: []sensors.Quantity{sensors.Temperature}}}
}

func (other) Read(context.Context) []sensors.Reading {
	return []sensors.Reading{{Probe: otherID, Time: time.Now(), Value: 20}}
}

func (other) Close() error { return nil }
