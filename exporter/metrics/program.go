package metrics

import (
	"bytes"
	"fmt"
	"runtime"
	"runtime/metrics"

	"github.com/prometheus/procfs"
)

// program measures this program at each scrape: the few of the usual metrics of a Go program that a board's keeper can act on, under their
// usual names. It reads two places in /proc, never the card and never a bus. The library's own collectors read five times as much, which took
// longer than all the rest of a scrape.
type program struct {
	self  procfs.Proc
	known bool    // there is a /proc
	began float64 // Unix seconds
}

func newProgram() program {
	self, err := procfs.Self()
	if err != nil {
		return program{}
	}
	p := program{self: self, known: true}
	if stat, err := self.Stat(); err == nil {
		p.began, _ = stat.StartTime() // 0 is left out
	}
	return p
}

// write adds what can be measured to b.
func (p program) write(b *bytes.Buffer) {
	heap := []metrics.Sample{{Name: "/memory/classes/heap/objects:bytes"}}
	metrics.Read(heap)
	put := func(name, kind, help string, v float64) {
		if v > 0 {
			fmt.Fprintf(b, "# HELP %[1]s %[2]s\n# TYPE %[1]s %[3]s\n%[1]s %[4]v\n", name, help, kind, v)
		}
	}
	put("go_goroutines", "gauge", "Goroutines that exist.", float64(runtime.NumGoroutine()))
	if heap[0].Value.Kind() == metrics.KindUint64 {
		put("go_memstats_heap_alloc_bytes", "gauge", "Bytes on the heap that are in use.", float64(heap[0].Value.Uint64()))
	}
	if !p.known {
		return
	}
	if stat, err := p.self.Stat(); err == nil {
		put("process_cpu_seconds_total", "counter", "Time on a processor, for this program and for the system on its behalf.", stat.CPUTime())
		put("process_resident_memory_bytes", "gauge", "Memory that this program holds.", float64(stat.ResidentMemory()))
	}
	if open, err := p.self.FileDescriptorsLen(); err == nil {
		put("process_open_fds", "gauge", "Files and connections that are open.", float64(open))
	}
	put("process_start_time_seconds", "gauge", "When this program was started.", p.began)
}
