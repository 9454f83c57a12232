package main

import (
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"sync/atomic"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"nestmon/tests/rig"
)

// world is all that the daemon talks to, and where it lives.
type world struct {
	dir, config, root string
	page, metrics     string
	card              *card
	barn              *barn
	broker, database  *rig.Service // nil where it is not installed
	phone             *httptest.Server
	phoneSlow         atomic.Bool
	phoneDown         atomic.Bool
	called            atomic.Int64
	keeper            paho.Client
	pages             *rig.Pages
	random            *rand.Rand
	fate              *fate
	offset            time.Duration // of the daemon's clock, which steps
}

// slowness of a phone service, ours: longer than a person waits, shorter than a try may take.
const phoneSlowness = 2 * time.Second

func newWorld(dir, options string, seed uint64, from time.Time, pace float64) (w *world, err error) {
	w = &world{dir: dir, root: filepath.Join(dir, "board"), config: filepath.Join(dir, "nestmon.yaml"), random: rand.New(rand.NewPCG(seed, 2))}
	if w.card, err = newCard(dir, options); err != nil {
		return nil, err
	}
	if w.barn, err = newBarn(w.root, seed, from); err != nil {
		return nil, err
	}
	if err := w.barn.pass(from); err != nil {
		return nil, err
	}
	w.phone = httptest.NewServer(http.HandlerFunc(func(out http.ResponseWriter, r *http.Request) {
		_, _ = io.Copy(io.Discard, r.Body)
		if w.phoneSlow.Load() {
			time.Sleep(phoneSlowness)
		}
		if w.phoneDown.Load() {
			http.Error(out, "down", http.StatusServiceUnavailable)
			return
		}
		w.called.Add(1)
	}))
	for _, a := range []*string{&w.page, &w.metrics} {
		if *a, err = rig.Free(); err != nil {
			return nil, err
		}
	}
	head := fmt.Sprintf("site: {id: soak, name: Soak}\ndata: %s\npoll: %s\nphone: {channels: [{name: mobile, url: %q, format: json}], all_well: \"08:00\"}\npublish:\n  page: {listen: %q}\n  prometheus: {listen: %q}\n",
		filepath.Join(w.card.dir, "data"), poll, w.phone.URL, w.page, w.metrics)
	if w.broker, err = rig.Mosquitto(dir); err != nil {
		fmt.Println("left out, the broker:", err)
		w.broker = nil
	} else {
		head += fmt.Sprintf("  mqtt: {broker: \"tcp://%s\", device: soak, senml: true, commands: true}\n", w.broker.Address)
		w.keeper = paho.NewClient(paho.NewClientOptions().AddBroker("tcp://" + w.broker.Address).SetClientID("soak-keeper").SetConnectRetry(true).SetConnectRetryInterval(time.Second).SetMaxReconnectInterval(time.Second))
		w.keeper.Connect()
	}
	if w.database, err = rig.Influxd(dir, "soak"); err != nil {
		fmt.Println("left out, the database:", err)
		w.database = nil
	} else {
		head += fmt.Sprintf("  influxdb: {url: \"http://%s\", bucket: soak, token: \"soak:soak\"}\n", w.database.Address)
	}
	w.pages = &rig.Pages{Address: w.page}
	w.fate = w.faults(seed, pace)
	return w, os.WriteFile(w.config, []byte(w.barn.config(head)), 0o600)
}

func (w *world) close() {
	w.pages.Leave(0)
	if w.keeper != nil {
		w.keeper.Disconnect(0)
	}
	for _, s := range []*rig.Service{w.broker, w.database} {
		if s != nil {
			s.Kill()
		}
	}
	w.phone.Close()
	w.card.close()
}

