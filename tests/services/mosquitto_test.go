package services_test

import (
	"fmt"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"nestmon/exporter"
	"nestmon/exporter/mqtt"
	"nestmon/exporter/mqtt/proxytest"
	"nestmon/sensors"
	"nestmon/thresholds"
	"nestmon/thresholds/alarm"
)

const (
	barn      = "homie/5/barn"
	barnState = barn + "/$state"
	// barnInstance is where an installation says who it is.
	barnInstance = barn + "/site/instance"
	hunter       = "hunter2-very-secret"
)

// mosquitto is a broker that can be killed and started again on the same port.
type mosquitto struct {
	process *process
	conf    string
	addr    string
}

// prepareMosquitto writes a configuration for a free port, without persistence; more are lines for its listener.
func prepareMosquitto(t *testing.T, more ...string) *mosquitto {
	t.Helper()
	port := freePort(t)
	lines := []string{"per_listener_settings true", "persistence false"}
	if os.Geteuid() == 0 {
		lines = append(lines, "user root") // it would drop to a user that cannot read the test's folder
	}
	lines = append(lines, fmt.Sprintf("listener %d 127.0.0.1", port))
	if len(more) == 0 {
		more = []string{"allow_anonymous true"}
	}
	conf := filepath.Join(t.TempDir(), "mosquitto.conf")
	write(t, conf, strings.Join(append(lines, more...), "\n")+"\n")
	return &mosquitto{conf: conf, addr: fmt.Sprintf("127.0.0.1:%d", port)}
}

func (m *mosquitto) start(t *testing.T) {
	t.Helper()
	m.process = start(t, "mosquitto", "-c", m.conf)
	m.process.ready(t, listens(m.addr))
}

func startMosquitto(t *testing.T, more ...string) *mosquitto {
	t.Helper()
	m := prepareMosquitto(t, more...)
	m.start(t)
	return m
}

// observer is any other program on the broker.
type observer struct {
	client paho.Client
	mu     sync.Mutex
	log    []mqtt.Message
	live   map[string]string
}

func observe(t *testing.T, addr string, change func(*paho.ClientOptions), filters ...string) *observer {
	t.Helper()
	o := &observer{live: map[string]string{}}
	opts := paho.NewClientOptions().AddBroker("tcp://" + addr).SetAutoReconnect(false)
	if change != nil {
		change(opts)
	}
	o.client = paho.NewClient(opts)
	if token := o.client.Connect(); !token.WaitTimeout(patience) || token.Error() != nil {
		t.Fatalf("the observer cannot connect: %v", token.Error())
	}
	wanted := map[string]byte{}
	for _, f := range append(filters, "homie/#")[:max(1, len(filters))] {
		wanted[f] = 1
	}
	token := o.client.SubscribeMultiple(wanted, func(_ paho.Client, m paho.Message) {
		o.mu.Lock()
		defer o.mu.Unlock()
		o.log = append(o.log, mqtt.Message{Topic: m.Topic(), Payload: string(m.Payload())})
		switch {
		case strings.HasSuffix(m.Topic(), "/set"): // what is asked, and not kept
		case len(m.Payload()) == 0:
			delete(o.live, m.Topic())
		default:
			o.live[m.Topic()] = string(m.Payload())
		}
	})
	if !token.WaitTimeout(patience) || token.Error() != nil {
		t.Fatalf("the observer cannot subscribe: %v", token.Error())
	}
	t.Cleanup(func() { o.client.Disconnect(100) })
	return o
}

func (o *observer) holds() map[string]string {
	o.mu.Lock()
	defer o.mu.Unlock()
	return maps.Clone(o.live)
}

// count is how often each topic was published.
func (o *observer) count() map[string]int {
	o.mu.Lock()
	defer o.mu.Unlock()
	all := map[string]int{}
	for _, m := range o.log {
		all[m.Topic]++
	}
	return all
}

func (o *observer) said(topic string) []string {
	o.mu.Lock()
	defer o.mu.Unlock()
	var out []string
	for _, m := range o.log {
		if m.Topic == topic {
			out = append(out, m.Payload)
		}
	}
	return out
}

