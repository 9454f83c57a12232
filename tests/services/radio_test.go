package services_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"log/slog"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"nestmon/sensors"
	"nestmon/sensors/broker/certtest"
	"nestmon/sensors/radio"
	"nestmon/sensors/screen"
)

// station is a source of wireless probes with a clock of its own, and what it logs.
type station struct {
	*radio.Source
	mu    sync.Mutex
	now   time.Time
	lines bytes.Buffer
}

func (s *station) clock() time.Time {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.now
}

func (s *station) pass(d time.Duration) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.now = s.now.Add(d)
}

func (s *station) Write(b []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.lines.Write(b)
}

func (s *station) said() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.lines.String()
}

const everyFive = 5 * time.Minute

// pile is a node under a pile of kits, box one beside it that knows the time, so that both ways of telling old from new are there.
var (
	pile = radio.ProbeConfig{Entry: sensors.Entry{ID: "pile", Source: radio.Kind, Interval: everyFive}, Topic: "barn/pile", Unit: "C"}
	box  = radio.ProbeConfig{
		Entry: sensors.Entry{ID: "box", Source: radio.Kind, Interval: everyFive}, Topic: "barn/box", Unit: "C",
		Pointers: map[string]string{"temperature": "/temp", "humidity": "/rh"}, Time: "/time",
	}
)

func tune(t *testing.T, url string, change func(*radio.Config), probes ...radio.ProbeConfig) *station {
	t.Helper()
	c := radio.Config{Broker: url}
	if change != nil {
		change(&c)
	}
	s := &station{now: time.Now().Truncate(time.Second)}
	var err error
	if s.Source, err = radio.New(c, "willow-bend", probes, 30*time.Second, slog.New(slog.NewTextHandler(s, nil))); err != nil {
		t.Fatal(err)
	}
	s.Now = s.clock
	s.Timing = radio.Timing{
		KeepAlive: 2 * time.Second, Ping: time.Second, Connect: 2 * time.Second, Ack: 2 * time.Second, FirstRetry: 20 * time.Millisecond, LastRetry: 100 * time.Millisecond,
		Steady: time.Minute, Ask: 200 * time.Millisecond, Beat: 50 * time.Millisecond, Standstill: time.Minute,
	}
	t.Cleanup(func() { _ = s.Close() })
	s.Read(t.Context())
	return s
}

// hears waits until the station has listened n times.
func (s *station) hears(t *testing.T, n int) {
	t.Helper()
	eventually(t, "the station listens", func() bool { return strings.Count(s.said(), "listening to the broker") == n })
}

// told waits for the next readings.
func (s *station) told(t *testing.T) (all []sensors.Reading) {
	t.Helper()
	eventually(t, "a reading", func() bool {
		all = append(all, s.Read(t.Context())...)
		return len(all) > 0
	})
	return all
}

// only checks that what was sent before told nothing: the next reading is that of the newest message.
func (s *station) only(t *testing.T, probe string, want float64) {
	t.Helper()
	if got := s.told(t); len(got) != 1 || got[0].Probe != probe || got[0].Value != want || !got[0].OK() {
		t.Errorf("got %+v, want %g of %s and nothing else", got, want, probe)
	}
}

// back waits until a fault gives way to a value.
func (s *station) back(t *testing.T, want float64) {
	t.Helper()
	eventually(t, "a value", func() bool {
		for _, r := range s.Read(t.Context()) {
			if r.OK() && r.Value != want {
				t.Errorf("got %+v, want %g", r, want)
			}
			if r.OK() {
				return true
			}
		}
		return false
	})
}

// silent checks that all is faults once everything is overdue.
func (s *station) silent(t *testing.T, want sensors.Fault) {
	t.Helper()
	s.pass(2 * everyFive)
	eventually(t, "the fault "+string(want), func() bool {
		for _, r := range s.Read(t.Context()) {
			if r.Fault != want {
				return false
			}
		}
		return true
	})
	if strings.Contains(s.said(), hunter) {
		t.Error("the log shows the password")
	}
}

