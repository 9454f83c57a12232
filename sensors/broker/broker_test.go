package broker_test

import (
	"errors"
	"fmt"
	"maps"
	"slices"
	"testing"

	"nestmon/sensors/broker"
)

func TestValidate(t *testing.T) {
	for _, row := range []struct {
		name, address string
		files         broker.Files
		want          []string // the keys that are reported
	}{
		{"plain", "tcp://localhost:1883", broker.Files{}, nil},
		{"secured", "ssl://broker.example:8883", broker.Files{CA: "ca", Cert: "cert", Key: "key"}, nil},
		{"files without TLS", "tcp://localhost:1883", broker.Files{CA: "ca", Cert: "cert", Key: "key"}, []string{"ca_file", "cert_file", "key_file"}},
		{"a certificate alone", "ssl://broker.example:8883", broker.Files{Cert: "cert"}, []string{"key_file"}},
		{"a key alone", "ssl://broker.example:8883", broker.Files{Key: "key"}, []string{"cert_file"}},
		{"another scheme", "mqtt://localhost:1883", broker.Files{}, []string{"broker"}},
		{"no port", "tcp://localhost", broker.Files{}, []string{"broker"}},
		{"nothing", "", broker.Files{}, []string{"broker"}},
	} {
		t.Run(row.name, func(t *testing.T) {
			got := map[string]string{}
			broker.Validate(row.address, row.files, func(path, problem string) { got[path] = problem })
			if paths := slices.Sorted(maps.Keys(got)); !slices.Equal(paths, row.want) {
				t.Errorf("reported %v, want %v", got, row.want)
			}
		})
	}
}

func TestWrongIsSeenThroughWrapping(t *testing.T) {
	inner := errors.New("no")
	err := fmt.Errorf("mqtt: %w", broker.Wrong{Err: inner})
	var wrong interface{ Misconfigured() bool }
	if !errors.As(err, &wrong) || !wrong.Misconfigured() || !errors.Is(err, inner) {
		t.Errorf("%v lost what it is", err)
	}
}
