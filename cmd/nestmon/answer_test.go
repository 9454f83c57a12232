package main

import (
	"context"
	"encoding/json"
	"errors"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/web"
	"nestmon/sensors"
	"nestmon/thresholds/alarm"
)

// handPace polls when the test says so.
type handPace struct {
	now  atomic.Pointer[time.Time]
	next chan time.Time
}

func (p *handPace) Now() time.Time          { return *p.now.Load() }
func (p *handPace) Deadline() time.Duration { return time.Minute }
func (p *handPace) Due() <-chan time.Time   { return p.next }
func (p *handPace) Begin() time.Time {
	at := p.Now().Add(stepOf)
	p.now.Store(&at)
	return at
}

// hot are four boxes; how hot the first two are is the test's to say.
type hot struct {
	swinging
	celsius *atomic.Int64
}

func (h hot) Read(context.Context) (all []sensors.Reading) {
	for i, p := range h.probes {
		value := 24.0
		if i < 2 {
			value = float64(h.celsius.Load())
		}
		all = append(all, sensors.Reading{Probe: p.ID, Quantity: sensors.Temperature, Time: h.now(), Value: value})
	}
	return all
}

// barn is a daemon that polls on demand, with its door open and a phone that keeps the links it gets.
type barn struct {
	t       *testing.T
	d       *daemon
	pace    *handPace
	celsius atomic.Int64
	away    atomic.Bool // the phone takes nothing
	links   chan string
	titles  chan string
	stop    func()
}

func newBarn(t *testing.T, folder string, from time.Time, change ...func(*config)) *barn {
	t.Helper()
	b := &barn{t: t, pace: &handPace{next: make(chan time.Time)}, links: make(chan string, 100), titles: make(chan string, 100)}
	b.pace.now.Store(&from)
	b.celsius.Store(24)
	service := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if b.away.Load() {
			w.WriteHeader(http.StatusServiceUnavailable)
			return
		}
		var m struct{ Title, Link string }
		if json.NewDecoder(r.Body).Decode(&m) == nil {
			b.titles <- m.Title
			b.links <- m.Link
		}
	}))
	cfg := victimConfig(t, folder, service.URL)
	plant(t, filepath.Join(folder, "page.password"), pageLine)
	cfg.Publish.Page = &web.Config{Listen: web.None, Address: "https://nest.example", PasswordFile: filepath.Join(folder, "page.password")}
	for _, c := range change {
		c(cfg)
	}
	var err error
	if b.d, err = newDaemon(cfg, parts{
		log: slog.New(slog.DiscardHandler), pace: b.pace, trusted: func(time.Time) bool { return true },
		sources: func() ([]sensors.Source, error) {
			return []sensors.Source{hot{swinging{b.pace.Now, cfg.probes()}, &b.celsius}}, nil
		},
	}); err != nil {
		t.Fatal(err)
	}
	door, err := openControl(cfg.Control, b.d, b.d.sinks.page.Handler())
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- b.d.run(ctx) }()
	b.stop = func() {
		cancel()
		ending, done := context.WithTimeout(context.Background(), 10*time.Second)
		defer done()
		if err := errors.Join(<-ended, door.stop(ending), b.d.stop(ending)); err != nil {
			t.Error(err)
		}
		service.Close()
	}
	return b
}

// poll lets polls come for so long at this temperature.
func (b *barn) poll(celsius int64, long time.Duration) {
	b.celsius.Store(celsius)
	for range long / stepOf {
		b.pace.next <- time.Time{}
	}
	_ = b.d.command(b.t.Context(), func() error { return nil }) // the last one is over
}

// link waits for a message whose title begins so, and returns its link.
func (b *barn) link(title string) string {
	b.t.Helper()
	var seen []string
	for end := time.After(10 * time.Second); ; {
		select {
		case got := <-b.titles:
			seen = append(seen, got)
			if link := <-b.links; strings.HasPrefix(got, title) {
				return strings.TrimPrefix(link, "https://nest.example/answer/")
			}
		case <-end:
			b.t.Fatalf("no message begins with %q but %q", title, seen)
		}
	}
}

func (b *barn) status(nest string) alarm.Status {
	var s alarm.Status
	_ = b.d.command(b.t.Context(), func() error {
		s = alarm.Find(b.d.snapshot().Alarms, nest, alarm.NestHeat).Status
		return nil
	})
	return s
}

// barnFolder is short: a socket's path cannot be long.
func barnFolder(t *testing.T) string {
	t.Helper()
	dir, err := os.MkdirTemp("", "barn-")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = os.RemoveAll(dir) })
	return dir
}