func quickTiming() mqtt.Timing {
	return mqtt.Timing{
		KeepAlive: 2 * time.Second, Ping: time.Second, Connect: time.Second, ConnectRetry: 50 * time.Millisecond, MaxReconnect: time.Second,
		Write: time.Second, Ack: time.Second, Reassert: 500 * time.Millisecond, Heartbeat: time.Hour, Yield: 2 * time.Second, Rebuild: time.Hour,
	}
}

func publisher(t *testing.T, url string, change func(*mqtt.Config)) *mqtt.Client {
	t.Helper()
	return publisherWith(t, url, func(o *mqtt.Options) {
		if change != nil {
			change(&o.Config)
		}
	})
}

func publisherWith(t *testing.T, url string, change func(*mqtt.Options)) *mqtt.Client {
	t.Helper()
	o := mqtt.Options{Config: mqtt.DefaultConfig(), Timing: quickTiming()}
	o.Config.Broker, o.Config.Device = url, "barn"
	change(&o)
	client, err := mqtt.New(o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = client.Close(t.Context()) })
	return client
}

// publishUntil tries as the fan-out does.
func publishUntil(t *testing.T, c *mqtt.Client, s *exporter.State) {
	t.Helper()
	eventually(t, "a Publish without an error", func() bool { return c.Publish(t.Context(), s) == nil })
}

// failure is the first error of Publish that contains text.
func failure(t *testing.T, c *mqtt.Client, text string) string {
	t.Helper()
	said := ""
	eventually(t, "an error with "+text, func() bool {
		if err := c.Publish(t.Context(), nests(38, 25)); err != nil {
			said = err.Error()
		}
		return strings.Contains(said, text)
	})
	if strings.Contains(said, hunter) {
		t.Error("the error shows the password")
	}
	return said
}

// nests is a state of thirty nests; the numbers are those of the first.
func nests(cluster, air float64) *exporter.State {
	at := time.Date(2026, 1, 20, 6, 0, 0, 0, time.UTC)
	s := &exporter.State{Snapshot: thresholds.Snapshot{Time: at}}
	for i := range 30 {
		value := func(role thresholds.Role, q sensors.Quantity, v float64) thresholds.Value {
			return thresholds.Value{Role: role, Quantity: q, Value: v + float64(i), Time: at, Fresh: true}
		}
		s.Snapshot.Nests = append(s.Snapshot.Nests, thresholds.NestState{
			ID: fmt.Sprintf("n%d", i), Stage: thresholds.Nursing, Values: []thresholds.Value{
				value(thresholds.Cluster, sensors.Temperature, cluster), value(thresholds.Air, sensors.Temperature, air), value(thresholds.Air, sensors.Humidity, 60),
			},
		})
	}
	if air > 35 {
		s.Snapshot.Nests[0].Severity = alarm.Urgent
		s.Snapshot.Alarms = []alarm.Standing{{Event: alarm.Event{Nest: "n0", Name: alarm.NestHeat, Severity: alarm.Urgent, Text: "too hot"}}}
	}
	return s
}

// wantRetained waits until a subscriber that comes only now is given exactly the snapshot.
func wantRetained(t *testing.T, addr string, s *exporter.State) {
	t.Helper()
	want := map[string]string{barnState: "ready"}
	for _, m := range (mqtt.Root{Base: "homie", Device: "barn"}).Tree(s).Values {
		want[m.Topic] = m.Payload
	}
	var got map[string]string
	late := observe(t, addr, nil)
	defer late.client.Disconnect(100)
	for end := time.Now().Add(patience); time.Now().Before(end); time.Sleep(20 * time.Millisecond) {
		got = late.holds()
		description := got[barn+"/$description"]
		delete(got, barn+"/$description")
		delete(got, barnInstance) // another for each publisher
		if maps.Equal(got, want) && strings.Contains(description, `"homie":"5.0"`) {
			return
		}
	}
	for topic := range want {
		if got[topic] != want[topic] {
			t.Errorf("%s holds %q, want %q", topic, got[topic], want[topic])
		}
		delete(got, topic)
	}
	t.Errorf("beyond the snapshot there is %v", got)
}

func TestMosquittoHoldsTheSnapshot(t *testing.T) {
	b := startMosquitto(t)
	c := publisher(t, "tcp://"+b.addr, nil)
	for _, s := range []*exporter.State{nests(38, 25), nests(37, 36), nests(36.5, 24)} {
		publishUntil(t, c, s)
		wantRetained(t, b.addr, s)
	}
	o := observe(t, b.addr, nil)
	if err := c.Close(t.Context()); err != nil {
		t.Fatal(err)
	}
	eventually(t, "disconnected", func() bool { return o.holds()[barnState] == "disconnected" })
	if slices.Contains(o.said(barnState), "lost") {
		t.Error("a clean stop published the will")
	}
}

