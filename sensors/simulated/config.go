package simulated

import (
	"fmt"
	"time"

	"nestmon/sensors"
)

// Nest is how one nest is built, bedded, watched and peopled.
type Nest struct {
	ID       string
	Kind     Kind
	Floor    Floor // of a wooden box; "" is solid
	Lined    bool  // a metal box with cardboard
	Bedding  Bedding
	Exposure float64 // share of the sun that falls on it, 0..1

	Kits      int
	BirthMass float64   // kg; 0 is 0.060
	Bred      time.Time // zero is 31.2 days before Kindled
	Kindled   time.Time // may lie ahead; zero is never

	Cluster []string // probe ids, none to two: temperature in the cluster
	Air     string   // probe id: temperature and humidity under the lid
	CO2     string   // probe id
	Nominal bool     // bedding as in the tables, and probes placed well that never slip; otherwise both are drawn
}

// Config is a world before it starts.
type Config struct {
	Seed     uint64
	Start    time.Time
	Location *time.Location // whose clock nights and nursings follow; nil is UTC
	Step     time.Duration  // of the model; 0 is 30 s
	Poll     time.Duration  // expected spacing of readings, for staleness; 0 is 30 s
	Outside  string         // probe id: temperature and humidity outside; "" is none
	Weather  Weather        // nil is NewYear(Seed)
	Soil     Soil           // zero is DefaultSoil
	Nests    []Nest
	Flaws    bool // the small faults every probe has: a burst of dropouts a day, rare error codes and spikes
	Shifted  bool // other habits of probes and does than the detectors were tuned on
}

const (
	defaultStep = 30 * time.Second
	longestStep = 2 * time.Minute // beyond it visits fall between steps
)

func (c *Config) complete() error {
	if c.Location == nil {
		c.Location = time.UTC
	}
	if c.Step == 0 {
		c.Step = defaultStep
	}
	if c.Step < time.Second || c.Step > longestStep {
		return fmt.Errorf("step %v is no step for this model; write 1s to %v, usually %v", c.Step, longestStep, defaultStep)
	}
	if c.Poll == 0 {
		c.Poll = defaultStep
	}
	if c.Start.IsZero() {
		return fmt.Errorf("start is missing; give the instant the world begins")
	}
	if c.Weather == nil {
		c.Weather = NewYear(c.Seed)
	}
	if c.Soil == (Soil{}) {
		c.Soil = DefaultSoil()
	}
	return nil
}

const gestation = 31.2 * 24 * float64(time.Hour) // ns, the mean; published range 31-32 days

func (n *Nest) complete() error {
	switch {
	case !sensors.ValidID(n.ID):
		return fmt.Errorf("id %q cannot be an id; write lower-case letters, digits and dashes", n.ID)
	case len(n.Cluster) > 2:
		return fmt.Errorf("%d cluster probes; give at most two", len(n.Cluster))
	case n.Exposure < 0 || n.Exposure > 1:
		return fmt.Errorf("exposure %v is not a share of the sun; write 0 to 1", n.Exposure)
	case n.Kits < 0 || n.Kits > 20:
		return fmt.Errorf("%d kits are no litter; write 0 to 20", n.Kits)
	case n.Kits == 0 && !n.Kindled.IsZero():
		return fmt.Errorf("a litter kindled without kits; give their number")
	}
	if n.BirthMass == 0 {
		n.BirthMass = restingMass
	}
	if n.BirthMass < 0.02 || n.BirthMass > 0.15 {
		return fmt.Errorf("birth mass %v kg is no kit's; write kg, such as 0.06", n.BirthMass)
	}
	if n.Bred.IsZero() && !n.Kindled.IsZero() {
		n.Bred = n.Kindled.Add(-time.Duration(gestation))
	}
	return nil
}
