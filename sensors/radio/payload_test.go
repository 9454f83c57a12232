package radio

import (
	"math"
	"strings"
	"testing"
	"time"

	"nestmon/sensors"
)

// node is a probe of the whole payload, or of what a pointer finds in it.
func node(pointers map[string]string, unit string) *probe {
	return newProbe(ProbeConfig{
		Entry: sensors.Entry{ID: "a1", Source: Kind, Interval: 5 * time.Minute}, Topic: "barn/a1", Pointers: pointers, Unit: unit,
	}, 30*time.Second)
}

var noon = time.Date(2026, 1, 20, 12, 0, 0, 0, time.UTC)

// hear is what a message says of the first quantity, rounded as the archive does; nil when it says nothing.
func hear(p *probe, payload string) *sensors.Reading {
	p.take(message{topic: p.topic, payload: []byte(payload), came: noon}, noon)
	told := p.channels[0].told
	p.channels[0].told = nil
	if len(told) == 0 {
		return nil
	}
	r := told[0].reading
	r.Value = r.Quantity.Quantise(r.Value)
	return &r
}

var (
	plain  = map[string]string{}
	atTemp = map[string]string{"temperature": "/temp"}
	senML  = map[string]string{"temperature": "/0/v"}
)

// payloads hold what nodes and gateways were seen to send, and what they should not.
var payloads = []struct {
	name     string
	pointers map[string]string
	unit     string
	payload  string
	want     float64
	fault    sensors.Fault
	silent   bool
}{
	{name: "a plain number", payload: "21.5", want: 21.5},
	{name: "with space and newline, as shells and printf send it", payload: " 21.5\r\n", want: 21.5},
	{name: "in quotes", payload: `"21.5"`, want: 21.5},
	{name: "below zero", payload: "-7.25", want: -7.25},
	{name: "in Fahrenheit", unit: "F", payload: "100", want: 37.78},
	{name: "the scales cross", unit: "F", payload: "-40", want: -40},
	{name: "freezing in Fahrenheit", unit: "F", payload: "32", want: 0},
	{name: "with an exponent", payload: "2.15e1", want: 21.5},
	{name: "with its unit", payload: "21.5 °C", fault: sensors.Malformed},
	{name: "with a comma", payload: "21,5", fault: sensors.Malformed},
	{name: "hexadecimal", payload: "0x15", fault: sensors.Malformed},
	{name: "two numbers", payload: "21.5 22", fault: sensors.Malformed},
	{name: "infinite", payload: "inf", fault: sensors.Malformed},
	{name: "infinite by name", payload: "-Infinity", fault: sensors.Malformed},
	{name: "beyond a float", payload: "1e400", fault: sensors.Malformed},
	{name: "a number of a thousand digits", payload: strings.Repeat("9", 1000), fault: sensors.Malformed},
	{name: "bytes", payload: "\x00\x01\xff", fault: sensors.Malformed},
	{name: "a flag", payload: "true", fault: sensors.Malformed},
	{name: "too long", payload: strings.Repeat(" ", mostPayload) + "21.5", fault: sensors.Malformed},
	{name: "not a number", payload: "nan", fault: sensors.NotConverted},
	{name: "not a number, as Go and C differ", payload: "NaN", fault: sensors.NotConverted},
	{name: "empty: what was kept is deleted", payload: "", fault: sensors.NoAnswer},
	{name: "unavailable", payload: "unavailable", fault: sensors.NoAnswer},
	{name: "unknown", payload: "Unknown", fault: sensors.NoAnswer},
	{name: "the node's will", payload: "offline", fault: sensors.NoAnswer},
	// Numbers that stand for a failure are the screen's: tests/services has them.
	{name: "disconnected, the code of other firmware", payload: "-127", want: -127},
	{name: "disconnected, in Fahrenheit", unit: "F", payload: "-196.6", want: -127},
	{name: "power-on of a DS18B20", payload: "85.0", want: 85},
	{name: "power-on of a DS18B20 in Fahrenheit", unit: "F", payload: "185.00", want: 85},

	{name: "JSON", pointers: atTemp, payload: `{"temp": 21.5, "rh": 60}`, want: 21.5},
	{name: "JSON with a number in quotes", pointers: atTemp, payload: `{"temp": "21.5"}`, want: 21.5},
	{name: "JSON, nested", pointers: map[string]string{"temperature": "/nodes/1/air"}, payload: `{"nodes": [{}, {"air": 21.5}]}`, want: 21.5},
	{name: "JSON that speaks of something else", pointers: atTemp, payload: `{"battery": 80}`, silent: true},
	{name: "JSON that names no value", pointers: atTemp, payload: `{"temp": null}`, fault: sensors.NoAnswer},
	{name: "JSON with a word", pointers: atTemp, payload: `{"temp": "unavailable"}`, fault: sensors.NoAnswer},
	{name: "JSON with a block where the number should be", pointers: atTemp, payload: `{"temp": {"value": 21.5}}`, fault: sensors.Malformed},
	{name: "JSON with a list", pointers: atTemp, payload: `{"temp": [21.5]}`, fault: sensors.Malformed},
	{name: "JSON with a flag", pointers: atTemp, payload: `{"temp": false}`, fault: sensors.Malformed},
	{name: "JSON beyond a float", pointers: atTemp, payload: `{"temp": 1e999}`, fault: sensors.Malformed},
	{name: "JSON with NaN, which is none", pointers: atTemp, payload: `{"temp": NaN}`, fault: sensors.Malformed},
	{name: "JSON cut short", pointers: atTemp, payload: `{"temp": 21.5`, fault: sensors.Malformed},
	{name: "JSON with more after it", pointers: atTemp, payload: `{"temp": 21.5}{"temp": 22}`, fault: sensors.Malformed},
	{name: "JSON, deep", pointers: atTemp, payload: strings.Repeat("[", mostPayload/2) + strings.Repeat("]", mostPayload/2), silent: true},
	{name: "JSON, a bare number", pointers: atTemp, payload: "21.5", silent: true},
	{name: "JSON, a bare number where all of it is pointed at", pointers: map[string]string{"temperature": ""}, payload: "21.5", want: 21.5},
	{name: "JSON, the node's will", pointers: atTemp, payload: "offline", fault: sensors.NoAnswer},
	// RFC 8428, section 5, as quoted in the tests of public parsers.
	{name: "SenML", pointers: senML, payload: `[{"n":"urn:dev:ow:10e2073a01080063","u":"Cel","v":23.1}]`, want: 23.1},
	{name: "SenML, several", pointers: senML, payload: `[{"bn":"urn:dev:ow:10e2073a01080063:","n":"temp","u":"Cel","v":23.1},{"n":"label","vs":"Machine Room"}]`, want: 23.1},
}