// sender is a node or a gateway.
func sender(t *testing.T, addr string, change func(*paho.ClientOptions)) func(topic string, qos byte, retained bool, payload string) {
	t.Helper()
	opts := paho.NewClientOptions().AddBroker("tcp://" + addr).SetAutoReconnect(false)
	if change != nil {
		change(opts)
	}
	c := paho.NewClient(opts)
	if token := c.Connect(); !token.WaitTimeout(patience) || token.Error() != nil {
		t.Fatalf("the sender cannot connect: %v", token.Error())
	}
	t.Cleanup(func() { c.Disconnect(100) })
	return func(topic string, qos byte, retained bool, payload string) {
		t.Helper()
		if token := c.Publish(topic, qos, retained, payload); !token.WaitTimeout(patience) || token.Error() != nil {
			t.Fatalf("sending to %s: %v", topic, token.Error())
		}
	}
}

func TestRadioReadsWhatIsNew(t *testing.T) {
	b := startMosquitto(t)
	send := sender(t, b.addr, nil)
	send("barn/pile", 1, true, "36.6") // of last week, for all anybody knows
	s := tune(t, "tcp://"+b.addr, nil, pile, box)
	s.hears(t, 1)
	for i, qos := range []byte{0, 1, 2} {
		send("barn/pile", qos, false, fmt.Sprint(38+i))
		s.only(t, "pile", float64(38+i))
	}
	send("barn/pile", 1, true, "39.5") // retained, but live: it comes to whoever listens already
	s.only(t, "pile", 39.5)
	at := s.clock().UTC().Format(time.RFC3339)
	send("barn/box", 1, false, `{"temp": 21.5, "rh": 60, "time": "`+at+`"}`)
	if got := s.told(t); len(got) != 2 || got[0].Value != 21.5 || got[1].Value != 60 {
		t.Errorf("got %+v", got)
	}
	send("barn/box", 1, false, `{"temp": 21.5, "rh": 60, "time": "`+at+`"}`) // the gateway repeats itself
	send("barn/pile", 1, false, "38")
	s.only(t, "pile", 38)
	s.silent(t, sensors.NoAnswer)
	if want := "messages that are no reading: 1 said before"; !strings.Contains(s.said(), want) {
		t.Errorf("%q is not in\n%s", want, s.said())
	}
}

// TestRadioCodesAreRefused sends what stands for a failure, or is none of a nest's temperatures, all the way through broker and screen.
func TestRadioCodesAreRefused(t *testing.T) {
	b := startMosquitto(t)
	send := sender(t, b.addr, nil)
	s := tune(t, "tcp://"+b.addr, nil, pile)
	s.hears(t, 1)
	judge := screen.New(s.Probes())
	for payload, want := range map[string]sensors.Fault{
		"-127": sensors.NoAnswer, "85.0": sensors.NotConverted, "127.94": sensors.NotConverted, "1e308": sensors.OutOfRange, "-1e9": sensors.Malformed, "nan": sensors.NotConverted,
		"": sensors.NoAnswer, "unavailable": sensors.NoAnswer, "21,5": sensors.Malformed, `{"temp": 21}`: sensors.Malformed, strings.Repeat("3", 1<<20): sensors.Malformed,
	} {
		send("barn/pile", 1, false, payload)
		got := s.told(t)
		if judge.Apply(got); len(got) != 1 || got[0].Fault != want {
			t.Errorf("%.40q: got %+v, want %q", payload, got, want)
		}
	}
	send("barn/pile", 1, false, "38")
	s.only(t, "pile", 38)
}

// TestRadioBrokerRestarts: what a broker saved and gives back is a leftover also after its restart, and topics are asked for again.
func TestRadioBrokerRestarts(t *testing.T) {
	b := prepareMosquitto(t)
	conf, err := os.ReadFile(b.conf)
	if err != nil {
		t.Fatal(err)
	}
	write(t, b.conf, strings.Replace(string(conf), "persistence false", "persistence true\nautosave_interval 1\nautosave_on_changes true\npersistence_location "+filepath.Dir(b.conf)+"/", 1))
	b.start(t)
	sender(t, b.addr, nil)("barn/pile", 1, true, "36.6")
	s := tune(t, "tcp://"+b.addr, nil, pile)
	s.hears(t, 1)
	b.process.end() // and saves
	s.silent(t, sensors.BusDown)
	b.start(t)
	s.hears(t, 2)
	s.silent(t, sensors.NoAnswer)
	sender(t, b.addr, nil)("barn/pile", 1, false, "38") // what is kept comes before it
	s.back(t, 38)
}

