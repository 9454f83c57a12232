package services_test

import (
	"bufio"
	"encoding/json"
	"fmt"
	"strings"
	"testing"
	"time"

	"nestmon/exporter"
)

// A server that loses what it acknowledged last, because it writes to the disk later: VictoriaMetrics, killed right after its 204. Going
// back behind what is surely kept refills it, and what it had twice is one value.
func TestWhatTheServerLosesIsSentAgain(t *testing.T) {
	t.Parallel()
	binary(t, "victoria-metrics")
	address := fmt.Sprintf("127.0.0.1:%d", freePort(t))
	owner, dir := t, t.TempDir()
	up := func() *process {
		p := start(owner, "victoria-metrics", "-httpListenAddr="+address, "-storageDataPath="+dir, "-retentionPeriod=12",
			"-search.latencyOffset=0s", "-dedup.minScrapeInterval=1ms")
		p.ready(t, answers("http://"+address+"/health"))
		return p
	}
	server := up()
	store := &shelf{}
	store.add(200, time.Now().Add(-3*time.Hour))
	options := quick
	options.Settle = time.Hour // nothing is old enough to be believed yet
	pump := exporter.NewReadingPump(sinkFor(t, "http://"+address, "nest", ""), store, options)
	eventually(t, "everything is acknowledged", func() bool { return pump.Health().Sent == 600 })
	server.kill()
	store.add(1, time.Now().Add(-3*time.Hour))
	pump.Wake()
	eventually(t, "the sink is reported as failed", func() bool { return !pump.Health().OK })
	up()
	if n := len(valuesOf(t, address)); n >= len(store.want())-3 {
		t.Logf("the server has %d of %d values after it was killed: it lost nothing this time", n, len(store.want())-3)
	}
	eventually(t, "everything once more", func() bool { return pump.Health().Sent >= 600+603 })
	stopPump(t, pump)
	compare(t, valuesOf(t, address), store.want())
}

// valuesOf reads every value of a VictoriaMetrics; one that is there twice is told.
func valuesOf(t *testing.T, address string) map[point]bool {
	t.Helper()
	fetch("http://" + address + "/internal/force_flush")
	all := map[point]bool{}
	lines := bufio.NewScanner(strings.NewReader(fetch("http://" + address + `/api/v1/export?reduce_mem_usage=0&match[]={__name__=~"nestmon_.*"}`)))
	lines.Buffer(nil, 16<<20)
	for lines.Scan() {
		var series struct {
			Metric     map[string]string
			Values     []float64
			Timestamps []int64
		}
		if err := json.Unmarshal(lines.Bytes(), &series); err != nil {
			t.Fatal(err)
		}
		for i, v := range series.Values {
			p := point{series.Metric["probe"], strings.TrimPrefix(series.Metric["__name__"], "nestmon_"), series.Timestamps[i] / 1000, v}
			if all[p] {
				t.Errorf("%v is there twice", p)
			}
			all[p] = true
		}
	}
	return all
}
