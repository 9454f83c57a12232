package exporter_test

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"nestmon/exporter"
	"nestmon/sensors"
)

// memory is a store in memory. Its fields are locked by mu.
type memory struct {
	mu      sync.Mutex
	polls   []exporter.StoredPoll
	cursors map[string]int64
	aside   []int64
	broken  error

	meta     map[string]string
	pruned   uint64
	redeemed atomic.Int64
}

func (m *memory) Polls(after int64, limit int) (got []exporter.StoredPoll, err error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	for _, p := range m.polls {
		if p.Key > after && len(got) < limit {
			got = append(got, p)
		}
	}
	return got, m.broken
}

func (m *memory) Cursor(name string) (int64, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.cursors[name], m.broken
}

func (m *memory) SetCursor(name string, key int64) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.cursors == nil {
		m.cursors = map[string]int64{}
	}
	m.cursors[name] = key
	return m.broken
}

func (m *memory) SetRefused(_ string, polls []exporter.RefusedPoll) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.broken == nil {
		for _, p := range polls {
			m.aside = append(m.aside, p.Key)
		}
	}
	return m.broken
}

func (m *memory) Backlog(after int64, limit int) (upTo, readings int64, err error) {
	polls, err := m.Polls(after, limit)
	for upTo = after; len(polls) > 0; polls = polls[1:] {
		upTo, readings = polls[0].Key, readings+int64(len(polls[0].Readings))
	}
	return upTo, readings, err
}

func (m *memory) Pruned(string) uint64 {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.pruned
}

func (m *memory) PollsWithin(from, to time.Time, after int64, limit int) (got []exporter.StoredPoll, err error) {
	all, err := m.Polls(after, math.MaxInt)
	for _, p := range all {
		if !p.Time.Before(from) && p.Time.Before(to) && len(got) < limit {
			got = append(got, p)
		}
	}
	return got, err
}

func (m *memory) CountWithin(from, to time.Time, after int64) (int64, error) {
	got, err := m.PollsWithin(from, to, after, math.MaxInt)
	return int64(len(got)), err
}

func (m *memory) Oldest() (time.Time, error) {
	all, err := m.Polls(0, 1)
	if len(all) == 0 {
		return time.Time{}, err
	}
	return all[0].Time, err
}

func (m *memory) Redeem(string, time.Time, time.Time, time.Time) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.redeemed.Add(1)
	return m.broken
}

func (m *memory) Meta(key string) (string, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.meta[key], m.broken
}

func (m *memory) SetMeta(key, value string) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.meta == nil {
		m.meta = map[string]string{}
	}
	m.meta[key] = value
	return m.broken
}

// add stores n polls of one reading, 30 s apart, ending now.
func (m *memory) add(n int) {
	m.mu.Lock()
	defer m.mu.Unlock()
	for range n {
		key := int64(len(m.polls) + 1)
		m.polls = append(m.polls, exporter.StoredPoll{Key: key, Time: time.Now(), Readings: []sensors.Reading{{Probe: "a1-air", Value: float64(key)}}})
	}
}

// receiver is the far side of a ReadingSink.
type receiver struct {
	mu    sync.Mutex
	got   []int64 // keys in order of arrival
	calls int
	err   func(polls []exporter.StoredPoll) error
}

func (r *receiver) Name() string { return "influx" }

func (r *receiver) Deliver(_ context.Context, polls []exporter.StoredPoll) error {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.calls++
	if r.err != nil {
		if err := r.err(polls); err != nil {
			return err
		}
	}
	for _, p := range polls {
		r.got = append(r.got, p.Key)
	}
	return nil
}

func (r *receiver) fail(err error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.err = nil
	if err != nil {
		r.err = func([]exporter.StoredPoll) error { return err }
	}
}

// keys returns what arrived, sorted and without repetitions, and how much arrived in all.
func (r *receiver) keys() (distinct []int64, all int) {
	r.mu.Lock()
	defer r.mu.Unlock()
	distinct = slices.Clone(r.got)
	slices.Sort(distinct)
	return slices.Compact(distinct), len(r.got)
}

