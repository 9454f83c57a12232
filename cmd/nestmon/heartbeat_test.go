package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/phone"
	"nestmon/hardware"
	"nestmon/sensors"
	"nestmon/thresholds/alarm"
)

// twoWires is a configuration of two probes on two wires; it polls faster than any that check would let pass.
const twoWires = `
data: %s
probes: [{id: oak-air, source: w1, rom: 28-0316a2794d5f}, {id: elm-air, source: w1, rom: 28-0416c1e07bff}]
nests: [{id: oak, kind: wooden-box, air: oak-air}, {id: elm, kind: wooden-box, air: elm-air}]
phone:
  channels: [{name: mobile, url: "%s"}]
  heartbeat: {url: "%s/beat", every: 1m}
`

// watched is a daemon under the eyes of a service manager and of a receiver of its heartbeat.
type watched struct {
	*daemon
	root     string
	fed      atomic.Int64 // the watchdog
	beats    atomic.Int64
	receiver *httptest.Server
	release  chan struct{} // closed to end what hangs
	once     sync.Once
}

func (w *watched) letGo() { w.once.Do(func() { close(w.release) }) }

// watch runs a daemon on two wires, with a cycle every 40 ms and a heartbeat with every second one.
func watch(t *testing.T, before func(w *watched)) *watched {
	t.Helper()
	w := &watched{root: t.TempDir(), release: make(chan struct{})}
	w.receiver = httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { w.beats.Add(1) }))
	t.Cleanup(w.receiver.Close)
	for master, rom := range map[string]string{"w1_bus_master1": "28-0316a2794d5f", "w1_bus_master2": "28-0416c1e07bff"} {
		if err := os.WriteFile(filepath.Join(hang(t, w.root, master, rom), "w1_slave"), []byte(warm), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	const nobody = "http://127.0.0.1:1"
	cfg, findings := parseConfig([]byte(fmt.Sprintf(twoWires, t.TempDir(), nobody, w.receiver.URL)), time.Now())
	if anyError(findings) {
		t.Fatal(findings)
	}
	cfg.Poll, cfg.Phone.Heartbeat.Every = 40*time.Millisecond, 80*time.Millisecond
	log := slog.New(slog.DiscardHandler)
	var err error
	w.daemon, err = newDaemon(cfg, parts{
		log: log, pace: plainPace(cfg.Poll), trusted: func(time.Time) bool { return true },
		sources: func() ([]sensors.Source, error) { return openBus(cfg, w.root, log) },
	})
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	w.healthy = heartbeat(ctx, w.daemon, log, func(state string) error {
		if state == hardware.Watchdog {
			w.fed.Add(1)
		}
		return nil
	}, 100*time.Millisecond)
	if before != nil {
		before(w)
	}
	go func() { ended <- w.run(ctx) }()
	t.Cleanup(func() {
		w.letGo()
		cancel()
		if err := <-ended; err != nil {
			t.Error(err)
		}
		ctx, done := context.WithTimeout(context.Background(), 10*time.Second)
		defer done()
		w.stop(ctx) //nolint:errcheck // a bus of these tests hangs
	})
	return w
}

// Bounds of a test that fails, and how long nothing must come to count as silence: many times what lies between two words of a daemon that is
// well. Nothing is measured with either.
const (
	soon = 30 * time.Second
	lull = 500 * time.Millisecond
)

func goesOn(t *testing.T, what string, n *atomic.Int64) {
	t.Helper()
	from := n.Load()
	for end := time.Now().Add(soon); time.Now().Before(end); time.Sleep(5 * time.Millisecond) {
		if n.Load() >= from+3 {
			return
		}
	}
	t.Errorf("%s does not go on", what)
}

func stops(t *testing.T, what string, n *atomic.Int64) {
	t.Helper()
	for end := time.Now().Add(soon); time.Now().Before(end); {
		was := n.Load()
		if time.Sleep(lull); n.Load() == was {
			return
		}
	}
	t.Errorf("%s goes on", what)
}

// deafSink never comes back from a call, whatever its deadline.
type deafSink struct {
	name    string
	release chan struct{}
}

func (d deafSink) Name() string                                         { return d.name }
func (d deafSink) Send(context.Context, exporter.Message) error         { <-d.release; return nil }
func (d deafSink) Deliver(context.Context, []exporter.StoredPoll) error { <-d.release; return nil }
func (d deafSink) Sent(string, string, time.Time) error                 { <-d.release; return nil }
func (d deafSink) Refused(string, string, string) error                 { <-d.release; return nil }
func (d deafSink) Pending(string, time.Time, int) ([]exporter.Message, error) {
	<-d.release
	return nil, nil
}

// hasty are options under which a pump that hangs is found at once.
var hasty = exporter.Options{Timeout: 20 * time.Millisecond, Slack: 100 * time.Millisecond}

// replace puts a pump in the place of another.
func (w *watched) replace(p **exporter.Pump, far exporter.MessageSink, store exporter.MessageStore) {
	(*p).Stop(context.Background()) //nolint:errcheck // it has no end
	*p = exporter.NewMessagePump(far, store, hasty)
}

// Whatever hangs, nobody vouches for it. What is known to be dead, and what is only not reached, starts nothing anew.
func TestNobodyVouchesForADaemonThatHangs(t *testing.T) {
	t.Parallel()
	yes, no := true, false
	for _, row := range []struct {
		name         string
		feeds, beats bool
		before       func(w *watched) // before it runs
		then         func(t *testing.T, w *watched)
	}{
		{name: "nothing hangs", feeds: yes, beats: yes},
		{name: "a bus", feeds: yes, beats: yes, then: func(t *testing.T, w *watched) {
			pipe := filepath.Join(w.root, "pipe")
			if err := syscall.Mkfifo(pipe, 0o600); err != nil {
				t.Fatal(err)
			}
			if err := os.Rename(pipe, filepath.Join(w.root, "sys/bus/w1/devices/28-0416c1e07bff/w1_slave")); err != nil {
				t.Fatal(err)
			}
			for end := time.Now().Add(soon); w.poller.Buses()[1].Up; time.Sleep(5 * time.Millisecond) {
				if time.Now().After(end) {
					t.Fatal("the bus is not said to be down")
				}
			}
		}},
		{name: "the judge", feeds: no, beats: no, before: func(w *watched) {
			polls := 0
			w.seen = func([]alarm.Event) {
				if polls++; polls > 5 {
					<-w.release
				}
			}
		}},
		{name: "a channel", feeds: no, beats: no, before: func(w *watched) {
			memory := &exporter.Memory{}
			memory.Put(exporter.Message{ID: "1"})
			w.replace(&w.sinks.channels[0], deafSink{"mobile", w.release}, memory)
		}},
		{name: "the store that a channel reads", feeds: no, beats: no, before: func(w *watched) {
			far := deafSink{"mobile", w.release}
			w.replace(&w.sinks.channels[0], far, far)
		}},
		{name: "a sink of readings", feeds: no, beats: no, before: func(w *watched) {
			w.sinks.pumps = append(w.sinks.pumps, exporter.NewReadingPump(deafSink{"influx", w.release}, w.archive, hasty))
		}},
		{name: "the card, and what reads from it", feeds: yes, beats: no, before: func(w *watched) {
			far := deafSink{"mobile", w.release}
			w.replace(&w.sinks.channels[0], far, far)
			w.card.busy <- struct{}{} // a write that hangs
		}},
		{name: "the card, and the way past it", feeds: no, beats: no, before: func(w *watched) {
			far := deafSink{"mobile", w.release}
			w.replace(&w.sinks.spare[0], far, far)
			w.card.busy <- struct{}{}
		}},
		{name: "nothing, and no alarm gets through", feeds: yes, beats: no, before: func(w *watched) {
			w.sinks.sendUnstored([]exporter.Message{{ID: "1", Event: alarm.Event{Severity: alarm.Urgent}}})
			w.sinks.now = func() time.Time { return time.Now().Add(sinkPatience) }
		}},
		{name: "nothing, and an alarm has not got through yet", feeds: yes, beats: yes, before: func(w *watched) {
			w.sinks.sendUnstored([]exporter.Message{{ID: "1", Event: alarm.Event{Severity: alarm.Urgent}}})
		}},
	} {
		t.Run(row.name, func(t *testing.T) {
			t.Parallel()
			w := watch(t, row.before)
			if row.then != nil {
				goesOn(t, "the heartbeat", &w.beats)
				row.then(t, w)
			}
			for _, c := range []struct {
				name string
				n    *atomic.Int64
				on   bool
			}{{"the watchdog", &w.fed, row.feeds}, {"the heartbeat", &w.beats, row.beats}} {
				if c.on {
					goesOn(t, c.name, c.n)
				} else {
					stops(t, c.name, c.n)
				}
			}
			if w.letGo(); !row.feeds && row.name != "the card, and the way past it" {
				goesOn(t, "after all moves again, the watchdog", &w.fed)
				goesOn(t, "after all moves again, the heartbeat", &w.beats)
			}
		})
	}
}

// A day without network is many tries of everything, and none of them holds the watchdog up; nor does one that gets no answer.
func TestWithoutNetworkTheWatchdogIsFed(t *testing.T) {
	t.Parallel()
	w := watch(t, func(w *watched) {
		w.receiver.Close()
		w.sinks.sendUnstored([]exporter.Message{{ID: "1", Event: alarm.Event{Severity: alarm.Urgent}}})
	})
	for end := time.Now().Add(soon); w.sinks.heart.Health().Failed == 0 || w.sinks.spare[0].Health().Failed < 2; time.Sleep(5 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("nothing was tried: %+v", w.sinks.health())
		}
	}
	goesOn(t, "the watchdog", &w.fed)
	if got := w.sinks.severity(phone.HeartbeatName); got != alarm.Notice {
		t.Errorf("a heartbeat that fails is %v, want a notice", got)
	}
	health := w.sinks.health()
	if last := health[len(health)-1]; last.Name != phone.HeartbeatName || last.OK {
		t.Errorf("health %+v", last)
	}
	if err := errors.Join(unaccounted(w.daemon), w.stuck()); err != nil {
		t.Error(err)
	}
}
