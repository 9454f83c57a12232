package mqtt_test

import (
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/mqtt"
)

// TestHomie4 holds what a broker keeps against the tables of the Homie convention 4.0.0, "Device/Node/Property Attributes".
func TestHomie4(t *testing.T) {
	b := broker(t)
	w := watch(t, b.URL())
	c := connect(t, b.URL(), func(o *mqtt.Options) {
		o.Homie4, o.Name = true, "Rabbitry"
		o.Config.Homie4, o.Config.Commands = true, true
	})
	publish(t, c, summerDay())
	const device = "homie/barn/"
	eventually(t, "alert, for a probe is silent", func() bool { s, _ := w.holds(device + "$state"); return s == "alert" })
	get := func(topic string) string {
		t.Helper()
		payload, _ := w.holds(device + topic)
		return payload
	}
	for topic, want := range map[string]string{
		"$homie": "4.0.0", "$name": "Rabbitry", "$nodes": "a1,b2,battery,outside,site", "$implementation": "nestmon",
		"a1/$name": "Nest a1", "a1/$type": "nest", "outside/$type": "outside",
		"a1/air-temperature/$name": "Air temperature", "a1/air-temperature/$datatype": "float", "a1/air-temperature/$unit": "°C", "a1/air-temperature/$format": "-55:125",
		"a1/air-temperature/$settable": "", "a1/air-temperature/$retained": "", "a1/air-temperature": "36.06",
		"a1/carbon-dioxide/$format": "", "a1/carbon-dioxide/$datatype": "integer", "a1/reading-time/$datatype": "string",
		"a1/acknowledge/$settable": "true", "a1/acknowledge/$retained": "false", "a1/acknowledge": "",
		"a1/cluster-temperature-2": "",
	} {
		if got := get(topic); got != want {
			t.Errorf("%s holds %q, want %q", topic, got, want)
		}
	}
	values := map[string]string{}
	for _, m := range root.Tree(summerDay()).Values {
		if rest := strings.TrimPrefix(m.Topic, "homie/5/barn/"); !strings.HasPrefix(rest, "$") && rest != "site/instance" {
			values[rest] = m.Payload
		}
	}
	id, datatypes := regexp.MustCompile(`^[a-z0-9]([a-z0-9-]*[a-z0-9])?$`), []string{"integer", "float", "boolean", "string", "enum", "color"}
	for _, node := range strings.Split(get("$nodes"), ",") {
		for _, property := range strings.Split(get(node+"/$properties"), ",") {
			at := node + "/" + property
			if !id.MatchString(node) || !id.MatchString(property) || get(node+"/$name") == "" || get(node+"/$type") == "" || get(at+"/$name") == "" || !slices.Contains(datatypes, get(at+"/$datatype")) {
				t.Errorf("%s lacks what is required: %q", at, get(at+"/$datatype"))
			}
			if want, ok := values[at]; ok && get(at) != want {
				t.Errorf("%s = %q, in Homie 5 %q", at, get(at), want)
			}
			delete(values, at)
		}
	}
	if len(values) > 0 {
		t.Errorf("Homie 5 also has %v", values)
	}
	if said := w.said("barn/$state"); said[0] != "init" {
		t.Errorf("$state went %v", said)
	}
	for topic := range w.all() {
		if strings.HasPrefix(topic, "homie/5/") || strings.Contains(topic, "$alert") {
			t.Errorf("%s is not of Homie 4", topic)
		}
	}

	heard := summerDay()
	heard.Snapshot.Nests[0].Values[1].Fresh = true
	publish(t, c, heard)
	eventually(t, "ready, for every probe speaks", func() bool { return get("$state") == "ready" && get("a1/cluster-temperature-2") == "38" })
	if err := c.Close(t.Context()); err != nil {
		t.Fatal(err)
	}
	eventually(t, "disconnected", func() bool { return get("$state") == "disconnected" })
}

