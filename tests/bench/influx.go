package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"time"

	influxdb2 "github.com/influxdata/influxdb-client-go/v2"

	"nestmon/exporter"
	"nestmon/exporter/archive"
	"nestmon/exporter/influx"
)

// influxWeek prints what a week's outage of InfluxDB costs in memory, and how long that week of 30 nests then takes into an influxd on
// loopback, beside a bare client that writes the same lines.
func influxWeek(w io.Writer, _, dir string) error {
	program, err := exec.LookPath(orName(os.Getenv("NESTMON_INFLUXD"), "influxd"))
	if err != nil {
		fmt.Fprintln(w, "skipped: influxd is not installed; set NESTMON_INFLUXD to its path")
		return nil
	}
	cfg := domain(false)
	cfg.Probes = cfg.Probes[1:] // without the air outside: 90 series
	a, err := archive.Open(filepath.Join(dir, "data"), archive.Options{Probes: cfg.Probes})
	if err != nil {
		return err
	}
	defer a.Close()
	if err := influxOutage(w, a); err != nil {
		return err
	}
	server, stop, err := startInfluxd(program, dir)
	if err != nil {
		return err
	}
	defer stop()
	return influxDrain(w, a, server)
}

func orName(path, name string) string {
	if path != "" {
		return path
	}
	return name
}

func influxSink(address, bucket string) (*influx.Sink, error) {
	places := map[string]influx.Place{}
	for n := range nests {
		places[clusterID(n)] = influx.Place{Nest: fmt.Sprintf("n%d", n), Role: "cluster"}
		places[airID(n)] = influx.Place{Nest: fmt.Sprintf("n%d", n), Role: "air"}
	}
	return influx.New(influx.Config{URL: address, Bucket: bucket}, "barn", places)
}

// influxOutage stores a week while nobody listens, with tries far closer together than in the daemon.
func influxOutage(w io.Writer, a *archive.Archive) error {
	address, err := freeAddress()
	if err != nil {
		return err
	}
	sink, err := influxSink("http://"+address, "away")
	if err != nil {
		return err
	}
	defer sink.Close()
	from := time.Now().Add(-time.Duration(pollsAWeek) * poll).Truncate(time.Second)
	store := func(i int) error {
		at := from.Add(time.Duration(i) * poll)
		return a.Commit(exporter.Commit{Time: at, Synced: true, Readings: readings(nil, false, i, at)[2:]})
	}
	pump := exporter.NewReadingPump(sink, a, exporter.Options{MaxBackOff: 20 * time.Millisecond})
	defer pump.Stop(context.Background()) //nolint:errcheck // it only waits
	const warm = 200                      // polls before the first measurement
	var before, after, now runtime.MemStats
	most := uint64(0)
	for i := range pollsAWeek {
		if i == warm {
			runtime.GC()
			runtime.ReadMemStats(&before)
		}
		if err := store(i); err != nil {
			return err
		}
		pump.Wake()
		if i > warm && i%200 == 0 {
			runtime.ReadMemStats(&now)
			most = max(most, now.HeapInuse)
		}
	}
	runtime.GC()
	runtime.ReadMemStats(&after)
	h := pump.Health()
	fmt.Fprintf(w, "a week away, %d readings wait, %d tries: heap %+.2f MB after collection, %+.2f MB in use at most between\n",
		h.Pending, h.Failed, (float64(after.HeapAlloc)-float64(before.HeapAlloc))/1e6, (float64(most)-float64(before.HeapInuse))/1e6)
	return nil
}

