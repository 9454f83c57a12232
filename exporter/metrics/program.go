package metrics

import (
	"bytes"
	"fmt"

	"github.com/prometheus/procfs"
)

// program measures this program at each scrape: the two of the usual metrics of a program that a board's keeper can act on, under their
// usual names. It reads one file of /proc, never the card and never a bus. The library's own collectors read ten times as much, which took
// longer than all the rest of a scrape.
type program struct {
	self  procfs.Proc
	known bool // there is a /proc
}

func newProgram() program {
	self, err := procfs.Self()
	return program{self: self, known: err == nil}
}

// write adds what can be measured to b.
func (p program) write(b *bytes.Buffer) {
	if !p.known {
		return
	}
	stat, err := p.self.Stat()
	if err != nil {
		return
	}
	for _, m := range []struct {
		name, kind, help string
		value            float64
	}{
		{"process_cpu_seconds_total", "counter", "Time on a processor, for this program and for the system on its behalf.", stat.CPUTime()},
		{"process_resident_memory_bytes", "gauge", "Memory that this program holds.", float64(stat.ResidentMemory())},
	} {
		fmt.Fprintf(b, "# HELP %[1]s %[2]s\n# TYPE %[1]s %[3]s\n%[1]s %[4]v\n", m.name, m.help, m.kind, m.value)
	}
}
