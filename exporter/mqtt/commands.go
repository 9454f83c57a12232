package mqtt

import (
	"context"
	"fmt"
	"log/slog"
	"slices"
	"strings"
	"sync"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"nestmon/thresholds/alarm"
)

// Keeper does what a person wants, and returns when that is stored.
type Keeper interface {
	Act(ctx context.Context, a alarm.Act) error
	Done(ctx context.Context, nest string, chore alarm.Name, by string) error
}

// All ours, no source.
const (
	mostOrders    = 16               // wait at once; more than a person gives
	orderPatience = 10 * time.Second // for the daemon to take one
	refusalsApart = time.Minute      // between two lines of the log about orders that are refused
	refusedCode   = 0x80             // a broker's answer to a subscription it does not grant (MQTT 3.1.1, 3.9.3)
)

// byBroker is who did what was ordered: a broker does not tell a subscriber who published.
const byBroker = "broker"

// order is one message on a set topic.
type order struct{ node, property, payload string }

// orders are what came and waits. They outlast a connection; they are not kept for the next start.
type orders struct {
	keeper  Keeper
	log     *slog.Logger
	waiting chan order

	mu      sync.Mutex
	refused int
	said    time.Time
}

func newOrders(keeper Keeper, log *slog.Logger) *orders {
	return &orders{keeper: keeper, log: log, waiting: make(chan order, mostOrders)}
}

// attend subscribes to what can be set. A broker that does not grant it keeps the tree from nothing.
func (c *Client) attend() {
	filters := map[string]byte{}
	for _, s := range settables {
		filters[c.root.Topic("+", s.id, "set")] = c.link.qos
	}
	token := c.link.client.SubscribeMultiple(filters, func(_ paho.Client, m paho.Message) {
		c.orders.take(strings.TrimPrefix(m.Topic(), c.root.Topic("")), string(m.Payload()), m.Retained())
	})
	err := c.link.settle(c.ctx, []paho.Token{token}, "subscribing to what can be set")
	if answer, ok := token.(*paho.SubscribeToken); ok && err == nil {
		for filter, code := range answer.Result() {
			if code == refusedCode {
				err = fmt.Errorf("mqtt %s: the broker refuses to let this user read %s; allow it in the broker's access list", c.link.broker, filter)
			}
		}
	}
	if err != nil {
		c.o.Log.Warn("nothing can be set over the broker", slog.String("err", err.Error()))
	}
}

// take puts an order into the queue; topic is what follows the device. It waits for nothing.
func (o *orders) take(topic, payload string, retained bool) {
	levels := strings.Split(topic, "/")
	switch {
	case retained:
		o.refuse("it was kept by the broker and may be old; send it without the retain flag, and delete it there", topic, payload)
		return
	case len(levels) != 3 || levels[2] != "set":
		return
	}
	select {
	case o.waiting <- order{levels[0], levels[1], payload}:
	default:
		o.refuse("too many wait; send one at a time", topic, payload)
	}
}

// refuse counts an order and says so, at most once a minute.
func (o *orders) refuse(why, topic, payload string) {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.refused++
	if now := time.Now(); o.said.IsZero() || now.Sub(o.said) >= refusalsApart {
		o.said = now
		o.log.Warn("an order over the broker is refused", slog.String("topic", fmt.Sprintf("%.80s", topic)), slog.String("payload", fmt.Sprintf("%.40s", payload)),
			slog.String("why", why), slog.Int("refused_so_far", o.refused))
	}
}

// obey does what is ordered, one after another, until Close.
func (c *Client) obey() {
	for {
		select {
		case <-c.ctx.Done():
			return
		case order := <-c.orders.waiting:
			if err := c.carryOut(order); err != nil {
				c.orders.refuse(err.Error(), order.node+"/"+order.property, order.payload)
				continue
			}
			c.o.Log.Info("done by order over the broker", slog.String("nest", order.node), slog.String("property", order.property), slog.String("payload", order.payload))
			// What was asked for is stored. That it could not be confirmed is worth no more than a line: the tree shows it too.
			if err := c.current().mention(c.ctx, Message{c.root.Topic(order.node, order.property), order.payload}); err != nil {
				c.o.Log.Warn("an order was carried out and not confirmed", slog.String("err", err.Error()))
			}
		}
	}
}

func (c *Client) carryOut(o order) (err error) {
	defer func() {
		if v := recover(); v != nil {
			err = fmt.Errorf("panic: %v", v)
		}
	}()
	i := slices.IndexFunc(settables[:], func(s settable) bool { return s.id == o.property })
	if i < 0 {
		return fmt.Errorf("nothing here can be set by this name; send to one of the topics that $description lists as settable")
	}
	what, nest := settables[i], o.node
	event, length, err := what.read(o.payload)
	if err != nil {
		return err
	}
	switch nest {
	case "": // a level of a topic may be empty; it is not the site
		return fmt.Errorf("the topic names no nest; send to that of a nest, or of %s", siteNode)
	case siteNode:
		nest = ""
	}
	if c.orders.keeper == nil {
		return fmt.Errorf("nobody here takes %s", o.property)
	}
	ctx, cancel := context.WithTimeout(c.ctx, orderPatience)
	defer cancel()
	if what.action == "" {
		return c.orders.keeper.Done(ctx, nest, event, byBroker)
	}
	return c.orders.keeper.Act(ctx, alarm.Act{Action: what.action, Nest: nest, Event: event, For: length, By: byBroker})
}