// startInfluxd starts a server without accounts.
func startInfluxd(program, dir string) (address string, stop func(), err error) {
	rpc, err := freeAddress()
	if err != nil {
		return "", nil, err
	}
	listen, err := freeAddress()
	if err != nil {
		return "", nil, err
	}
	config := filepath.Join(dir, "influxd.toml")
	text := fmt.Sprintf(`reporting-disabled = true
bind-address = %q
meta = {dir = "%[3]s/meta"}
data = {dir = "%[3]s/tsm", wal-dir = "%[3]s/wal"}
http = {bind-address = %[2]q, log-enabled = false}
monitor = {store-enabled = false}
`, rpc, listen, dir)
	if err := os.WriteFile(config, []byte(text), 0o600); err != nil {
		return "", nil, err
	}
	c := exec.Command(program, "-config", config)
	if err := c.Start(); err != nil {
		return "", nil, err
	}
	stop = func() { _ = c.Process.Kill(); _ = c.Wait() }
	address = "http://" + listen
	for range 300 {
		if _, err = get(address + "/health"); err == nil {
			return address, stop, nil
		}
		time.Sleep(100 * time.Millisecond)
	}
	stop()
	return "", nil, fmt.Errorf("influxd does not answer: %w", err)
}

func influxDrain(w io.Writer, a *archive.Archive, address string) error {
	for _, db := range []string{"warm", "ours", "bare"} {
		resp, err := http.PostForm(address+"/query", url.Values{"q": {"CREATE DATABASE " + db}})
		if err != nil {
			return err
		}
		_ = resp.Body.Close()
	}
	texts, err := weekOfLines(a)
	if err != nil {
		return err
	}
	bare := func(db string, texts []string) (time.Duration, error) {
		client := influxdb2.NewClientWithOptions(address, "", influxdb2.DefaultOptions().SetPrecision(time.Second))
		defer client.Close()
		api := client.WriteAPIBlocking("", db)
		began := time.Now()
		for _, text := range texts {
			if err := api.WriteRecord(context.Background(), text); err != nil {
				return 0, err
			}
		}
		return time.Since(began), nil
	}
	if _, err := bare("warm", texts[:20]); err != nil {
		return err
	}
	sink, err := influxSink(address, "ours")
	if err != nil {
		return err
	}
	defer sink.Close()
	began := time.Now()
	pump := exporter.NewReadingPump(sink, a, exporter.Options{})
	for pump.Health().Sent < uint64(pollsAWeek*manySeries) {
		if h := pump.Health(); !h.OK {
			return errors.New(h.Error)
		}
		time.Sleep(10 * time.Millisecond)
	}
	ours := time.Since(began)
	if err := pump.Stop(context.Background()); err != nil {
		return err
	}
	theirs, err := bare("bare", texts)
	if err != nil {
		return err
	}
	fmt.Fprintf(w, "the week into influxd on loopback: %.1f s, %.1f times a bare client that writes the same %d requests from memory (%.1f s)\n",
		ours.Seconds(), float64(ours)/float64(theirs), len(texts), theirs.Seconds())
	return nil
}

// weekOfLines is what the pump sends, in full requests.
func weekOfLines(a *archive.Archive) ([]string, error) {
	const most = 5000 // lines
	var texts []string
	var b strings.Builder
	lines := 0
	add := func(poll exporter.StoredPoll) {
		for i := 0; i < len(poll.Readings); i++ {
			r := poll.Readings[i]
			if lines > 0 {
				b.WriteByte('\n')
			}
			role, fields := "cluster", fmt.Sprintf("temperature=%v", r.Value)
			if strings.HasSuffix(r.Probe, "air") {
				i++
				role, fields = "air", fmt.Sprintf("humidity=%v,%s", poll.Readings[i].Value, fields)
			}
			nest, _, _ := strings.Cut(r.Probe, "-")
			fmt.Fprintf(&b, "nestmon,nest=%s,probe=%s,role=%s,site=barn %s %d", nest, r.Probe, role, fields, r.Time.Unix())
			if lines++; lines == most {
				texts = append(texts, b.String())
				b.Reset()
				lines = 0
			}
		}
	}
	err := a.PollsBetween(time.Time{}, time.Now(), func(p exporter.StoredPoll) error { add(p); return nil })
	if lines > 0 {
		texts = append(texts, b.String())
	}
	return texts, err
}
