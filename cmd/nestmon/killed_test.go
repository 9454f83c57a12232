package main

import (
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"log/slog"
	"math"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"nestmon/exporter/archive"
	"nestmon/exporter/phone"
	"nestmon/sensors"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
)

// kills is how often the daemon is killed. A thousand take some minutes:
//
//	go test ./cmd/nestmon -run KilledAnywhere -kills 1000 -v
var kills = flag.Int("kills", 15, "`times` that TestKilledAnywhere kills the daemon")

// The child of TestKilledAnywhere finds these in its environment.
const (
	victimFolder = "NESTMON_VICTIM_FOLDER"
	victimPhone  = "NESTMON_VICTIM_PHONE"
	victimUntil  = "NESTMON_VICTIM_UNTIL" // when it is to end by itself; empty for never
)

// victimBegins is what the child says before its first poll.
const victimBegins = "polls\n"

// swinging is four boxes that are too hot and cool again every few hours, each at other times.
type swinging struct {
	now    func() time.Time
	probes []sensors.Probe
}

func (s swinging) Bus() string             { return "swinging" }
func (s swinging) Probes() []sensors.Probe { return s.probes }
func (s swinging) Close() error            { return nil }

func (s swinging) Read(context.Context) (all []sensors.Reading) {
	at := s.now()
	for i, p := range s.probes {
		hours := at.Sub(demoStart).Hours()
		all = append(all, sensors.Reading{Probe: p.ID, Quantity: sensors.Temperature, Time: at, Value: 26 + 12*math.Sin(hours*(0.9+0.07*float64(i))+float64(i)*1.7)})
	}
	return all
}

func victimConfig(t *testing.T, folder, address string) *config {
	t.Helper()
	c := &config{Data: folder, Poll: stepOf, Control: filepath.Join(folder, "control"), Phone: &phone.Config{
		Channels: []phone.Channel{{Name: "mobile", URL: secret(address), Format: "json"}},
	}}
	c.Site.Timezone = "UTC"
	for i := range 4 {
		id := fmt.Sprintf("box-%d", i)
		p := probeConfig{}
		p.ID, p.Source, p.Quantities = id, simulatedKind, []string{"temperature"}
		c.Probes = append(c.Probes, p)
		c.Nests = append(c.Nests, nestConfig{ID: id, Kind: brood.WoodenBox, Air: id})
	}
	c.settle()
	return c
}

// stepOf is what stepPace lets pass between two polls.
const stepOf = 30 * time.Second

// TestVictim is the daemon that TestKilledAnywhere kills: on a clock of its own, as fast as the machine can.
func TestVictim(t *testing.T) {
	folder := os.Getenv(victimFolder)
	if folder == "" {
		t.Skip("runs as a child of TestKilledAnywhere alone")
	}
	cfg := victimConfig(t, folder, os.Getenv(victimPhone))
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	p := &stepPace{fin: cancel, end: time.Date(2999, 1, 1, 0, 0, 0, 0, time.UTC)}
	if until := os.Getenv(victimUntil); until != "" {
		end, err := time.Parse(time.RFC3339, until)
		if err != nil {
			t.Fatal(err)
		}
		p.end = end
	}
	from := demoStart
	p.now.Store(&from)
	d, err := newDaemon(cfg, parts{
		log: slog.New(slog.DiscardHandler), pace: p, trusted: func(time.Time) bool { return true },
		sources: func() ([]sensors.Source, error) { return []sensors.Source{swinging{p.Now, cfg.probes()}}, nil },
	})
	if err != nil {
		t.Fatal(err)
	}
	if _, newest, err := d.archive.Newest(); err != nil {
		t.Fatal(err)
	} else if newest.After(from) {
		p.now.Store(&newest)
	}
	if d.teller, err = openAnnouncer(d.archive, cfg, p.Now(), d.log); err != nil { // at the time the archive is at
		t.Fatal(err)
	}
	fmt.Print(victimBegins)
	if err := d.run(ctx); err != nil {
		t.Fatal(err)
	}
	for {
		n, _, err := d.archive.Waiting("mobile")
		if err != nil {
			t.Fatal(err)
		}
		if n == 0 {
			break
		}
		time.Sleep(10 * time.Millisecond)
	}
	ending, done := context.WithTimeout(context.Background(), 10*time.Second)
	defer done()
	if err := d.stop(ending); err != nil {
		t.Fatal(err)
	}
}

// receipt is one message as the phone got it.
type receipt struct {
	ID       string    `json:"id"`
	Kind     string    `json:"kind"`
	Time     time.Time `json:"time"`
	Nest     string    `json:"nest"`
	Event    string    `json:"event"`
	State    string    `json:"state"`
	Severity string    `json:"severity"`
}

// change names the change of an alarm that a message tells. An end is told with the highest severity that was told, not with the last.
func (m receipt) change() string {
	if m.State == string(alarm.Cleared) {
		m.Severity = ""
	}
	return strings.Join([]string{m.Time.UTC().Format(time.RFC3339), m.Nest, m.Event, m.State, m.Severity}, " ")
}

