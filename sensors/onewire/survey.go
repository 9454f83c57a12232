package onewire

import (
	"cmp"
	"context"
	"errors"
	"os"
	"path/filepath"
	"slices"

	"periph.io/x/conn/v3/onewire"

	"nestmon/sensors"
	"nestmon/sensors/ds18b20"
)

const devices = "sys/bus/w1/devices" // of the kernel's 1-Wire

// content is what a line holds.
type content struct {
	chips    []chip   // DS18B20, by number
	others   []string // numbers of other families
	phantoms []string // numbers with a wrong checksum or of family 00, which a noisy line makes
}

// chip is a DS18B20 that answered a search.
type chip struct {
	rom     string
	maker   string         // genuine, clone d, clone e or unknown; empty where it gave no whole answer
	bits    int            // the resolution it is set to
	celsius float64        // of its last conversion
	fault   *ds18b20.Fault // why there is no value
}

// survey searches a line and reads what answered, without a conversion.
func (s *Source) survey(ctx context.Context, bus string) (c content, f *ds18b20.Fault) {
	f = s.burst(ctx, bus, func(b onewire.Bus) error {
		c = content{}
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
				c.phantoms = append(c.phantoms, rom)
			case byte(a) != ds18b20.Family:
				c.others = append(c.others, rom)
			default:
				met, err := s.meet(b, rom)
				if err != nil {
					return err
				}
				c.chips = append(c.chips, met)
			}
		}
		return nil
	})
	if f != nil {
		return content{}, f
	}
	slices.SortFunc(c.chips, func(a, b chip) int { return cmp.Compare(a.rom, b.rom) })
	return c, nil
}

// meet reads a chip that nobody announced, as what its bytes say it is. err is of the way to the line.
func (s *Source) meet(b onewire.Bus, rom string) (met chip, err error) {
	for range attempts {
		met = chip{rom: rom}
		pad, err := scratchpad(b, rom)
		if err == nil {
			clone, _ := pad.Clone()
			met.celsius, met.fault = pad.Decode(clone)
			if met.fault == nil || met.fault.Reason == sensors.NotConverted || met.fault.Reason == sensors.WrongProbe {
				met.maker, met.bits = pad.Maker(), pad.Bits()
				return met, nil
			}
			continue
		}
		var healthy bool
		if met.fault, healthy = faultOf(err); !healthy {
			return chip{}, err
		}
	}
	return met, nil
}

// exists reports whether there is something at a path.
func exists(elem ...string) bool {
	_, err := os.Stat(filepath.Join(elem...))
	return !errors.Is(err, os.ErrNotExist)
}
