package services_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"nestmon/exporter"
	"nestmon/exporter/archive"
	"nestmon/exporter/mqtt"
	"nestmon/sensors/radio"
	"nestmon/thresholds/alarm"
)

// accessList is the guide's, less its first line; barn takes the place of its shed.
func accessList(t *testing.T) string {
	t.Helper()
	page, err := os.ReadFile("../../hardware/broker.md")
	if err != nil {
		t.Fatal(err)
	}
	_, rest, _ := strings.Cut(string(page), "```acl\nuser willow-bend\n")
	list, _, found := strings.Cut(rest, "```")
	if !found {
		t.Fatal("the guide has no access list")
	}
	return strings.ReplaceAll(list, "willow-bend", "barn")
}

// notes is a daemon's other half: it keeps what was asked.
type notes struct {
	mu    sync.Mutex
	taken []string
	log   bytes.Buffer
}

func (n *notes) Act(_ context.Context, a alarm.Act) error {
	if a.Event == alarm.DoeHeat {
		return errors.New("no such alarm stands")
	}
	return n.take(string(a.Action), a.Nest, string(a.Event), a.For.String(), a.By)
}

func (n *notes) Done(_ context.Context, nest string, chore alarm.Name, _ string) error {
	return n.take("done", nest, string(chore))
}

func (n *notes) take(words ...string) error {
	n.mu.Lock()
	defer n.mu.Unlock()
	n.taken = append(n.taken, strings.Join(words, " "))
	return nil
}

func (n *notes) Write(b []byte) (int, error) {
	n.mu.Lock()
	defer n.mu.Unlock()
	return n.log.Write(b)
}

func (n *notes) said() (taken []string, log string) {
	n.mu.Lock()
	defer n.mu.Unlock()
	return slices.Clone(n.taken), n.log.String()
}

func takesOrders(n *notes) func(*mqtt.Options) {
	return func(o *mqtt.Options) {
		asBarn(&o.Config)
		o.Config.Commands = true
		o.Keeper = n
		o.Log = slog.New(slog.NewTextHandler(n, nil))
	}
}

func as(user string) func(*paho.ClientOptions) {
	return func(o *paho.ClientOptions) { o.SetUsername(user).SetPassword(hunter) }
}

