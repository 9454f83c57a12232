package w1

import (
	"fmt"
	"testing"
)

// FuzzSlave: what w1_slave holds is nine bytes as they stand there, or a fault.
func FuzzSlave(f *testing.F) {
	for _, text := range []string{
		"", "50 05 4b 46 7f ff 0c 10 1c : crc=1c YES\n50 05 4b 46 7f ff 0c 10 1c t=85000\n", "00 00 00 00 00 00 00 00 00 : crc=00 YES\n", " : crc=", "5 0 : crc=1c", "xx : crc=\n", "50 05 4b 46 7f ff 0c 10 1c 00 : crc=00 NO\n",
	} {
		f.Add([]byte(text))
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		pad, fault := parse(text)
		if fault != nil {
			if fault.Reason == "" || fault.Story == "" {
				t.Errorf("%q: %+v", text, fault)
			}
			return
		}
		again, fault := parse(fmt.Appendf(nil, "% x : crc=%02x YES\n", pad[:], pad[8]))
		if fault != nil || again != pad {
			t.Errorf("%q: % x, written again % x, %+v", text, pad, again, fault)
		}
	})
}
