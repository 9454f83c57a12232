package main

import (
	"context"
	"fmt"
	"math/rand/v2"
	"strings"
	"sync/atomic"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
)

// topic is a wireless node's.
func topic(n int) string { return fmt.Sprintf("barn/n%d/air", n) }

// nonsense is what may come where a number, or an order, is expected.
var nonsense = []string{
	"", "NaN", "-", "{", `{"t":`, `{"t":"warm","h":50}`, `{"t":1e999,"h":50}`, `{"t":[21.5],"h":{}}`, "\x00\xff\xfe\x80", "21,5", "[[[[[[[[", `{"h":50}`, "null", "0x1F",
	"nothing-of-this-name", "all PT99999999H", "probe-silent PT-1M", strings.Repeat("9", 400), `{"t":` + strings.Repeat("[", 4000), strings.Repeat("x", 20<<10),
}

// orders are what the daemon takes over the broker.
var orders = []string{"acknowledge", "shelve", "unshelve", "out-of-service", "in-service", "chore-done"}

// flooding sends malformed messages until ctx ends, and counts them.
func flooding(ctx context.Context, broker string, second int, sent *atomic.Int64) error {
	client := paho.NewClient(paho.NewClientOptions().AddBroker("tcp://" + broker).SetClientID("flood"))
	if t := client.Connect(); t.WaitTimeout(10*time.Second) && t.Error() != nil {
		return t.Error()
	}
	defer client.Disconnect(0)
	const beat = 10 * time.Millisecond
	tick := time.NewTicker(beat)
	defer tick.Stop()
	began, n := time.Now(), 0
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
		}
		for due := int(time.Since(began).Seconds() * float64(second)); n < due; n++ {
			payload := nonsense[rand.IntN(len(nonsense))]
			to := topic(nests - wireless + rand.IntN(wireless))
			if n%2 == 0 {
				to = fmt.Sprintf("homie/5/load/n%d/%s/set", rand.IntN(nests+1), orders[rand.IntN(len(orders))])
			}
			if t := client.Publish(to, 0, false, payload); t.WaitTimeout(10*time.Second) && t.Error() != nil {
				return fmt.Errorf("the flood ends: %w", t.Error())
			}
			sent.Add(1)
		}
	}
}

// value is the temperature that every node says at its n-th message: the next is always another, and a hundred differ.
func value(n int) float64 { return 20 + float64(n%100)/20 }

// nodes say what they measure twice a poll.
func nodes(ctx context.Context, broker string) error {
	client := paho.NewClient(paho.NewClientOptions().AddBroker("tcp://" + broker).SetClientID("nodes"))
	if t := client.Connect(); t.WaitTimeout(10*time.Second) && t.Error() != nil {
		return t.Error()
	}
	defer client.Disconnect(0)
	tick := time.NewTicker(poll / 2)
	defer tick.Stop()
	for n := 0; ; n++ {
		for k := range wireless {
			client.Publish(topic(nests-wireless+k), 1, false, fmt.Sprintf(`{"t":%.2f,"h":55}`, value(n)))
		}
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
		}
	}
}
