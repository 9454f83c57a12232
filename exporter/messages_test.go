package exporter_test

import (
	"context"
	"errors"
	"slices"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"nestmon/exporter"
)

// box is a store of messages for one channel. Its fields are locked by mu.
type box struct {
	mu      sync.Mutex
	all     []exporter.Message
	sent    []string
	refused []string
	broken  error // of Sent
}

func (b *box) Pending(_ string, now time.Time, limit int) (got []exporter.Message, err error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, m := range b.all {
		if !m.After.After(now) && len(got) < limit && !slices.Contains(b.sent, m.ID) && !slices.Contains(b.refused, m.ID) {
			got = append(got, m)
		}
	}
	return got, nil
}

func (b *box) Sent(_, id string, _ time.Time) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.broken == nil {
		b.sent = append(b.sent, id)
	}
	return b.broken
}

func (b *box) Refused(_, id, _ string) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.refused = append(b.refused, id)
	return nil
}

func (b *box) put(ids ...string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, id := range ids {
		b.all = append(b.all, exporter.Message{ID: id, Time: time.Now()})
	}
}

// phone is the far side of a MessageSink.
type phone struct {
	mu    sync.Mutex
	rings []string // ids as they arrive
	err   func(id string) error
}

func (p *phone) Name() string { return "phone" }

func (p *phone) Send(_ context.Context, m exporter.Message) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.err != nil {
		if err := p.err(m.ID); err != nil {
			return err
		}
	}
	p.rings = append(p.rings, m.ID)
	return nil
}

func (p *phone) set(err func(id string) error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.err = err
}

func TestMessages(t *testing.T) {
	down := errors.New("no route to host")
	for _, row := range []struct {
		name string
		do   func(t *testing.T, b *box, far *phone, p *exporter.Pump)
		want []string // rings
	}{
		{"in the order in which they were stored", func(_ *testing.T, b *box, _ *phone, p *exporter.Pump) {
			b.put("1", "2", "3")
			p.Wake()
		}, []string{"1", "2", "3"}},
		{"a short trouble keeps the order", func(_ *testing.T, b *box, far *phone, p *exporter.Pump) {
			far.set(func(string) error { return down })
			b.put("1", "2")
			p.Wake()
			pass(2 * time.Second)
			far.set(nil)
		}, []string{"1", "2"}},
		{"in a long trouble the new alarm goes first", func(_ *testing.T, b *box, far *phone, p *exporter.Pump) {
			far.set(func(string) error { return down })
			b.put("old")
			p.Wake()
			pass(time.Hour)
			far.set(nil)
			b.put("new")
			p.Wake()
		}, []string{"new", "old"}},
		{"a message the other side chokes on stops no other", func(_ *testing.T, b *box, far *phone, p *exporter.Pump) {
			far.set(func(id string) error {
				if id == "poison" {
					return errors.New("500")
				}
				return nil
			})
			b.put("poison", "1", "2")
			p.Wake()
		}, []string{"1", "2"}},
		{"what is refused for good is set aside", func(t *testing.T, b *box, far *phone, p *exporter.Pump) {
			far.set(func(id string) error {
				if id == "bad" {
					return exporter.Permanent(errors.New("no such topic"))
				}
				return nil
			})
			b.put("bad", "1")
			p.Wake()
			pass(time.Second)
			if !slices.Equal(b.refused, []string{"bad"}) {
				t.Errorf("refused %v, want bad", b.refused)
			}
		}, []string{"1"}},
		{"a service that refuses everything is not well, until something arrives", func(t *testing.T, b *box, far *phone, p *exporter.Pump) {
			far.set(func(string) error { return exporter.Permanent(errors.New("400, another body is wanted")) })
			b.put("lost")
			p.Wake()
			pass(time.Hour)
			if h := p.Health(); h.OK || h.Error != "400, another body is wanted" || h.Failed != 1 || time.Since(h.Since) < 50*time.Minute {
				t.Errorf("after an hour: %+v", h)
			}
			far.set(nil)
			b.put("1")
			p.Wake()
			pass(time.Second)
			if h := p.Health(); !h.OK || h.Error != "" {
				t.Errorf("after one arrived: %+v", h)
			}
		}, []string{"1"}},
		{"what cannot be noted as sent is not sent twice", func(t *testing.T, b *box, _ *phone, p *exporter.Pump) {
			b.mu.Lock()
			b.broken = errors.New("disk full")
			b.mu.Unlock()
			b.put("1")
			p.Wake()
			pass(time.Hour)
			if h := p.Health(); h.OK {
				t.Errorf("health %+v, want not well", h)
			}
			b.mu.Lock()
			b.broken = nil
			b.mu.Unlock()
			pass(time.Hour)
			if !slices.Equal(b.sent, []string{"1"}) {
				t.Errorf("noted as sent: %v, want 1", b.sent)
			}
		}, []string{"1"}},
		{"what cannot be noted as sent holds up nothing behind it", func(_ *testing.T, b *box, _ *phone, p *exporter.Pump) {
			b.mu.Lock()
			b.broken = errors.New("disk read-only")
			b.mu.Unlock()
			b.put("1", "2", "3")
			p.Wake()
		}, []string{"1", "2", "3"}},
		{"quiet hours end without a Wake", func(_ *testing.T, b *box, _ *phone, _ *exporter.Pump) {
			b.mu.Lock()
			b.all = append(b.all, exporter.Message{ID: "morning", After: time.Now().Add(8 * time.Hour)})
			b.mu.Unlock()
			pass(8 * time.Hour)
		}, []string{"morning"}},
	} {
		t.Run(row.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				b, far := &box{}, &phone{}
				p := exporter.NewMessagePump(far, b, exporter.Options{})
				row.do(t, b, far, p)
				pass(2 * time.Minute)
				stop(t, p)
				if !slices.Equal(far.rings, row.want) {
					t.Errorf("arrived %v, want %v", far.rings, row.want)
				}
			})
		})
	}
}