// arrived are the keys in the order in which they came.
func (r *receiver) arrived() []int64 {
	r.mu.Lock()
	defer r.mu.Unlock()
	return slices.Clone(r.got)
}

func upTo(n int64) (keys []int64) {
	for k := int64(1); k <= n; k++ {
		keys = append(keys, k)
	}
	return keys
}

func TestReadingsArriveInOrderAndTheCursorFollowsAMinuteLater(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		store, far := &memory{}, &receiver{}
		p := exporter.NewReadingPump(far, store, exporter.Options{})
		for range 10 {
			store.add(1)
			p.Wake()
			pass(30 * time.Second)
		}
		stop(t, p)
		if got := far.arrived(); !slices.Equal(got, upTo(10)) {
			t.Errorf("arrived %v, want 1 to 10 in order, once", got)
		}
		// One poll each 30 s: the newest is 30 s old at the end of the last sleep, the cursor stays one to two minutes behind.
		if c := store.cursors["influx"]; c < 6 || c > 8 {
			t.Errorf("cursor %d, want behind the newest by one to two minutes", c)
		}
		if h := p.Health(); h.Sent != 10 || h.Pending != 0 || !h.OK {
			t.Errorf("health %+v", h)
		}
	})
}

func TestOutage(t *testing.T) {
	for _, row := range []struct {
		name string
		err  error
	}{
		{"refused connection", errors.New("connection refused")},
		{"panic in the sink", nil},
	} {
		t.Run(row.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				store, far := &memory{}, &receiver{}
				p := exporter.NewReadingPump(far, store, exporter.Options{})
				for range 10 {
					store.add(1)
					p.Wake()
					pass(30 * time.Second)
				}
				if far.fail(row.err); row.err == nil {
					far.mu.Lock()
					far.err = func([]exporter.StoredPoll) error { panic("nil map") }
					far.mu.Unlock()
				}
				for range 100 {
					store.add(1)
					p.Wake()
					pass(30 * time.Second)
				}
				if h := p.Health(); h.OK || h.Pending < 100 || h.OldestAt.IsZero() {
					t.Errorf("in the outage: %+v, want at least 100 waiting", h)
				}
				if far.calls > 40 {
					t.Errorf("%d tries in 50 minutes: a Wake must not end the back-off", far.calls)
				}
				far.fail(nil)
				pass(6 * time.Minute)
				got, all := far.keys()
				if !slices.Equal(got, upTo(110)) {
					t.Errorf("%d distinct polls arrived, want 110", len(got))
				}
				if all < 112 {
					t.Errorf("%d arrivals: the last 60 s before the outage (2 polls) were not sent again", all)
				}
				stop(t, p)
			})
		})
	}
}

func TestAStartGoesBackToWhatIsSurelyKept(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		store, far := &memory{}, &receiver{}
		store.add(5000)
		p := exporter.NewReadingPump(far, store, exporter.Options{})
		synctest.Wait()
		stop(t, p) // everything was acknowledged in this very second
		if c := store.cursors["influx"]; c != 0 {
			t.Errorf("cursor %d, want 0: nothing is older than a minute", c)
		}
		p = exporter.NewReadingPump(far, store, exporter.Options{})
		synctest.Wait()
		stop(t, p)
		if got, all := far.keys(); len(got) != 5000 || all != 10000 {
			t.Errorf("%d distinct of %d arrivals, want 5000 of 10000", len(got), all)
		}
	})
}

func TestABacklogGetsThroughALinkThatKeepsFailing(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		store, far := &memory{}, &receiver{}
		store.add(20_000)
		far.err = func([]exporter.StoredPoll) error {
			if far.calls%3 == 0 {
				return errors.New("connection reset")
			}
			return nil
		}
		p := exporter.NewReadingPump(far, store, exporter.Options{})
		pass(10 * time.Minute)
		stop(t, p)
		if got, all := far.keys(); len(got) != 20_000 || all > 3*20_000 {
			t.Errorf("%d distinct of %d arrivals, want 20000 and no endless repetition", len(got), all)
		}
	})
}

