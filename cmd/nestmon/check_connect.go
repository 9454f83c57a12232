package main

import (
	"context"
	"fmt"
	"time"

	"nestmon/exporter/influx"
	"nestmon/exporter/mqtt"
	"nestmon/exporter/phone/mail"
)

// connectTime bounds one try of check; ours, no source.
const connectTime = 10 * time.Second

// try is one question to the far side of a sink.
type try struct {
	where string
	ask   func(context.Context) error
}

// reach tries every way out that can be tried without sending anything, and says what came of it: what works, and what does not.
func reach(ctx context.Context, c *config) (works []planLine, lacks []string) {
	for _, k := range sinkKinds {
		if _, on := k.target(c); !on || k.tries == nil {
			continue
		}
		more, not := reachOne(ctx, c, k)
		works, lacks = append(works, more...), append(lacks, not...)
	}
	return works, lacks
}

func reachOne(ctx context.Context, c *config, k sinkKind) (works []planLine, lacks []string) {
	for _, t := range k.tries(c) {
		ctx, cancel := context.WithTimeout(ctx, connectTime)
		err := t.ask(ctx)
		cancel()
		if err != nil {
			lacks = append(lacks, fmt.Sprintf("%s: %v", k.says, err))
			continue
		}
		works = append(works, planLine{"reached", fmt.Sprintf("%s: %s", k.says, t.where)})
	}
	return works, lacks
}

func triesMQTT(c *config) []try {
	where, _ := mqttTarget(c)
	return []try{{where, func(ctx context.Context) error { return mqtt.Try(ctx, *c.Publish.MQTT) }}}
}

func triesInflux(c *config) []try {
	where, _ := influxTarget(c)
	return []try{{where, func(ctx context.Context) error {
		sink, err := influx.New(*c.Publish.InfluxDB, c.Site.ID, c.places())
		if err != nil {
			return err
		}
		defer sink.Close()
		return sink.Try(ctx)
	}}}
}

// triesPhone asks mail servers alone: whether a webhook is there shows only when something is posted to it.
func triesPhone(c *config) (all []try) {
	for _, ch := range c.Phone.Channels {
		if ch.Mail == nil {
			continue
		}
		all = append(all, try{fmt.Sprintf("%s, by %s", ch.Name, ch.Mail.Server), func(ctx context.Context) error {
			m, err := mail.New(ch.Name, ch.Level(), *ch.Mail)
			if err != nil {
				return err
			}
			return m.Try(ctx)
		}})
	}
	return all
}
