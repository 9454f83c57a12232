package exporter_test

import (
	"errors"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"nestmon/exporter"
)

// hours stores polls of three hours, one each half minute, and returns when the first was.
func hours(store *memory) (start time.Time) {
	start = time.Now()
	for range 360 {
		store.add(1)
		time.Sleep(30 * time.Second)
	}
	return start
}

func keysFrom(from, to int64) (keys []int64) {
	for k := from; k <= to; k++ {
		keys = append(keys, k)
	}
	return keys
}

func TestThePastIsSentAgainBehindWhatIsNew(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		store, far := &memory{}, &receiver{}
		start := hours(store)
		p := exporter.NewReadingPump(far, store, exporter.Options{Batch: 10})
		pass(10 * time.Minute)
		store.add(1)
		p.Wake()
		pass(2 * time.Minute)
		cursor := store.cursors["influx"]
		far.mu.Lock()
		far.got = nil
		busy := true
		far.err = func(polls []exporter.StoredPoll) error {
			if busy && polls[0].Key <= 360 { // a poll comes in while the past is being sent
				store.add(1)
				busy = false
			}
			return nil
		}
		far.mu.Unlock()
		b, err := p.Resend(start.Add(time.Hour), start.Add(2*time.Hour))
		if err != nil || b.Polls != 120 {
			t.Fatalf("%+v, %v; want 120 polls", b, err)
		}
		synctest.Wait()
		want := slices.Concat(keysFrom(121, 130), []int64{362}, keysFrom(131, 240))
		if got := far.arrived(); !slices.Equal(got, want) {
			t.Errorf("arrived %v, want the second hour, and the new poll as soon as it came", got)
		}
		if _, err := p.Resend(start, start.Add(time.Hour)); err == nil || !strings.Contains(err.Error(), "nestmon backfill --stop") {
			t.Errorf("a second one meanwhile: %v", err)
		}
		if b := p.Health().Backfill; b == nil || b.Sent != 120 || !b.Underway() || store.redeemed.Load() != 0 {
			t.Errorf("%+v: want it all sent, and not believed yet", b)
		}
		pass(3 * time.Minute)
		if b := p.Health().Backfill; b == nil || b.Underway() || b.Stopped || store.redeemed.Load() != 1 {
			t.Errorf("%+v: want it ended", b)
		}
		if got := store.cursors["influx"]; got != cursor && got < 361 {
			t.Errorf("the cursor moved from %d to %d", cursor, got)
		}
		stop(t, p)
	})
}

func TestSendingThePastGoesOnAfterARestartAndAnOutage(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		store, far := &memory{}, &receiver{}
		start := hours(store)
		store.cursors = map[string]int64{"influx": 360}
		far.err = func(polls []exporter.StoredPoll) error {
			if polls[len(polls)-1].Key > 200 {
				return errors.New("connection reset")
			}
			time.Sleep(5 * time.Second)
			return nil
		}
		p := exporter.NewReadingPump(far, store, exporter.Options{Batch: 4})
		if _, err := p.Resend(start, start.Add(3*time.Hour)); err != nil {
			t.Fatal(err)
		}
		pass(20 * time.Minute)
		if h := p.Health(); h.OK || h.Backfill.Sent != 200 {
			t.Fatalf("%+v, %+v: want it stuck at 200 of 360", h, h.Backfill)
		}
		stop(t, p)

		far.fail(nil)
		far.got = nil
		p = exporter.NewReadingPump(far, store, exporter.Options{Batch: 4})
		pass(10 * time.Minute)
		if got, _ := far.keys(); got[0] <= 100 || got[0] > 201 || !slices.Equal(got, keysFrom(got[0], 360)) {
			t.Errorf("%d arrived from %d on, want the rest and a minute more", len(got), got[0])
		}
		if b := p.Health().Backfill; b.Underway() || b.Sent != 360 {
			t.Errorf("%+v: want it ended with 360 sent", b)
		}
		stop(t, p)
		p = exporter.NewReadingPump(far, store, exporter.Options{})
		far.mu.Lock()
		far.got = nil
		far.mu.Unlock()
		pass(10 * time.Minute)
		if got, _ := far.keys(); len(got) != 0 {
			t.Errorf("after its end and a restart %v arrived once more", got)
		}
		stop(t, p)
	})
}

func TestWhatOfThePastCannotBeSent(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		store, far := &memory{}, &receiver{}
		p := exporter.NewReadingPump(far, store, exporter.Options{})
		begin := time.Now().Add(-time.Hour)
		for _, row := range []struct {
			name     string
			fill     bool
			from, to time.Duration
			want     string
		}{
			{"an empty archive", false, 0, time.Hour, "there is none at all"},
			{"before the archive begins", true, 0, time.Hour, "is kept by the hour only"},
			{"the future", true, 0, 5 * time.Hour, "is in the future; end the range at"},
		} {
			if row.fill && len(store.polls) == 0 {
				hours(store)
			}
			if _, err := p.Resend(begin.Add(row.from), begin.Add(row.to)); err == nil || !strings.Contains(err.Error(), row.want) {
				t.Errorf("%s: %v, want %q", row.name, err, row.want)
			}
		}
		if _, err := p.StopResending(); err == nil || !strings.Contains(err.Error(), "nothing is being sent again") {
			t.Errorf("stopping nothing: %v", err)
		}
		far.fail(errors.New("connection refused"))
		if _, err := p.Resend(begin, begin.Add(2*time.Hour)); err != nil {
			t.Fatal(err)
		}
		if b, err := p.StopResending(); err != nil || !b.Stopped || b.Underway() {
			t.Errorf("stopping: %+v, %v", b, err)
		}
		stop(t, p)
	})
}

