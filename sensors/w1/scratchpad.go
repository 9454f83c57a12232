package w1

import (
	"bytes"
	"encoding/hex"
	"fmt"

	"periph.io/x/conn/v3/onewire"

	"nestmon/sensors"
)

const scratchpadSize = 9 // eight bytes and their CRC

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

// fault is a reason with its story.
type fault struct {
	reason sensors.Fault
	story  string
}

func (f *fault) Error() string { return f.story }

func faultf(reason sensors.Fault, format string, args ...any) *fault {
	return &fault{reason, fmt.Sprintf(format, args...)}
}

// parse takes the nine bytes from the first line of w1_slave, what the chip said in this very read. The second line
// repeats the last good ones.
func parse(text []byte) (pad [scratchpadSize]byte, f *fault) {
	line, _, _ := bytes.Cut(text, []byte("\n"))
	shown, _, ok := bytes.Cut(line, []byte(" : crc="))
	compact := bytes.ReplaceAll(shown, []byte(" "), nil)
	if !ok || len(compact) != 2*scratchpadSize {
		return pad, faultf(sensors.Malformed, "w1_slave holds %q, not nine bytes", line)
	}
	if _, err := hex.Decode(pad[:], compact); err != nil {
		return pad, faultf(sensors.Malformed, "w1_slave holds %q: %v", line, err)
	}
	return pad, nil
}

// decode checks the scratchpad and returns its temperature in °C. The order matters: nine zero bytes have a right checksum.
func decode(pad [scratchpadSize]byte, sig signature) (float64, *fault) {
	switch {
	case pad == [scratchpadSize]byte{}:
		return 0, faultf(sensors.StuckLow, "all bytes are zero: the data line is held low; look for water or a damaged cable")
	case bytes.Count(pad[:], []byte{0xff}) == scratchpadSize:
		return 0, faultf(sensors.NoAnswer, "all bytes are ff: nothing answers; look for a broken data or supply wire")
	case !onewire.CheckCRC(pad[:]):
		return 0, faultf(sensors.BadChecksum, "scratchpad CRC wrong (got 0x%02x, want 0x%02x)", pad[8], onewire.CalcCRC(pad[:8]))
	case !sig.byte5Free && pad[5] != sig.byte5 || pad[7] != sig.byte7:
		return 0, faultf(sensors.WrongProbe, "scratchpad bytes 5 and 7 are %02x and %02x, not those of the configured chip; if the probe is a clone set clone: d (byte 7 is 66) or e (ff)", pad[5], pad[7])
	}
	raw := uint16(pad[1])<<8 | uint16(pad[0])
	switch raw {
	case rawPowerOn:
		return 0, faultf(sensors.NotConverted, "85 °C is the power-on value: the chip lost its supply or never converted")
	case rawFailed:
		return 0, faultf(sensors.NotConverted, "127.94 °C is the value of a failed conversion")
	}
	return float64(int16(raw)&^undefined(pad[4])) / 16, nil
}

// undefined masks the bits that have no meaning at the resolution in the configuration byte, 0R1R0 11111 with R1R0 = 11 at
// 12 bit (DS18B20 datasheet, configuration register and figure 2).
func undefined(config byte) int16 {
	return 1<<(3-config>>5&3) - 1
}
