package main

import (
	"os"
	"strings"
	"testing"
)

// TestRadioLinesOfTheExample takes the wireless probes of the shipped example out of their comments.
func TestRadioLinesOfTheExample(t *testing.T) {
	text, err := os.ReadFile("example.yaml")
	if err != nil {
		t.Fatal(err)
	}
	var probes, section []string
	for line := range strings.Lines(string(text)) {
		switch {
		case strings.Contains(line, "source: radio,"):
			probes = append(probes, strings.TrimPrefix(line, "# "))
		case strings.HasPrefix(line, "# radio:"), len(section) > 0 && strings.HasPrefix(line, "#   "):
			section = append(section, strings.TrimPrefix(line, "# "))
		}
	}
	if len(probes) != 3 || len(section) != 7 {
		t.Fatalf("found %q and %q", probes, section)
	}
	whole := strings.Replace(string(text), "probes:\n", strings.Join(section, "")+"probes:\n"+strings.Join(probes, ""), 1)
	c, findings := parseConfig([]byte(whole), writtenBy)
	for _, f := range findings {
		if f.severity == isError {
			t.Errorf("line %d: %s", f.line, f.text)
		}
	}
	if got := c.probes()[1]; got.ID != "c3-air" || len(got.Quantities) != 2 {
		t.Errorf("got %+v", got)
	}
}

// TestCheckAsksTheBroker: what keeps wireless probes from being heard is said before the daemon is started.
func TestCheckAsksTheBroker(t *testing.T) {
	const config = `
data: DATA
radio: {broker: "tcp://127.0.0.1:1", username: barn, password_file: DATA/none}
probes: [{id: out, source: radio, topic: yard/shade, pointers: {temperature: /t, humidity: /rh}, unit: F, interval: 5m}]
outside: out
`
	dir := t.TempDir()
	code, out, errs := checkOn(t, t.TempDir(), strings.ReplaceAll(config, "DATA", dir))
	for _, want := range []string{
		"out: temperature and humidity from radio yard/shade, every 5m, no longer trusted after 15m",
		"missing   radio.password_file: there is no file " + dir + "/none; make it with",
	} {
		if !strings.Contains(out, want) {
			t.Errorf("%q is not in\n%s%s", want, out, errs)
		}
	}
	if code != exitFinding || strings.Count(out, "missing ") != 1 {
		t.Errorf("exit %d\n%s%s", code, out, errs)
	}
	plant(t, dir+"/none", "hunter2\n")
	if err := os.Chmod(dir+"/none", 0o600); err != nil {
		t.Fatal(err)
	}
	code, out, errs = checkOn(t, t.TempDir(), strings.ReplaceAll(config, "DATA", dir))
	if want := "missing   radio 127.0.0.1:1: cannot connect: "; code != exitFinding || !strings.Contains(out, want) || !strings.Contains(out, "is the broker running and reachable?") {
		t.Errorf("exit %d: %q is not in\n%s%s", code, want, out, errs)
	}
	if strings.Contains(out+errs, "hunter2") {
		t.Error("the password is shown")
	}
}

func TestWordsForBusesThatAreDown(t *testing.T) {
	for _, row := range []struct {
		down, slow, back []string
		linked           bool
		want             string
		not              string
	}{
		{[]string{"w1-1", "i2c-1"}, nil, nil, false, "Probe line w1-1, i2c-1 does not answer", "broker"},
		{[]string{"radio"}, nil, nil, false, "Nothing is heard of the wireless probes: their broker cannot be reached", "plug"},
		{[]string{"radio"}, nil, nil, true, "though their broker is connected. Look whether their gateway and the nodes", "reached"},
		{[]string{"w1-1", "radio"}, nil, nil, false, "Probe line w1-1 does not answer", "w1-1, radio"},
		{nil, []string{"radio"}, nil, true, "The wireless probes are heard only now and then", "cable"},
		{nil, nil, []string{"radio"}, true, "The wireless probes are heard again", "Probe line"},
	} {
		if got := busRemedy(row.down, row.slow, row.back, row.linked); !strings.Contains(got, row.want) || strings.Contains(got, row.not) {
			t.Errorf("%q: got %q", row.down, got)
		}
	}
}