// interrupted is a store in which something happens while the past is looked for.
type interrupted struct {
	*memory
	then func()
}

func (i *interrupted) PollsWithin(from, to time.Time, after int64, limit int) ([]exporter.StoredPoll, error) {
	polls, err := i.memory.PollsWithin(from, to, after, limit)
	if then := i.then; then != nil && len(polls) == 0 {
		i.then = nil
		then()
	}
	return polls, err
}

// The end of one range is not that of another, which was asked for in between.
func TestARangeThatIsAskedForAtTheEndOfAnother(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		store, far := &interrupted{memory: &memory{}}, &receiver{}
		start := hours(store.memory)
		store.cursors = map[string]int64{"influx": 360}
		p := exporter.NewReadingPump(far, store, exporter.Options{})
		store.then = func() {
			time.Sleep(time.Second)
			if _, err := p.StopResending(); err != nil {
				t.Error(err)
			}
			if _, err := p.Resend(start.Add(time.Hour), start.Add(2*time.Hour)); err != nil {
				t.Error(err)
			}
		}
		if _, err := p.Resend(start, start.Add(time.Hour)); err != nil {
			t.Fatal(err)
		}
		pass(10 * time.Minute)
		if b := p.Health().Backfill; b.Sent != 120 || b.Underway() || store.redeemed.Load() != 1 {
			t.Errorf("%+v, %d redeemed: want the second range sent", b, store.redeemed.Load())
		}
		if got, _ := far.keys(); !slices.Equal(got, keysFrom(1, 240)) {
			t.Errorf("%d arrived, want both hours", len(got))
		}
		stop(t, p)
	})
}

// A week away: what waits is counted whole whatever the tries do, each try is small, and what the archive could not keep is told.
func TestALongOutageIsCountedAndCostsLittle(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		store, far := &memory{}, &receiver{}
		var largest atomic.Int64
		far.err = func(polls []exporter.StoredPoll) error {
			largest.Store(max(largest.Load(), int64(len(polls))))
			return errors.New("connection refused")
		}
		store.add(6 * 2880)
		p := exporter.NewReadingPump(far, store, exporter.Options{})
		for range 120 {
			store.add(1)
			p.Wake()
			pass(30 * time.Second)
		}
		if h := p.Health(); h.Pending != 6*2880+120 {
			t.Errorf("%d wait, want %d", h.Pending, 6*2880+120)
		}
		largest.Store(0)
		pass(time.Hour)
		if n := largest.Load(); n != 1 {
			t.Errorf("after an hour %d polls are tried at once, want 1", n)
		}
		store.mu.Lock()
		store.polls, store.pruned = store.polls[100:], 100
		store.mu.Unlock()
		p.Wake()
		pass(time.Minute)
		if h := p.Health(); h.Pruned != 100 || h.PrunedAt.IsZero() {
			t.Errorf("pruned %d at %v, want 100", h.Pruned, h.PrunedAt)
		}
		far.fail(nil)
		pass(10 * time.Minute)
		if got, _ := far.keys(); !slices.Equal(got, keysFrom(101, 6*2880+120)) {
			t.Errorf("%d arrived, want all that were kept", len(got))
		}
		stop(t, p)
	})
}

// A server that dies may have lost what it acknowledged of the past last, too; and what it refused before is told once.
func TestAfterAFailureThePastIsRepeatedAndARefusalIsNot(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		store, far := &memory{}, &receiver{}
		start := hours(store)
		store.cursors = map[string]int64{"influx": 360}
		var down atomic.Bool
		far.err = func(polls []exporter.StoredPoll) error {
			switch time.Sleep(5 * time.Second); {
			case down.Load():
				return errors.New("connection reset")
			case slices.ContainsFunc(polls, func(p exporter.StoredPoll) bool { return p.Key == 7 }):
				for _, p := range polls {
					if p.Key == 7 {
						return &exporter.PartlyRefused{Polls: []exporter.RefusedPoll{{StoredPoll: p, Reason: "field type conflict"}}}
					}
				}
			}
			return nil
		}
		p := exporter.NewReadingPump(far, store, exporter.Options{Batch: 4})
		if _, err := p.Resend(start, start.Add(3*time.Hour)); err != nil {
			t.Fatal(err)
		}
		pass(31 * time.Second) // six deliveries
		down.Store(true)
		pass(time.Minute)
		down.Store(false)
		pass(20 * time.Minute)
		if got, all := far.keys(); len(got) < 356 || slices.Contains(got, 7) || all < len(got)+15 {
			t.Errorf("%d distinct of %d arrivals, want all but poll 7 and what was delivered with it, and the first ones twice", len(got), all)
		}
		if h := p.Health(); !slices.Equal(store.aside, []int64{7}) || h.Refused != 1 || h.Backfill.Refused != 1 || h.Backfill.Sent != 360 || h.Backfill.Underway() {
			t.Errorf("set aside %v, %+v, %+v; want poll 7 once", store.aside, h, h.Backfill)
		}
		stop(t, p)
	})
}
