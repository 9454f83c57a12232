package main

import (
	"errors"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/phone"
	"nestmon/thresholds/alarm"
)

func TestCardThatHangs(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c, hang := newCard(), make(chan struct{})
		writes := 0
		write := func() error { writes++; return nil }
		if err := c.write(write); err != nil || writes != 1 {
			t.Fatalf("a write: %v, %d times", err, writes)
		}
		if err := c.write(func() error { <-hang; return nil }); !errors.Is(err, errCard) {
			t.Errorf("a write that hangs: %v", err)
		}
		began := time.Now()
		if err := c.write(write); !errors.Is(err, errCard) || time.Since(began) != 0 || writes != 1 {
			t.Errorf("the next: %v after %v, %d writes; want no second write beside one that hangs, and no wait", err, time.Since(began), writes)
		}
		close(hang)
		synctest.Wait()
		if err := c.write(write); err != nil || writes != 2 {
			t.Errorf("when the card answers again: %v, %d writes", err, writes)
		}
	})
}

// While the card hangs or is full, an alarm reaches the phone all the same: though the phone's service fails at first, and not in
// the quiet hours when it may wait.
func TestAlarmsGoPastTheCard(t *testing.T) {
	var asked atomic.Int64
	arrived := make(chan string, 10)
	service := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if asked.Add(1) == 1 {
			w.WriteHeader(http.StatusBadGateway)
			return
		}
		body, _ := io.ReadAll(r.Body)
		arrived <- string(body)
	}))
	defer service.Close()
	s, now := newShed(t), time.Now().UTC() // the site's zone
	s.cfg.Phone = &phone.Config{
		Channels:   []phone.Channel{{Name: "mobile", URL: secret(service.URL), AtLeast: alarm.Notice}},
		QuietHours: &phone.Window{From: now.Add(-time.Hour).Format("15:04"), To: now.Add(2 * time.Hour).Format("15:04")},
	}
	s.live(t, demoStart, demoStart.Add(time.Minute), func(d *daemon) {
		d.card.busy <- struct{}{} // a write that hangs
		defer func() { <-d.card.busy }()
		event := func(name alarm.Name, severity alarm.Severity) alarm.Event {
			return alarm.Event{Time: demoStart, Nest: "yard-1", Name: name, State: alarm.Raised, Severity: severity, Text: string(name)}
		}
		c := exporter.Commit{Time: now, Events: []alarm.Event{event(alarm.BeddingDue, alarm.Notice), event(alarm.NestHeat, alarm.Urgent)}}
		on := []alarm.Standing{{Event: c.Events[0]}, {Event: c.Events[1]}}
		if err := d.settle(c, d.teller.step(now, c.Events, on, nil, nil)); !errors.Is(err, errCard) {
			t.Errorf("stored with %v", err)
		}
		select {
		case body := <-arrived:
			if !strings.Contains(body, "nest-heat") {
				t.Errorf("arrived: %s", body)
			}
		case <-time.After(time.Minute):
			t.Fatal("nothing arrived")
		}
		if n := d.sinks.health(); len(n) == 0 || n[len(n)-1].Name != "mobile" || n[len(n)-1].Failed != 1 {
			t.Errorf("the failure of the phone's service does not show: %+v", n)
		}
		if c, text := d.faults.daemonWords(d, demoStart); c.Severity != alarm.Warning || !strings.Contains(text, "card") {
			t.Errorf("nothing is said of the card: %q", text)
		}
	})
	for len(arrived) > 0 {
		if body := <-arrived; strings.Contains(body, "bedding") {
			t.Errorf("in the quiet hours: %s", body)
		}
	}
}
