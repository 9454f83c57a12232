package mqtt_test

import (
	"fmt"
	"log/slog"
	"maps"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"nestmon/exporter"
	"nestmon/exporter/mqtt"
	"nestmon/exporter/mqtt/demobroker"
	"nestmon/exporter/mqtt/proxytest"
	"nestmon/exporter/sinktest"
	"nestmon/thresholds/alarm"
)

// watcher is a subscriber that keeps what it saw, as any other program on the broker would.
type watcher struct {
	mu       sync.Mutex
	log      []mqtt.Message // in the order of arrival
	retained map[string]string
}

func watch(t *testing.T, url string) *watcher {
	t.Helper()
	w := &watcher{retained: map[string]string{}}
	opts := paho.NewClientOptions().AddBroker(url).SetClientID("watcher").SetConnectRetry(true).SetConnectRetryInterval(50 * time.Millisecond)
	c := paho.NewClient(opts) // in order, which is paho's default
	if token := c.Connect(); !token.WaitTimeout(patience) || token.Error() != nil {
		t.Fatalf("the watcher cannot connect: %v", token.Error())
	}
	t.Cleanup(func() { c.Disconnect(100) })
	token := c.Subscribe("homie/#", 1, func(_ paho.Client, m paho.Message) {
		w.mu.Lock()
		defer w.mu.Unlock()
		if strings.HasSuffix(m.Topic(), "/set") {
			return // what one client asks of another
		}
		w.log = append(w.log, mqtt.Message{Topic: m.Topic(), Payload: string(m.Payload())})
		if len(m.Payload()) == 0 {
			delete(w.retained, m.Topic())
		} else {
			w.retained[m.Topic()] = string(m.Payload())
		}
	})
	// The broker acknowledges a subscription before it looks for what is retained, and that look is not safe beside another
	// client's publishing (mochi-mqtt 2.7.9 under the race detector). An acknowledged message of ours means it is done.
	settled := c.Publish("watcher", 1, false, "settled")
	if !token.WaitTimeout(patience) || token.Error() != nil || !settled.WaitTimeout(patience) || settled.Error() != nil {
		t.Fatalf("the watcher cannot subscribe: %v, %v", token.Error(), settled.Error())
	}
	return w
}

func (w *watcher) holds(topic string) (string, bool) {
	w.mu.Lock()
	defer w.mu.Unlock()
	payload, ok := w.retained[topic]
	return payload, ok
}

func (w *watcher) all() map[string]string {
	w.mu.Lock()
	defer w.mu.Unlock()
	return maps.Clone(w.retained)
}

// said lists the payloads seen on topics that end with suffix.
func (w *watcher) said(suffix string) []string {
	w.mu.Lock()
	defer w.mu.Unlock()
	var out []string
	for _, m := range w.log {
		if strings.HasSuffix(m.Topic, suffix) {
			out = append(out, m.Payload)
		}
	}
	return out
}

// patience bounds a failing test.
const patience = 20 * time.Second

func eventually(t *testing.T, what string, ok func() bool) {
	t.Helper()
	for end := time.Now().Add(patience); time.Now().Before(end); time.Sleep(10 * time.Millisecond) {
		if ok() {
			return
		}
	}
	t.Fatalf("it never came to this: %s", what)
}

// quick shortens all waits.
func quick() mqtt.Timing {
	return mqtt.Timing{
		KeepAlive: 2 * time.Second, Ping: time.Second, Connect: time.Second, ConnectRetry: 50 * time.Millisecond, MaxReconnect: time.Second, Write: time.Second,
		Ack: time.Second, Reassert: 200 * time.Millisecond, Heartbeat: time.Hour, Yield: time.Hour, Rebuild: time.Hour,
	}
}

