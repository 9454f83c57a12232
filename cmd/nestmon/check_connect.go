package main

import (
	"context"
	"fmt"
	"time"

	"nestmon/exporter/influx"
	"nestmon/exporter/mqtt"
)

// connectTime bounds one try of check; ours, no source.
const connectTime = 10 * time.Second

// reach tries every way out that can be tried without sending anything, and says what came of it: what works, and what does not.
func reach(ctx context.Context, c *config) (works []planLine, lacks []string) {
	for _, k := range sinkKinds {
		where, on := k.target(c)
		if !on || k.try == nil {
			continue
		}
		ctx, cancel := context.WithTimeout(ctx, connectTime)
		err := k.try(ctx, c)
		cancel()
		if err != nil {
			lacks = append(lacks, fmt.Sprintf("%s: %v", k.says, err))
			continue
		}
		works = append(works, planLine{"reached", fmt.Sprintf("%s: %s", k.says, where)})
	}
	return works, lacks
}

func tryMQTT(ctx context.Context, c *config) error { return mqtt.Try(ctx, *c.Publish.MQTT) }

func tryInflux(ctx context.Context, c *config) error {
	sink, err := influx.New(*c.Publish.InfluxDB, c.Site.ID, c.places())
	if err != nil {
		return err
	}
	defer sink.Close()
	return sink.Try(ctx)
}
