package board_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"nestmon/tests/board/line"
)

// Where in a conversion a signal comes, and how far signals to the daemon are apart: longer than a conversion of the kernel's, so that
// the second attempt is left alone, and no divisor of the poll, so that some come into a first one.
const (
	intoConversion = 100 * time.Millisecond
	apart          = 1070 * time.Millisecond
)

// signals shows that a signal ends a conversion of the kernel's without a word, and that nestmon takes no such end for a silent probe.
// Nothing is to be told of the line's being held low meanwhile: that is known already.
func (s stub) signals(wire string, daemon int) {
	s.t.Helper()
	held := "00 00 00 00 00 00 00 00 00 : crc=00 YES\n00 00 00 00 00 00 00 00 00 t=0"
	s.bridge(presence, 0)
	s.logged("probe=oak-cluster quantity=temperature fault=stuck-low")
	for times, want := range []string{held, ""} {
		var got line.Text
		s.call("Signal", line.Signals{Times: times, Every: intoConversion, Read: wire + "/w1_slave"}, &got)
		if text := strings.TrimSpace(got.Text); text != want || got.Error != "" {
			s.t.Errorf("%d signals: got %q %s, want %q", times, text, got.Error, want)
		}
	}
	const polls = 5
	s.call("Signal", line.Signals{Pid: daemon, Times: polls * int(poll/apart), Every: apart}, &line.Text{})
	if log := s.read(logFile)[s.seen:]; strings.Contains(log, "oak-cluster") {
		s.t.Errorf("signals made something of a conversion:\n%s", log)
	}
}

// bulk shows why nestmon has no use for therm_bulk_read: a trigger is one only with its newline, and is taken without one too.
func (s stub) bulk(master, wire string) {
	s.t.Helper()
	s.bridge(presence, 0)
	for _, row := range []struct{ written, want string }{
		{"trigger", "0"},   // nothing is converted
		{"trigger\n", "1"}, // it is, and nobody has read it
	} {
		s.write(master+"/therm_bulk_read", row.written)
		if got := s.read(master + "/therm_bulk_read"); got != row.want {
			s.t.Errorf("after %q: got %q, want %q", row.written, got, row.want)
		}
	}
	if got := s.read(wire + "/temperature"); got != "0" { // the line is held low
		s.t.Errorf("temperature: got %q, want 0", got)
	}
	if got := s.read(master + "/therm_bulk_read"); got != "0" {
		s.t.Errorf("after the temperature was read: got %q, want 0", got)
	}
}

// Answers of the bridge's status to a step of a search: every chip there has a one at each place of its number; nobody answers.
const (
	ones    = presence | 0xa0
	silence = presence | 0x60
)

// netlink reads and searches over the kernel's netlink, as a user without privileges. Every step of a search meets the same bits in the
// stub, so that no number can have its checksum, and no probe be found.
func (s stub) netlink() {
	s.t.Helper()
	s.write(configFile, fmt.Sprintf(`
data: /tmp/data2
poll: %v
probes:
  - {id: oak-cluster, source: onewire, bus: w1-1, rom: %s}
nests:
  - {id: oak, kind: wooden-box, cluster: oak-cluster}
`, poll, rom))
	const unload = "sudo modprobe -r w1_therm"
	s.bridge(silence, 0xff)
	s.says("a rival", []string{unload}, "check", "--config", configFile)
	// The daemon reads beside the kernel's driver: it does not refuse what it is told to do.
	daemon := s.daemon("/nestmon")
	s.logged("probe=oak-cluster quantity=temperature fault=no-answer")
	s.bridge(presence, 0)
	s.logged("probe=oak-cluster quantity=temperature fault=stuck-low")
	s.stop(daemon)

	s.call("Unload", "w1_therm", &struct{}{})
	for _, row := range []struct {
		name           string
		status, data   uint8
		check, listing string
	}{
		{"a search that nobody answers", silence, 0xff, rom + " is not on w1-1; check its three wires", "onewire-w1-1"},
		{"a line held low", presence, 0, "every bit of a search is zero: the data line is held low", "every bit of a search is zero"},
		{"noise", ones, 0xff, "w1-1 shows 1 numbers that no chip has", "noise on the line made this number up"},
		{"nobody present", idle, 0xff, rom + " is not on w1-1; check its three wires", "onewire-w1-1"},
	} {
		s.bridge(row.status, row.data)
		if out := s.says(row.name, []string{row.check}, "check", "--config", configFile); strings.Contains(out, unload) {
			s.t.Errorf("%s: the driver that was unloaded is still told of:\n%s", row.name, out)
		}
		s.says(row.name, []string{row.listing}, "probes")
	}
}

// softdog shows what the kernel's watchdog grants, which is more than a board's own does.
func (m *machine) softdog(t *testing.T) {
	dog := m.find("/sys/class/watchdog/watchdog*")
	for file, want := range map[string]string{"identity": "Software Watchdog", "timeout": "60", "max_timeout": "65535", "state": "inactive"} {
		if got := m.read(dog + "/" + file); got != want {
			t.Errorf("softdog's %s: got %q, want %q", file, got, want)
		}
	}
}
