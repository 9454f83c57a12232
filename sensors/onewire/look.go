package onewire

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"periph.io/x/conn/v3/onewire"

	"nestmon/sensors"
	"nestmon/sensors/ds18b20"
)

const devices = "sys/bus/w1/devices" // of the kernel's 1-Wire

// Found is a DS18B20 that answered a search.
type Found struct {
	ROM     string
	Maker   string        // genuine, clone d, clone e or unknown; empty where it gave no whole answer
	Bits    int           // the resolution it was set to
	Celsius float64       // measured now, where Fault is empty
	Fault   sensors.Fault // why there is no value
	Story   string        // of the fault
}

// Survey is what a line holds.
type Survey struct {
	Probes   []Found  // by number
	Others   []string // numbers of other families
	Phantoms int      // numbers with a wrong checksum or of family 00, which a noisy line makes
}

// Masters lists the kernel's bus masters below root as lines, w1-1 and so on.
func Masters(root string) (lines []string) {
	found, _ := filepath.Glob(filepath.Join(root, devices, "w1_bus_master*")) // the pattern is right
	for _, f := range found {
		lines = append(lines, "w1-"+strings.TrimPrefix(filepath.Base(f), "w1_bus_master"))
	}
	return lines
}

// Look searches a line of the board, lets what is there convert, and reads it. bus is written as in the configuration.
func Look(ctx context.Context, bus string) (Survey, error) {
	s, err := New(board, nil, 0, slog.New(slog.DiscardHandler))
	if err != nil {
		return Survey{}, err
	}
	return s.Look(ctx, bus)
}

// Look is Look with the source's ways to open and to wait.
func (s *Source) Look(ctx context.Context, bus string) (Survey, error) {
	if f := s.convert(ctx, bus); f != nil {
		return Survey{}, fmt.Errorf("1-Wire bus %s: %w", bus, f)
	}
	if err := s.Sleep(ctx, Conversion); err != nil {
		return Survey{}, err
	}
	return s.survey(ctx, bus)
}

// survey searches a line and reads what answered, without a conversion.
func (s *Source) survey(ctx context.Context, bus string) (v Survey, err error) {
	f := s.burst(ctx, bus, func(b onewire.Bus) error {
		v = Survey{}
		all, err := b.Search(false)
		if err != nil {
			return err
		}
		if slices.Contains(all, 0) && !slices.ContainsFunc(all, ds18b20.Genuine) { // netlink tells of no short
			return ds18b20.Faultf(sensors.StuckLow, "every bit of a search is zero: the data line is held low; look for water or a damaged cable")
		}
		slices.Sort(all)
		for _, a := range slices.Compact(all) {
			switch rom := ds18b20.ROM(a); {
			case !ds18b20.Genuine(a):
				v.Phantoms++
			case byte(a) != ds18b20.Family:
				v.Others = append(v.Others, rom)
			default:
				found, err := s.meet(b, rom)
				if err != nil {
					return err
				}
				v.Probes = append(v.Probes, found)
			}
		}
		return nil
	})
	if f != nil {
		return Survey{}, fmt.Errorf("1-Wire bus %s: %w", bus, f)
	}
	slices.SortFunc(v.Probes, func(a, b Found) int { return strings.Compare(a.ROM, b.ROM) })
	return v, nil
}

// meet reads a chip that nobody announced, as what its bytes say it is.
func (s *Source) meet(b onewire.Bus, rom string) (Found, error) {
	found := Found{ROM: rom}
	for range attempts {
		pad, err := scratchpad(b, rom)
		var f *ds18b20.Fault
		if err == nil {
			clone, _ := pad.Clone()
			found.Celsius, f = pad.Decode(clone)
		} else {
			var healthy bool
			if f, healthy = faultOf(err); !healthy {
				return found, err
			}
		}
		if f == nil || f.Reason == sensors.NotConverted || f.Reason == sensors.WrongProbe {
			found.Maker, found.Bits = pad.Maker(), pad.Bits()
		}
		if found.Fault, found.Story = "", ""; f == nil {
			return found, nil
		}
		found.Fault, found.Story = f.Reason, f.Story
	}
	return found, nil
}

// exists reports whether there is something at a path.
func exists(elem ...string) bool {
	_, err := os.Stat(filepath.Join(elem...))
	return !errors.Is(err, os.ErrNotExist)
}
