package mqtt_test

import (
	"context"
	"strings"
	"testing"
	"time"

	"nestmon/exporter/mqtt"
	"nestmon/exporter/mqtt/proxytest"
)

func TestTry(t *testing.T) {
	b := broker(t)
	p := proxytest.Start(t, b.Addr())
	try := func(address string, wait time.Duration) error {
		ctx, cancel := context.WithTimeout(t.Context(), wait)
		defer cancel()
		return mqtt.Try(ctx, mqtt.Config{Broker: address})
	}
	if err := try("tcp://"+p.Addr(), patience); err != nil {
		t.Error(err)
	}
	p.Hole()
	if err := try("tcp://"+p.Addr(), 50*time.Millisecond); err == nil || !strings.Contains(err.Error(), "no answer in time") {
		t.Errorf("a broker that says nothing: %v", err)
	}
}

// TestStartIsNoFailure: a broker that takes its time to answer is no failure of the first state.
func TestStartIsNoFailure(t *testing.T) {
	p := proxytest.Start(t, broker(t).Addr())
	p.Slow(func() { time.Sleep(20 * time.Millisecond) })
	if err := connect(t, "tcp://"+p.Addr(), nil).Publish(t.Context(), summerDay()); err != nil {
		t.Error(err)
	}
}