// broker starts one that ends with the process: closing it is not safe beside a connection that is just coming in (mochi-mqtt 2.7.9 under
// the race detector).
func broker(t *testing.T) *demobroker.Broker {
	t.Helper()
	b, err := demobroker.Start(0, slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func connect(t *testing.T, url string, change func(*mqtt.Options)) *mqtt.Client {
	t.Helper()
	o := mqtt.Options{Config: mqtt.DefaultConfig(), Timing: quick()}
	o.Config.Broker, o.Config.Device = url, "barn"
	if change != nil {
		change(&o)
	}
	c, err := mqtt.New(o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = c.Close(t.Context()) })
	return c
}

// publish tries until it succeeds, as the fan-out does.
func publish(t *testing.T, c *mqtt.Client, s *exporter.State) {
	t.Helper()
	var err error
	for end := time.Now().Add(patience); time.Now().Before(end); time.Sleep(50 * time.Millisecond) {
		if err = c.Publish(t.Context(), s); err == nil {
			return
		}
	}
	t.Fatal(err)
}

const state = "homie/5/barn/$state"

// store is what survives a restart.
type store map[string]string

func (s store) Meta(key string) (string, error) { return s[key], nil }
func (s store) SetMeta(key, value string) error { s[key] = value; return nil }

func TestConformance(t *testing.T) {
	sinktest.Publisher(t, func(t *testing.T) sinktest.PublisherRig {
		b := broker(t)
		p := proxytest.Start(t, b.Addr())
		w := watch(t, b.URL())
		return sinktest.PublisherRig{
			Sink: connect(t, "tcp://"+p.Addr(), nil),
			Far: sinktest.Far{
				Can: []sinktest.Conduct{sinktest.Absent, sinktest.Hangs, sinktest.Slow},
				Set: func(c sinktest.Conduct) {
					switch c {
					case sinktest.Absent:
						p.Cut()
					case sinktest.Hangs:
						p.Hole()
					case sinktest.Slow:
						p.Slow(func() { time.Sleep(20 * time.Millisecond) })
					default:
						p.Pass()
					}
				},
			},
			Shown: func() (float64, bool) {
				payload, ok := w.holds("homie/5/barn/a1/air-temperature")
				celsius, err := strconv.ParseFloat(payload, 64)
				return celsius, ok && err == nil
			},
		}
	})
}

func TestBirthOrder(t *testing.T) {
	b := broker(t)
	w := watch(t, b.URL())
	publish(t, connect(t, b.URL(), nil), summerDay())
	eventually(t, "ready", func() bool { return slices.Contains(w.said("$state"), "ready") })
	here := root
	here.Instance, _ = w.holds("homie/5/barn/site/instance")
	w.mu.Lock()
	defer w.mu.Unlock()
	tree := here.Tree(summerDay()).Values
	want := []string{"homie/5/barn/$state", "homie/5/barn/$description"}
	for _, m := range tree {
		want = append(want, m.Topic)
	}
	want = append(want, "homie/5/barn/$state")
	for i, topic := range want {
		if i >= len(w.log) || w.log[i].Topic != topic {
			t.Fatalf("message %d is not on %s: %v", i, topic, w.log)
		}
	}
	if w.log[0].Payload != "init" || w.log[len(want)-1].Payload != "ready" {
		t.Errorf("began with %q and ended with %q, want init and ready", w.log[0].Payload, w.log[len(want)-1].Payload)
	}
	for i, m := range tree {
		if w.log[i+2].Payload != m.Payload {
			t.Errorf("%s = %q, want %q", m.Topic, w.log[i+2].Payload, m.Payload)
		}
	}
}

func TestOnlyChangesArePublished(t *testing.T) {
	b := broker(t)
	w := watch(t, b.URL())
	c := connect(t, b.URL(), nil)
	for range 3 {
		publish(t, c, summerDay())
	}
	changed := summerDay()
	changed.Snapshot.Nests[0].Values[0].Value = 40
	changed.Snapshot.Nests[0].Values[2].Fresh = false
	changed.Snapshot.Alarms = nil
	publish(t, c, changed)
	const status = "cluster-chill: over since 2026-07-14T11:00Z, nobody has seen it"
	rows := []struct {
		topic string
		want  []string
	}{
		{"a1/cluster-temperature", []string{"39.5", "40"}},
		{"a1/air-temperature", []string{"36.06", ""}},
		{"a1/air-humidity", []string{"55.5"}},
		{"a1/alarm-status", []string{status + "; nest-heat: unacknowledged; probe-silent: acknowledged", status}},
		{"$alert/a1-nest-heat", []string{"urgent: the air in nest a1 is too hot; cool it\nStatus: unacknowledged\nRule: air over 35 °C for 10 min\nSource: invented", ""}},
	}
	for _, row := range rows {
		eventually(t, row.topic, func() bool { return slices.Equal(w.said("barn/"+row.topic), row.want) })
	}
	if n := len(w.said("$description")); n != 1 {
		t.Errorf("the description was published %d times, want once", n)
	}
}

func TestHeartbeatRepeats(t *testing.T) {
	b := broker(t)
	w := watch(t, b.URL())
	c := connect(t, b.URL(), func(o *mqtt.Options) { o.Timing.Heartbeat = 0 })
	for range 3 {
		publish(t, c, summerDay())
	}
	eventually(t, "the same value at least three times", func() bool { return len(w.said("a1/air-humidity")) >= 3 })
}

func TestStateIsSaidAgain(t *testing.T) {
	b := broker(t)
	w := watch(t, b.URL())
	publish(t, connect(t, b.URL(), nil), summerDay())
	eventually(t, "ready several times without another Publish", func() bool { return len(w.said("$state")) >= 5 })
}

func TestAnOldWillIsOverwritten(t *testing.T) {
	b := broker(t)
	w := watch(t, b.URL())
	publish(t, connect(t, b.URL(), func(o *mqtt.Options) { o.Timing.Reassert = time.Hour }), summerDay())
	other := paho.NewClient(paho.NewClientOptions().AddBroker(b.URL()).SetClientID("other"))
	if token := other.Connect(); !token.WaitTimeout(patience) || token.Error() != nil {
		t.Fatal(token.Error())
	}
	defer other.Disconnect(100)
	other.Publish(state, 1, true, "lost").WaitTimeout(patience)
	// This broker may deliver the answer before what it answers, so the order is not looked at.
	eventually(t, "lost is answered by a second ready", func() bool {
		said := slices.Sorted(slices.Values(w.said("$state")))
		return slices.Equal(said, []string{"init", "lost", "ready", "ready"})
	})
}

func TestCleanStop(t *testing.T) {
	b := broker(t)
	w := watch(t, b.URL())
	c := connect(t, b.URL(), nil)
	publish(t, c, summerDay())
	if err := c.Close(t.Context()); err != nil {
		t.Fatal(err)
	}
	eventually(t, "disconnected", func() bool { s, _ := w.holds(state); return s == "disconnected" })
	if err := c.Publish(t.Context(), summerDay()); err == nil {
		t.Error("published after the stop")
	}
	if err := c.Close(t.Context()); err != nil {
		t.Errorf("a second stop: %v", err)
	}
	if slices.Contains(w.said("$state"), "lost") {
		t.Error("the will was published at a clean stop")
	}
}

func TestDescriptionChangesOnlyUnderInit(t *testing.T) {
	b := broker(t)
	w := watch(t, b.URL())
	kept := store{}
	c := connect(t, b.URL(), func(o *mqtt.Options) { o.Store = kept })
	publish(t, c, summerDay())
	fewer := summerDay()
	fewer.Snapshot.Nests = fewer.Snapshot.Nests[:1]
	publish(t, c, fewer)
	eventually(t, "nest b2 is gone", func() bool { _, there := w.holds("homie/5/barn/b2/alarm"); return !there })
	eventually(t, "ready", func() bool { s, _ := w.holds(state); return s == "ready" })

	w.mu.Lock()
	defer w.mu.Unlock()
	now, descriptions := "", 0
	for _, m := range w.log {
		switch {
		case m.Topic == state:
			now = m.Payload
		case strings.HasSuffix(m.Topic, "$description"):
			descriptions++
			if now != "init" {
				t.Errorf("the description was published while %q", now)
			}
		}
	}
	if descriptions != 2 {
		t.Errorf("%d descriptions, want 2", descriptions)
	}
	for topic := range w.retained {
		if strings.Contains(topic, "/b2/") {
			t.Errorf("%s is still there", topic)
		}
	}
}

func TestVersionRisesWithTheShapeOnly(t *testing.T) {
	b := broker(t)
	w := watch(t, b.URL())
	kept := store{}
	fewer := summerDay()
	fewer.Snapshot.Nests = fewer.Snapshot.Nests[:1]
	for i, s := range []*exporter.State{summerDay(), summerDay(), fewer} { // each in a life of its own
		c := connect(t, b.URL(), func(o *mqtt.Options) {
			o.Store = kept
			// Coming back at once under an id that was just given up, a client may hear nothing (mochi-mqtt 2.7.9: the end of the old
			// session deletes the new one).
			o.Config.ClientID = fmt.Sprint("life", i)
			o.Now = func() time.Time { return noon }
		})
		publish(t, c, s)
		if err := c.Close(t.Context()); err != nil {
			t.Fatal(err)
		}
	}
	eventually(t, "three descriptions", func() bool { return len(w.said("$description")) == 3 })
	d := w.said("$description")
	if d[0] != d[1] {
		t.Errorf("the same shape was described differently:\n%s\n%s", d[0], d[1])
	}
	if !strings.Contains(d[0], `"version":1784030400,`) || !strings.Contains(d[2], `"version":1784030401,`) {
		t.Errorf("versions are not those of the clock and one more:\n%s\n%s", d[0], d[2])
	}
}

func TestOfflineNothingIsKept(t *testing.T) {
	b := broker(t)
	p := proxytest.Start(t, b.Addr())
	w := watch(t, b.URL())
	c := connect(t, "tcp://"+p.Addr(), nil)
	publish(t, c, summerDay())
	p.Cut()
	eventually(t, "the connection is seen to be lost", func() bool { return c.Publish(t.Context(), summerDay()) != nil })
	for i := range 1000 {
		s := summerDay()
		s.Snapshot.Nests[0].Values[0].Value = float64(i)
		if err := c.Publish(t.Context(), s); err == nil {
			t.Fatal("published without a connection")
		}
	}
	p.Pass()
	eventually(t, "the newest", func() bool { v, _ := w.holds("homie/5/barn/a1/cluster-temperature"); return v == "999" })
	eventually(t, "ready", func() bool { s, _ := w.holds(state); return s == "ready" })
	for _, v := range w.said("a1/cluster-temperature") {
		if v != "39.5" && v != "999" {
			t.Errorf("a stale %s reached the broker", v)
		}
	}
	if !slices.Contains(w.said("$state"), "lost") {
		t.Error("the cut was not followed by the will")
	}
}

func TestAlertsOfALongOutageAreGone(t *testing.T) {
	b := broker(t)
	p := proxytest.Start(t, b.Addr())
	w := watch(t, b.URL())
	c := connect(t, "tcp://"+p.Addr(), nil)
	publish(t, c, summerDay())
	p.Cut()
	s := summerDay()
	s.Snapshot.Alarms = nil
	s.Snapshot.Nests[0].Severity = alarm.None
	eventually(t, "the connection is seen to be lost", func() bool { return c.Publish(t.Context(), s) != nil })
	p.Pass()
	eventually(t, "no alert and ready", func() bool {
		_, there := w.holds("homie/5/barn/$alert/a1-nest-heat")
		now, _ := w.holds(state)
		return !there && now == "ready"
	})
}

func TestRebuild(t *testing.T) {
	b := broker(t)
	p := proxytest.Start(t, b.Addr())
	p.Cut()
	w := watch(t, b.URL())
	c := connect(t, "tcp://"+p.Addr(), func(o *mqtt.Options) {
		o.Timing.ConnectRetry = time.Hour // this client would come back in an hour
		o.Timing.Rebuild = time.Millisecond
	})
	if err := c.Publish(t.Context(), summerDay()); err == nil {
		t.Fatal("published without a connection")
	}
	p.Pass()
	eventually(t, "a new client has published", func() bool { s, _ := w.holds(state); return s == "ready" })
}

// rotten is a store that panics.
type rotten struct{ panics atomic.Int64 }

func (*rotten) Meta(key string) (string, error) {
	if key == "mqtt.instance" {
		return "0123abcd", nil
	}
	return "", nil
}

func (r *rotten) SetMeta(string, string) error {
	r.panics.Add(1)
	panic("rotten")
}

// A panic in the client's own goroutine ends neither the process nor the client.
func TestPanicEndsNothing(t *testing.T) {
	store := &rotten{}
	c := connect(t, broker(t).URL(), func(o *mqtt.Options) { o.Store = store })
	_ = c.Publish(t.Context(), sinktest.SomeState(20, true)) // it may fail by the panic, or for want of a connection
	eventually(t, "a panic", func() bool { return store.panics.Load() > 0 })
	publish(t, c, sinktest.SomeState(21, true))
}
