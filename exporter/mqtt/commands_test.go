package mqtt

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"reflect"
	"regexp"
	"strings"
	"testing"
	"time"

	"nestmon/thresholds/alarm"
)

// board is the other half of a daemon: a panel of alarms of two nests, and the chores that were marked done.
type board struct {
	panel alarm.Panel
	acts  []alarm.Act
	done  []string
}

func (b *board) Act(_ context.Context, a alarm.Act) error {
	if a.Nest != "" && a.Nest != "a1" && a.Nest != "b2" {
		return errors.New("there is no such nest")
	}
	at := a
	at.At = time.Date(2026, 7, 14, 12, 0, 0, 0, time.UTC)
	if _, err := b.panel.Do(at); err != nil {
		return err
	}
	b.acts = append(b.acts, a)
	return nil
}

func (b *board) Done(_ context.Context, nest string, chore alarm.Name, by string) error {
	b.done = append(b.done, nest+" "+string(chore)+" by "+by)
	return nil
}

// troubled has alarms to do something about.
func troubled() *board {
	b := &board{}
	for _, e := range []alarm.Event{
		{Nest: "a1", Name: alarm.NestHeat, Severity: alarm.Urgent}, {Nest: "a1", Name: alarm.ProbeSilent, Severity: alarm.Warning}, {Name: alarm.BusFault, Severity: alarm.Warning},
	} {
		e.State = alarm.Raised
		b.panel.Take(e)
	}
	return b
}

// hear gives a client one message and lets it be carried out.
func hear(t *testing.T, keeper Keeper, topic, payload string, retained bool) (refused int, log string) {
	t.Helper()
	var said bytes.Buffer
	c := &Client{orders: newOrders(keeper, slog.New(slog.NewTextHandler(&said, nil))), ctx: t.Context()}
	c.orders.take(topic, payload, retained)
	select {
	case o := <-c.orders.waiting:
		if err := c.carryOut(o); err != nil {
			c.orders.refuse(err.Error(), topic, o.payload)
		}
	default:
	}
	return c.orders.refused, said.String()
}

