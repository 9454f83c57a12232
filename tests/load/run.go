package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync/atomic"
	"time"

	"nestmon/tests/rig"
)

// load is one run.
type load struct {
	loaded, rested time.Duration
	pages, flood   int
	stop           <-chan os.Signal

	board         rig.Board
	broker        *rig.Service
	daemon        *rig.Process
	page, metrics string
	now           atomic.Pointer[watch]
	called        atomic.Int64
	turn          int // of the nest whose probe goes next
}

func nest(n int) string         { return fmt.Sprintf("n%d", n) }
func isWireless(id string) bool { return len(id) > 2 && id >= nest(nests-wireless) }

func (l *load) config(dir, phone string) string {
	var b strings.Builder
	fmt.Fprintf(&b, "site: {id: load, name: Load}\ndata: %s\npoll: %s\nradio: {broker: \"tcp://%s\"}\nphone: {channels: [{name: mobile, url: %q, format: json, at_least: notice}]}\n", filepath.Join(dir, "data"), poll, l.broker.Address, phone)
	fmt.Fprintf(&b, "publish:\n  page: {listen: %q}\n  prometheus: {listen: %q}\n  mqtt: {broker: \"tcp://%s\", device: load, commands: true}\nprobes:\n", l.page, l.metrics, l.broker.Address)
	for n := range nests {
		fmt.Fprintf(&b, "  - {id: n%d-cluster, source: w1, rom: %s, stale_after: %s}\n", n, rig.ROM(n), stale)
		if isWireless(nest(n)) {
			fmt.Fprintf(&b, "  - {id: n%d-air, source: radio, topic: %s, pointers: {temperature: /t, humidity: /h}, unit: C, interval: %s}\n", n, topic(n), poll)
		} else {
			fmt.Fprintf(&b, "  - {id: n%d-air, source: kernel, chip: sht4x, device: %s}\n", n, rig.Device(n))
		}
	}
	b.WriteString("nests:\n")
	for n := range nests {
		fmt.Fprintf(&b, "  - {id: n%[1]d, kind: wooden-box, cluster: n%[1]d-cluster, air: n%[1]d-air}\n", n)
	}
	return b.String()
}

func (l *load) run() error {
	dir, err := os.MkdirTemp("", "nestmon-load-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	program, err := rig.Build(dir, false)
	if err != nil {
		return err
	}
	if l.broker, err = rig.Mosquitto(dir); err != nil {
		return err
	}
	defer l.broker.Kill()
	phone := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		_, _ = io.Copy(io.Discard, r.Body)
		l.called.Add(1)
	}))
	defer phone.Close()
	for _, a := range []*string{&l.page, &l.metrics} {
		if *a, err = rig.Free(); err != nil {
			return err
		}
	}
	l.board = rig.Board{Root: filepath.Join(dir, "board")}
	for n := range nests {
		if err := errors.Join(l.board.Warm(n, warmth(n)), l.board.Air(n, 21.5, 55)); err != nil {
			return err
		}
	}
	file := filepath.Join(dir, "nestmon.yaml")
	if err := os.WriteFile(file, []byte(l.config(dir, phone.URL)), 0o600); err != nil {
		return err
	}
	c := exec.Command(program, "run", "--config", file, "--root", l.board.Root)
	c.Env = append(os.Environ(), rig.Watched(10*time.Second))
	if l.daemon, err = rig.Start(c); err != nil {
		return err
	}
	defer l.daemon.Kill()
	if err := l.daemon.Until("it answers", func() bool {
		_, err := rig.Get(http.DefaultClient, "http://"+l.page+"/api/state")
		return err == nil
	}); err != nil {
		return err
	}
	ctx, done := context.WithCancel(context.Background())
	defer done()
	go func() {
		select {
		case <-l.stop:
			done()
		case <-ctx.Done():
		}
	}()
	go func() { _ = nodes(ctx, l.broker.Address) }()
	l.now.Store(newWatch())
	eye := &rig.Pages{Address: l.page, Took: func(data string) { l.now.Load().took(data) }}
	if err := eye.Open(true); err != nil {
		return err
	}
	defer eye.Leave(0)
	for began := time.Now(); l.now.Load().polled().IsZero() || time.Since(began) < 2*poll; time.Sleep(100 * time.Millisecond) {
		if ctx.Err() != nil || time.Since(began) > rig.Patience {
			return errors.New("the page shows no poll")
		}
	}
	rest, err := l.phase(ctx, l.rested, nil)
	if err != nil {
		return err
	}
	full, err := l.phase(ctx, l.loaded, l.burden)
	if err != nil {
		return err
	}
	report(os.Stdout, rest, full)
	lines, _ := l.daemon.Said()
	fmt.Printf("\nthe log, most often\n%sthe newest of orders\n  %s\nread errors as counted, at most one a poll and quantity\n%s",
		rig.Most(lines, 8), l.daemon.Newest(`WARN "an order over the broker is refused"`), l.counted())
	return l.daemon.End()
}

