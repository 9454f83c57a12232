package services_test

import (
	"fmt"
	"net/http"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// startPrometheus starts Prometheus with a configuration and returns its address. It learns its Alertmanagers five seconds after its start; an
// alert raised before would only be sent again after a minute.
func startPrometheus(t *testing.T, config string) (address string) {
	t.Helper()
	dir := t.TempDir()
	address = fmt.Sprintf("127.0.0.1:%d", freePort(t))
	start(t, "prometheus", "--config.file="+write(t, filepath.Join(dir, "prometheus.yml"), config),
		"--storage.tsdb.path="+filepath.Join(dir, "data"), "--web.listen-address="+address,
		"--rules.alert.resend-delay=1s").ready(t, answers("http://"+address+"/-/ready"))
	return address
}

// startAlertmanager starts Alertmanager, without others to gossip with, and returns its address.
func startAlertmanager(t *testing.T, config string) (address string) {
	t.Helper()
	dir := t.TempDir()
	address = fmt.Sprintf("127.0.0.1:%d", freePort(t))
	start(t, "alertmanager", "--config.file="+write(t, filepath.Join(dir, "alertmanager.yml"), config),
		"--storage.path="+dir, "--web.listen-address="+address, "--cluster.listen-address=").ready(t, answers("http://"+address+"/-/ready"))
	return address
}

// startVictoria starts VictoriaMetrics and returns its URL. The same point twice is one there, as in InfluxDB.
func startVictoria(t *testing.T) (url string) {
	t.Helper()
	address := fmt.Sprintf("127.0.0.1:%d", freePort(t))
	start(t, "victoria-metrics", "-httpListenAddr="+address, "-storageDataPath="+t.TempDir(), "-retentionPeriod=12",
		"-search.latencyOffset=0s", "-dedup.minScrapeInterval=1ms").ready(t, answers("http://"+address+"/health"))
	return "http://" + address
}

// An alert of a rule reaches a phone's webhook through Prometheus and Alertmanager.
func TestAlertmanagerTellsThePhone(t *testing.T) {
	t.Parallel()
	binary(t, "alertmanager")
	phone := listen(t)
	manager := startAlertmanager(t, fmt.Sprintf(
		"route: {receiver: phone, group_wait: 0s}\nreceivers: [{name: phone, webhook_configs: [{url: '%s'}]}]\n", phone.URL))
	rules := write(t, filepath.Join(t.TempDir(), "rules.yml"),
		"groups: [{name: barn, rules: [{alert: NestTooHot, expr: 'vector(1)', labels: {nest: oak}}]}]\n")
	startPrometheus(t, fmt.Sprintf(
		"global: {evaluation_interval: 1s}\nrule_files: ['%s']\nalerting: {alertmanagers: [{static_configs: [{targets: ['%s']}]}]}\n", rules, manager))
	eventually(t, "the phone hears of the alert", func() bool { return phone.hear("NestTooHot") && phone.hear("oak") })
}

// A point sent twice is one point.
func TestVictoriaKeepsAPointOnce(t *testing.T) {
	t.Parallel()
	binary(t, "victoria-metrics")
	url, at := startVictoria(t), time.Now().Unix()-60
	for range 2 {
		resp, err := http.Post(url+"/api/v2/write", "text/plain", strings.NewReader(fmt.Sprintf("nest,id=oak temperature=21.5 %d000000000\n", at)))
		if err != nil {
			t.Fatal(err)
		}
		resp.Body.Close()
		if resp.StatusCode != http.StatusNoContent {
			t.Fatalf("writing: %s", resp.Status)
		}
	}
	body(t, url+"/internal/force_flush")
	eventually(t, "the point is kept", func() bool {
		return strings.Contains(body(t, url+"/api/v1/export?match[]=nest_temperature"), fmt.Sprintf(`"values":[21.5],"timestamps":[%d000]`, at))
	})
}
