package services_test

import (
	"context"
	"fmt"
	"log/slog"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"nestmon/exporter"
	"nestmon/exporter/metrics"
	"nestmon/sensors"
	"nestmon/thresholds"
	"nestmon/thresholds/brood"
	"nestmon/thresholds/nest"
)

// An invented password of the scraper, and its hash of the lowest cost.
const (
	scraper     = "willow-7741"
	scraperHash = "$2a$04$75K5oQdDChM.WRMK4URCaOPfAYjX/IW/wJiNeNWYtMN39UBkZzeHS"
)

// sheds are the three of the guide, with what the air of their only nest reads.
var sheds = []struct {
	name  string
	milli int
	air   string
}{{"hill", 21450, "21.45"}, {"brook", 18200, "18.2"}, {"mill", 11070, "11.07"}}

// TestSheds runs the guide: three daemons on boards of files beside one broker, one InfluxDB, one Prometheus and one Alertmanager, all with
// the files that are shipped. Beside them the decisions of a fourth, whose clock runs fast, are scraped: its nest grows too hot and cools again.
func TestSheds(t *testing.T) {
	t.Parallel()
	for _, name := range []string{"prometheus", "influxd", "alertmanager", "openssl", "mosquitto_passwd"} {
		binary(t, name)
	}
	dir, program := t.TempDir(), built(t)
	port := func() string { return fmt.Sprintf("127.0.0.1:%d", freePort(t)) }

	phone, deadMan := listen(t), listen(t)
	server := port()
	amFile := regexp.MustCompile(`group_(wait|interval): .*`).ReplaceAllString(shipped(t, "alertmanager.yml"), "group_$1: 1s")
	amFile = changed(t, amFile, "https://push.example/nests", phone.URL, "https://dead-man.example/ping", deadMan.URL)
	manager := startAlertmanager(t, amFile)

	influx := startInfluxd(t)
	influx.query(t, "CREATE DATABASE rabbitry")
	broker := guideBroker(t, dir)

	scrape := []string{"localhost:9093", manager, "scrape_interval: 30s", "scrape_interval: 1s", "evaluation_interval: 30s", "evaluation_interval: 500ms"}
	daemons := map[string]*process{}
	var pages []string
	live := func(folder, name string, milli int) (_ *process, page, exported string) {
		own := filepath.Join(dir, folder)
		exported, page = port(), port()
		if err := os.Mkdir(own, 0o700); err != nil {
			t.Fatal(err)
		}
		guideCertificate(t, own)
		write(t, filepath.Join(own, "web.yml"), changed(t, guideBlock(t, "web.yml"), "$2y$10$...", scraperHash))
		write(t, filepath.Join(own, "mqtt.password"), hunter+name)
		write(t, filepath.Join(own, "influx.token"), goodToken)
		config := changed(t, guideBlock(t, "nestmon.yaml"), "hill", name, "/etc/nestmon/", own+"/", "0.0.0.0:8380", page, "0.0.0.0:19555", exported,
			"tcp://house.example:1883", "tcp://"+broker, "http://house.example:8086", influx.url)
		b := newBoard(t)
		b.chip(t, milli, 63120)
		config += fmt.Sprintf("data: %s\npoll: 5s\n", filepath.Join(own, "data"))
		return launch(t, program, "run", "--config", write(t, filepath.Join(own, "nestmon.yaml"), config), "--root", b.root), page, exported
	}
	for _, s := range sheds {
		daemon, page, exported := live(s.name, s.name, s.milli)
		daemons[s.name], scrape, pages = daemon, append(scrape, s.name+".example:19555", exported), append(pages, page)
	}
	for i, s := range sheds {
		daemons[s.name].ready(t, answers("http://"+pages[i]+"/healthz"))
	}
	var trusted strings.Builder
	for _, s := range sheds {
		text, err := os.ReadFile(filepath.Join(dir, s.name, "shed.pem"))
		if err != nil {
			t.Fatal(err)
		}
		trusted.Write(text)
	}
	write(t, filepath.Join(dir, "sheds.pem"), trusted.String())
	write(t, filepath.Join(dir, "scrape.password"), scraper)
	write(t, filepath.Join(dir, "alerts.yml"), hurried(shipped(t, "alerts.yml")))
	fast := newFastShed(t)
	promFile := changed(t, shipped(t, "prometheus.yml"), scrape...) +
		fmt.Sprintf("  - {job_name: fast, static_configs: [{targets: ['%s'], labels: {site: fast}}]}\n", fast.address)
	launch(t, binary(t, "prometheus"), "--config.file="+write(t, filepath.Join(dir, "prometheus.yml"), promFile), "--storage.tsdb.path="+filepath.Join(dir, "tsdb"),
		"--web.listen-address="+server, "--rules.alert.resend-delay=1s").ready(t, answers("http://"+server+"/-/ready"))

	reader := observe(t, broker, func(o *paho.ClientOptions) { o.SetUsername("reader").SetPassword(hunter + "reader") })
	for _, s := range sheds {
		eventually(t, s.name+" is apart in Prometheus", func() bool {
			return instant(t, server, fmt.Sprintf(`nestmon_probe_temperature_celsius{site="%s",role="air"}`, s.name)) == s.air
		})
		eventually(t, s.name+" is apart on the broker", func() bool {
			return reader.holds()["homie/5/"+s.name+"/oak/air-temperature"] == s.air
		})
		eventually(t, s.name+" is apart in InfluxDB", func() bool { return slices.Equal(influxValues(t, influx, s.name), []string{s.air}) })
	}
	if got := instant(t, server, `count(count by (site) (nestmon_probe_temperature_celsius{job="nestmon",role="air"}))`); got != "3" {
		t.Errorf("%s sheds in Prometheus", got)
	}

	// One that was given the id of another is told so, and takes nothing from it.
	_, page, _ := live("copied", "brook", 5250)
	eventually(t, "the page says that the id is taken", func() bool {
		state := fetch("http://" + page + "/api/state")
		return strings.Contains(state, `another nestmon publishes as device \"brook\" already`) && strings.Contains(state, "give each nestmon its own device")
	})
	if holds := reader.holds(); holds["homie/5/brook/oak/air-temperature"] != "18.2" || holds["homie/5/brook/$state"] != "ready" {
		t.Errorf("the shed whose id was taken: air %s, state %s", holds["homie/5/brook/oak/air-temperature"], holds["homie/5/brook/$state"])
	}

	// A shed that dies is told of, and no other.
	daemons["mill"].kill()
	eventually(t, "the phone hears of the dead shed", func() bool { return phone.alerted("NestmonDown", "firing", `"site":"mill"`) })
	for _, other := range []string{"hill", "brook"} {
		if phone.alerted("NestmonDown", "firing", fmt.Sprintf(`"site":%q`, other)) {
			t.Errorf("%s is said to be down", other)
		}
	}
	eventually(t, "the dead man's switch is pressed", func() bool { return deadMan.alerted("NestmonWatchdog", "firing", "") })
	if phone.alerted("NestmonWatchdog", "firing", "") {
		t.Error("the watchdog goes to the phone")
	}

	hot := `"nest":"yard","severity":"critical","site":"fast"`
	if phone.alerted("NestTooHot", "firing", hot) {
		t.Error("told of heat before there was any")
	}
	fast.live(t, 38, 30*time.Minute)
	eventually(t, "the phone hears of the heat", func() bool { return phone.alerted("NestTooHot", "firing", hot) })
	if !phone.hear("is dangerously hot") || !phone.hear("give shade and moving air now") {
		t.Error("the words of the rule did not arrive")
	}
	fast.live(t, 24, 10*time.Minute)
	eventually(t, "and that it is over", func() bool { return phone.alerted("NestTooHot", "resolved", hot) })
}

