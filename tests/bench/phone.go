package main

import (
	"context"
	"encoding/pem"
	"errors"
	"fmt"
	"io"
	"log"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/archive"
	"nestmon/exporter/metrics"
	"nestmon/exporter/phone"
	"nestmon/sensors"
	"nestmon/thresholds"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/calls"
)

// How many alarms are timed on each way, and how often the other way looks.
const (
	phoneAlarms   = 200
	scrapedAlarms = 5
	scrapeEvery   = 2 * time.Second
)

// A nest that is too hot for so many polls and cool again for so many.
const (
	hotPolls  = 30
	coolPolls = 40
)

// alarmToPhone prints how long it takes from the reading that makes an alarm, with ninety series of thirty nests in its poll, to the request that a
// webhook's server gets over TLS: screened, decided, written into the archive and synced, taken out again and sent. Beside it the same alarm through
// Prometheus and Alertmanager, which look every two seconds and wait for nothing else.
func alarmToPhone(w io.Writer, _, dir string) error {
	hooked := make(chan string, 64)
	server := httptest.NewUnstartedServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		body, _ := io.ReadAll(r.Body)
		hooked <- string(body)
	}))
	server.Config.ErrorLog = log.New(io.Discard, "", 0)
	server.StartTLS()
	defer server.Close()
	ca := filepath.Join(dir, "ca.pem")
	if err := os.WriteFile(ca, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: server.Certificate().Raw}), 0o600); err != nil {
		return err
	}
	if err := os.Setenv("SSL_CERT_FILE", ca); err != nil {
		return err
	}
	p, err := newPhonePipe(filepath.Join(dir, "data"), server.URL)
	if err != nil {
		return err
	}
	defer p.close()
	var took []time.Duration
	for len(took) < phoneAlarms {
		began, err := p.raise()
		if err != nil {
			return err
		}
		if err := hookedBy(hooked, `"state":"raised"`, alarmPatience); err != nil {
			return err
		}
		took = append(took, time.Since(began))
		if err := p.calm(); err != nil {
			return err
		}
		if err := hookedBy(hooked, `"state":"cleared"`, alarmPatience); err != nil {
			return err
		}
	}
	a := quantiles(took)
	fmt.Fprintf(w, "reading to the webhook's request over TLS, archive synced between, %d times: median %.1f ms, 99 %% %.1f ms, worst %.1f ms\n", phoneAlarms, a[0], a[1], a[2])
	scraped, err := throughPrometheus(dir)
	if errors.Is(err, exec.ErrNotFound) {
		fmt.Fprintf(w, "the other way is skipped: %v\n", err)
		return nil
	}
	if err != nil {
		return err
	}
	s := quantiles(scraped)
	fmt.Fprintf(w, "the same through Prometheus and Alertmanager at %s intervals, %d times: median %.0f ms, worst %.0f ms; median ratio %.0f\n", scrapeEvery, scrapedAlarms, s[0], s[2], s[0]/a[0])
	return nil
}

// hookedBy waits for a request that holds text; whatever else comes is of no interest.
func hookedBy(hooked <-chan string, text string, patience time.Duration) error {
	end := time.After(patience)
	for {
		select {
		case body := <-hooked:
			if strings.Contains(body, text) {
				return nil
			}
		case <-end:
			return fmt.Errorf("no request about %q within %s", text, patience)
		}
	}
}

// phonePipe is the daemon's way from a poll to the phone.
type phonePipe struct {
	rabbitry *thresholds.Rabbitry
	screen   interface{ Apply([]sensors.Reading) }
	panel    alarm.Panel
	desk     *calls.Desk
	words    phone.Writer
	archive  *archive.Archive
	pump     *exporter.Pump
	at       time.Time
	poll     int
}

