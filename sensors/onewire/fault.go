package onewire

import (
	"errors"
	"strings"

	"periph.io/x/conn/v3/onewire"

	"nestmon/sensors"
	"nestmon/sensors/ds18b20"
)

// noPresence is how periph's netlink tells that the reset pulse went unanswered: status 255 was measured on kernel 6.1.
const noPresence = "invalid w1_netlink_msg status 255"

// faultOf says what an error of a bus means for the probes on it. healthy is true when the way to the line works and the line itself
// is what is wrong: opening it anew would not help.
func faultOf(err error) (f *ds18b20.Fault, healthy bool) {
	if f, ok := errors.AsType[*ds18b20.Fault](err); ok {
		return f, false
	}
	var (
		short onewire.ShortedBusError
		none  onewire.NoDevicesError
		bus   onewire.BusError
	)
	switch {
	case errors.As(err, &short) && short.IsShorted():
		return ds18b20.Faultf(sensors.StuckLow, "the data line is held low; look for water or a damaged cable: %v", err), true
	case errors.As(err, &none) && none.NoDevices(), errors.As(err, &bus) && bus.BusError():
		return nobody(err), true
	case strings.Contains(err.Error(), noPresence):
		return nobody(err), false
	}
	return ds18b20.Faultf(sensors.BusDown, "%v", err), false
}

func nobody(err error) *ds18b20.Fault {
	return ds18b20.Faultf(sensors.NoAnswer, "no probe on the line answers; look for a broken data or supply wire: %v", err)
}