// fastShed is what a daemon decides and exports, by a clock that only counts polls: the delays of an alarm are half an hour long.
type fastShed struct {
	address  string
	now      time.Time
	rabbitry *thresholds.Rabbitry
	sink     *metrics.Sink
}

func newFastShed(t *testing.T) *fastShed {
	t.Helper()
	air := sensors.Probe{ID: "yard-air", Quantities: []sensors.Quantity{sensors.Temperature}, Interval: fastPoll, StaleAfter: sensors.DefaultStaleAfter(fastPoll)}
	r, err := thresholds.New(thresholds.Config{
		Location: time.UTC, Poll: fastPoll, Probes: []sensors.Probe{air}, Limits: brood.DefaultTables(),
		Nests: []nest.Config{{ID: "yard", Kind: brood.WoodenBox, Floor: brood.SolidFloor, Air: air.ID}},
	})
	if err != nil {
		t.Fatal(err)
	}
	s := &fastShed{address: fmt.Sprintf("127.0.0.1:%d", freePort(t)), now: time.Now().Add(-time.Hour), rabbitry: r, sink: metrics.New()}
	if err := s.sink.Serve(metrics.Config{Listen: s.address}, slog.New(slog.DiscardHandler)); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = s.sink.Close(context.Background()) })
	s.live(t, 24, 10*time.Minute)
	return s
}