func TestMosquittoDownAtBoot(t *testing.T) {
	b := prepareMosquitto(t)
	c := publisher(t, "tcp://"+b.addr, nil)
	failure(t, c, "is the broker running")
	before := heap()
	for range 5000 { // nearly two days at a poll every 30 s
		if err := c.Publish(t.Context(), nests(37, 22)); err == nil {
			t.Fatal("published without a broker")
		}
	}
	if grown := int64(heap()) - int64(before); grown > 1<<20 {
		t.Errorf("the heap grew by %d bytes", grown)
	}
	b.start(t)
	wantRetained(t, b.addr, nests(37, 22)) // no Publish in between
}

func TestMosquittoKilled(t *testing.T) {
	t.Parallel()
	b := startMosquitto(t)
	c := publisher(t, "tcp://"+b.addr, nil)
	publishUntil(t, c, nests(38, 25))
	b.process.kill()
	eventually(t, "an error", func() bool { return c.Publish(t.Context(), nests(37, 36)) != nil })
	b.start(t)
	wantRetained(t, b.addr, nests(37, 36))
}

func TestMosquittoStopped(t *testing.T) {
	t.Parallel()
	b := startMosquitto(t)
	c := publisher(t, "tcp://"+b.addr, nil)
	publishUntil(t, c, nests(38, 25))
	if err := b.process.cmd.Process.Signal(syscall.SIGSTOP); err != nil {
		t.Fatal(err)
	}
	defer func() { _ = b.process.cmd.Process.Signal(syscall.SIGCONT) }()
	eventually(t, "an error", func() bool { return c.Publish(t.Context(), nests(37, 36)) != nil })
	if err := b.process.cmd.Process.Signal(syscall.SIGCONT); err != nil {
		t.Fatal(err)
	}
	publishUntil(t, c, nests(36, 23))
	wantRetained(t, b.addr, nests(36, 23))
}

func TestMosquittoBlackHole(t *testing.T) {
	t.Parallel()
	b := startMosquitto(t)
	p := proxytest.Start(t, b.addr)
	c := publisher(t, "tcp://"+p.Addr(), nil)
	publishUntil(t, c, nests(38, 25))
	o := observe(t, b.addr, nil)
	p.Hole()
	eventually(t, "an error", func() bool { return c.Publish(t.Context(), nests(37, 36)) != nil })
	p.Pass() // the first connection stays in its hole
	publishUntil(t, c, nests(36, 23))
	wantRetained(t, b.addr, nests(36, 23))
	eventually(t, "the will of the first connection, and ready after it", func() bool {
		said := o.said(barnState)
		return slices.Contains(said, "lost") && said[len(said)-1] == "ready"
	})
}

func TestMosquittoWillAfterAHardEnd(t *testing.T) {
	t.Parallel()
	b := startMosquitto(t)
	p := proxytest.Start(t, b.addr)
	c := publisher(t, "tcp://"+p.Addr(), nil)
	publishUntil(t, c, nests(38, 25))
	p.Cut()
	eventually(t, "a later subscriber is given lost", func() bool {
		late := observe(t, b.addr, nil)
		defer late.client.Disconnect(100)
		eventually(t, "a retained $state", func() bool { return late.holds()[barnState] != "" })
		return late.holds()[barnState] == "lost"
	})
	p.Pass()
	publishUntil(t, c, nests(37, 24))
	wantRetained(t, b.addr, nests(37, 24))
}

