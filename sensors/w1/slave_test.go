package w1

import (
	"testing"

	"nestmon/sensors"
	"nestmon/sensors/ds18b20"
)

func TestParseRefusesWhatIsNotNineBytes(t *testing.T) {
	for _, row := range []struct {
		name, text string
		ok         bool
	}{
		{"as the kernel prints it", "9e 01 4b 46 7f ff 0c 10 8a : crc=8a YES\n9e 01 4b 46 7f ff 0c 10 8a t=25875\n", true},
		{"the first line counts, not the old second", "9e 01 4b 46 7f ff 0c 10 8a : crc=8a YES\n60 02 4b 46 7f ff 10 10 f2 t=38000\n", true},
		{"errno as text", "-5\n", false},
		{"a temperature alone", "25875\n", false},
		{"cut short", "9e 01 4b 46 7f ff 0c : crc=8a YES\n", false},
		{"not hexadecimal", "9e 01 4b 46 7f ff 0c 10 zz : crc=8a YES\n", false},
		{"nothing", "", false},
	} {
		t.Run(row.name, func(t *testing.T) {
			p, f := parse([]byte(row.text))
			if (f == nil) != row.ok {
				t.Fatalf("got %v", f)
			}
			if f != nil && f.Reason != sensors.Malformed {
				t.Errorf("got %q, want malformed", f.Reason)
			}
			if row.ok && p != (ds18b20.Scratchpad{0x9e, 0x01, 0x4b, 0x46, 0x7f, 0xff, 0x0c, 0x10, 0x8a}) {
				t.Errorf("got % x", p)
			}
		})
	}
}