func warmth(n int) float64 { return 30 + float64(n%4) }

// phase is what was measured in one.
type phase struct {
	took          time.Duration
	watch         *watch
	weight        rig.Weight
	busy          float64 // share of one processor
	goroutines    int
	heap          float64
	lines         int
	bytes         int64
	sent          int64
	states, ended int64
	good, bad     int64
	slowest       time.Duration
	called        int64
	err           error
}

// phase lets some time pass with a burden, nil for none, while probes go and come.
func (l *load) phase(ctx context.Context, long time.Duration, burden func(context.Context, *phase) func()) (*phase, error) {
	p := &phase{watch: newWatch()}
	before, err := l.daemon.Weigh()
	if err != nil {
		return nil, err
	}
	said, bytes := l.daemon.Said()
	called, began := l.called.Load(), time.Now()
	l.now.Store(p.watch)
	inner, done := context.WithTimeout(ctx, long)
	defer done()
	settle := func() {}
	if burden != nil {
		settle = burden(inner, p)
	}
	l.probes(inner, p.watch)
	p.took = time.Since(began)
	if p.weight, err = l.daemon.Weigh(); err != nil {
		return nil, err
	}
	p.goroutines, p.heap = l.daemon.Runtime()
	settle()
	p.busy = (p.weight.CPU - before.CPU).Seconds() / p.took.Seconds()
	after, most := l.daemon.Said()
	for line, n := range after {
		p.lines += n - said[line]
	}
	p.bytes, p.called = most-bytes, l.called.Load()-called
	return p, p.err
}

// probes takes the cluster's probe of one nest after another off its wire for a while, but for the nests with a wireless node.
func (l *load) probes(ctx context.Context, w *watch) {
	const away = stale + time.Minute + 3*poll           // the decisions look at a silence once a minute
	apart := (l.rested + l.loaded) / (nests - wireless) // an alarm of silence stands for minutes after it: each probe has its turn once
	var out []int
	back := map[int]time.Time{}
	for next := time.Now(); ctx.Err() == nil; {
		last := w.polled()
		if l.turn < nests-wireless && time.Now().After(next) && !last.IsZero() && time.Since(last) < poll/2 { // not while one reads, so that the last good reading is the last poll's
			n := l.turn
			_ = l.board.Lose(n)
			w.await(nest(n), last.Add(stale))
			back[n], out = time.Now().Add(away), append(out, n)
			l.turn, next = l.turn+1, next.Add(apart)
		}
		select {
		case <-ctx.Done():
		case <-time.After(time.Second):
		}
		for len(out) > 0 && time.Now().After(back[out[0]]) {
			_ = l.board.Warm(out[0], warmth(out[0]))
			w.forget(nest(out[0]))
			out = out[1:]
		}
	}
	for _, n := range out {
		_ = l.board.Warm(n, warmth(n))
	}
}