// TestMosquittoManyPublishesOffline is more than the client library has message ids: handed on, 4,465 of them failed and
// the process grew by 40 MB (measured with paho 1.5.1). Every one of them is another poll, as in an outage of 24 days.
func TestMosquittoManyPublishesOffline(t *testing.T) {
	b := startMosquitto(t)
	p := proxytest.Start(t, b.addr)
	c := publisher(t, "tcp://"+p.Addr(), func(c *mqtt.Config) { c.SenML = true })
	publishUntil(t, c, nests(38, 25))
	o := observe(t, b.addr, nil)
	packs := observe(t, b.addr, nil, "nestmon/#")
	eventually(t, "the observer has the retained tree", func() bool { return o.holds()[barn+"/n29/chores-due"] != "" })
	p.Cut()
	eventually(t, "an error", func() bool { return c.Publish(t.Context(), nests(38, 25)) != nil })
	eventually(t, "the will", func() bool { return o.holds()[barnState] == "lost" })
	seen := o.count()

	last := nests(36, 23)
	at := last.Snapshot.Time
	before, goroutines := heap(), runtime.NumGoroutine()
	for i := range 70_000 {
		s := *last
		s.Snapshot.Time = at.Add(time.Duration(i) * 30 * time.Second)
		if err := c.Publish(t.Context(), &s); err == nil {
			t.Fatal("published without a connection")
		}
	}
	const allowed = 4 << 20 // bytes; a tenth of what the library took
	if grown := int64(heap()) - int64(before); grown > allowed {
		t.Errorf("the heap grew by %d bytes", grown)
	}
	if n := runtime.NumGoroutine() - goroutines; n > 10 {
		t.Errorf("%d goroutines more", n)
	}
	p.Pass()
	wantRetained(t, b.addr, last)
	eventually(t, "the observer has the newest", func() bool { return o.holds()[barn+"/n29/chores-due"] != "" && o.holds()[barnState] == "ready" })
	for topic, n := range o.count() {
		if n -= seen[topic]; n != 1 && topic != barnState && !strings.HasSuffix(topic, "/set") {
			t.Errorf("%s was published %d times after the outage, want once", topic, n)
		}
	}
	eventually(t, "one pack of the newest poll", func() bool { return len(packs.said("nestmon/barn/senml")) > 0 })
	if all := packs.said("nestmon/barn/senml"); len(all) != 1 {
		t.Errorf("%d packs of SenML after the outage, want that of the newest poll", len(all))
	}
}

func heap() uint64 {
	var m runtime.MemStats
	runtime.GC()
	runtime.GC()
	runtime.ReadMemStats(&m)
	return m.HeapAlloc
}

// guarded is a broker that knows the users barn, keeper and looker; acl begins with the rights of barn.
func guarded(t *testing.T, acl string) *mosquitto {
	t.Helper()
	dir := t.TempDir()
	passwords := write(t, filepath.Join(dir, "passwords"), "")
	for _, user := range []string{"barn", "keeper", "looker"} {
		if out, err := exec.Command(binary(t, "mosquitto_passwd"), "-b", passwords, user, hunter).CombinedOutput(); err != nil {
			t.Fatalf("mosquitto_passwd: %v: %s", err, out)
		}
	}
	return startMosquitto(t, "allow_anonymous false", "password_file "+passwords,
		"acl_file "+write(t, filepath.Join(dir, "acl"), "user barn\n"+acl+"\n"))
}

func asBarn(c *mqtt.Config) { c.Username, c.Password = "barn", exporter.NewSecret(hunter) }

func TestMosquittoAccessList(t *testing.T) {
	t.Parallel()
	rows := []struct{ name, acl, want string }{
		{"all it needs", "topic readwrite homie/5/barn/#", ""},
		{"nothing", "topic readwrite elsewhere/#", `allow user "barn" to write and read homie/5/barn/#`},
		{"reading only", "topic read homie/5/barn/#", "self check failed"},
		{"writing only", "topic write homie/5/barn/#", "self check failed"},
	}
	for _, row := range rows {
		t.Run(row.name, func(t *testing.T) {
			b := guarded(t, row.acl)
			c := publisher(t, "tcp://"+b.addr, asBarn)
			if row.want == "" {
				publishUntil(t, c, nests(38, 25))
				return
			}
			failure(t, c, row.want)
		})
	}
}

func TestMosquittoWrongPassword(t *testing.T) {
	b := guarded(t, "topic readwrite homie/5/barn/#")
	rows := []struct {
		name   string
		change func(*mqtt.Config)
	}{
		{"wrong", func(c *mqtt.Config) { c.Username, c.Password = "barn", exporter.NewSecret(hunter+"x") }},
		{"missing", func(*mqtt.Config) {}},
	}
	for _, row := range rows {
		t.Run(row.name, func(t *testing.T) {
			failure(t, publisher(t, "tcp://"+b.addr, row.change), "refused the user name or password")
		})
	}
}