// TestRadioBrokerHangs stops the broker without ending it: reads go on, and the connection is given up.
func TestRadioBrokerHangs(t *testing.T) {
	t.Parallel()
	b := startMosquitto(t)
	send := sender(t, b.addr, nil)
	s := tune(t, "tcp://"+b.addr, nil, pile)
	s.hears(t, 1)
	if err := b.process.cmd.Process.Signal(syscall.SIGSTOP); err != nil {
		t.Fatal(err)
	}
	defer func() { _ = b.process.cmd.Process.Signal(syscall.SIGCONT) }()
	s.silent(t, sensors.BusDown)
	if err := b.process.cmd.Process.Signal(syscall.SIGCONT); err != nil {
		t.Fatal(err)
	}
	s.hears(t, 2)
	s.Read(t.Context())
	send("barn/pile", 1, false, "38")
	s.back(t, 38)
}

// TestRadioOwesNothing: what was sent while nobody listened is not queued, for it would come as if it were new.
func TestRadioOwesNothing(t *testing.T) {
	b := startMosquitto(t)
	send := sender(t, b.addr, nil)
	owed := make(chan paho.Message, 1)
	faithful := func() paho.Client { // for comparison, a client that is owed something
		c := paho.NewClient(paho.NewClientOptions().AddBroker("tcp://" + b.addr).SetClientID("faithful").SetCleanSession(false).
			SetDefaultPublishHandler(func(_ paho.Client, m paho.Message) { owed <- m }))
		if token := c.Connect(); !token.WaitTimeout(patience) || token.Error() != nil {
			t.Fatal(token.Error())
		}
		t.Cleanup(func() { c.Disconnect(100) })
		return c
	}
	c := faithful()
	if token := c.Subscribe("barn/pile", 1, nil); !token.WaitTimeout(patience) || token.Error() != nil {
		t.Fatal(token.Error())
	}
	c.Disconnect(100)
	first := tune(t, "tcp://"+b.addr, nil, pile)
	first.hears(t, 1)
	if err := first.Close(); err != nil {
		t.Fatal(err)
	}
	send("barn/pile", 1, false, "36.6")
	faithful()
	select {
	case m := <-owed:
		if m.Retained() || m.Duplicate() || string(m.Payload()) != "36.6" {
			t.Errorf("what was owed can be told from news: %q, retained %v, duplicate %v", m.Payload(), m.Retained(), m.Duplicate())
		}
	case <-time.After(patience):
		t.Fatal("the broker owes nothing to anybody: this test shows nothing")
	}
	second := tune(t, "tcp://"+b.addr, nil, pile)
	second.hears(t, 1)
	send("barn/pile", 1, false, "38")
	second.only(t, "pile", 38)
}

func TestRadioDownAtBoot(t *testing.T) {
	b := prepareMosquitto(t)
	s := tune(t, "tcp://"+b.addr, nil, pile)
	s.silent(t, sensors.BusDown)
	b.start(t)
	s.hears(t, 1)
	s.silent(t, sensors.NoAnswer)
}

func asReader(c *radio.Config) { c.Username = "barn" }

// withPassword writes the password's file.
func withPassword(t *testing.T, password string) func(*radio.Config) {
	file := write(t, filepath.Join(t.TempDir(), "password"), password+"\n")
	return func(c *radio.Config) { c.Username, c.PasswordFile = "barn", file }
}

