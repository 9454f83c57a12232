package mqtt_test

import (
	"maps"
	"slices"
	"strings"
	"testing"

	"nestmon/exporter/mqtt"
)

func TestWhatWasLeftBehindIsDeleted(t *testing.T) {
	b := broker(t)
	kept := store{}
	first := connect(t, b.URL(), func(o *mqtt.Options) { o.Store = kept; o.Config.Device = "shed" })
	publish(t, first, summerDay())
	if err := first.Close(t.Context()); err != nil {
		t.Fatal(err)
	}
	w := watch(t, b.URL())
	eventually(t, "the old device is there", func() bool { _, there := w.holds("homie/5/shed/a1/alarm"); return there })
	publish(t, connect(t, b.URL(), func(o *mqtt.Options) { o.Store = kept }), summerDay())
	eventually(t, "the old device is gone", func() bool {
		w.mu.Lock()
		defer w.mu.Unlock()
		for topic := range w.retained {
			if strings.HasPrefix(topic, "homie/5/shed/") {
				return false
			}
		}
		return true
	})
	w.mu.Lock()
	defer w.mu.Unlock()
	for _, m := range w.log {
		if m.Payload == "" {
			if m.Topic != "homie/5/shed/$state" {
				t.Errorf("%s was deleted before the device's $state", m.Topic)
			}
			break
		}
	}
}

// TestACopyClearsUpNothingForGood: a card that was copied and has its own device now deletes what it takes for its old one, which lives.
func TestACopyClearsUpNothingForGood(t *testing.T) {
	b := broker(t)
	w := watch(t, b.URL())
	kept := store{}
	publish(t, connect(t, b.URL(), func(o *mqtt.Options) { o.Store = kept }), summerDay())
	eventually(t, "ready", func() bool { s, _ := w.holds(state); return s == "ready" })
	whole := w.all()
	publish(t, connect(t, b.URL(), func(o *mqtt.Options) { o.Store, o.Config.Device = maps.Clone(kept), "shed" }), summerDay())
	eventually(t, "the first was deleted", func() bool { return slices.Contains(w.said("homie/5/barn/$description"), "") })
	eventually(t, "the first is whole again", func() bool {
		now := w.all()
		for topic, payload := range whole {
			if now[topic] != payload {
				return false
			}
		}
		return true
	})
}
