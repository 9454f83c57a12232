package w1

import (
	"bytes"
	"encoding/hex"

	"nestmon/sensors"
	"nestmon/sensors/ds18b20"
)

// parse takes the nine bytes from the first line of w1_slave, what the chip said in this very read. The second line
// repeats the last good ones.
func parse(text []byte) (pad ds18b20.Scratchpad, f *ds18b20.Fault) {
	line, _, _ := bytes.Cut(text, []byte("\n"))
	shown, _, ok := bytes.Cut(line, []byte(" : crc="))
	compact := bytes.ReplaceAll(shown, []byte(" "), nil)
	if !ok || len(compact) != 2*len(pad) {
		return pad, ds18b20.Faultf(sensors.Malformed, "w1_slave holds %q, not nine bytes", line)
	}
	if _, err := hex.Decode(pad[:], compact); err != nil {
		return pad, ds18b20.Faultf(sensors.Malformed, "w1_slave holds %q: %v", line, err)
	}
	return pad, nil
}