func TestRefusals(t *testing.T) {
	for _, row := range []struct {
		name string
		err  func(polls []exporter.StoredPoll) error
	}{
		{"a whole delivery is halved to the poll to blame", func(polls []exporter.StoredPoll) error {
			if slices.ContainsFunc(polls, func(p exporter.StoredPoll) bool { return p.Key == 37 }) {
				return exporter.Permanent(errors.New("field type conflict"))
			}
			return nil
		}},
		{"the sink names the poll to blame", func(polls []exporter.StoredPoll) error {
			for _, p := range polls {
				if p.Key == 37 {
					return &exporter.PartlyRefused{Polls: []exporter.RefusedPoll{{StoredPoll: p, Reason: "field type conflict"}}}
				}
			}
			return nil
		}},
	} {
		t.Run(row.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				store, far := &memory{}, &receiver{err: row.err}
				store.add(100)
				p := exporter.NewReadingPump(far, store, exporter.Options{Settle: -1})
				pass(time.Minute)
				stop(t, p)
				if !slices.Equal(store.aside, []int64{37}) {
					t.Errorf("set aside %v, want poll 37 alone", store.aside)
				}
				if c := store.cursors["influx"]; c != 100 {
					t.Errorf("cursor %d, want 100", c)
				}
				if h := p.Health(); h.Sent != 99 || h.Failed != 1 || h.Refused != 1 || h.RefusedWhy != "field type conflict" || !h.OK {
					t.Errorf("health %+v, want 99 sent, 1 failed, well", h)
				}
			})
		})
	}
}

func TestNothingIsSkippedWhenItCannotBeSetAside(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		store := &memory{}
		far := &receiver{}
		far.fail(exporter.Permanent(errors.New("no")))
		store.add(1)
		p := exporter.NewReadingPump(far, store, exporter.Options{Settle: -1})
		synctest.Wait()
		if !slices.Equal(store.aside, []int64{1}) {
			t.Fatalf("set aside %v, want 1", store.aside)
		}
		store.mu.Lock()
		store.broken = errors.New("disk full")
		store.mu.Unlock()
		store.add(1)
		pass(time.Hour)
		if h := p.Health(); h.OK {
			t.Errorf("health %+v, want not well: the store is broken", h)
		}
		store.mu.Lock()
		store.broken = nil
		store.mu.Unlock()
		pass(time.Hour)
		stop(t, p)
		if !slices.Equal(store.aside, []int64{1, 2}) {
			t.Errorf("set aside %v, want 1 and 2", store.aside)
		}
	})
}

type politeError struct{ wait time.Duration }

func (politeError) Error() string               { return "429 too many requests" }
func (e politeError) RetryAfter() time.Duration { return e.wait }

func TestRetryAfterIsHonoured(t *testing.T) {
	for _, row := range []struct {
		asked    time.Duration
		after    time.Duration
		wantMore bool
	}{
		{10 * time.Minute, 9 * time.Minute, false},
		{10 * time.Minute, 11 * time.Minute, true},
		{100 * time.Hour, 61 * time.Minute, true}, // at most an hour is believed
	} {
		t.Run(fmt.Sprint(row.asked, " after ", row.after), func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				store, far := &memory{}, &receiver{}
				far.fail(fmt.Errorf("influx: %w", politeError{row.asked}))
				store.add(1)
				p := exporter.NewReadingPump(far, store, exporter.Options{})
				pass(row.after)
				if more := far.calls > 1; more != row.wantMore {
					t.Errorf("%d tries, tried again: %v, want %v", far.calls, more, row.wantMore)
				}
				stop(t, p)
			})
		})
	}
}

func TestADeliveryThatRunsOutOfTimeGetsSmaller(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		store, far := &memory{}, &receiver{}
		store.add(1000)
		far.err = func(polls []exporter.StoredPoll) error {
			if len(polls) > 60 { // a link this slow
				return fmt.Errorf("writing: %w", context.DeadlineExceeded)
			}
			return nil
		}
		p := exporter.NewReadingPump(far, store, exporter.Options{})
		pass(time.Hour)
		stop(t, p)
		if got, _ := far.keys(); len(got) != 1000 {
			t.Errorf("%d polls arrived, want 1000", len(got))
		}
	})
}
