package onewire

import (
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// line is one data wire, as the configuration writes it in bus.
type line struct {
	master  uint32 // of the kernel, for netlink
	i2c     int    // number of /dev/i2c-N, where address is set
	address uint16 // of the bridge, 0 for netlink
	channel int    // of a DS2482-800
}

// addresses are those that periph's ds248x accepts.
var addresses = []uint16{0x18, 0x19, 0x20, 0x21}

var (
	masterPattern = regexp.MustCompile(`^w1-([1-9][0-9]{0,3})$`)
	bridgePattern = regexp.MustCompile(`^i2c-(0|[1-9][0-9]{0,3})/(0x[0-9a-f]{2})(?:/([0-7]))?$`)
)

const lineForms = "w1-1 for the kernel's w1_bus_master1, i2c-1/0x18 for a DS2482 bridge at address 0x18, i2c-1/0x18/3 for channel 3 of a DS2482-800"

func parseLine(bus string) (l line, err error) {
	if m := masterPattern.FindStringSubmatch(bus); m != nil {
		n, err := strconv.ParseUint(m[1], 10, 32)
		return line{master: uint32(n)}, err
	}
	m := bridgePattern.FindStringSubmatch(bus)
	if m == nil {
		return line{}, fmt.Errorf("%q is not a 1-Wire bus; write %s", bus, lineForms)
	}
	if l.i2c, err = strconv.Atoi(m[1]); err != nil {
		return line{}, err
	}
	a, err := strconv.ParseUint(m[2], 0, 16)
	if err != nil {
		return line{}, err
	}
	if l.address = uint16(a); !slices.Contains(addresses, l.address) {
		return line{}, fmt.Errorf("%q: the driver knows no DS2482 at %s; strap the bridge to 0x18 or 0x19, and write that", bus, m[2])
	}
	if m[3] != "" {
		l.channel = int(m[3][0] - '0')
	}
	return l, nil
}

// Wire names what is read one line after another: a kernel's master, or a bridge with all its channels.
func Wire(bus string) string {
	parts := strings.Split(bus, "/")
	return Kind + "-" + strings.Join(parts[:min(2, len(parts))], "-")
}
