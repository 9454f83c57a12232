package services_test

import (
	"bufio"
	"bytes"
	"fmt"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"testing"
	"time"

	"nestmon/exporter"
	"nestmon/sensors"
)

// A week of thirty nests waits for a server that was away: 90 series, 20,160 polls, 1,814,400 readings. The daemon sends them, is killed
// in the middle, and starts again. Then every value is read back and compared with the archive: none is lost, none changed.
func TestTheWeekArrivesWhole(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("long: a week is stored, sent and read back")
	}
	const polls, series = 7 * 2880, 90
	binary(t, "influxd")
	s := shed{nests: 30, dir: t.TempDir()}
	from := time.Now().Add(-polls * spacing).Truncate(time.Second)
	s.fill(t, polls, from)
	server := startInfluxd(t)
	server.query(t, "CREATE DATABASE week")
	page := fmt.Sprintf("127.0.0.1:%d", freePort(t))
	config := s.config(t, fmt.Sprintf("  page: {listen: %q}\n  influxdb: {url: %q, bucket: week, token: %q}", page, server.url, goodToken))
	run := func() *process { return launch(t, built(t), "run", "--config", config, "--root", t.TempDir()) }

	daemon := run()
	eventually(t, "a part of the week", func() bool { return server.count(t, "week", "n0-air") >= polls/4 })
	daemon.kill()
	if n := server.count(t, "week", "n29-air"); n >= polls {
		t.Error("the whole week was there before the daemon was killed: this shows nothing")
	}
	daemon = run()
	eventually(t, "the newest poll", func() bool { return server.count(t, "week", "n29-air") == polls })
	eventually(t, "nothing waits", func() bool { sink := influxOf(t, page); return sink.Sent > 0 && sink.Pending == 0 })
	daemon.end()

	want := map[string][][2]float64{} // temperature and humidity by probe and poll
	readings := 0
	s.each(t, func(p exporter.StoredPoll) {
		readings += len(p.Readings)
		for _, r := range p.Readings {
			if r.Quantity == sensors.Temperature {
				want[r.Probe] = append(want[r.Probe], [2]float64{})
			}
			all := want[r.Probe]
			all[len(all)-1][r.Quantity] = r.Value
		}
	})
	if readings != polls*series {
		t.Fatalf("the archive holds %d readings, want %d", readings, polls*series)
	}
	got := 0
	for probe, values := range want {
		n := 0
		server.rows(t, "week", probe, func(unix int64, temperature, humidity string) {
			i := int(time.Unix(unix, 0).Sub(from) / spacing)
			if i < 0 || i >= len(values) || from.Add(time.Duration(i)*spacing).Unix() != unix {
				t.Fatalf("%s has a value at %d, where the archive has none", probe, unix)
			}
			for q, text := range []string{temperature, humidity} {
				if text == "" {
					continue
				}
				if v, err := strconv.ParseFloat(text, 64); err != nil || v != values[i][q] {
					t.Fatalf("%s at %d: %q, the archive has %v", probe, unix, text, values[i][q])
				}
				got++
			}
			n++
		})
		if n != polls {
			t.Errorf("%s has %d rows, want %d", probe, n, polls)
		}
	}
	if got != polls*series {
		t.Errorf("%d readings arrived, want %d", got, polls*series)
	}
}

// count is how many temperatures of a probe the server has.
func (s *influxd) count(t *testing.T, db, probe string) int {
	t.Helper()
	_, rows := s.query(t, fmt.Sprintf(`SELECT count(temperature) FROM "%s"..nestmon WHERE probe = '%s'`, db, probe))
	if len(rows) == 0 {
		return 0
	}
	return int(rows[0][1].(float64))
}

// rows reads all of a probe, as text.
func (s *influxd) rows(t *testing.T, db, probe string, do func(unix int64, temperature, humidity string)) {
	t.Helper()
	q := fmt.Sprintf(`SELECT temperature, humidity FROM "%s"..nestmon WHERE probe = '%s'`, db, probe)
	req, err := http.NewRequestWithContext(t.Context(), http.MethodGet, s.url+"/query?epoch=s&"+url.Values{"q": {q}}.Encode(), nil)
	if err != nil {
		t.Fatal(err)
	}
	req.SetBasicAuth("admin", "pw-9f3")
	req.Header.Set("Accept", "application/csv")
	resp, err := http.DefaultClient.Do(req)
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	lines := bufio.NewScanner(resp.Body)
	lines.Scan()
	if head := lines.Bytes(); !bytes.Equal(head, []byte("name,tags,time,temperature,humidity")) {
		t.Fatalf("%s: %q", q, head)
	}
	for lines.Scan() {
		cell := strings.Split(lines.Text(), ",")
		unix, err := strconv.ParseInt(cell[2], 10, 64)
		if err != nil {
			t.Fatal(err)
		}
		do(unix, cell[3], cell[4])
	}
	if err := lines.Err(); err != nil {
		t.Fatal(err)
	}
}
