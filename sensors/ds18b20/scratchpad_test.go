package ds18b20

import (
	"encoding/hex"
	"fmt"
	"strings"
	"testing"

	"periph.io/x/conn/v3/onewire"

	"nestmon/sensors"
)

// Sources of the checks, one word each in the tables.
const (
	table1    = "DS18B20 datasheet, table 1, as quoted in Rinsen/OneWire #3 and in periph's ds18b20_test.go"
	readme    = "counterfeit_DS18B20 README (cpetrich, 2019)"
	threads   = "google/periph #359, owfs #109"
	published = "public test file"
	computed  = "computed by us"
)

func pad(t *testing.T, s string) (p Scratchpad) {
	t.Helper()
	b, err := hex.DecodeString(strings.ReplaceAll(s, " ", ""))
	if err != nil || len(b) != len(p) {
		t.Fatalf("%q: not nine bytes", s)
	}
	copy(p[:], b)
	return p
}

func TestScratchpadCheckValues(t *testing.T) {
	for _, row := range []struct {
		bytes  string
		clone  string
		want   float64
		fault  sensors.Fault
		source string
	}{
		{"50 05 4b 46 7f ff 0c 10 1c", "", 0, sensors.NotConverted, readme},
		{"9e 01 4b 46 7f ff 0c 10 8a", "", 25.875, "", threads},
		{"37 01 4b 46 7f ff 09 10 26", "", 19.4375, "", threads},
		{"98 01 4b 46 7f ff 08 10 22", "", 25.5, "", published},
		{"60 02 4b 46 7f ff 10 10 f2", "", 38, "", computed},
		{"f8 ff 4b 46 7f ff 08 10 f8", "", -0.5, "", computed},
		{"5e ff 4b 46 7f ff 02 10 b6", "", -10.125, "", computed},
		{"91 01 4b 46 7f ff 0c 10 70", "", 25.0625, "", computed},
		{"00 00 00 00 00 00 00 00 00", "", 0, sensors.StuckLow, computed},
		{"00 00 00 00 00 00 00 00 00", "d", 0, sensors.StuckLow, computed},
		{"ff ff ff ff ff ff ff ff ff", "", 0, sensors.NoAnswer, computed},
		{"ff ff ff ff ff ff ff ff ff", "e", 0, sensors.NoAnswer, computed},
		{"60 02 4b 46 7f ff 10 10 f3", "", 0, sensors.BadChecksum, "the row of 38 °C with its CRC spoilt"},
		{"61 02 4b 46 7f ff 10 10 f2", "", 0, sensors.BadChecksum, "the row of 38 °C with a bit flipped"},
		{"60 02 4b 46 7f ff 10 10 f2", "d", 0, sensors.WrongProbe, "a genuine chip where a clone is configured"},
	} {
		t.Run(row.bytes+" "+row.clone, func(t *testing.T) {
			got, f := pad(t, row.bytes).Decode(row.clone)
			check(t, got, f, row.want, row.fault, row.source)
		})
	}
}

func check(t *testing.T, got float64, f *Fault, want float64, reason sensors.Fault, source string) {
	t.Helper()
	var have sensors.Fault
	if f != nil {
		have = f.Reason
	}
	if have != reason || got != want {
		t.Errorf("got %v with fault %q, want %v with %q (%s)", got, have, want, reason, source)
	}
}

// sealed makes a scratchpad around a raw value, its checksum right.
func sealed(raw uint16, byte4, byte5, byte7 byte) (p Scratchpad) {
	p = Scratchpad{byte(raw), byte(raw >> 8), 0x4b, 0x46, byte4, byte5, 0x0c, byte7}
	p[8] = onewire.CalcCRC(p[:8])
	return p
}

