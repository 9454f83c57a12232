package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/metrics"
	"nestmon/exporter/mqtt"
	"nestmon/exporter/mqtt/demobroker"
	"nestmon/exporter/phone"
	"nestmon/exporter/web"
	"nestmon/sensors"
	"nestmon/sensors/simulated"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/book"
	"nestmon/thresholds/brood"
)

var demoCommand = command{"demo", "a complete invented rabbitry through a heat wave and a freeze, nothing to install", runDemo}

// demoStart is the invented day on which the demonstration begins.
var demoStart = time.Date(2031, time.September, 8, 0, 0, 0, 0, time.UTC)

// demoSpeed brings the nine days of the story into less than two minutes.
const demoSpeed = 7500.0

// demoStop bounds the end of the demonstration: Ctrl-C should feel immediate.
const demoStop = 1500 * time.Millisecond

func runDemo(ctx context.Context, args []string, std stdio) int {
	fs := flags("demo", "demo [--speed N] [--data DIR] [--listen HOST] [--once]", std)
	speed := fs.Float64("speed", demoSpeed, "how many `times` real speed, 1 to 20000")
	data := fs.String("data", "", "`folder` to keep the archive in; without it a temporary one is used and removed")
	listen := fs.String("listen", "127.0.0.1", "`address` of the page and the metrics; 0.0.0.0 shows them to the home network")
	once := fs.Bool("once", false, "end when the story has been told")
	if code, ok := parse(fs, args); !ok {
		return code
	}
	if *speed < 1 || *speed > 20000 {
		fmt.Fprintf(std.err, "nestmon demo: --speed %v is outside 1 to 20000\n", *speed)
		return exitWrongUse
	}
	d := demo{did: map[place]time.Time{}, advised: map[alarm.Name]bool{}, speed: *speed, data: *data, listen: *listen, once: *once, out: std.out, lines: &lines{out: std.out}}
	if err := d.run(ctx); err != nil {
		fmt.Fprintf(std.err, "nestmon demo: %v\n", err)
		return exitWrongUse
	}
	return exitDone
}

// demo is the daemon with a simulated rabbitry, a broker and a phone of its own, and a clock that runs fast.
type demo struct {
	speed  float64
	data   string
	listen string
	once   bool
	out    io.Writer
	lines  *lines // of the story, told by several goroutines

	story   *simulated.Demo
	pace    *fastPace
	daemon  *daemon
	told    int // lines of the script that were printed
	did     map[place]time.Time
	advised map[alarm.Name]bool
}

func (d *demo) run(ctx context.Context) (err error) {
	if d.data == "" {
		if d.data, err = os.MkdirTemp("", "nestmon-demo-"); err != nil {
			return err
		}
		defer os.RemoveAll(d.data)
	}
	if d.story, err = simulated.NewDemo(demoStart); err != nil {
		return err
	}
	if err := d.lock(); err != nil {
		return fmt.Errorf("making the page's password: %w", err)
	}
	log := slog.New(slog.DiscardHandler)
	broker, err := demobroker.Start(0, log)
	if err != nil {
		return fmt.Errorf("starting the broker: %w", err)
	}
	defer broker.Close()
	mobile, err := openMobile(d.lines)
	if err != nil {
		return fmt.Errorf("starting the invented phone: %w", err)
	}
	defer mobile.close()
	cfg := d.config(broker.URL(), mobile.url)
	d.pace = newFastPace(demoStart, cfg.Poll, d.speed)
	d.daemon, err = newDaemon(cfg, parts{
		log: log, pace: d.pace, trusted: func(time.Time) bool { return true },
		sources: func() ([]sensors.Source, error) {
			s, err := d.story.World.Source(simulatedKind, d.pace.Now, d.probeIDs()...)
			return []sensors.Source{s}, err
		},
	})
	if err != nil {
		return err
	}
	defer func() {
		ctx, cancel := context.WithTimeout(context.Background(), demoStop)
		defer cancel()
		if stopErr := d.daemon.stop(ctx); err == nil && !errors.Is(stopErr, context.DeadlineExceeded) {
			err = stopErr
		}
	}()
	if err := d.enterLitters(); err != nil {
		return err
	}
	d.welcome(cfg, broker.Addr())
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	d.daemon.seen = d.tell
	d.daemon.mend = func(now time.Time) { d.keep(now, stop) }
	return d.daemon.run(ctx)
}

// demoPassword lets who tries the page answer alarms, enter what happened and change limits. It is known to everybody.
const demoPassword = "meadow-clover"