// A message's link acknowledges what the message was about, once, and only as it was told.
func TestLinkAnswers(t *testing.T) {
	folder := barnFolder(t)
	b := newBarn(t, folder, demoStart)
	refused := func(why, token string, want error) {
		t.Helper()
		if _, err := b.d.Asked(t.Context(), token); !errors.Is(err, want) {
			t.Errorf("%s is asked: %v, want %v", why, err, want)
		}
		if err := b.d.Answer(t.Context(), token); !errors.Is(err, want) {
			t.Errorf("%s is answered: %v, want %v", why, err, want)
		}
	}
	b.poll(24, 2*time.Hour)
	b.poll(32, 40*time.Minute)
	warned := b.link("WARNING: nest box-0: nest too hot")
	m, err := b.d.Asked(t.Context(), warned)
	if err != nil || m.Event.Nest != "box-0" {
		t.Fatalf("asked: %+v, %v", m.Event, err)
	}
	refused("nothing", "", exporter.ErrLinkUnknown)
	refused("a forged one", "AAAA"+warned[4:], exporter.ErrLinkUnknown)
	refused("half of one", warned[:len(warned)/2], exporter.ErrLinkUnknown)
	if b.status("box-0") != alarm.Unacknowledged {
		t.Fatalf("asking has changed it to %s", b.status("box-0"))
	}

	b.poll(38, 40*time.Minute)
	urgent := b.link("URGENT: nest box-0: nest too hot")
	if err := b.d.Answer(t.Context(), warned); err == nil || !strings.Contains(err.Error(), "grown worse") {
		t.Errorf("answering a warning that is urgent now: %v", err)
	}
	if err := b.d.Answer(t.Context(), urgent); err != nil {
		t.Fatal(err)
	}
	if b.status("box-0") != alarm.Acknowledged || b.status("box-1") != alarm.Unacknowledged {
		t.Errorf("box-0 is %s, box-1 is %s", b.status("box-0"), b.status("box-1"))
	}
	refused("a used one", urgent, exporter.ErrLinkUsed)
	other := b.link("STILL URGENT")
	if err := b.d.Act(t.Context(), alarm.Act{Action: alarm.Acknowledge, Nest: "box-1", Event: alarm.NestHeat, By: "page"}); err != nil {
		t.Fatal(err)
	}
	refused("one of what was acknowledged elsewhere", other, exporter.ErrLinkSeen)
	now := b.pace.Now()
	b.stop()

	b = newBarn(t, folder, now)
	defer b.stop()
	b.poll(38, 12*time.Minute)
	refused("one that was used before the restart", urgent, exporter.ErrLinkUsed)
	if b.status("box-0") != alarm.Acknowledged {
		t.Errorf("after the restart box-0 is %s", b.status("box-0"))
	}
	later := b.pace.Now().Add(answersFor + time.Hour)
	b.pace.now.Store(&later)
	refused("one of last week", warned, exporter.ErrLinkTooOld)
}

// The commands do what they say, to the alarm they name, and tell who did it.
func TestAlarmCommands(t *testing.T) {
	folder := barnFolder(t)
	b := newBarn(t, folder, demoStart)
	defer b.stop()
	b.poll(24, 2*time.Hour)
	b.poll(38, time.Hour)
	file := filepath.Join(folder, "nestmon.yaml")
	if err := os.WriteFile(file, []byte("data: "+folder+"\ncontrol: "+filepath.Join(folder, "control")+"\nprobes: [{id: p, source: recorded}]\nnests: [{id: box-0, kind: wooden-box, air: p}]\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, row := range []struct {
		args   string
		code   int
		want   string
		status alarm.Status // of box-0's heat afterwards, empty for as before
	}{
		{"alarms", exitFinding, "urgent   box-0 nest-heat since", alarm.Unacknowledged},
		{"alarms ack --nest box-0 --event nest-heat", exitDone, "nest-heat of nest box-0 is acknowledged", alarm.Acknowledged},
		{"alarms list", exitFinding, ", by command)", ""},
		{"alarms shelve --nest box-0 --event nest-heat --for 2h", exitWrongUse, "for 1 h at most", ""},
		{"alarms shelve --nest box-0 --event nest-heat --for 20m", exitDone, "shelved until", alarm.Shelved},
		{"alarms unshelve --nest box-0 --event nest-heat", exitDone, "taken off its shelf", alarm.Acknowledged},
		{"alarms unshelve --nest box-0 --event nest-heat", exitWrongUse, "it is not shelved", ""},
		{"alarms out-of-service --nest box-0", exitDone, "Every alarm of nest box-0 is taken out of service", alarm.OutOfService},
		{"alarms ack --nest box-0 --event nest-heat", exitWrongUse, "out-of-service", ""},
		{"alarms in-service --nest box-0", exitDone, "put back in service", alarm.Acknowledged},
		{"alarms ack --nest box-9 --event nest-heat", exitWrongUse, "there is no nest", ""},
		{"alarms ack --nest box-0 --event nest-heet", exitWrongUse, "there is no event", ""},
		{"alarms ack --nest box-0 --event cluster-chill", exitWrongUse, "what is normal cannot take", ""},
		{"alarms ack --nest box-1", exitDone, "Of nest box-1 acknowledged: ", ""},
		{"alarms silence", exitWrongUse, "write one of", ""},
	} {
		var out, errs strings.Builder
		args := strings.Fields(row.args)
		args = append(args, "--config", file)
		code := run(t.Context(), args, stdio{out: &out, err: &errs})
		for tries := 0; row.args == "alarms list" && !strings.Contains(out.String(), row.want) && tries < 100; tries++ { // what is shown follows what was stored
			time.Sleep(100 * time.Millisecond)
			out.Reset()
			code = run(t.Context(), args, stdio{out: &out, err: &errs})
		}
		if text := out.String() + errs.String(); code != row.code || !strings.Contains(text, row.want) {
			t.Errorf("%s: %d, want %d, and %q in:\n%s", row.args, code, row.code, row.want, text)
		}
		if row.status != "" && b.status("box-0") != row.status {
			t.Errorf("%s: box-0 is %s, want %s", row.args, b.status("box-0"), row.status)
		}
	}
}
