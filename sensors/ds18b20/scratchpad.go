package ds18b20

import (
	"bytes"
	"fmt"

	"periph.io/x/conn/v3/onewire"

	"nestmon/sensors"
)

// Scratchpad is what the chip answers: eight bytes and their CRC.
type Scratchpad [9]byte

// Raw values that mean no conversion (DS18B20 datasheet, table 1 for the first; counterfeit_DS18B20 README for the second).
const (
	rawPowerOn = 0x0550 // 85 °C
	rawFailed  = 0x07ff // 127.94 °C
)

// signature is what the fixed bytes of a scratchpad hold.
type signature struct {
	byte5, byte7 byte
	byte5Free    bool // byte 5 is not looked at
}

// signatures by clone family: the datasheet's memory map for the genuine chip, the counterfeit_DS18B20 README (2019) for
// the others. It says nothing we could read of byte 5 of a clone.
var signatures = map[string]signature{
	"":  {byte5: 0xff, byte7: 0x10},
	"d": {byte5Free: true, byte7: 0x66},
	"e": {byte5Free: true, byte7: 0xff},
}

func (sig signature) matches(pad Scratchpad) bool {
	return (sig.byte5Free || pad[5] == sig.byte5) && pad[7] == sig.byte7
}

// Fault is a reason with its story.
type Fault struct {
	Reason sensors.Fault
	Story  string
}

func (f *Fault) Error() string { return f.Story }

// Faultf makes a Fault.
func Faultf(reason sensors.Fault, format string, args ...any) *Fault {
	return &Fault{reason, fmt.Sprintf(format, args...)}
}

// Decode checks the scratchpad and returns its temperature in °C; clone is the family the probe was announced as, "" for a genuine
// chip. The order matters: nine zero bytes have a right checksum.
func (pad Scratchpad) Decode(clone string) (float64, *Fault) {
	sig := signatures[clone]
	switch {
	case pad == Scratchpad{}:
		return 0, Faultf(sensors.StuckLow, "all bytes are zero: the data line is held low; look for water or a damaged cable")
	case bytes.Count(pad[:], []byte{0xff}) == len(pad):
		return 0, Faultf(sensors.NoAnswer, "all bytes are ff: nothing answers; look for a broken data or supply wire")
	case !onewire.CheckCRC(pad[:]):
		return 0, Faultf(sensors.BadChecksum, "scratchpad CRC wrong (got 0x%02x, want 0x%02x)", pad[8], onewire.CalcCRC(pad[:8]))
	case !sig.matches(pad):
		return 0, Faultf(sensors.WrongProbe, "scratchpad bytes 5 and 7 are %02x and %02x, not those of the configured chip; if the probe is a clone set clone: d (byte 7 is 66) or e (ff)", pad[5], pad[7])
	}
	raw := uint16(pad[1])<<8 | uint16(pad[0])
	switch raw {
	case rawPowerOn:
		return 0, Faultf(sensors.NotConverted, "85 °C is the power-on value: the chip lost its supply or never converted")
	case rawFailed:
		return 0, Faultf(sensors.NotConverted, "127.94 °C is the value of a failed conversion")
	}
	return float64(int16(raw)&^undefined(pad[4])) / 16, nil
}

// Clone is the clone family whose signature these bytes show, "" for a genuine chip's; known is false for one without a name here.
func (pad Scratchpad) Clone() (clone string, known bool) {
	for _, clone := range []string{"", "d", "e"} {
		if signatures[clone].matches(pad) {
			return clone, true
		}
	}
	return "", false
}

// Maker says whose chip shows these bytes: genuine, clone d, clone e, or unknown.
func (pad Scratchpad) Maker() string {
	switch clone, known := pad.Clone(); {
	case !known:
		return "unknown"
	case clone == "":
		return "genuine"
	default:
		return "clone " + clone
	}
}

// FullResolution is the configuration byte at 12 bit.
const FullResolution = 0x7f

// Bits is the resolution the chip is set to.
func (pad Scratchpad) Bits() int { return 9 + int(pad[4]>>5&3) }

// undefined masks the bits that have no meaning at the resolution in the configuration byte, 0R1R0 11111 with R1R0 = 11 at
// 12 bit (DS18B20 datasheet, configuration register and figure 2).
func undefined(config byte) int16 {
	return 1<<(3-config>>5&3) - 1
}