func TestANewMessageEndsTheWaitUnlessTheOtherSideNamedIt(t *testing.T) {
	for _, row := range []struct {
		name string
		err  error
		want []string // rings at once after the Wake
	}{
		{"our own back-off", errors.New("no route to host"), []string{"new", "old"}},
		{"their Retry-After", politeError{30 * time.Minute}, nil},
	} {
		t.Run(row.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				b, far := &box{}, &phone{}
				far.set(func(string) error { return row.err })
				b.put("old")
				p := exporter.NewMessagePump(far, b, exporter.Options{MaxBackOff: 20 * time.Minute})
				pass(time.Hour)
				pass(30 * time.Second) // in the midst of a wait
				far.set(nil)
				b.put("new")
				p.Wake()
				synctest.Wait() // no time passes
				stop(t, p)
				if !slices.Equal(far.rings, row.want) {
					t.Errorf("arrived %v, want %v", far.rings, row.want)
				}
			})
		})
	}
}

func TestAWeekOfReadingsDelaysNoAlarm(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		store, influx := &memory{}, &receiver{}
		influx.err = func([]exporter.StoredPoll) error { time.Sleep(19 * time.Second); return errors.New("reset") }
		store.add(20_160)
		readings := exporter.NewReadingPump(influx, store, exporter.Options{})
		b, far := &box{}, &phone{}
		alarms := exporter.NewMessagePump(far, b, exporter.Options{})
		synctest.Wait()
		b.put("cold nest")
		alarms.Wake()
		synctest.Wait() // no time passes
		if !slices.Equal(far.rings, []string{"cold nest"}) {
			t.Errorf("arrived %v, want the alarm at once", far.rings)
		}
		stop(t, alarms)
		pass(time.Minute)
		ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
		defer cancel()
		if err := readings.Stop(ctx); err != nil {
			t.Error(err)
		}
	})
}

// grumbler is a phone that complains.
type grumbler struct {
	phone
	complaint error
}

func (g *grumbler) Complaint() error {
	g.mu.Lock()
	defer g.mu.Unlock()
	return g.complaint
}

func (g *grumbler) complain(err error) {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.complaint = err
}

// A complaint stands whatever is delivered meanwhile, without a message too, and ends when it ends.
func TestAComplaintStandsWhileMessagesArrive(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		g, store := &grumbler{}, &box{}
		p := exporter.NewMessagePump(g, store, exporter.Options{})
		defer func() { _ = p.Stop(t.Context()) }()
		g.complain(wrongPassword{})
		time.Sleep(2 * time.Minute)
		began := p.Health().Since
		for _, id := range []string{"a", "b"} {
			if h := p.Health(); h.OK || !h.Misconfigured || h.Error != (wrongPassword{}).Error() || !h.Since.Equal(began) {
				t.Errorf("before %s: %+v, want the complaint since %v", id, h, began)
			}
			store.put(id)
			p.Wake()
			synctest.Wait()
			time.Sleep(2 * time.Minute)
		}
		if h := p.Health(); h.OK || h.Sent != 2 || h.Pending != 0 {
			t.Errorf("%+v, want two sent and the complaint", h)
		}
		g.complain(nil)
		time.Sleep(2 * time.Minute)
		if h := p.Health(); !h.OK || h.Error != "" {
			t.Errorf("%+v, want it well again", h)
		}
	})
}