func TestMosquittoCommands(t *testing.T) {
	t.Parallel()
	b := guarded(t, accessList(t))
	keeper, looker := sender(t, b.addr, as("keeper")), sender(t, b.addr, as("looker"))
	ack := func(nest string) string { return barn + "/" + nest + "/acknowledge" }
	keeper(ack("n1")+"/set", 1, true, "nest-heat") // of last week, for all anybody knows
	n := &notes{}
	o := observe(t, b.addr, as("keeper"))
	c := publisherWith(t, "tcp://"+b.addr, takesOrders(n))
	publishUntil(t, c, nests(38, 36))
	eventually(t, "the kept order is refused", func() bool {
		_, log := n.said()
		return strings.Contains(log, "it was kept by the broker and may be old")
	})

	keeper(ack("n0")+"/set", 1, false, "nest-heat")
	eventually(t, "the first is confirmed", func() bool { return slices.Equal(o.said(ack("n0")), []string{"nest-heat"}) })
	if taken, _ := n.said(); !slices.Equal(taken, []string{"acknowledge n0 nest-heat 0s broker"}) { // it was done before it was confirmed
		t.Errorf("done: %q", taken)
	}
	looker(ack("n2")+"/set", 1, false, "nest-heat") // who may not
	for _, wrong := range []struct{ topic, payload string }{
		{ack("n0"), "nest heat"}, {ack("n0"), ""}, {ack("n0"), strings.Repeat("x", 1<<20)}, {ack("n0"), "doe-heat"}, {barn + "/n0/chore-done", "true"},
	} {
		keeper(wrong.topic+"/set", 1, false, wrong.payload)
	}
	keeper(barn+"/n3/chore-done/set", 1, false, "bedding-due")
	for property, payload := range map[string]string{"shelve": "all PT30M", "unshelve": "all", "out-of-service": "nest-heat", "in-service": "nest-heat"} {
		looker(barn+"/n2/"+property+"/set", 1, false, payload)
		keeper(barn+"/n1/"+property+"/set", 1, false, payload)
		eventually(t, property+" is confirmed", func() bool { return slices.Equal(o.said(barn+"/n1/"+property), []string{payload}) })
	}
	keeper(ack("site")+"/set", 1, false, "bus-fault")
	eventually(t, "the last is confirmed", func() bool { return slices.Equal(o.said(ack("site")), []string{"bus-fault"}) })
	taken, log := n.said()
	want := []string{
		"acknowledge n0 nest-heat 0s broker", "done n3 bedding-due", "acknowledge  bus-fault 0s broker",
		"shelve n1  30m0s broker", "unshelve n1  0s broker", "out-of-service n1 nest-heat 0s broker", "in-service n1 nest-heat 0s broker",
	}
	if got := slices.Sorted(slices.Values(taken)); !slices.Equal(got, slices.Sorted(slices.Values(want))) {
		t.Errorf("done: %q, want %q", taken, want)
	}
	if said := o.said(ack("n0")); len(said) != 1 {
		t.Errorf("confirmed: %.100q", said)
	}
	if strings.Contains(log, hunter) || strings.Contains(log, strings.Repeat("x", 100)) {
		t.Errorf("the log shows a secret, or all that was sent: %.2000s", log)
	}
	late := observe(t, b.addr, as("keeper"))
	eventually(t, "the tree", func() bool { // in whatever order the broker sends what it keeps
		kept := late.holds()
		return kept[barnState] == "ready" && kept[barn+"/$description"] != ""
	})
	if kept := late.said(ack("n0")); len(kept) != 0 {
		t.Errorf("the broker keeps %q", kept)
	}
	if d := late.holds()[barn+"/$description"]; !strings.Contains(d, `"settable":true,"retained":false`) {
		t.Errorf("described as %s", d)
	}

	// A restart of the connection gives the kept order once more, and it is no newer.
	b.process.end()
	eventually(t, "an error", func() bool { return c.Publish(t.Context(), nests(38, 36)) != nil })
	b.start(t)
	publishUntil(t, c, nests(38, 36))
	if again, _ := n.said(); !slices.Equal(again, taken) {
		t.Errorf("done again: %q", again)
	}
}

// TestMosquittoCommandsHidden: a broker that hides what may be set keeps the tree from nothing; and commands that are not wanted do nothing.
func TestMosquittoCommandsHidden(t *testing.T) {
	t.Parallel()
	for name, row := range map[string]struct {
		acl    string
		wanted bool
	}{
		"refused": {"topic deny homie/5/barn/+/acknowledge/set\ntopic deny homie/5/barn/+/shelve/set\n" + accessList(t), true},
		"off":     {accessList(t), false},
	} {
		t.Run(name, func(t *testing.T) {
			b := guarded(t, row.acl)
			n := &notes{}
			c := publisherWith(t, "tcp://"+b.addr, func(o *mqtt.Options) {
				takesOrders(n)(o)
				o.Config.Commands = row.wanted
			})
			publishUntil(t, c, nests(38, 25))
			sender(t, b.addr, as("keeper"))(barn+"/n0/acknowledge/set", 1, false, "nest-heat")
			publishUntil(t, c, nests(38, 26))
			o := observe(t, b.addr, as("keeper"))
			eventually(t, "the tree", func() bool { return o.holds()[barnState] == "ready" && o.holds()[barn+"/n0/air-temperature"] == "26" })
			if settable := strings.Contains(o.holds()[barn+"/$description"], "settable"); settable != row.wanted {
				t.Errorf("described as settable: %v", settable)
			}
			if taken, _ := n.said(); len(taken) > 0 {
				t.Errorf("done: %q", taken)
			}
		})
	}
}

