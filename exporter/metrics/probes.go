package metrics

import (
	"nestmon/exporter"
	"nestmon/sensors"
	"nestmon/thresholds"
)

// spot is where a probe is and what it says there.
type spot struct {
	nest, role string
	values     []thresholds.Value
}

// spots sorts the values of a snapshot by probe, and lists the probes in the order of the snapshot.
func spots(s thresholds.Snapshot) (order []string, byProbe map[string]*spot) {
	byProbe = map[string]*spot{}
	add := func(nest string, values []thresholds.Value) {
		for _, v := range values {
			at := byProbe[v.Probe]
			if at == nil {
				at = &spot{nest: nest, role: string(v.Role)}
				byProbe[v.Probe] = at
				order = append(order, v.Probe)
			}
			at.values = append(at.values, v)
		}
	}
	for _, n := range s.Nests {
		add(n.ID, n.Values)
	}
	add("", s.Outside.Values)
	add("", s.Battery.Values)
	return order, byProbe
}

// probes writes every probe that has a place or a health. In an old state no probe is up.
func (w writer) probes(s *exporter.State, old bool) {
	order, byProbe := spots(s.Snapshot)
	health := map[string]sensors.Health{}
	errors := map[sensors.Fault]uint64{}
	for _, h := range s.Probes {
		health[h.Probe] = h
		if byProbe[h.Probe] == nil {
			byProbe[h.Probe] = &spot{}
			order = append(order, h.Probe)
		}
		for fault, n := range h.Rejected {
			errors[fault] += n
		}
	}
	for _, fault := range sensors.Faults {
		w.put(readErrors, float64(errors[fault]), string(fault))
	}
	for _, probe := range order {
		w.probe(probe, *byProbe[probe], health[probe], old)
	}
	for _, d := range s.Snapshot.Doubts {
		if at := byProbe[d.Probe]; at != nil {
			w.put(probeDoubted, 1, at.nest, at.role, d.Probe, string(d.Why))
		}
	}
	if s.Snapshot.Outside.HasTHI && !old {
		w.put(outsideTHI, s.Snapshot.Outside.THI)
	}
}

func (w writer) probe(probe string, at spot, h sensors.Health, old bool) {
	up := len(at.values) > 0 && !old
	written := map[sensors.Quantity]bool{}
	for _, v := range at.values {
		up = up && v.Fresh
		if v.Fresh && !old && !written[v.Quantity] {
			written[v.Quantity] = true
			f, unit := quantity(v.Quantity)
			w.put(f, v.Value/unit, at.nest, at.role, probe)
		}
	}
	var failed uint64
	for _, n := range h.Rejected {
		failed += n
	}
	w.bool(probeUp, up, at.nest, at.role, probe)
	w.at(probeLastGood, h.LastGood, at.nest, at.role, probe)
	w.put(probeReads, float64(h.Reads), at.nest, at.role, probe)
	w.put(probeFailed, float64(failed), at.nest, at.role, probe)
}

// Gauge returns the name under which a probe's q is exported, what is said of it, and the size of its unit in nestmon's. Its labels are
// nest, role and probe.
func Gauge(q sensors.Quantity) (name, help string, unit float64) {
	f, unit := quantity(q)
	return f.name, f.help, unit
}

// quantity returns the family of q and the size of its unit in nestmon's.
func quantity(q sensors.Quantity) (family, float64) {
	switch q {
	case sensors.Humidity:
		return humidity, 100 // % in a ratio of 1
	case sensors.CO2:
		return carbonDioxide, 1e6 // ppm in a ratio of 1
	case sensors.Voltage:
		return voltage, 1
	case sensors.Current:
		return current, 1
	default:
		return temperature, 1
	}
}

func (w writer) buses(all []sensors.BusHealth) {
	for _, b := range all {
		w.bool(busUp, b.Up && b.Hung == 0, b.Bus)
		w.put(busRestarts, float64(b.Restarts), b.Bus)
		if b.Traffic == nil {
			continue
		}
		w.put(busTried, float64(b.Traffic.Transactions), b.Bus)
		w.put(busBusy, b.Traffic.Busy.Seconds(), b.Bus)
		for kind, n := range b.Traffic.Errors {
			w.put(busErrors, float64(n), b.Bus, kind)
		}
	}
}
