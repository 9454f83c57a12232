package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"nestmon/exporter"
	"nestmon/exporter/mqtt"
	"nestmon/thresholds"
	"nestmon/thresholds/alarm"
)

// How many alarms are raised, and how long one may take before the broker counts as hung.
const (
	alarmsRaised  = 200
	alarmPatience = 10 * time.Second
)

// alarmOverMQTT prints how long an alarm takes from the decision to a subscriber of a mosquitto on loopback, with the tree of thirty nests behind
// it, beside a bare message of the same library to the same subscriber.
func alarmOverMQTT(w io.Writer, _, dir string) error {
	program, err := exec.LookPath(cmp.Or(os.Getenv("NESTMON_MOSQUITTO"), "mosquitto"))
	if err != nil {
		program, err = exec.LookPath("/usr/sbin/mosquitto") // where packages put it
	}
	if err != nil {
		fmt.Fprintln(w, "skipped: mosquitto is not installed; install it or set NESTMON_MOSQUITTO to its path")
		return nil
	}
	address, err := freeAddress()
	if err != nil {
		return err
	}
	_, port, err := net.SplitHostPort(address)
	if err != nil {
		return err
	}
	lines := fmt.Sprintf("listener %s 127.0.0.1\nallow_anonymous true\n", port)
	if os.Geteuid() == 0 {
		lines += "user root\n"
	}
	conf := filepath.Join(dir, "mosquitto.conf")
	if err := os.WriteFile(conf, []byte(lines), 0o600); err != nil {
		return err
	}
	broker := exec.Command(program, "-c", conf)
	if err := broker.Start(); err != nil {
		return err
	}
	defer func() {
		_ = broker.Process.Kill()
		_ = broker.Wait()
	}()
	seen := make(chan string, 16)
	url := "tcp://" + address
	subscriber := paho.NewClient(paho.NewClientOptions().AddBroker(url).SetClientID("subscriber").SetConnectRetry(true).SetConnectRetryInterval(20 * time.Millisecond))
	ended := func(t paho.Token) error {
		if !t.WaitTimeout(alarmPatience) {
			return errors.New("the broker does not answer")
		}
		return t.Error()
	}
	if err := ended(subscriber.Connect()); err != nil {
		return err
	}
	defer subscriber.Disconnect(100)
	hear := func(_ paho.Client, m paho.Message) {
		if len(m.Payload()) > 0 {
			seen <- m.Topic()
		}
	}
	const alert, bare = "homie/5/barn/$alert/n0-nest-heat", "bare"
	if err := ended(subscriber.SubscribeMultiple(map[string]byte{alert: 1, bare: 1}, hear)); err != nil {
		return err
	}
	alarms, err := raiseAlarms(url, seen)
	if err != nil {
		return err
	}
	publisher := paho.NewClient(paho.NewClientOptions().AddBroker(url).SetClientID("publisher"))
	if err := ended(publisher.Connect()); err != nil {
		return err
	}
	defer publisher.Disconnect(100)
	messages := make([]time.Duration, alarmsRaised)
	for i := range messages {
		began := time.Now()
		token := publisher.Publish(bare, 1, true, "x")
		if err := heard(seen, bare); err != nil {
			return err
		}
		messages[i] = time.Since(began)
		if err := ended(token); err != nil {
			return err
		}
	}
	a, m := quantiles(alarms), quantiles(messages)
	fmt.Fprintf(w, "alarm decided to seen by a subscriber, %d times: median %.2f ms, 99 %% %.2f ms, worst %.2f ms\n", alarmsRaised, a[0], a[1], a[2])
	fmt.Fprintf(w, "one bare message of the same library: median %.2f ms, 99 %% %.2f ms, worst %.2f ms; median ratio %.1f\n", m[0], m[1], m[2], a[0]/m[0])
	return nil
}

// raiseAlarms raises and clears an alarm again and again, beside values that change with each poll, and times it.
func raiseAlarms(url string, seen <-chan string) ([]time.Duration, error) {
	config := mqtt.DefaultConfig()
	config.Broker, config.Device = url, "barn"
	client, err := mqtt.New(mqtt.Options{Config: config})
	if err != nil {
		return nil, err
	}
	fanout := exporter.NewFanout(exporter.Options{}, client)
	defer func() {
		ctx, cancel := context.WithTimeout(context.Background(), alarmPatience)
		defer cancel()
		_ = fanout.Stop(ctx)
	}()
	at := time.Now()
	show := func(i int, alarms ...alarm.Standing) {
		s := &exporter.State{Snapshot: thresholds.Snapshot{Time: at.Add(time.Duration(i) * poll), Alarms: alarms}}
		for n := range nests {
			s.Snapshot.Nests = append(s.Snapshot.Nests, thresholds.NestState{ID: fmt.Sprintf("n%d", n), Stage: thresholds.Nursing, Values: shown(n, i, s.Snapshot.Time)})
		}
		fanout.Show(s)
	}
	settled := func(polls int) error { // a poll ends long before the next begins
		for end := time.Now().Add(alarmPatience); fanout.Health()[0].Sent < uint64(polls); time.Sleep(time.Millisecond) {
			if time.Now().After(end) {
				return fmt.Errorf("nothing gets through: %s", fanout.Health()[0].Error)
			}
		}
		return nil
	}
	heat := alarm.Standing{Event: alarm.Event{Nest: "n0", Name: alarm.NestHeat, Severity: alarm.Urgent, Text: "the air in nest n0 is too hot; cool it"}}
	took := make([]time.Duration, alarmsRaised)
	for i := range took {
		show(2 * i)
		if err := settled(2*i + 1); err != nil {
			return nil, err
		}
		began := time.Now()
		show(2*i+1, heat)
		if err := heard(seen, "homie/5/barn/$alert/n0-nest-heat"); err != nil {
			return nil, err
		}
		took[i] = time.Since(began)
		if err := settled(2*i + 2); err != nil {
			return nil, err
		}
	}
	return took, nil
}

func heard(seen <-chan string, topic string) error {
	select {
	case got := <-seen:
		if got != topic {
			return fmt.Errorf("heard %s, waited for %s", got, topic)
		}
		return nil
	case <-time.After(alarmPatience):
		return fmt.Errorf("%s is not heard", topic)
	}
}

// shown is the values of one nest at one poll.
func shown(n, i int, at time.Time) []thresholds.Value {
	var all []thresholds.Value
	for _, r := range readings(nil, false, i, at) {
		role, ours := thresholds.Air, r.Probe == airID(n)
		if r.Probe == clusterID(n) {
			role, ours = thresholds.Cluster, true
		}
		if ours {
			all = append(all, thresholds.Value{Role: role, Probe: r.Probe, Quantity: r.Quantity, Value: r.Value, Time: at, Fresh: true})
		}
	}
	return all
}

// quantiles are the median, the 99th of a hundred and the worst, in ms.
func quantiles(all []time.Duration) [3]float64 {
	slices.Sort(all)
	ms := func(d time.Duration) float64 { return float64(d) / float64(time.Millisecond) }
	return [3]float64{ms(all[len(all)/2]), ms(all[len(all)*99/100]), ms(all[len(all)-1])}
}
