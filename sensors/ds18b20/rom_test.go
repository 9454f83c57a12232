package ds18b20

import (
	"testing"

	"periph.io/x/conn/v3/onewire"
)

func TestNumbersAsTheKernelWritesThem(t *testing.T) {
	// 28 ac 41 0e 07 00 00 and its checksum 74 are of periph's ds18b20_test.go.
	const address, rom = onewire.Address(0x740000070e41ac28), "28-0000070e41ac"
	if got := ROM(address); got != rom {
		t.Errorf("got %s, want %s", got, rom)
	}
	if got, ok := Address(rom); !ok || got != address {
		t.Errorf("got %x, %v, want %x", got, ok, address)
	}
	for _, bad := range []string{"", "28-", "10-0000070e41ac", "28-0000070E41AC", "28-0000070e41ac74"} {
		if _, ok := Address(bad); ok {
			t.Errorf("%q was taken for the number of a DS18B20", bad)
		}
	}
}

func TestNumbersOfNoisyLines(t *testing.T) {
	for address, want := range map[onewire.Address]bool{
		0x740000070e41ac28: true,
		0x740000070e41ac29: false, // a bit flipped
		0:                  false, // a line held low: the checksum of zeros is right
		0x5e00000000000100: false, // family 00, made up, with its checksum
	} {
		if got := Genuine(address); got != want {
			t.Errorf("%016x: got %v, want %v", uint64(address), got, want)
		}
	}
}
