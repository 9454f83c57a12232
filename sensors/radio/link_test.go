package radio

import (
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"
)

func TestARefusedTopicIsSaidAndAskedForAgain(t *testing.T) {
	b := newStub(t)
	grant := make(chan bool, 1)
	b.answer = func(topic string) []byte {
		if topic == "barn/b2" && len(grant) == 0 {
			return []byte{refusedCode}
		}
		return []byte{1}
	}
	e := newEar(t, b.url(), probeAt("a1", "barn/a1"), probeAt("b2", "barn/b2"))
	e.Read(t.Context())
	eventually(t, "a connection", e.Linked)
	e.clock.pass(2 * interval)
	b.say("barn/a1", `{"temp": 38, "rh": 55}`, 0, false)
	eventually(t, "the message", func() bool { return e.waiting() == 1 })
	e.want(t, "one refused", "temperature=38 humidity=55 b2 temperature=no-answer b2 humidity=no-answer")
	if want := "the broker refuses to let user anonymous read barn/b2; allow it in the broker's access list"; strings.Count(e.said.String(), want) < 2 {
		t.Errorf("%q is not said of the topic and of the probe:\n%s", want, e.said)
	}
	grant <- true
	eventually(t, "the topic is granted", func() bool { return len(e.refusedTopics()) == 0 })
	if n := b.connections(); n != 1 {
		t.Errorf("%d connections, want the first to stay", n)
	}
}

func TestReconnects(t *testing.T) {
	b := newStub(t)
	e := newEar(t, b.url(), probeAt("a1", "barn/a1"), probeAt("b2", "barn/b2"))
	e.Read(t.Context())
	for range 3 {
		eventually(t, "a subscription to both", func() bool { return b.subscribed("barn/a1", "barn/b2") && e.listening() })
		b.say("barn/a1", `{"temp": 38, "rh": 55}`, 7, false)
		eventually(t, "the message", func() bool { return e.waiting() == 1 })
		e.want(t, "connected", "temperature=38 humidity=55")
		b.drops(true)
		eventually(t, "the end of the connection", func() bool { return !e.listening() })
		if e.Linked() {
			t.Error("a lost connection is still told as linked")
		}
		b.drops(false)
	}
	for _, id := range b.ids {
		if id != "nestradiowillowbend" {
			t.Errorf("client id %q", id)
		}
	}
}

func TestNothingIsLeftBehind(t *testing.T) {
	b := newStub(t)
	before := runtime.NumGoroutine()
	e := newEar(t, b.url(), probeAt("a1", "barn/a1"))
	e.Timing.Steady = 0 // no waiting longer each time
	e.Read(t.Context())
	for n := range 30 {
		eventually(t, "a connection", func() bool { return b.connections() > n && e.listening() })
		b.cut()
	}
	if err := e.Close(); err != nil {
		t.Fatal(err)
	}
	eventually(t, "as many goroutines as before", func() bool { return runtime.NumGoroutine() <= before })
}

func TestAnotherClientWithTheSameID(t *testing.T) {
	b := newStub(t)
	e := newEar(t, b.url(), probeAt("a1", "barn/a1"))
	e.Read(t.Context())
	eventually(t, "the words", func() bool {
		if e.listening() {
			b.cut()
		}
		e.mu.Lock()
		defer e.mu.Unlock()
		return e.problem != nil && strings.Contains(e.problem.Error(), `another client may use the id "nestradiowillowbend"; set client_id`)
	})
}

func TestAPacketOfAnySizeIsBounded(t *testing.T) {
	for _, id := range []uint16{0, 9} {
		b := newStub(t)
		e := newEar(t, b.url(), probeAt("a1", "barn/a1"))
		e.Read(t.Context())
		eventually(t, "a connection", e.listening)
		b.say("barn/a1", `{"temp": 20, "filler": "`+strings.Repeat("x", 3<<20)+`"}`, id, false)
		eventually(t, "the message", func() bool { return e.waiting() == 1 })
		e.mu.Lock()
		if n := len(e.inbox["barn/a1"][0].payload); n != mostPayload+1 {
			t.Errorf("%d bytes of it were kept, want %d", n, mostPayload+1)
		}
		e.mu.Unlock()
		e.want(t, "three megabytes", "temperature=malformed humidity=malformed")
		b.say("barn/a1", `{"temp": 38, "rh": 55}`, 0, false)
		eventually(t, "the next message", func() bool { return e.waiting() == 1 })
		e.want(t, "the next", "temperature=38 humidity=55")
		if b.connections() != 1 {
			t.Error("the connection was lost")
		}
		if id != 0 {
			eventually(t, "an acknowledgement", func() bool {
				b.mu.Lock()
				defer b.mu.Unlock()
				return len(b.acked) == 1 && b.acked[0] == id
			})
		}
	}
}

