package exporter_test

import (
	"context"
	"errors"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"nestmon/exporter"
)

// deaf is a far side that behaves as told, for readings and for messages.
type deaf func(ctx context.Context) error

func (d deaf) Name() string                                               { return "deaf" }
func (d deaf) Send(ctx context.Context, _ exporter.Message) error         { return d(ctx) }
func (d deaf) Deliver(ctx context.Context, _ []exporter.StoredPoll) error { return d(ctx) }

func (d deaf) pumps(b *box, store *memory) (messages, readings *exporter.Pump) {
	return exporter.NewMessagePump(d, b, exporter.Options{}), exporter.NewReadingPump(d, store, exporter.Options{})
}

// A day in which nothing gets through is a day of attempts.
func TestAPumpThatTriesIsNotStuck(t *testing.T) {
	for name, far := range map[string]deaf{
		"no network":              func(context.Context) error { return errors.New("no route to host") },
		"no answer":               func(ctx context.Context) error { <-ctx.Done(); return ctx.Err() },
		"asked to wait an hour":   func(context.Context) error { return politeError{time.Hour} },
		"a panic now and then":    func(context.Context) error { panic("odd") },
		"nothing goes wrong":      func(context.Context) error { return nil },
		"each takes all its time": func(context.Context) error { time.Sleep(20 * time.Second); return nil },
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				b, store := &box{}, &memory{}
				store.add(2000)
				b.put("1", "2", "3")
				messages, readings := far.pumps(b, store)
				for range 24 * 60 {
					pass(time.Minute)
					store.add(2)
					if err := errors.Join(messages.Stuck(), readings.Stuck()); err != nil {
						t.Fatal(err)
					}
				}
				stop(t, messages)
				stop(t, readings)
			})
		})
	}
}

// sunk is a store that does not answer until it is released.
type sunk struct {
	*box
	release chan struct{}
}

func (s sunk) Pending(channel string, now time.Time, limit int) ([]exporter.Message, error) {
	<-s.release
	return s.box.Pending(channel, now, limit)
}

func TestAPumpThatHangsIsStuck(t *testing.T) {
	for _, row := range []struct {
		name  string
		takes time.Duration // before it is stuck
		start func(b *box, release chan struct{}) *exporter.Pump
	}{
		{"in the sink, whatever its deadline says", 80 * time.Second, func(b *box, release chan struct{}) *exporter.Pump {
			return exporter.NewMessagePump(deaf(func(context.Context) error { <-release; return nil }), b, exporter.Options{})
		}},
		{"in the store", 60 * time.Second, func(b *box, release chan struct{}) *exporter.Pump {
			return exporter.NewMessagePump(deaf(func(context.Context) error { return nil }), sunk{b, release}, exporter.Options{})
		}},
	} {
		t.Run(row.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				b, release := &box{}, make(chan struct{})
				b.put("1")
				p := row.start(b, release)
				pass(row.takes)
				if err := p.Stuck(); err != nil {
					t.Errorf("it has time left: %v", err)
				}
				pass(time.Second)
				if err := p.Stuck(); err == nil || !strings.Contains(err.Error(), "deaf") {
					t.Errorf("after %v: %v, want its name", row.takes, err)
				}
				close(release)
				synctest.Wait()
				if err := p.Stuck(); err != nil {
					t.Errorf("it goes on: %v", err)
				}
				stop(t, p)
			})
		})
	}
}

// A call that somebody asks for goes beside what the pump does: it is made while the pump waits, and what arrives makes the sink well.
func TestTry(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, far := &box{}, &phone{}
		far.set(func(string) error { return errors.New("down") })
		b.put("1")
		p := exporter.NewMessagePump(far, b, exporter.Options{})
		pass(time.Second)
		failed := p.Health()
		for name, fn := range map[string]func(context.Context) error{
			"down":        func(context.Context) error { return errors.New("down") },
			"panic: odd":  func(context.Context) error { panic("odd") },
			"out of time": func(ctx context.Context) error { <-ctx.Done(); return errors.New("out of time") },
		} {
			if err := p.Try(t.Context(), fn); err == nil || err.Error() != name {
				t.Errorf("%s: %v", name, err)
			}
		}
		if h := p.Health(); failed.OK || h.Sent != 0 {
			t.Errorf("health %+v", h)
		}
		b.mu.Lock()
		b.all = nil
		b.mu.Unlock()
		if err := p.Try(t.Context(), func(context.Context) error { return nil }); err != nil {
			t.Error(err)
		}
		if h := p.Health(); !h.OK || h.Sent != 1 || h.LastOK.IsZero() {
			t.Errorf("health after one that arrived: %+v", h)
		}
		stop(t, p)
	})
}
