package main

import (
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/archive"
	"nestmon/sensors"
	"nestmon/sensors/ds18b20"
	"nestmon/sensors/i2c/i2ctest"
	"nestmon/sensors/onewire"
	"nestmon/sensors/onewire/onewiretest"
	"nestmon/thresholds/brood"
)

// rope is three nests whose cluster probes hang on one 1-Wire line, behind a bridge on I2C, and a fourth probe in the last of them.
type rope struct {
	*row
	line *onewiretest.Line
}

func newRope(t *testing.T) *rope {
	t.Helper()
	r := &rope{newRow(t), &onewiretest.Line{Clock: &onewiretest.Clock{Since: time.Now()}}}
	bus := &i2ctest.Bus{Chips: map[uint16]i2ctest.Chip{0x18: onewiretest.NewDS2482(r.line.Clock, r.line)}, Fault: r.nests.Fault}
	plug(t, "i2c-7", bus)
	const wire = "i2c-7/0x18"
	r.name = onewire.Wire(wire)
	r.cfg.Probes, r.cfg.Nests = r.cfg.Probes[3:], nil // the one outside stays
	for i, id := range []string{"a-pile", "b-pile", "c-pile", "c-beside"} {
		rom := []string{"28-0316a2794d50", "28-0416c1e07bff", "28-0516d2a119ee", "28-00000a1b2c3d"}[i]
		address, _ := ds18b20.Address(rom)
		r.line.Slaves = append(r.line.Slaves, onewiretest.New(address, onewiretest.Genuine, 20))
		r.cfg.Probes = append(r.cfg.Probes, probeConfig{Entry: sensors.Entry{ID: id, Source: "onewire"}, Bus: wire, ROM: rom})
		if nest := id[:1]; i < 3 {
			r.cfg.Nests = append(r.cfg.Nests, nestConfig{ID: nest, Kind: brood.WoodenBox, Cluster: []string{id}})
		} else {
			r.cfg.Nests[2].Cluster = append(r.cfg.Nests[2].Cluster, id)
		}
	}
	r.cfg.settle()
	return r
}

// warm gives each probe for one poll a temperature that no other has, nor itself in the three polls before.
func (r *rope) warm(poll int) map[string]float64 {
	truth := map[string]float64{}
	for i, s := range r.line.Slaves {
		celsius := 18 + 2*float64(i) + float64(poll%4)/4
		s.Set(celsius)
		truth[r.cfg.Probes[1+i].ID] = celsius
	}
	return truth
}

// stored is what the archive has of each probe, by the poll from the daemon's beginning.
func (r *rope) stored(t *testing.T) map[string]map[int]float64 {
	t.Helper()
	a, err := archive.ReadOnly(r.cfg.Data, archive.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer a.Close()
	all := map[string]map[int]float64{}
	err = a.PollsBetween(demoStart, demoStart.Add(24*time.Hour), func(p exporter.StoredPoll) error {
		for _, v := range p.Readings {
			if all[v.Probe] == nil {
				all[v.Probe] = map[int]float64{}
			}
			if v.OK() {
				all[v.Probe][int(v.Time.Sub(demoStart)/r.cfg.Poll)] = v.Value
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return all
}

// fail makes every transaction with the bridge fail, until it is mended with nil.
func (r *rope) fail(err error) {
	if err == nil {
		r.trouble.Store(nil)
		return
	}
	f := func() error { return err }
	r.trouble.Store(&f)
}

// Whatever becomes of a line with several probes, it is one alarm while the weather can harm no kits; what is stored is what the probes
// measured in that poll and nothing else; and once the line is back the same daemon reads all of them again.
func TestALineBehindABridge(t *testing.T) {
	const breaks, mended, polls = 5, 14, 38 // by the number of the poll
	once := []string{"bus-fault warning"}
	silent := []string{"a probe-silent notice"}
	for _, row := range []struct {
		name           string
		breaks, mended func(r *rope)
		says           []string // raised, and cleared in the end
		lost           int      // of the four probes, while it lasts
		missed         int      // polls of each probe after it was mended
	}{
		{"held low", func(r *rope) { r.line.Low = true }, func(r *rope) { r.line.Low = false }, once, 4, 0},
		{"cut before the first probe", func(r *rope) { r.line.Cut = true }, func(r *rope) { r.line.Cut = false }, once, 4, 0},
		{"the bridge is unplugged", func(r *rope) { r.fail(i2ctest.ErrNack) }, func(r *rope) { r.fail(nil) }, once, 4, 0},
		{"the bridge's bus is held low", func(r *rope) { r.fail(i2ctest.ErrTimeout) }, func(r *rope) { r.fail(nil) }, once, 4, 0},
		{"one probe is chewed off", func(r *rope) { r.line.Slaves[0].Unplugged = true }, func(r *rope) { r.line.Slaves[0].Unplugged = false }, silent, 1, 0},
		{"a gap in the supply, and a conversion that nobody hears", func(*rope) {}, func(r *rope) {
			for _, s := range r.line.Slaves {
				s.PowerUp() // 85 °C, until it converts
				s.Deaf = 1
			}
		}, nil, 0, 1},
	} {
		t.Run(row.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				r := newRope(t)
				poll := 1
				truth := map[int]map[string]float64{poll: r.warm(poll)}
				raised, cleared := r.live(t, polls*r.cfg.Poll, func(int) { // after each poll
					switch poll++; poll {
					case breaks:
						row.breaks(r)
					case mended:
						row.mended(r)
					}
					truth[poll] = r.warm(poll)
				})
				if !slices.Equal(raised, row.says) || !slices.Equal(cleared, row.says) {
					t.Errorf("raised %q and cleared %q, want %q", raised, cleared, row.says)
				}
				stored := r.stored(t)
				for i, p := range r.cfg.Probes[1:] {
					for poll := 1; poll < polls; poll++ {
						got, is := stored[p.ID][poll]
						want := truth[poll][p.ID]
						lost := i < row.lost && poll >= breaks && poll < mended || poll >= mended && poll < mended+row.missed
						if is == lost || is && got != want {
							t.Errorf("poll %d: %v of %s (stored: %v), want %v (stored: %v)", poll, got, p.ID, is, want, !lost)
						}
					}
				}
			})
		})
	}
}