const fastPoll = 30 * time.Second

// live lets so much time pass with that temperature in the nest.
func (s *fastShed) live(t *testing.T, celsius float64, span time.Duration) {
	t.Helper()
	for end := s.now.Add(span); s.now.Before(end); s.now = s.now.Add(fastPoll) {
		s.rabbitry.Observe(s.now, []sensors.Reading{{Probe: "yard-air", Quantity: sensors.Temperature, Time: s.now, Value: celsius}})
	}
	if err := s.sink.Publish(t.Context(), &exporter.State{Started: s.now, Synced: true, Version: "test", Snapshot: s.rabbitry.Snapshot()}); err != nil {
		t.Fatal(err)
	}
}

// guideBroker runs the guide's broker with a user for each shed and one who reads.
func guideBroker(t *testing.T, dir string) (address string) {
	t.Helper()
	passwords := write(t, filepath.Join(dir, "passwd"), "")
	for _, user := range []string{"hill", "brook", "mill", "reader"} {
		if out, err := exec.Command(binary(t, "mosquitto_passwd"), "-b", passwords, user, hunter+user).CombinedOutput(); err != nil {
			t.Fatalf("mosquitto_passwd: %v: %s", err, out)
		}
	}
	n := freePort(t)
	conf := changed(t, guideBlock(t, "mosquitto.conf"), "listener 1883", fmt.Sprintf("listener %d 127.0.0.1", n), "/etc/mosquitto/passwd", passwords,
		"/etc/mosquitto/acl", write(t, filepath.Join(dir, "acl"), guideBlock(t, "acl")))
	if os.Geteuid() == 0 {
		conf += "user root\n" // it would drop to a user that cannot read the test's folder
	}
	address = fmt.Sprintf("127.0.0.1:%d", n)
	launch(t, binary(t, "mosquitto"), "-c", write(t, filepath.Join(dir, "mosquitto.conf"), conf)).ready(t, listens(address))
	return address
}

// guideCertificate makes shed.pem and shed.key by the guide's command.
func guideCertificate(t *testing.T, dir string) {
	t.Helper()
	command := regexp.MustCompile(`(?m)^    (openssl req .*\\\n.*)$`).FindStringSubmatch(shipped(t, "README.md"))
	if command == nil {
		t.Fatal("the guide does not say how to make a certificate")
	}
	c := exec.Command("sh", "-c", changed(t, command[1], "DNS:hill.example", "IP:127.0.0.1"))
	c.Dir = dir
	if out, err := c.CombinedOutput(); err != nil {
		t.Fatalf("%s: %v\n%s", command[1], err, out)
	}
}

// influxValues are the different air temperatures of one site.
func influxValues(t *testing.T, s *influxd, site string) (all []string) {
	t.Helper()
	columns, rows := s.query(t, fmt.Sprintf(`SELECT temperature FROM rabbitry..nestmon WHERE site = '%s' AND probe = 'oak-air'`, site))
	for _, row := range rows {
		if v := fmt.Sprint(row[slices.Index(columns, "temperature")]); !slices.Contains(all, v) {
			all = append(all, v)
		}
	}
	return all
}