func TestPayloads(t *testing.T) {
	for _, row := range payloads {
		t.Run(row.name, func(t *testing.T) {
			if row.unit == "" {
				row.unit = "C"
			}
			got := hear(node(row.pointers, row.unit), row.payload)
			switch {
			case got == nil:
				if !row.silent {
					t.Errorf("no reading, want %v with %q", row.want, row.fault)
				}
			case row.silent:
				t.Errorf("got %+v, want no reading", got)
			case got.Fault != row.fault || row.fault == "" && got.Value != row.want:
				t.Errorf("got %v with fault %q, want %v with %q", got.Value, got.Fault, row.want, row.fault)
			}
		})
	}
}

// FuzzPayload: whatever comes is a number or a fault of the list, and never ends the process.
func FuzzPayload(f *testing.F) {
	for _, row := range payloads {
		f.Add([]byte(row.payload))
	}
	for _, seed := range []string{`{"temp": 1, "time": 1e9}`, `{"temp": 1, "time": "2026-01-20T12:00:00Z"}`, `{"temp": 1, "time": -1e300}`, "[[[", "\xff\xfe", `"`} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, payload []byte) {
		timed := node(map[string]string{"temperature": "/temp", "humidity": "/0/v"}, "F")
		at, _ := parsePointer("/time")
		timed.time = &at
		for _, p := range []*probe{node(plain, "C"), node(atTemp, "F"), node(senML, "C"), timed} {
			p.take(message{topic: p.topic, payload: payload, came: noon}, noon)
			for _, c := range p.channels {
				for _, told := range c.told {
					r := told.reading
					if math.IsNaN(r.Value) || math.IsInf(r.Value, 0) || !r.OK() && r.Value != 0 || r.Time.After(noon.Add(aheadOf)) {
						t.Errorf("%q: got %+v", payload, r)
					}
					if !r.OK() && told.cause == nil {
						t.Errorf("%q: a fault without a cause", payload)
					}
				}
			}
		}
	})
}

func TestInstants(t *testing.T) {
	want := time.Date(2026, 1, 20, 12, 0, 0, 0, time.UTC) // 1768910400 by date -u -d 2026-01-20T12:00 +%s
	for _, payload := range []string{
		`{"temp": 20, "time": 1768910400}`, `{"temp": 20, "time": 1.7689104e9}`, `{"temp": 20, "time": "1768910400"}`, `{"temp": 20, "time": 1768910400000}`,
		`{"temp": 20, "time": "2026-01-20T12:00:00Z"}`, `{"temp": 20, "time": "2026-01-20T05:00:00.000-07:00"}`,
	} {
		p := node(atTemp, "C")
		at, _ := parsePointer("/time")
		p.time = &at
		if got := hear(p, payload); got == nil || !got.OK() || !got.Time.Equal(want) {
			t.Errorf("%s: got %+v, want a value of %v", payload, got, want)
		}
	}
	for _, payload := range []string{
		`{"temp": 20}`, `{"temp": 20, "time": null}`, `{"temp": 20, "time": "2026-01-20 12:00:00"}`, `{"temp": 20, "time": "noon"}`, `{"temp": 20, "time": {}}`,
		`{"temp": 20, "time": 1768910400000000}`, `{"temp": 20, "time": -5}`, `{"temp": 20, "time": 1768914000}`, // an hour ahead
	} {
		p := node(atTemp, "C")
		at, _ := parsePointer("/time")
		p.time = &at
		if got := hear(p, payload); got == nil || got.Fault != sensors.Malformed {
			t.Errorf("%s: got %+v, want malformed", payload, got)
		}
	}
}