func newPhonePipe(dir, url string) (*phonePipe, error) {
	cfg := domain(false)
	rabbitry, err := thresholds.New(cfg)
	if err != nil {
		return nil, err
	}
	rabbitry.SetLitters(litters(cfg), start())
	channel := phone.Channel{Name: "mobile", URL: exporter.NewSecret(url), Format: "json"}
	hook, err := phone.New(channel)
	if err != nil {
		return nil, err
	}
	a, err := archive.Open(dir, archive.Options{Probes: cfg.Probes, Now: time.Now, Log: slog.New(slog.DiscardHandler)})
	if err != nil {
		return nil, err
	}
	if err := a.SetChannels([]string{channel.Name}); err != nil {
		return nil, errors.Join(err, a.Close())
	}
	words := phone.Writer{Config: phone.Config{Channels: []phone.Channel{channel}}}
	return &phonePipe{
		rabbitry: rabbitry, screen: newScreen(cfg), desk: calls.New(words.Config.Plan(time.UTC), calls.State{}), words: words,
		archive: a, pump: exporter.NewMessagePump(hook, a, exporter.Options{}), at: start(),
	}, nil
}

func (p *phonePipe) close() {
	ctx, cancel := context.WithTimeout(context.Background(), alarmPatience)
	defer cancel()
	_ = p.pump.Stop(ctx)
	_ = p.archive.Close()
}

// step takes one poll and reports whether it led to a message.
func (p *phonePipe) step(hot bool) (called bool, err error) {
	p.at, p.poll = p.at.Add(poll), p.poll+1
	batch := readings(nil, false, p.poll, p.at)
	for i := range batch {
		switch r := &batch[i]; {
		case r.Quantity != sensors.Temperature:
		case r.Probe == airID(0) && hot:
			r.Value = 31.3 + 0.01*float64(p.poll%3) // over the warning limit, under the urgent one
		case r.Probe != clusterID(0) && r.Probe != outsideID && strings.HasSuffix(r.Probe, "-air"):
			r.Value = 24 + 0.01*float64(p.poll%7)
		}
	}
	p.screen.Apply(batch)
	events := slices.Clone(p.rabbitry.Observe(p.at, batch))
	var changes []alarm.Change
	for _, e := range events {
		if c, ok := p.panel.Take(e); ok {
			changes = append(changes, c)
		}
	}
	on := p.rabbitry.Standing()
	standing, quiet := p.panel.Merge(on)
	c := exporter.Commit{Time: p.at, Synced: true, Readings: batch, Events: events, Standing: append(standing, quiet...), StandingChanged: len(events) > 0}
	for _, call := range p.desk.Step(calls.Now{Wall: p.at, Passed: poll}, changes, nil, standing) {
		if len(call.About) > 0 && call.About[0].Nest == "n0" && call.About[0].Name == alarm.NestHeat {
			called = true
		}
		c.Messages = append(c.Messages, p.words.Write(call, p.at, thresholds.Snapshot{}))
	}
	if err := p.archive.Commit(c); err != nil {
		return false, err
	}
	if len(c.Messages) > 0 {
		p.pump.Wake()
	}
	return called, nil
}

// raise makes n0 hot and returns when the poll that made the alarm began.
func (p *phonePipe) raise() (time.Time, error) { return p.until(true, 20*hotPolls) }

func (p *phonePipe) calm() error {
	_, err := p.until(false, 20*coolPolls)
	for range coolPolls {
		if err == nil {
			_, err = p.step(false)
		}
	}
	return err
}

func (p *phonePipe) until(hot bool, most int) (time.Time, error) {
	for range most {
		began := time.Now()
		called, err := p.step(hot)
		if err != nil || called {
			return began, err
		}
	}
	return time.Time{}, fmt.Errorf("nothing came of %d polls", most)
}