func TestOrders(t *testing.T) {
	act := func(action alarm.Action, nest string, event alarm.Name, length time.Duration) *alarm.Act {
		return &alarm.Act{Action: action, Nest: nest, Event: event, For: length, By: "broker"}
	}
	const refused = "refused"
	for _, row := range []struct {
		topic, payload string
		retained       bool
		act            *alarm.Act
		done           string
	}{
		{"a1/acknowledge/set", "nest-heat", false, act(alarm.Acknowledge, "a1", alarm.NestHeat, 0), ""},
		{"a1/acknowledge/set", "all", false, act(alarm.Acknowledge, "a1", "", 0), ""},
		{"site/acknowledge/set", "bus-fault", false, act(alarm.Acknowledge, "", alarm.BusFault, 0), ""},
		{"a1/shelve/set", "nest-heat", false, act(alarm.Shelve, "a1", alarm.NestHeat, 0), ""},
		{"a1/shelve/set", "nest-heat PT1H", false, act(alarm.Shelve, "a1", alarm.NestHeat, time.Hour), ""},
		{"a1/shelve/set", "probe-silent PT7H59M60S", false, act(alarm.Shelve, "a1", alarm.ProbeSilent, 8*time.Hour), ""},
		{"b2/shelve/set", "all PT90S", false, act(alarm.Shelve, "b2", "", 90*time.Second), ""},
		{"b2/out-of-service/set", "all", false, act(alarm.TakeOut, "b2", "", 0), ""},
		{"a1/out-of-service/set", "tote-wet", false, act(alarm.TakeOut, "a1", alarm.ToteWet, 0), ""},
		{"a1/chore-done/set", "bedding-due", false, nil, "a1 bedding-due by broker"},
		{"site/chore-done/set", "season-setup-due", false, nil, " season-setup-due by broker"},
		{"a1/acknowledge/set", "nest-heat", true, nil, refused},
		{"a1/shelve/set", "all", true, nil, refused},
		{"a1/acknowledge/set", "", false, nil, refused},
		{"a1/acknowledge/set", "NEST-HEAT", false, nil, refused},
		{"a1/acknowledge/set", "nest-heat PT1H", false, nil, refused},
		{"a1/acknowledge/set", "nest-heat\x00" + strings.Repeat("x", 1<<16), false, nil, refused},
		{"a1/acknowledge/set", "cluster-chill", false, nil, refused}, // which does not stand
		{"a1/shelve/set", "nest-heat PT1H1S", false, nil, refused},   // longer than heat may be
		{"a1/shelve/set", "all PT8H", false, nil, refused},
		{"a1/shelve/set", "probe-silent PT0S", false, nil, refused}, // or it would be the longest
		{"a1/shelve/set", "probe-silent PT", false, nil, refused},
		{"a1/shelve/set", "probe-silent ", false, nil, refused},
		{"a1/shelve/set", "probe-silent P1D", false, nil, refused},
		{"a1/shelve/set", "probe-silent PT-5M", false, nil, refused},
		{"a1/shelve/set", "probe-silent PT99999999999999999999H", false, nil, refused},
		{"a1/shelve/set", "probe-silent PT5124096H", false, nil, refused}, // which is 25 min more than 64 bits of nanoseconds
		{"a1/shelve/set", "probe-silent 30m", false, nil, refused},
		{"a1/unshelve/set", "nest-heat", false, nil, refused}, // which is on no shelf
		{"a1/in-service/set", "all", false, nil, refused},
		{"a1/chore-done/set", "true", false, nil, refused},
		{"a1/chore-done/set", "all", false, nil, refused},
		{"a1/chore-done/set", "nest-heat", false, nil, refused},
		{"gone/acknowledge/set", "nest-heat", false, nil, refused},
		{"/acknowledge/set", "bus-fault", false, nil, refused}, // which is not the site's
		{"a1/alarm/set", "none", false, nil, refused},
	} {
		b := troubled()
		n, log := hear(t, b, row.topic, row.payload, row.retained)
		var want []alarm.Act
		if row.act != nil {
			want = append(want, *row.act)
		}
		var done []string
		if row.done != "" && row.done != refused {
			done = append(done, row.done)
		}
		if !reflect.DeepEqual(b.acts, want) || !reflect.DeepEqual(b.done, done) {
			t.Errorf("%s %.30q: did %+v and %q", row.topic, row.payload, b.acts, b.done)
		}
		if wrong := row.done == refused; (n == 1) != wrong || strings.Contains(log, "refused_so_far=1") != wrong || len(log) > 1000 {
			t.Errorf("%s %.30q: refused %d, said %s", row.topic, row.payload, n, log)
		}
	}
}

// TestEveryWayBack: what was shelved or taken out of service by order is brought back by order.
func TestEveryWayBack(t *testing.T) {
	b := troubled()
	for _, step := range []struct {
		property, payload string
		want              alarm.Status // of nest-heat
	}{
		{"shelve", "nest-heat PT5M", alarm.Shelved},
		{"unshelve", "nest-heat", alarm.Unacknowledged},
		{"out-of-service", "all", alarm.OutOfService},
		{"in-service", "all", alarm.Unacknowledged},
		{"acknowledge", "all", alarm.Acknowledged},
		{"shelve", "all", alarm.Shelved},
		{"unshelve", "all", alarm.Acknowledged},
	} {
		n, log := hear(t, b, "a1/"+step.property+"/set", step.payload, false)
		standing, _ := b.panel.Merge([]alarm.Standing{{Event: alarm.Event{Nest: "a1", Name: alarm.NestHeat, Severity: alarm.Urgent}}})
		if got := standing[0].Status; n != 0 || got != step.want {
			t.Errorf("%s %s: nest-heat is %s, want %s; %s", step.property, step.payload, got, step.want, log)
		}
	}
}

