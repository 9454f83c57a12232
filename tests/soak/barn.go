package main

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"strings"
	"time"

	"nestmon/sensors"
	"nestmon/sensors/simulated"
	"nestmon/tests/rig"
)

// barn is four invented nests and the air outside, and what is wrong with their probes.
type barn struct {
	board  rig.Board
	random *rand.Rand
	nests  []simulated.Nest
	source *simulated.Source
	now    time.Time // as the world goes, whatever a clock says
	wrong  map[string]ailment
}

// ailment is what is wrong with a probe.
type ailment int

const (
	well ailment = iota
	dead
	stuck
	spiking
	hung
)

// spikes of a probe that spikes: how many of its readings, and by how much.
const (
	spikeShare = 0.2
	spikeBy    = 18.0 // °C
)

func newBarn(root string, seed uint64, from time.Time) (*barn, error) {
	b := &barn{board: rig.Board{Root: root}, random: rand.New(rand.NewPCG(seed, 1)), now: from, wrong: map[string]ailment{}}
	born := func(days float64) time.Time { return from.Add(time.Duration(days * float64(day))) }
	b.nests = []simulated.Nest{
		{ID: "oak", Kind: simulated.WoodenBox, Kits: 8, Kindled: born(-4)},
		{ID: "ash", Kind: simulated.MetalBox, Exposure: 0.5, Kits: 6, Kindled: born(5.2)},
		{ID: "elm", Kind: simulated.BuriedTote, Kits: 9, Kindled: born(-12)},
		{ID: "fir", Kind: simulated.WoodenBox, Floor: simulated.WireFloor, Kits: 7, Kindled: born(14.6)},
	}
	for i := range b.nests {
		n := &b.nests[i]
		n.Cluster, n.Air = []string{n.ID + "-cluster"}, n.ID+"-air"
	}
	world, err := simulated.New(simulated.Config{Seed: seed, Start: from, Step: poll, Poll: poll, Outside: "outside", Nests: b.nests, Flaws: true})
	if err != nil {
		return nil, err
	}
	b.source, err = world.Source("files", func() time.Time { return b.now })
	return b, err
}

// probes lists the barn's, in the order of their numbers on the board: clusters, then airs.
func (b *barn) probes() (clusters, airs []string) {
	for _, n := range b.nests {
		clusters, airs = append(clusters, n.Cluster...), append(airs, n.Air)
	}
	return clusters, append(airs, "outside")
}

// pass lets the world go on and the board read what it feels.
func (b *barn) pass(now time.Time) error {
	b.now = now
	values, silent := map[string][2]float64{}, map[string]bool{}
	for _, r := range b.source.Read(context.Background()) {
		v := values[r.Probe]
		if r.Quantity == sensors.Temperature || r.Quantity == sensors.Humidity {
			v[r.Quantity] = r.Value
		}
		values[r.Probe], silent[r.Probe] = v, r.Fault != ""
	}
	clusters, airs := b.probes()
	var errs []error
	for i, id := range clusters {
		switch {
		case b.wrong[id] == stuck || b.wrong[id] == hung:
		case b.wrong[id] == dead || silent[id]:
			errs = append(errs, b.board.Lose(i))
		default:
			errs = append(errs, b.board.Warm(i, b.spiked(id, values[id][0])))
		}
	}
	for i, id := range airs {
		switch {
		case b.wrong[id] == stuck:
		case b.wrong[id] == dead || silent[id]:
			errs = append(errs, b.board.LoseAir(i))
		default:
			errs = append(errs, b.board.Air(i, b.spiked(id, values[id][0]), values[id][1]))
		}
	}
	return errors.Join(errs...)
}

func (b *barn) spiked(id string, v float64) float64 {
	if b.wrong[id] == spiking && b.random.Float64() < spikeShare {
		return v + spikeBy
	}
	return v
}

// ails makes something wrong with a probe at random, and returns what ends it.
func (b *barn) ails(with ailment) (begin, end func() error) {
	id := ""
	begin = func() error {
		clusters, airs := b.probes()
		all := append(clusters, airs...)
		if with == hung {
			all = clusters
		}
		i := b.random.IntN(len(all))
		if b.wrong[all[i]] != well {
			return nil
		}
		id = all[i]
		b.wrong[id] = with
		if with == hung {
			return b.board.Hang(i)
		}
		return nil
	}
	end = func() error {
		if id == "" {
			return nil
		}
		delete(b.wrong, id)
		was := id
		id = ""
		clusters, _ := b.probes()
		for i := range clusters {
			if clusters[i] == was && with == hung {
				return b.board.Release(i)
			}
		}
		return nil
	}
	return begin, end
}

// config is the barn as a file, with everything on. head holds what is different in each run.
func (b *barn) config(head string) string {
	var s strings.Builder
	s.WriteString(head + "\nprobes:\n")
	clusters, airs := b.probes()
	for i, id := range clusters {
		fmt.Fprintf(&s, "  - {id: %s, source: w1, rom: %s}\n", id, rig.ROM(i))
	}
	for i, id := range airs {
		fmt.Fprintf(&s, "  - {id: %s, source: kernel, chip: sht4x, device: %s}\n", id, rig.Device(i))
	}
	s.WriteString("outside: outside\nnests:\n")
	for _, n := range b.nests {
		floor := ""
		if n.Floor != "" {
			floor = ", floor: " + string(n.Floor)
		}
		fmt.Fprintf(&s, "  - {id: %s, kind: %s%s, cluster: %s, air: %s}\n", n.ID, n.Kind, floor, n.Cluster[0], n.Air)
	}
	return s.String()
}