// throughPrometheus times the same condition on its way through metrics, Prometheus and Alertmanager to the same server.
func throughPrometheus(dir string) ([]time.Duration, error) {
	var addresses [4]string
	for i := range addresses {
		var err error
		if addresses[i], err = freeAddress(); err != nil {
			return nil, err
		}
	}
	scraped, prometheus, manager, hook := addresses[0], addresses[1], addresses[2], addresses[3]
	plain := &http.Server{Addr: hook, ReadHeaderTimeout: time.Second}
	heardOf := make(chan string, 64)
	plain.Handler = http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		body, _ := io.ReadAll(r.Body)
		heardOf <- string(body)
	})
	go plain.ListenAndServe() //nolint:errcheck // it ends with ErrServerClosed
	defer plain.Close()
	sink := metrics.New()
	if err := sink.Serve(metrics.Config{Listen: scraped}, slog.New(slog.DiscardHandler)); err != nil {
		return nil, err
	}
	defer sink.Close(context.Background()) //nolint:errcheck // the bench is over
	files := map[string]string{
		"rules.yml": "groups: [{name: bench, rules: [{alert: NestTooHot, expr: 'nestmon_alarm_severity{event=\"nest-heat\"} > 1'}]}]\n",
		"am.yml":    fmt.Sprintf("route: {receiver: phone, group_by: ['...'], group_wait: 0s, group_interval: 1s, repeat_interval: 24h}\nreceivers: [{name: phone, webhook_configs: [{url: 'http://%s/'}]}]\n", hook),
		"prom.yml": fmt.Sprintf("global: {scrape_interval: %[1]s, evaluation_interval: %[1]s}\nrule_files: ['%[2]s']\nalerting: {alertmanagers: [{static_configs: [{targets: ['%[3]s']}]}]}\nscrape_configs: [{job_name: nestmon, static_configs: [{targets: ['%[4]s']}]}]\n",
			scrapeEvery, filepath.Join(dir, "rules.yml"), manager, scraped),
	}
	for name, text := range files {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			return nil, err
		}
	}
	for _, program := range [][]string{
		{"NESTMON_ALERTMANAGER", "prometheus-alertmanager", "--config.file=" + filepath.Join(dir, "am.yml"), "--storage.path=" + dir, "--web.listen-address=" + manager, "--cluster.listen-address="},
		{"NESTMON_PROMETHEUS", "prometheus", "--config.file=" + filepath.Join(dir, "prom.yml"), "--storage.tsdb.path=" + filepath.Join(dir, "tsdb"), "--web.listen-address=" + prometheus},
	} {
		path := os.Getenv(program[0])
		if path == "" {
			var err error
			if path, err = exec.LookPath(program[1]); err != nil {
				return nil, err
			}
		}
		c := exec.Command(path, program[2:]...)
		if err := c.Start(); err != nil {
			return nil, err
		}
		defer func() {
			_ = c.Process.Kill()
			_ = c.Wait()
		}()
	}
	heat := alarm.Standing{Event: alarm.Event{Nest: "n0", Name: alarm.NestHeat, State: alarm.Raised, Severity: alarm.Urgent}, Status: alarm.Unacknowledged}
	show := func(on ...alarm.Standing) {
		s := &exporter.State{Snapshot: thresholds.Snapshot{Time: time.Now(), Alarms: on}}
		for n := range nests {
			s.Snapshot.Nests = append(s.Snapshot.Nests, thresholds.NestState{ID: fmt.Sprintf("n%d", n), Stage: thresholds.Nursing, Values: shown(n, 0, time.Now())})
		}
		_ = sink.Publish(context.Background(), s) // it cannot fail without a certificate
	}
	const warm, long = 10 * time.Second, time.Minute // both programs find each other first
	show()
	time.Sleep(warm)
	var took []time.Duration
	for i := range scrapedAlarms {
		began := time.Now()
		show(heat)
		if err := hookedBy(heardOf, "firing", long); err != nil {
			return nil, err
		}
		took = append(took, time.Since(began))
		show()
		if err := hookedBy(heardOf, "resolved", long); err != nil {
			return nil, err
		}
		time.Sleep(time.Duration(i) * scrapeEvery / scrapedAlarms) // not always at the same point between two looks
	}
	return took, nil
}