func (d *demo) passwordFile() string { return filepath.Join(d.data, "page.password") }

func (d *demo) lock() error {
	line, err := web.HashPassword(demoPassword)
	if err != nil {
		return err
	}
	return os.WriteFile(d.passwordFile(), []byte(line+"\n"), 0o600)
}

// simulatedKind is what a configuration would call the demonstration's probes.
const simulatedKind = "simulated"

func (d *demo) config(broker, mobile string) *config {
	c := defaultConfig()
	c.Site = siteConfig{ID: "meadow", Name: "Meadow End (invented)", Timezone: "UTC", Display: "fahrenheit"}
	c.Data, c.Outside = d.data, d.story.Outside
	c.Probes = append(c.Probes, simulatedProbe(d.story.Outside))
	for _, n := range d.story.Nests {
		c.Nests = append(c.Nests, nestConfig{
			ID: n.ID, Kind: brood.Kind(n.Kind), Floor: brood.Floor(n.Floor), Lined: n.Lined, Cluster: n.Cluster, Air: n.Air, CO2: n.CO2,
		})
		for _, id := range n.Cluster {
			c.Probes = append(c.Probes, simulatedProbe(id, "temperature"))
		}
		c.Probes = append(c.Probes, simulatedProbe(n.Air))
		if n.CO2 != "" {
			c.Probes = append(c.Probes, simulatedProbe(n.CO2, "co2"))
		}
	}
	page, prom, tree := web.DefaultConfig(), metrics.DefaultConfig(), mqtt.DefaultConfig()
	page.Listen, prom.Listen = freeAddress(d.listen, page.Listen), freeAddress(d.listen, prom.Listen)
	page.PasswordFile = d.passwordFile()
	tree.Broker, tree.Device = broker, c.Site.ID
	c.Publish.Page, c.Publish.Prometheus, c.Publish.MQTT = &page, &prom, &tree
	c.Phone = &phone.Config{Channels: []phone.Channel{{Name: "mobile", URL: secret(mobile), Format: "json"}}}
	c.settle()
	return c
}

func simulatedProbe(id string, quantities ...string) probeConfig {
	return probeConfig{Entry: sensors.Entry{ID: id, Source: simulatedKind}, Quantities: quantities}
}

func (d *demo) probeIDs() []string {
	ids := []string{d.story.Outside}
	for _, n := range d.story.Nests {
		ids = append(append(ids, n.Cluster...), n.Air)
		if n.CO2 != "" {
			ids = append(ids, n.CO2)
		}
	}
	return ids
}

// enterLitters writes what the keeper knew on the first day into the litter book.
func (d *demo) enterLitters() error {
	var entries []book.Entry
	for i, l := range d.story.Litters {
		id := int64(i + 1)
		entries = append(entries, book.Entry{What: book.Bred, Litter: id, Nest: l.Nest, At: l.Bred, By: "keeper"})
		if !l.Kindled.After(demoStart) {
			entries = append(entries, book.Entry{What: book.Kindled, Litter: id, Nest: l.Nest, At: l.Kindled, Kits: &l.Kits, By: "keeper"})
		}
	}
	if _, _, err := d.daemon.enter(demoStart, entries); err != nil {
		return fmt.Errorf("entering the litters: %w", err)
	}
	return nil
}

// welcome says where to look.
func (d *demo) welcome(cfg *config, broker string) {
	host, port, _ := strings.Cut(broker, ":")
	page := cfg.Publish.Page.Listen
	fmt.Fprintf(d.out, `An invented rabbitry: five nests, simulated weather and broods, %.0f times real speed. Nothing here is measured.

  page      http://%s/    the password to answer and enter: %s
  metrics   http://%s/metrics
  MQTT      mosquitto_sub -h %s -p %s -v -t 'homie/5/%s/+/alarm'
  archive   %s

Ctrl-C ends it. "phone" is what reaches the keeper's phone, "story" and "keeper" tell what happens.

`, d.speed, page, demoPassword, cfg.Publish.Prometheus.Listen, host, port, cfg.Site.ID, d.data)
}

