package mqtt

import (
	"bytes"
	"context"
	"errors"
	"log/slog"
	"slices"
	"strings"
	"testing"

	"nestmon/thresholds/alarm"
)

func TestOrders(t *testing.T) {
	var did []string
	refusal := errors.New("no alarm stands")
	keeper := Keeper{
		Acknowledge: func(_ context.Context, nest string, event alarm.Name) error {
			if nest == "gone" {
				return refusal
			}
			did = append(did, "ack "+nest+" "+string(event))
			return nil
		},
		Done: func(_ context.Context, nest string, event alarm.Name) error {
			did = append(did, "done "+nest+" "+string(event))
			return nil
		},
	}
	for _, row := range []struct {
		topic, payload string
		retained       bool
		want           string // what was done
		refused        bool
	}{
		{"a1/acknowledge/set", "nest-heat", false, "ack a1 nest-heat", false},
		{"site/acknowledge/set", "bus-fault", false, "ack  bus-fault", false},
		{"a1/chore-done/set", "bedding-due", false, "done a1 bedding-due", false},
		{"a1/acknowledge/set", "nest-heat", true, "", true},
		{"a1/acknowledge/set", "", false, "", true},
		{"a1/acknowledge/set", "NEST-HEAT", false, "", true},
		{"a1/acknowledge/set", "nest-heat\x00" + strings.Repeat("x", 1<<16), false, "", true},
		{"a1/chore-done/set", "true", false, "", true},
		{"gone/acknowledge/set", "nest-heat", false, "", true},
	} {
		var log bytes.Buffer
		did = nil
		c := &Client{orders: newOrders(keeper, slog.New(slog.NewTextHandler(&log, nil))), ctx: t.Context()}
		c.orders.take(row.topic, row.payload, row.retained)
		select {
		case o := <-c.orders.waiting:
			if err := c.carryOut(o); err != nil {
				c.orders.refuse(err.Error(), row.topic, o.payload)
			}
		default:
		}
		want := []string{}
		if row.want != "" {
			want = append(want, row.want)
		}
		if !slices.Equal(did, want) || (c.orders.refused == 1) != row.refused || strings.Contains(log.String(), "refused_so_far=1") != row.refused || log.Len() > 1000 {
			t.Errorf("%s %.20q: did %q, refused %d, said %s", row.topic, row.payload, did, c.orders.refused, log.String())
		}
	}
}

// TestAFloodOfOrders is neither kept nor written to the log line by line.
func TestAFloodOfOrders(t *testing.T) {
	var log bytes.Buffer
	o := newOrders(Keeper{}, slog.New(slog.NewTextHandler(&log, nil)))
	for range 1000 {
		o.take("a1/acknowledge/set", "nest-heat", false)
	}
	if len(o.waiting) != mostOrders || o.refused != 1000-mostOrders || strings.Count(log.String(), "\n") != 1 {
		t.Errorf("%d wait, %d refused, log: %s", len(o.waiting), o.refused, log.String())
	}
}

func TestAKeeperThatPanics(t *testing.T) {
	keeper := Keeper{Acknowledge: func(context.Context, string, alarm.Name) error { panic("rotten") }}
	c := &Client{orders: newOrders(keeper, slog.New(slog.DiscardHandler)), ctx: t.Context()}
	if err := c.carryOut(order{"a1", acknowledge, "nest-heat"}); err == nil || !strings.Contains(err.Error(), "rotten") {
		t.Errorf("error %v", err)
	}
	if err := c.carryOut(order{"a1", choreDone, "bedding-due"}); err == nil {
		t.Error("done by nobody")
	}
}