// What no broker should send costs the connection and nothing else.
func TestPacketsOutOfTheirMind(t *testing.T) {
	for name, packet := range map[string][]byte{
		"a PUBACK of 256 MB":                     {0x40, 0xff, 0xff, 0xff, 0x7f},
		"a length without end":                   {0x30, 0xff, 0xff, 0xff, 0xff, 0x7f},
		"an answer to subscriptions never asked": {0x90, 0x04, 0x00, 0x01, 0x01, 0x01},
		"a type that does not exist":             {0x00, 0x00},
		"a message shorter than its topic":       {0x30, 0x03, 0x00, 0x09, 0x41},
	} {
		t.Run(name, func(t *testing.T) {
			b := newStub(t)
			e := newEar(t, b.url(), probeAt("a1", "barn/a1"))
			e.Read(t.Context())
			eventually(t, "a connection", e.listening)
			b.raw(packet)
			eventually(t, "another", func() bool { return b.connections() > 1 && e.listening() })
		})
	}
}

func TestABrokerThatAnswersTwiceToOneSubscription(t *testing.T) {
	b := newStub(t)
	b.answer = func(string) []byte { return []byte{1, 1, 1} } // paho 1.5.1 reads beyond its list
	e := newEar(t, b.url(), probeAt("a1", "barn/a1"))
	e.Read(t.Context())
	eventually(t, "some attempts", func() bool { return b.connections() > 2 })
	if e.listening() {
		t.Error("it was taken for a broker")
	}
}

func TestAProcessThatStoodStillConnectsAnew(t *testing.T) {
	b := newStub(t)
	e := newEar(t, b.url(), probeAt("a1", "barn/a1"))
	e.Read(t.Context())
	eventually(t, "a connection", e.listening)
	e.mu.Lock()
	e.alive = e.alive.Add(-2 * e.Timing.Standstill)
	e.mu.Unlock()
	eventually(t, "another", func() bool { return b.connections() == 2 && e.listening() })
}

// A broker may take most of its time with each topic, and many topics take longer than a standstill.
func TestABrokerThatIsSlowWithEachTopic(t *testing.T) {
	b := newStub(t)
	e := newEar(t, b.url(), probeAt("a1", "barn/a1"), probeAt("b2", "barn/b2"), probeAt("c3", "barn/c3"), probeAt("d4", "barn/d4"))
	e.Timing.Ack = patience
	b.answer = func(string) []byte {
		e.mu.Lock()
		e.alive = e.alive.Add(-e.Timing.Standstill * 2 / 3) // so long it has taken
		was := e.alive
		e.mu.Unlock()
		for seen := false; !seen && e.ctx.Err() == nil; time.Sleep(time.Millisecond) {
			e.mu.Lock()
			seen = e.alive.After(was)
			e.mu.Unlock()
		}
		return []byte{1}
	}
	e.Read(t.Context())
	eventually(t, "a connection", e.listening)
	b.say("barn/d4", `{"temp": 38, "rh": 55}`, 0, false)
	eventually(t, "the message", func() bool { return e.waiting() == 1 })
	e.mu.Lock()
	old := e.inbox["barn/d4"][0].old
	e.mu.Unlock()
	if n := b.connections(); n != 1 || old != "" {
		t.Errorf("%d connections, and the message is taken for %q", n, old)
	}
}

func TestSecretsAreReadWithEachConnection(t *testing.T) {
	const hunter = "hunter2-very-secret"
	b := newStub(t)
	file := filepath.Join(t.TempDir(), "password")
	e := newEar(t, b.url(), probeAt("a1", "barn/a1"))
	e.config.Username, e.config.PasswordFile = "barn", file
	e.Read(t.Context())
	eventually(t, "a complaint", func() bool {
		e.mu.Lock()
		defer e.mu.Unlock()
		return strings.Contains(e.problem.Error(), "password_file cannot be used")
	})
	if got := e.Check(); got != nil {
		t.Errorf("check says %q; files are looked at elsewhere", got)
	}
	if err := os.WriteFile(file, []byte(hunter+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	eventually(t, "a connection", e.listening)
	_ = e.Close()
	if strings.Contains(e.said.String(), hunter) {
		t.Errorf("the log shows the password:\n%s", e.said)
	}
}

func TestCheck(t *testing.T) {
	b := newStub(t)
	b.answer = func(topic string) []byte {
		if topic == "barn/b2" {
			return []byte{refusedCode}
		}
		return []byte{1}
	}
	e := newEar(t, b.url(), probeAt("a1", "barn/a1"), probeAt("b2", "barn/b2"))
	if got := e.Check(); len(got) != 1 || !strings.Contains(got[0], "refuses to let user anonymous read barn/b2; allow it") {
		t.Errorf("got %q", got)
	}
	if b.ids[0] == e.client || !b.subscribed("barn/a1", "barn/b2") {
		t.Errorf("check came as %q and asked for %q", b.ids, b.topics)
	}
	_ = b.listener.Close()
	if got := e.Check(); len(got) != 1 || !strings.Contains(got[0], "is the broker running and reachable?") {
		t.Errorf("got %q", got)
	}
}

func TestCloseWithoutARead(t *testing.T) {
	e := newEar(t, newStub(t).url(), probeAt("a1", "barn/a1"))
	if err := e.Close(); err != nil {
		t.Fatal(err)
	}
	e.want(t, "closed", "temperature=bus-down humidity=bus-down")
}