// TestRadioAccessList: mosquitto with an acl_file grants every subscription and hides what may not be read; nobody is told.
func TestRadioAccessList(t *testing.T) {
	b := guarded(t, "topic write barn/#\ntopic read barn/box")
	send := sender(t, b.addr, func(o *paho.ClientOptions) { o.SetUsername("barn").SetPassword(hunter) })
	s := tune(t, "tcp://"+b.addr, withPassword(t, hunter), pile, box)
	s.hears(t, 1)
	send("barn/pile", 1, false, "38")
	send("barn/box", 1, false, `{"temp": 21.5, "time": "`+s.clock().UTC().Format(time.RFC3339)+`"}`)
	s.only(t, "box", 21.5)
	s.silent(t, sensors.NoAnswer)
	if want := "may user barn read the topic? Some brokers hide it without a word"; !strings.Contains(s.said(), want) {
		t.Errorf("%q is not in\n%s", want, s.said())
	}
}

// TestRadioRefusedSubscription has a broker that refuses aloud: mosquitto with its own plug-in for access.
func TestRadioRefusedSubscription(t *testing.T) {
	const plugin = "mosquitto_dynamic_security.so"
	found, _ := filepath.Glob("/usr/lib/*/" + plugin)
	if len(found) == 0 {
		found, _ = filepath.Glob("/usr/lib/" + plugin)
	}
	switch {
	case len(found) > 0:
	case os.Getenv("NESTMON_REQUIRE_SERVICES") == "1":
		t.Fatalf("%s is not installed; Debian's mosquitto brings it", plugin)
	default:
		t.Skipf("skipped: %s is not installed; Debian's mosquitto brings it", plugin)
	}
	rights := filepath.Join(t.TempDir(), "rights.json")
	if out, err := exec.Command(binary(t, "mosquitto_ctrl"), "dynsec", "init", rights, "barn", hunter).CombinedOutput(); err != nil {
		t.Fatalf("mosquitto_ctrl: %v: %s", err, out)
	}
	text, err := os.ReadFile(rights)
	if err != nil {
		t.Fatal(err)
	}
	var all map[string]any
	if err := json.Unmarshal(text, &all); err != nil {
		t.Fatal(err)
	}
	all["clients"].([]any)[0].(map[string]any)["roles"] = []any{} // the one it makes may read everything
	if text, err = json.Marshal(all); err != nil {
		t.Fatal(err)
	}
	write(t, rights, string(text))
	b := startMosquitto(t, "allow_anonymous false", "plugin "+found[0], "plugin_opt_config_file "+rights)
	s := tune(t, "tcp://"+b.addr, withPassword(t, hunter), pile)
	s.hears(t, 1)
	const want = "the broker refuses to let user barn read barn/pile; allow it in the broker's access list"
	if !strings.Contains(s.said(), want) {
		t.Errorf("%q is not in\n%s", want, s.said())
	}
	if got := s.Check(); len(got) != 1 || !strings.Contains(got[0], want) {
		t.Errorf("check says %q", got)
	}
	s.silent(t, sensors.NoAnswer)
}

func TestRadioWrongPassword(t *testing.T) {
	b := guarded(t, "topic read barn/#")
	for name, change := range map[string]func(*radio.Config){"wrong": withPassword(t, hunter+"x"), "missing": asReader, "nobody": nil} {
		t.Run(name, func(t *testing.T) {
			s := tune(t, "tcp://"+b.addr, change, pile)
			s.silent(t, sensors.BusDown)
			eventually(t, "the words", func() bool { return strings.Contains(s.said(), "refused the user name or password") })
			if n := strings.Count(s.said(), "broker is not heard"); n != 1 {
				t.Errorf("said %d times:\n%s", n, s.said())
			}
			if got := s.Check(); len(got) != 1 || !strings.Contains(got[0], "check username and password_file") {
				t.Errorf("check says %q", got)
			}
		})
	}
}