// faults is what goes wrong. A real clock cannot be stepped here; that is left to the told one.
func (w *world) faults(seed uint64, pace float64) *fate {
	f := &fate{random: rand.New(rand.NewPCG(seed, 3)), pace: pace}
	add := func(name string, every, lasts time.Duration, begin, end func() error) {
		f.all = append(f.all, &fault{name: name, every: every, lasts: lasts, begin: begin, end: end})
	}
	for _, a := range []struct {
		name         string
		with         ailment
		every, lasts time.Duration
	}{{"probe dead", dead, 2 * day, 6 * time.Hour}, {"probe stuck", stuck, 4 * day, 12 * time.Hour}, {"probe spikes", spiking, 3 * day, 3 * time.Hour}, {"wire hangs", hung, 4 * day, time.Hour}} {
		begin, end := w.barn.ails(a.with)
		add(a.name, a.every, a.lasts, begin, end)
	}
	again := func(s *rig.Service) (begin, end func() error) {
		return func() error { s.Kill(); return nil }, s.Start
	}
	if w.broker != nil {
		begin, end := again(w.broker)
		add("broker away", day, 2*time.Hour, begin, end)
	}
	if w.database != nil {
		begin, end := again(w.database)
		add("database away", 2*day, 8*time.Hour, begin, end)
	}
	if w.card.device != "" {
		add("card full", 5*day, 4*time.Hour, w.card.fill, w.card.empty)
	}
	set := func(b *atomic.Bool) (begin, end func() error) {
		return func() error { b.Store(true); return nil }, func() error { b.Store(false); return nil }
	}
	begin, end := set(&w.phoneSlow)
	add("phone slow", 2*day, 6*time.Hour, begin, end)
	begin, end = set(&w.phoneDown)
	add("phone down", 3*day, 6*time.Hour, begin, end)
	if pace == 1 {
		add("clock steps", 3*day, 5*time.Hour, func() error {
			w.offset = time.Duration(w.random.NormFloat64() * float64(time.Hour)).Truncate(time.Second)
			return nil
		}, func() error { w.offset = 0; return nil })
	}
	return f
}

// litters are what the keeper knew at the beginning.
func (w *world) litters(program string, zone *time.Location) error {
	enter := func(args ...string) error {
		out, err := exec.Command(program, append(append([]string{"litter"}, args...), "--config", w.config)...).CombinedOutput()
		if err != nil {
			return fmt.Errorf("litter %v: %w\n%s", args, err, out)
		}
		return nil
	}
	for _, n := range w.barn.nests {
		bred := n.Kindled.Add(-31 * day)
		if err := enter("bred", "--nest", n.ID, "--on", bred.In(zone).Format(time.DateOnly)); err != nil {
			return err
		}
		if n.Kindled.Before(w.barn.now) {
			if err := enter("kindled", "--nest", n.ID, "--on", n.Kindled.In(zone).Format(time.DateOnly), "--born", fmt.Sprint(n.Kits)); err != nil {
				return err
			}
		}
	}
	return nil
}

// keeps is what the keeper does of an evening, over the broker: sees what calls, and looks into each nest.
func (w *world) keeps() {
	if w.keeper == nil || !w.keeper.IsConnectionOpen() {
		return
	}
	for _, n := range w.barn.nests {
		for property, payload := range map[string]string{"acknowledge": "all", "chore-done": "inspect-due", "shelve": "bedding-due PT30M"} {
			w.keeper.Publish("homie/5/soak/"+n.ID+"/"+property+"/set", 1, false, payload)
		}
	}
}

// comings lets a page come and one go, and somebody look at the past.
func (w *world) comings() {
	const most = 12 // pages of a home, generously
	w.pages.Leave(w.random.IntN(most))
	_ = w.pages.Open(w.random.IntN(3) > 0) // refused while the daemon starts
	client := &http.Client{Timeout: 5 * time.Second, Transport: &http.Transport{DisableKeepAlives: true}}
	nest := w.barn.nests[w.random.IntN(len(w.barn.nests))].ID
	for _, path := range []string{"/", "/api/state", "/api/agenda", "/api/book", "/api/nest?nest=" + nest, "/api/events"} {
		if w.random.IntN(3) == 0 {
			_, _ = rig.Get(client, "http://"+w.page+path) // what it answers is others' to test
		}
	}
}
