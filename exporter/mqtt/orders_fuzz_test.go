package mqtt

import (
	"context"
	"slices"
	"testing"
	"time"

	"nestmon/thresholds/alarm"
)

// obedient is a keeper that remembers.
type obedient struct {
	acts  []alarm.Act
	done  []alarm.Name
	nests []string
}

func (o *obedient) Act(_ context.Context, a alarm.Act) error {
	o.acts, o.nests = append(o.acts, a), append(o.nests, a.Nest)
	return nil
}

func (o *obedient) Done(_ context.Context, nest string, chore alarm.Name, _ string) error {
	o.done, o.nests = append(o.done, chore), append(o.nests, nest)
	return nil
}

// FuzzOrders: what a node of the broker sends is done as one of what is described, or refused, whatever its topic and payload.
func FuzzOrders(f *testing.F) {
	for _, s := range settables {
		f.Add("a1", s.id, "nest-heat")
		f.Add(siteNode, s.id, every)
		f.Add("", s.id, "inspect-due")
	}
	f.Add("a1", "shelve", "nest-heat PT30M")
	f.Add("a1", "shelve", "all PT99999H99999M99999S")
	f.Add("a1", "shelve", "all PT")
	f.Add("\xff", "\x00", "{}")
	f.Fuzz(func(t *testing.T, node, property, payload string) {
		keeper := &obedient{}
		c := &Client{ctx: t.Context(), orders: &orders{keeper: keeper}}
		err := c.carryOut(order{node: node, property: property, payload: payload})
		if (err == nil) != (len(keeper.nests) == 1) {
			t.Fatalf("%q %q %q: %v, and did %+v", node, property, payload, err, keeper)
		}
		for _, a := range keeper.acts {
			if a.By != byBroker || a.For < 0 || a.For > 12*365*24*time.Hour || a.Event != "" && !slices.Contains(alarm.Names[:], a.Event) {
				t.Errorf("%q %q %q did %+v", node, property, payload, a)
			}
		}
		for _, n := range keeper.done {
			if !n.Chore() {
				t.Errorf("%q %q %q marked %q", node, property, payload, n)
			}
		}
		if slices.Contains(keeper.nests, siteNode) || err == nil && node == "" {
			t.Errorf("%q %q %q went to the nests %q", node, property, payload, keeper.nests)
		}
	})
}