func TestRadioTLS(t *testing.T) {
	authority := certtest.New(t)
	ca, dir := authority.CA, t.TempDir()
	cert, key := authority.Sign(t, "broker", time.Now().Add(certtest.Long))
	b := startMosquitto(t, "allow_anonymous true", "cafile "+ca, "certfile "+cert, "keyfile "+key)
	tune(t, "ssl://"+b.addr, func(c *radio.Config) { c.CAFile = ca }, pile).hears(t, 1)
	for name, row := range map[string]struct {
		url, want string
		ca        string
	}{
		"with the system's":  {"ssl://" + b.addr, "write the certificate that signed the broker's as ca_file", ""},
		"under another name": {"ssl://localhost:" + b.addr[strings.LastIndex(b.addr, ":")+1:], "as it stands in its certificate", ca},
		"without a file":     {"ssl://" + b.addr, "ca_file cannot be used", filepath.Join(dir, "none.pem")},
	} {
		t.Run(name, func(t *testing.T) {
			s := tune(t, row.url, func(c *radio.Config) { c.CAFile = row.ca }, pile)
			eventually(t, row.want, func() bool { return strings.Contains(s.said(), row.want) })
		})
	}
}

func TestRadioSecondClientWithTheSameID(t *testing.T) {
	b := startMosquitto(t)
	first := tune(t, "tcp://"+b.addr, nil, pile)
	first.hears(t, 1)
	second := tune(t, "tcp://"+b.addr, nil, pile)
	const want = `another client may use the id \"nestradiowillowbend\"; set client_id`
	eventually(t, "the words", func() bool { return strings.Contains(first.said()+second.said(), want) })
}

// TestRadioDaemon runs the built program: a nest of two wireless nodes and one that the broker only remembers.
func TestRadioDaemon(t *testing.T) {
	t.Parallel()
	b := guarded(t, "topic readwrite barn/#")
	send := sender(t, b.addr, func(o *paho.ClientOptions) { o.SetUsername("barn").SetPassword(hunter) })
	send("barn/old", 1, true, "37.9")
	dir := t.TempDir()
	program := built(t)
	page := fmt.Sprintf("127.0.0.1:%d", freePort(t))
	config := write(t, filepath.Join(dir, "nestmon.yaml"), fmt.Sprintf(`
data: %s
poll: 5s
radio: {broker: "tcp://%s", username: barn, password_file: %s}
probes:
  - {id: oak-cluster, source: radio, topic: barn/pile, unit: F, interval: 10s}
  - {id: oak-air, source: radio, topic: barn/box, pointers: {temperature: /0/v, humidity: /1/v}, unit: C, interval: 10s}
  - {id: outside, source: radio, topic: barn/old, unit: C, interval: 10s}
nests:
  - {id: oak, kind: wooden-box, cluster: oak-cluster, air: oak-air}
outside: outside
publish: {page: {listen: "%s"}}
`, filepath.Join(dir, "data"), b.addr, write(t, filepath.Join(dir, "password"), hunter+"\n"), page))
	if out, err := exec.Command(program, "check", "--config", config).CombinedOutput(); err != nil || !strings.Contains(string(out), "oak-cluster: temperature from radio barn/pile, every 10s") {
		t.Errorf("check: %v\n%s", err, out)
	}
	daemon := launch(t, built(t), "run", "--config", config)
	daemon.ready(t, answers("http://"+page+"/healthz"))
	export := func() string {
		out, _ := exec.Command(program, "export", "--config", config).CombinedOutput()
		return string(out)
	}
	defer func() {
		if t.Failed() {
			t.Log(export())
		}
	}()
	eventually(t, "the archive holds what the nodes sent", func() bool {
		send("barn/pile", 1, false, "100.4")
		send("barn/box", 1, false, `[{"bn":"urn:dev:ow:10e2073a01080063:","n":"temp","u":"Cel","v":23.1},{"n":"rh","u":"%RH","v":55}]`)
		time.Sleep(time.Second)
		rows := export()
		return strings.Contains(rows, "oak-cluster,38.00,") && strings.Contains(rows, "oak-air,23.10,55.00")
	})
	if rows := export(); strings.Contains(rows, "37.9") || strings.Contains(rows, "outside,") {
		t.Errorf("the archive holds what the broker only remembered:\n%s", rows)
	}
	if out := daemon.out.String(); strings.Contains(out, hunter) {
		t.Error("the log shows the password")
	}
}