// wellFormed is what may be done, written down once more.
var wellFormed = regexp.MustCompile(`^(` +
	`[^/]+/(acknowledge|unshelve|out-of-service|in-service)/set (all|[a-z0-9]+(-[a-z0-9]+)+)|` +
	`[^/]+/shelve/set (all|[a-z0-9]+(-[a-z0-9]+)+)( PT([0-9]+H)?([0-9]+M)?([0-9]+S)?)?|` +
	`[^/]+/chore-done/set [a-z]+(-[a-z]+)*-(due|expected|overdue|window))$`)

// TestTenThousandMalformedOrders change nothing.
func TestTenThousandMalformedOrders(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 11))
	pick := func(from ...string) string { return from[r.IntN(len(from))] }
	spoil := func(s string) string {
		b := []byte(s)
		for range 1 + r.IntN(3) {
			i := r.IntN(len(b) + 1)
			switch r.IntN(4) {
			case 0:
				b = append(b[:i:i], append([]byte{byte(r.IntN(256))}, b[i:]...)...)
			case 1:
				b = append(b[:i:i], b[min(i+1, len(b)):]...)
			case 2:
				if i < len(b) {
					b[i] ^= byte(1 + r.IntN(255))
				}
			case 3:
				b = append(b, b...)
			}
		}
		return string(b)
	}
	b := troubled()
	before, quiet := b.panel.Merge(nil)
	const wanted = 10_000
	tried, refused := 0, 0
	for tried < wanted {
		topic := pick("a1", "b2", "site", "outside", "gone", "") + "/" +
			pick("acknowledge", "shelve", "unshelve", "out-of-service", "in-service", "chore-done", "alarm", "$state") + "/set"
		payload := pick(string(alarm.NestHeat), string(alarm.ProbeSilent), string(alarm.BeddingDue), "all", "")
		if r.IntN(2) == 0 {
			payload += " " + pick("PT30M", "PT1H", "PT0S", "P1D", "30m", "-PT5M", "PT5,5S", "PT30M PT30M")
		}
		switch r.IntN(3) {
		case 0:
			topic = spoil(topic)
		case 1:
			payload = spoil(payload)
		}
		if wellFormed.MatchString(topic + " " + payload) {
			continue
		}
		n, _ := hear(t, b, topic, payload, false)
		tried++
		refused += n
	}
	after, still := b.panel.Merge(nil)
	if len(b.acts)+len(b.done) > 0 || fmt.Sprint(before, quiet) != fmt.Sprint(after, still) || len(quiet) != 3 {
		t.Errorf("of %d malformed orders were done: %+v %q", tried, b.acts, b.done)
	}
	if refused < wanted/2 { // the others come by topics of another form
		t.Errorf("only %d of %d were refused", refused, tried)
	}
}

// TestAFloodOfOrders is neither kept nor written to the log line by line.
func TestAFloodOfOrders(t *testing.T) {
	var log bytes.Buffer
	o := newOrders(&board{}, slog.New(slog.NewTextHandler(&log, nil)))
	for range 1000 {
		o.take("a1/acknowledge/set", "nest-heat", false)
	}
	if len(o.waiting) != mostOrders || o.refused != 1000-mostOrders || strings.Count(log.String(), "\n") != 1 {
		t.Errorf("%d wait, %d refused, log: %s", len(o.waiting), o.refused, log.String())
	}
}

// rotten panics.
type rotten struct{}

func (rotten) Act(context.Context, alarm.Act) error { panic("rotten") }
func (rotten) Done(context.Context, string, alarm.Name, string) error {
	return errors.New("nobody does it")
}

func TestAKeeperThatPanics(t *testing.T) {
	c := &Client{orders: newOrders(rotten{}, slog.New(slog.DiscardHandler)), ctx: t.Context()}
	if err := c.carryOut(order{"a1", "acknowledge", "nest-heat"}); err == nil || !strings.Contains(err.Error(), "rotten") {
		t.Errorf("error %v", err)
	}
	if err := c.carryOut(order{"a1", "chore-done", "bedding-due"}); err == nil {
		t.Error("done by nobody")
	}
	c.orders.keeper = nil
	if err := c.carryOut(order{"a1", "acknowledge", "nest-heat"}); err == nil {
		t.Error("done without a keeper")
	}
}