// The daemon is killed -9 at random instants, again and again, while alarms come and go and are sent. Afterwards every change of an alarm that is to be
// told was told, each once: a message that crossed the wire twice, because the kill came between the phone's answer and its note, is known by its id.
func TestKilledAnywhere(t *testing.T) {
	long(t)
	folder, seed := t.TempDir(), rand.Uint64()
	random := rand.New(rand.NewPCG(seed, 0))
	var mu sync.Mutex
	got, arrivals := map[string]receipt{}, 0
	service := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		var m receipt
		if err := json.NewDecoder(r.Body).Decode(&m); err != nil {
			http.Error(w, err.Error(), http.StatusBadRequest)
			return
		}
		mu.Lock()
		defer mu.Unlock()
		arrivals++
		got[m.ID] = m
	}))
	defer service.Close()
	life := func(until string) *exec.Cmd {
		c := exec.Command(os.Args[0], "-test.run=^TestVictim$")
		c.Env = append(os.Environ(), victimFolder+"="+folder, victimPhone+"="+service.URL, victimUntil+"="+until)
		return c
	}
	for range *kills {
		c := life("")
		begins, err := c.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := c.Start(); err != nil {
			t.Fatal(err)
		}
		if random.IntN(5) > 0 { // else while it starts
			_, _ = io.ReadFull(begins, make([]byte, len(victimBegins)))
		}
		time.Sleep(time.Duration(random.IntN(300)) * time.Millisecond)
		_ = c.Process.Kill()
		if err := c.Wait(); err == nil {
			t.Fatal("it ended before it was killed")
		}
	}
	a, err := archive.Open(folder, archive.Options{Probes: victimConfig(t, folder, service.URL).probes(), Now: time.Now, Log: slog.New(slog.DiscardHandler)})
	if err != nil {
		t.Fatal(err)
	}
	_, newest, err := a.Newest()
	if err = errors.Join(err, a.Close()); err != nil {
		t.Fatal(err)
	}
	if newest.Before(demoStart) {
		newest = demoStart
	}
	end := newest.Add(12 * time.Hour)
	last := life(end.Format(time.RFC3339))
	out, err := last.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := last.Start(); err != nil {
		t.Fatal(err)
	}
	text, _ := io.ReadAll(out)
	if err := last.Wait(); err != nil {
		t.Fatalf("%v\n%s", err, text)
	}
	if a, err = archive.Open(folder, archive.Options{Probes: victimConfig(t, folder, service.URL).probes(), Now: time.Now, Log: slog.New(slog.DiscardHandler)}); err != nil {
		t.Fatal(err)
	}
	defer a.Close()
	events, err := a.Events(demoStart, end.Add(time.Hour), math.MaxInt32)
	if err != nil {
		t.Fatal(err)
	}
	mu.Lock()
	defer mu.Unlock()
	judgeKilled(t, events, got)
	t.Logf("seed %d: %d kills in %s of the nests' time, %d events, %d messages, %d of them crossed the wire again", seed, *kills, end.Sub(demoStart), len(events), len(got),
		arrivals-len(got))
}

// judgeKilled compares what the archive holds with what the phone got.
func judgeKilled(t *testing.T, events []alarm.Event, got map[string]receipt) {
	t.Helper()
	slices.Reverse(events)
	heardOf := map[string]int{}
	for _, m := range got {
		if m.Kind == "alarm" {
			heardOf[m.change()]++
		}
	}
	want := map[string]bool{}
	level := map[place]alarm.Severity{}
	repeats := 0
	for _, e := range events {
		at := place{e.Nest, e.Name}
		switch {
		case e.Name != alarm.NestHeat && e.Name != alarm.HeatExpected:
			continue
		case e.Name == alarm.HeatExpected && level[place{e.Nest, alarm.NestHeat}] > e.Severity:
			continue // it is here
		case e.State == alarm.Raised && e.Severity >= alarm.Warning:
			level[at] = max(level[at], e.Severity)
		case e.State == alarm.Cleared && level[at] >= alarm.Warning:
			delete(level, at)
			if e.Name == alarm.HeatExpected {
				continue // told only where the heat stayed away
			}
		default:
			continue
		}
		m := receipt{Time: e.Time, Nest: e.Nest, Event: string(e.Name), State: string(e.State), Severity: e.Severity.String()}
		want[m.change()] = true
	}
	for change := range want {
		if heardOf[change] != 1 {
			t.Errorf("told %d times: %s", heardOf[change], change)
		}
	}
	for change, n := range heardOf {
		if !want[change] && !strings.Contains(change, string(alarm.HeatExpected)+" cleared") && n != 0 {
			t.Errorf("told, but not in the archive: %s", change)
		}
	}
	for _, m := range got {
		if m.Kind == "repeat" {
			repeats++
		}
	}
	if len(want) < 8 || repeats < 4 {
		t.Errorf("%d changes and %d repeats are too few to say anything", len(want), repeats)
	}
}