// keep prints the script's lines when their time has come, and marks as done what the script's keeper does.
func (d *demo) keep(now time.Time, stop func()) {
	for ; d.told < len(d.story.Script) && !d.story.Script[d.told].Time.After(now); d.told++ {
		line := d.story.Script[d.told]
		d.lines.print(line.Time, "story    ", line.Text)
	}
	for _, st := range d.daemon.snapshot().Alarms {
		at := place{st.Nest, st.Name}
		if st.Severity == alarm.Urgent && st.Status.Calls() && now.Sub(st.Time) >= keeperAnswers {
			if d.daemon.act(alarm.Act{Action: alarm.Acknowledge, Nest: st.Nest, Event: st.Name, By: "keeper"}) == nil {
				d.line(now, "keeper", st.Nest, "has seen "+string(st.Name)+" and is on it")
			}
		}
		delay, does := keeperDoes[st.Name]
		if !does || now.Sub(st.Time) < delay || !d.did[at].Before(st.Time) {
			continue
		}
		d.did[at] = now
		if d.marks(st.Nest, st.Name, now) && !quiet[st.Name] {
			d.line(now, "keeper", st.Nest, "has seen to "+string(st.Name))
		}
	}
	if !now.Before(d.story.End) && d.told == len(d.story.Script) {
		d.told++
		if d.once {
			stop()
			return
		}
		fmt.Fprint(d.out, "\nThe story has been told; the rabbitry goes on until Ctrl-C.\n\n")
	}
}

// place is where one alarm or chore is.
type place struct {
	nest  string
	event alarm.Name
}

func (d *demo) marks(nest string, chore alarm.Name, now time.Time) bool {
	_, _, err := d.daemon.enter(now, []book.Entry{{What: book.Did, Nest: nest, Chore: chore, By: "keeper"}})
	return err == nil
}

// keeperAnswers is how long after it came up the demonstration's keeper acknowledges an urgent alarm.
const keeperAnswers = 25 * time.Minute

// keeperDoes is how long after it came up the demonstration's keeper does a chore and marks it done.
var keeperDoes = map[alarm.Name]time.Duration{
	alarm.BeddingDue: 9 * time.Hour, alarm.InspectDue: 2 * time.Hour, alarm.TurnBoxDue: 9 * time.Hour,
	alarm.SeasonSetupDue: 20 * time.Hour, alarm.BoxDue: 5 * time.Hour, alarm.CollectDue: 30 * time.Hour,
}

// quiet lists what happens too often to be told in two minutes.
var quiet = map[alarm.Name]bool{alarm.Visit: true, alarm.Inspection: true, alarm.InspectDue: true}

// tell prints what a poll changed.
func (d *demo) tell(events []alarm.Event) {
	for _, e := range events {
		switch {
		case quiet[e.Name]:
		case e.State == alarm.Cleared:
			d.line(e.Time, "over", e.Nest, fmt.Sprintf("%s, after %s", e.Name, lasted(e.Time.Sub(e.Since))))
		default:
			text := exporter.FahrenheitFirst(strings.TrimPrefix(e.Text, "Nest "+e.Nest+": ")) // the line names it
			if d.advised[e.Name] {                                                            // what to do is told once, so that two minutes can be read
				first, _, _ := strings.Cut(text, ". ")
				text = strings.TrimSuffix(first, ".") + "."
			}
			d.advised[e.Name] = true
			d.line(e.Time, e.Severity.String(), e.Nest, fmt.Sprintf("%s: %s", e.Name, text))
		}
	}
}

func lasted(d time.Duration) string {
	if d < time.Hour {
		return fmt.Sprintf("%.0f min", d.Minutes())
	}
	return fmt.Sprintf("%d h %02d min", int(d.Hours()), int(d.Minutes())%60)
}

func (d *demo) line(t time.Time, what, nest, text string) {
	if nest == "" {
		nest = "site"
	}
	d.lines.print(t, fmt.Sprintf("%-7s  %-8s  ", what, nest), text)
}

// fastPace is a clock that runs many times as fast as the wall's. It moves only from poll to poll, so that a machine that cannot keep
// up loses speed and no poll.
type fastPace struct {
	poll  time.Duration
	speed float64
	start time.Time
	now   atomic.Pointer[time.Time]
	began time.Time // by the wall clock
}

func newFastPace(start time.Time, poll time.Duration, speed float64) *fastPace {
	p := &fastPace{poll: poll, speed: speed, start: start, began: time.Now()}
	p.now.Store(&start)
	return p
}

func (p *fastPace) Now() time.Time          { return *p.now.Load() }
func (p *fastPace) Deadline() time.Duration { return 5 * time.Second }

func (p *fastPace) Due() <-chan time.Time {
	next := p.Now().Add(p.poll)
	return time.After(time.Until(p.began.Add(time.Duration(float64(next.Sub(p.start)) / p.speed))))
}

func (p *fastPace) Begin() time.Time {
	next := p.Now().Add(p.poll)
	p.now.Store(&next)
	return next
}