// TestSenMLIsReadBack sends a poll as SenML and reads it as a wireless probe's.
func TestSenMLIsReadBack(t *testing.T) {
	b := startMosquitto(t)
	first := radio.ProbeConfig{Entry: pile.Entry, Topic: "nestmon/barn/senml", Unit: "C", Pointers: map[string]string{"temperature": "/0/v", "humidity": "/2/v"}, Time: "/0/bt"}
	s := tune(t, "tcp://"+b.addr, nil, first)
	s.hears(t, 1)
	c := publisher(t, "tcp://"+b.addr, func(c *mqtt.Config) { c.SenML = true })
	for i, celsius := range []float64{38.25, 37.5} {
		state := nests(celsius, 25)
		state.Synced, state.Snapshot.Time = true, s.clock().Add(time.Duration(i)*time.Second)
		for range 3 { // shown again, a poll is still one
			publishUntil(t, c, state)
		}
		got := s.told(t)
		if len(got) != 2 || got[0].Value != celsius || got[1].Value != 60 || got[0].Time.Unix() != state.Snapshot.Time.Unix() {
			t.Errorf("got %+v, want %g and 60 at %v", got, celsius, state.Snapshot.Time)
		}
	}
	if said := s.said(); strings.Contains(said, "said before") {
		t.Errorf("a poll came twice:\n%s", said)
	}
}

// stands leaves an archive as a daemon does that lost its power during an alarm.
func stands(t *testing.T, data string, e alarm.Event) {
	t.Helper()
	a, err := archive.Open(data, archive.Options{})
	if err != nil {
		t.Fatal(err)
	}
	at := time.Now().Add(-time.Hour)
	e.State, e.Time, e.Since = alarm.Raised, at, at
	if err := errors.Join(a.Commit(exporter.Commit{Time: at, Standing: []alarm.Standing{{Event: e}}, StandingChanged: true}), a.Close()); err != nil {
		t.Fatal(err)
	}
}

