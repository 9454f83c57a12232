package i2c

import (
	"log/slog"
	"testing"
	"time"

	"periph.io/x/conn/v3/i2c"

	"nestmon/sensors"
	"nestmon/sensors/i2c/i2ctest"
)

// source makes a source whose bus is the emulated one.
func source(t *testing.T, bus i2c.BusCloser, probes ...ProbeConfig) *Source {
	t.Helper()
	s, err := New("/", probes, 30*time.Second, slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	for _, l := range s.lines {
		l.open = func(string) (i2c.BusCloser, error) { return bus, nil }
	}
	for _, at := range s.seats {
		at.random = func() float64 { return 0.5 }
	}
	return s
}

// config is an SHT4x on i2c-1.
func config(id string, address uint16) ProbeConfig {
	return ProbeConfig{Entry: sensors.Entry{ID: id, Source: Kind}, Chip: sensors.ChipSHT4x, Bus: "i2c-1", Address: address}
}

// behind puts it behind a multiplexer.
func behind(c ProbeConfig, mux uint16, channel int) ProbeConfig {
	c.Mux, c.Channel = mux, &channel
	return c
}

func emulated(celsius float64) *i2ctest.SHT4x {
	return &i2ctest.SHT4x{Celsius: celsius, Humidity: 60, Serial: 7}
}

// one reads the source and returns its first reading, a temperature.
func one(t *testing.T, s *Source) sensors.Reading {
	t.Helper()
	return s.Read(t.Context())[0]
}