// TestHomie4IsTakenAway: a tree that is not wanted any more leaves nothing on the broker.
func TestHomie4IsTakenAway(t *testing.T) {
	b := broker(t)
	w := watch(t, b.URL())
	kept := store{}
	both := func(o *mqtt.Options) { o.Store, o.Config.Homie4 = kept, true }
	first := connect(t, b.URL(), both)
	second := connect(t, b.URL(), func(o *mqtt.Options) { both(o); o.Homie4 = true })
	for _, c := range []*mqtt.Client{first, second} {
		publish(t, c, summerDay())
	}
	eventually(t, "both trees", func() bool {
		four, _ := w.holds("homie/barn/$state")
		five, _ := w.holds(state)
		return four == "alert" && five == "ready"
	})
	for _, c := range []*mqtt.Client{first, second} {
		if err := c.Close(t.Context()); err != nil {
			t.Fatal(err)
		}
	}
	bothGone(t, w)
	for range 2 { // the second time there is nothing left to do
		c := connect(t, b.URL(), func(o *mqtt.Options) { o.Store, o.Config.ClientID = kept, time.Now().Format("150405.000000") })
		publish(t, c, summerDay())
		eventually(t, "Homie 5 alone", func() bool {
			for topic := range w.all() {
				if strings.HasPrefix(topic, "homie/barn/") {
					return false
				}
			}
			return w.all()[state] == "ready"
		})
		if err := c.Close(t.Context()); err != nil {
			t.Fatal(err)
		}
	}
	if left := kept["mqtt.homie4.topics"]; left != "" {
		t.Errorf("still on record: %s", left)
	}
}

// bothGone waits until the watcher has heard of the end of both: the broker acknowledges what is published before it passes it on (mochi-mqtt 2.7.9), and what the
// next client says may come first.
func bothGone(t *testing.T, w *watcher) {
	t.Helper()
	eventually(t, "both clients have left", func() bool {
		return w.all()["homie/barn/$state"] == "disconnected" && w.all()[state] == "disconnected"
	})
}

// TestHomie4ComesBack: a tree that was taken away is not deleted once more when it is wanted again.
func TestHomie4ComesBack(t *testing.T) {
	b := broker(t)
	w := watch(t, b.URL())
	kept := store{}
	life := func(id string, homie4, wanted bool) *mqtt.Client {
		t.Helper()
		c := connect(t, b.URL(), func(o *mqtt.Options) {
			o.Store, o.Homie4, o.Config.Homie4, o.Config.ClientID = kept, homie4, wanted, id
			o.Timing.Reassert = time.Hour
		})
		publish(t, c, summerDay())
		return c
	}
	for _, c := range []*mqtt.Client{life("five", false, true), life("four", true, true)} {
		if err := c.Close(t.Context()); err != nil {
			t.Fatal(err)
		}
	}
	bothGone(t, w)
	if err := life("alone", false, false).Close(t.Context()); err != nil {
		t.Fatal(err)
	}
	four := func() (n int) {
		for topic := range w.all() {
			if strings.HasPrefix(topic, "homie/barn/") {
				n++
			}
		}
		return n
	}
	eventually(t, "it is gone", func() bool { return four() == 0 })
	life("again4", true, true)
	eventually(t, "it is back", func() bool { return w.all()["homie/barn/$state"] == "alert" })
	whole := four()
	life("again5", false, true)
	eventually(t, "both", func() bool { return w.all()[state] == "ready" })
	if now := four(); now != whole {
		t.Errorf("%d topics of %d are left", now, whole)
	}
}

func TestStateOfATree(t *testing.T) {
	silent, whole := summerDay(), summerDay()
	whole.Snapshot.Nests[0].Values[1].Fresh = true
	for _, row := range []struct {
		name   string
		homie4 bool
		s      *exporter.State
		want   string
	}{
		{"Homie 5 knows no alert", false, silent, "ready"},
		{"a silent probe", true, silent, "alert"},
		{"none", true, whole, "ready"},
	} {
		t.Run(row.name, func(t *testing.T) {
			here := root
			here.Homie4 = row.homie4
			if got := here.Tree(row.s).State; got != row.want {
				t.Errorf("got %s, want %s", got, row.want)
			}
		})
	}
}