// TestMosquittoDaemon runs the built program with all that MQTT can do: orders over the broker are stored and confirmed; killed as soon as the
// last was, both trees are lost; started again, both are there, and everything that was confirmed.
func TestMosquittoDaemon(t *testing.T) {
	t.Parallel()
	b, dir := guarded(t, accessList(t)), t.TempDir()
	program, data := built(t), filepath.Join(dir, "data")
	stands(t, data, alarm.Event{Nest: "oak", Name: alarm.NestCold, Severity: alarm.Warning, Text: "oak was too cold when the power failed"})
	page := fmt.Sprintf("127.0.0.1:%d", freePort(t))
	config := write(t, filepath.Join(dir, "nestmon.yaml"), fmt.Sprintf(`
site: {id: barn, timezone: UTC}
data: %s
`+oak+`publish:
  page: {listen: "%s"}
  mqtt: {broker: "tcp://%s", username: barn, password_file: %s, homie4: true, commands: true, senml: true}
`, data, page, b.addr, write(t, filepath.Join(dir, "password"), hunter+"\n")))
	if out, _ := exec.Command(program, "check", "--config", config, "--root", newBoard(t).root).CombinedOutput(); !strings.Contains(string(out), "homie/5/barn, and for Homie 4 below homie/barn; alarms and chores can be answered there") {
		t.Errorf("check says\n%s", out)
	}
	o := observe(t, b.addr, as("looker"), "homie/#", "nestmon/#")
	keeper := sender(t, b.addr, as("keeper"))
	live := func() *process {
		t.Helper()
		daemon := launch(t, built(t), "run", "--config", config, "--root", newBoard(t).root)
		daemon.ready(t, answers("http://"+page+"/healthz"))
		eventually(t, "both trees", func() bool {
			all := o.holds()
			return all[barnState] == "ready" && all["homie/barn/$state"] == "ready" && all[barn+"/oak/air-temperature"] == "21.45" && all["homie/barn/oak/air-temperature"] == "21.45"
		})
		return daemon
	}
	daemon := live()
	eventually(t, "SenML", func() bool {
		return strings.Contains(o.holds()["nestmon/barn/senml"], `"n":"oak/cluster-temperature","u":"Cel","v":38`)
	})
	keeper(barn+"/oak/chore-done/set", 1, false, "bedding-due")
	keeper(barn+"/oak/acknowledge/set", 1, false, "doe-heat") // which does not stand
	eventually(t, "a confirmation", func() bool { return slices.Equal(o.said(barn+"/oak/chore-done"), []string{"bedding-due"}) })
	eventually(t, "a refusal", func() bool {
		return strings.Contains(daemon.out.String(), "topic=oak/acknowledge payload=doe-heat why=")
	})
	eventually(t, "an alarm", func() bool {
		return strings.HasSuffix(o.holds()[barn+"/$alert/oak-nest-cold"], "\nStatus: unacknowledged")
	})
	for _, order := range []struct{ topic, payload string }{
		{"oak/acknowledge", "nest-cold"}, {"oak/out-of-service", "tote-wet"}, {"oak/shelve", "nest-heat PT30M"},
	} {
		keeper(barn+"/"+order.topic+"/set", 1, false, order.payload)
		eventually(t, order.topic, func() bool { return slices.Equal(o.said(barn+"/"+order.topic), []string{order.payload}) })
	}
	daemon.kill()
	eventually(t, "both trees are lost", func() bool { return o.holds()[barnState] == "lost" && o.holds()["homie/barn/$state"] == "lost" })
	daemon = live()
	out, _ := exec.Command(program, "alarms", "list", "--config", config).CombinedOutput()
	for _, want := range []string{
		`oak nest-cold since .*, seen \d\d:\d\d \(broker\)`, `oak tote-wet, out of service \(broker\)`, `oak nest-heat, shelved until \d\d:\d\d \(broker\)`,
	} {
		if !regexp.MustCompile(want).Match(out) {
			t.Errorf("after the kill there is no %q in\n%s", want, out)
		}
	}
	for _, tree := range []string{barn, "homie/barn"} {
		eventually(t, "what was done, in both trees", func() bool {
			all := o.holds()
			return regexp.MustCompile(`^nest-cold: acknowledged \(broker\); nest-heat: shelved until 20\S+Z \(broker\), not on; .*tote-wet: out of service \(broker\), not on$`).
				MatchString(all[tree+"/oak/alarm-status"])
		})
	}
	if alert := o.holds()[barn+"/$alert/oak-nest-cold"]; !strings.HasSuffix(alert, "\nStatus: acknowledged (broker)") {
		t.Errorf("the alarm that was seen stands as %q", alert)
	}
	if err := daemon.cmd.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	<-daemon.done
	eventually(t, "a clean goodbye of both", func() bool {
		return o.holds()[barnState] == "disconnected" && o.holds()["homie/barn/$state"] == "disconnected"
	})
	if out := daemon.out.String(); strings.Contains(out, hunter) || strings.Contains(out, "level=ERROR") {
		t.Errorf("the log:\n%s", out)
	}
}

// TestTheGoodbyeIsBounded holds both trees to the time that a stop has, while the broker hangs.
func TestTheGoodbyeIsBounded(t *testing.T) {
	t.Parallel()
	b := startMosquitto(t)
	var all []exporter.Publisher
	for _, homie4 := range []bool{false, true} {
		c := publisherWith(t, "tcp://"+b.addr, func(o *mqtt.Options) { o.Config.Homie4, o.Homie4 = true, homie4 })
		publishUntil(t, c, nests(38, 25))
		all = append(all, c)
	}
	f := exporter.NewFanout(exporter.Options{}, all...)
	if err := b.process.cmd.Process.Signal(syscall.SIGSTOP); err != nil {
		t.Fatal(err)
	}
	defer func() { _ = b.process.cmd.Process.Signal(syscall.SIGCONT) }()
	f.Show(nests(37, 25))
	ctx, cancel := context.WithTimeout(t.Context(), time.Second)
	defer cancel()
	stopped := make(chan struct{})
	go func() {
		defer close(stopped)
		_ = f.Stop(ctx) // it may say that it could not
	}()
	select {
	case <-stopped:
	case <-time.After(patience):
		t.Fatal("it hangs")
	}
}