// burden puts the load on, and returns what takes it off and reads the counts.
func (l *load) burden(ctx context.Context, p *phase) func() {
	pages := &rig.Pages{Address: l.page}
	for i := range l.pages {
		if err := pages.Open(i%mute != 0); err != nil {
			p.err = fmt.Errorf("opening stream %d: %w", i, err)
		}
	}
	good, bad, slowest := rig.Scrape(ctx, "http://"+l.metrics+"/metrics", time.Second)
	var sent atomic.Int64
	flooded := make(chan error, 1)
	go func() { flooded <- flooding(ctx, l.broker.Address, l.flood, &sent) }()
	return func() {
		p.ended = pages.Ended.Load()
		pages.Leave(0)
		if err := <-flooded; err != nil {
			p.err = err
		}
		p.sent, p.states = sent.Load(), pages.States.Load()
		p.good, p.bad, p.slowest = good.Load(), bad.Load(), time.Duration(slowest.Load())
	}
}

// counted is what the daemon counts of readings without a value.
func (l *load) counted() string {
	text, err := rig.Get(http.DefaultClient, "http://"+l.metrics+"/metrics")
	if err != nil {
		return err.Error()
	}
	var b strings.Builder
	for line := range strings.Lines(string(text)) {
		if strings.HasPrefix(line, "nestmon_probe_read_errors_total{") && !strings.HasSuffix(line, " 0\n") {
			b.WriteString("  " + line)
		}
	}
	return b.String()
}

// report prints both phases beside each other.
func report(w io.Writer, rest, full *phase) {
	row := func(name string, of func(p *phase) string) {
		fmt.Fprintf(w, "%-70s %-26s %s\n", name, of(rest), of(full))
	}
	minutes := func(p *phase) float64 { return p.took.Minutes() }
	fmt.Fprintf(w, "%-70s %-26s %s\n", "", "at rest", "under load")
	row("how long", func(p *phase) string { return p.took.Round(time.Second).String() })
	row("between two polls: median, most", func(p *phase) string { return spread(p.watch.apart) })
	row("from a poll to its state on a page: median, most", func(p *phase) string { return spread(p.watch.late) })
	row("a silence's alarm seen after it was due, within a minute: median, most", func(p *phase) string { return spread(p.watch.alarms) })
	row("  of these never seen", func(p *phase) string { return fmt.Sprint(len(p.watch.missing)) })
	row("wireless values new at their poll, and not", func(p *phase) string { return fmt.Sprintf("%d, %d", p.watch.heard, p.watch.silent) })
	row("messages on the phone", func(p *phase) string { return fmt.Sprint(p.called) })
	row("malformed messages sent; a second", func(p *phase) string { return fmt.Sprintf("%d; %.0f", p.sent, float64(p.sent)/p.took.Seconds()) })
	row("states to pages that read; streams that ended", func(p *phase) string { return fmt.Sprintf("%d; %d", p.states, p.ended) })
	row("scrapes, failed, the slowest", func(p *phase) string {
		return fmt.Sprintf("%d, %d, %s", p.good, p.bad, p.slowest.Round(time.Millisecond))
	})
	row("log: lines, bytes a minute", func(p *phase) string {
		return fmt.Sprintf("%.1f, %.0f", float64(p.lines)/minutes(p), float64(p.bytes)/minutes(p))
	})
	row("resident memory, most so far, MB", func(p *phase) string { return fmt.Sprintf("%.1f, %.1f", p.weight.RSS, p.weight.Peak) })
	row("heap after the last collection, MB", func(p *phase) string { return fmt.Sprintf("%.0f", p.heap) })
	row("goroutines, descriptors", func(p *phase) string { return fmt.Sprintf("%d, %d", p.goroutines, p.weight.FDs) })
	row("processor, of one", func(p *phase) string { return fmt.Sprintf("%.1f %%", 100*p.busy) })
}
