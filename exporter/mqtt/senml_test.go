package mqtt_test

import (
	"encoding/json"
	"regexp"
	"strings"
	"testing"

	"nestmon/exporter"
	"nestmon/thresholds"
)

func TestSenML(t *testing.T) {
	s := summerDay()
	s.Synced = true
	const want = `[{"bn":"barn/","bt":1784030400,"n":"a1/cluster-temperature","u":"Cel","v":39.5,"t":-20},` +
		`{"n":"a1/air-temperature","u":"Cel","v":36.06,"t":-20},{"n":"a1/air-humidity","u":"%RH","v":55.5,"t":-20},{"n":"a1/carbon-dioxide","u":"/","v":0.00185,"t":-20},` +
		`{"n":"b2/air-temperature","u":"Cel","v":-0.5,"t":-20},` +
		`{"n":"outside/air-temperature","u":"Cel","v":31.25,"t":-20},{"n":"outside/air-humidity","u":"%RH","v":40,"t":-20},` +
		`{"n":"battery/voltage","u":"V","v":12.61,"t":-20},{"n":"battery/current","u":"A","v":-0.15,"t":-20}]`
	if got := root.SenML(s); got != want {
		t.Errorf("got  %s\nwant %s", got, want)
	}
	s.Synced = false
	if got := root.SenML(s); got != strings.Replace(want, `"bt":1784030400,`, "", 1) {
		t.Errorf("with a clock that is not set: %s", got)
	}
	if got := root.SenML(&exporter.State{Snapshot: thresholds.Snapshot{Time: noon}}); got != "" {
		t.Errorf("without a value: %q", got)
	}
}

// TestSenMLResolves works the records out as a reader does (RFC 8428, 4.6) and holds them to the grammar of names and to the register of units.
func TestSenMLResolves(t *testing.T) {
	s := summerDay()
	s.Synced = true
	var pack []struct {
		BN, N, U string
		BT, T, V *float64
	}
	in := json.NewDecoder(strings.NewReader(root.SenML(s)))
	in.DisallowUnknownFields()
	if err := in.Decode(&pack); err != nil {
		t.Fatal(err)
	}
	name := regexp.MustCompile(`^[A-Za-z0-9][A-Za-z0-9:./_-]*$`)
	registered := map[string]bool{"Cel": true, "%RH": true, "/": true, "V": true, "A": true}
	base, from, seen := "", 0.0, map[string]bool{}
	for _, r := range pack {
		if r.BN != "" {
			base = r.BN
		}
		if r.BT != nil {
			from = *r.BT
		}
		full := base + r.N
		if !name.MatchString(full) || !registered[r.U] || r.V == nil || seen[full] {
			t.Errorf("%q in %q, value %v, twice: %v", full, r.U, r.V, seen[full])
		}
		if at := from + *r.T; at != float64(noon.Unix()-20) {
			t.Errorf("%s is of %f", full, at)
		}
		seen[full] = true
	}
	if len(pack) == 0 {
		t.Error("an empty pack")
	}
}
