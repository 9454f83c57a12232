package simulated

import (
	"slices"
	"time"
)

// Truth is what no probe can see.
type Truth struct {
	Time     time.Time
	Core     float64 // °C, of the mean kit; the bedding's without kits
	Bedding  float64 // °C
	Air      float64 // °C
	Wall     float64 // °C
	Humidity float64 // % RH over water
	CO2      float64 // ppm
	Cover    float64 // in place, 0..1
	Scatter  float64 // 0..1
	Water    float64 // g of free water
	Kits     int     // 0 before birth
	Age      float64 // days
	Alive    bool
	Reserve  float64 // kJ per kit
	Effort   float64 // heat produced, in multiples of rest
	Doe      bool    // in the box
	Open     bool    // the lid
}

// Truth returns the state of a nest; ok is false where there is no such nest.
func (w *World) Truth(id string) (t Truth, ok bool) {
	w.mu.Lock()
	defer w.mu.Unlock()
	n, err := w.nest(id)
	if err != nil {
		return Truth{}, false
	}
	t = Truth{
		Time: w.origin.Add(w.at), Core: n.litter.core, Bedding: n.bedding, Air: n.air, Wall: n.wall,
		Humidity: n.humidity(), CO2: n.co2 + outsideCO2, Cover: n.cover, Scatter: n.scatter, Water: n.water,
		Kits: int(n.litter.kits), Age: n.litter.age, Alive: n.litter.alive, Reserve: n.litter.reserve,
		Doe: n.box.doe, Open: n.lid,
	}
	if t.Kits > 0 {
		t.Effort = n.litter.heat() / n.litter.resting
	}
	return t, true
}

// Outside returns the weather as all nests have it.
func (w *World) Outside() (temperature, humidity float64) {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.around.air, 100 * w.around.vapour / saturated(w.around.air)
}

// Happenings returns what has truly happened in a nest since Start, in order.
func (w *World) Happenings(id string) []Happening {
	w.mu.Lock()
	defer w.mu.Unlock()
	n, err := w.nest(id)
	if err != nil {
		return nil
	}
	return slices.Clone(n.log)
}