func TestTemperatureTable(t *testing.T) {
	for _, row := range []struct {
		raw   uint16
		want  float64
		fault sensors.Fault
	}{
		{0x07d0, 125, ""},
		{0x0550, 0, sensors.NotConverted}, // 85 °C in the table, and the power-on value
		{0x0191, 25.0625, ""},
		{0x00a2, 10.125, ""},
		{0x0008, 0.5, ""},
		{0x0000, 0, ""},
		{0xfff8, -0.5, ""},
		{0xff5e, -10.125, ""},
		{0xfe6f, -25.0625, ""},
		{0xfc90, -55, ""},
	} {
		t.Run(fmt.Sprintf("%04x", row.raw), func(t *testing.T) {
			got, f := sealed(row.raw, 0x7f, 0xff, 0x10).Decode("")
			check(t, got, f, row.want, row.fault, table1)
		})
	}
	got, f := sealed(0x07ff, 0x7f, 0xff, 0x10).Decode("")
	check(t, got, f, 0, sensors.NotConverted, readme)
}

func TestSignaturesOfClones(t *testing.T) {
	for _, row := range []struct {
		name         string
		clone        string
		byte5, byte7 byte
		fault        sensors.Fault
	}{
		{"genuine", "", 0xff, 0x10, ""},
		{"family D unannounced", "", 0xff, 0x66, sensors.WrongProbe},
		{"family D", "d", 0x42, 0x66, ""},
		{"family E unannounced", "", 0xff, 0xff, sensors.WrongProbe},
		{"family E", "e", 0x42, 0xff, ""},
		{"byte 5 corrupt", "", 0x00, 0x10, sensors.WrongProbe},
	} {
		t.Run(row.name, func(t *testing.T) {
			want := 25.0625
			if row.fault != "" {
				want = 0
			}
			got, f := sealed(0x0191, 0x7f, row.byte5, row.byte7).Decode(row.clone)
			check(t, got, f, want, row.fault, readme)
		})
	}
}

func TestBitsWithoutMeaningAtLowResolution(t *testing.T) {
	// DS18B20 datasheet: at 11, 10 and 9 bit the lowest 1, 2 and 3 bits are undefined.
	for config, want := range map[byte]float64{0x7f: 25.4375, 0x5f: 25.375, 0x3f: 25.25, 0x1f: 25} {
		if got, f := sealed(0x0197, config, 0xff, 0x10).Decode(""); f != nil || got != want {
			t.Errorf("configuration byte %02x: got %v, %v; want %v", config, got, f, want)
		}
	}
}

func TestDallasChecksum(t *testing.T) {
	for _, row := range []struct{ bytes, source string }{
		{"02 1c b8 01 00 00 00 a2", "Maxim Application Note 27, example 2, as quoted in periph's crc_test.go"},
		{"01 02 03 04 05 06 07 0f", "periph's crc_test.go"},
		{"28 ac 41 0e 07 00 00 74", "periph's ds18b20_test.go"},
	} {
		b, err := hex.DecodeString(strings.ReplaceAll(row.bytes, " ", ""))
		if err != nil || !onewire.CheckCRC(b) {
			t.Errorf("%s (%s): checksum refused", row.bytes, row.source)
		}
	}
}

func TestWhatTheBytesSayOfTheChip(t *testing.T) {
	for _, row := range []struct {
		pad   Scratchpad
		maker string
		bits  int
	}{
		{pad(t, "50 05 4b 46 7f ff 0c 10 1c"), "genuine", 12}, // README of counterfeit_DS18B20, as the families' byte 7
		{sealed(0x0191, 0x1f, 0xff, 0x66), "clone d", 9},
		{sealed(0x0191, 0x3f, 0xff, 0xff), "clone e", 10},
		{sealed(0x0191, 0x5f, 0xff, 0x42), "unknown", 11},
	} {
		if maker, bits := row.pad.Maker(), row.pad.Bits(); maker != row.maker || bits != row.bits {
			t.Errorf("% x: got %s and %d bit, want %s and %d", row.pad, maker, bits, row.maker, row.bits)
		}
	}
}
