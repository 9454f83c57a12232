package ds18b20

import (
	"testing"

	"periph.io/x/conn/v3/onewire"
)

// Of the raw value, °C: its 16 bits in sixteenths. What lies beyond the chip's own range is refused where all readings are judged.
const lowest, highest = -2048, 2048

// FuzzScratchpad: any nine bytes are a temperature on the chip's grid or a fault with a story; with a wrong checksum always a fault.
func FuzzScratchpad(f *testing.F) {
	f.Add([]byte{0x50, 0x05, 0x4b, 0x46, 0x7f, 0xff, 0x0c, 0x10, 0x1c}, true)
	f.Add(make([]byte, 9), false)
	f.Add([]byte{0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff}, false)
	f.Add([]byte{0x98, 0xfe, 0x4b, 0x46, 0x1f, 0xff, 0x0c, 0x10, 0x00}, true)
	f.Add([]byte{0xff, 0x07, 0x4b, 0x46, 0x7f, 0x00, 0x0c, 0x66, 0x00}, true)
	f.Fuzz(func(t *testing.T, bytes []byte, mend bool) {
		var pad Scratchpad
		copy(pad[:], bytes)
		if mend {
			pad[8] = onewire.CalcCRC(pad[:8])
		}
		for _, clone := range []string{"", "d", "e"} {
			v, fault := pad.Decode(clone)
			switch {
			case fault != nil && (fault.Reason == "" || fault.Story == "" || v != 0):
				t.Errorf("% x as %q: %g, %+v", pad, clone, v, fault)
			case fault == nil && (v < lowest || v >= highest || v*16 != float64(int(v*16))):
				t.Errorf("% x as %q: %g", pad, clone, v)
			case fault == nil && !onewire.CheckCRC(pad[:]):
				t.Errorf("% x as %q: %g with a wrong checksum", pad, clone, v)
			}
		}
		if n := pad.Bits(); n < 9 || n > 12 {
			t.Errorf("% x: %d bits", pad, n)
		}
		_ = pad.Maker()
	})
}
