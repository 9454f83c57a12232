package i2c

import (
	"fmt"
	"strconv"
	"strings"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/i2c/i2creg"
	"periph.io/x/host/v3/sysfs"
)

// openBus opens a bus that periph knows by its name, or else /dev/i2c-N. host.Init is not asked: it looks for buses once, at a time when
// there may be none yet.
func openBus(root, name string) (i2c.BusCloser, error) {
	if registered(name) {
		return i2creg.Open(name)
	}
	number, err := strconv.Atoi(strings.TrimPrefix(name, "i2c-"))
	switch {
	case err != nil:
		return nil, fmt.Errorf("there is no bus %q", name)
	case root != "/":
		return nil, fmt.Errorf("below %s no device can be opened; leave --root out to read the board's own", root)
	}
	bus, err := sysfs.NewI2C(number)
	switch {
	case err == nil:
		return bus, nil
	case strings.Contains(err.Error(), "permission denied"), strings.Contains(err.Error(), "operation not permitted"): // periph names the group of another system
		return nil, fmt.Errorf("/dev/%s may not be used; %s", name, admit)
	}
	return nil, err
}
