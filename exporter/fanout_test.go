package exporter_test

import (
	"bytes"
	"context"
	"errors"
	"log/slog"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"nestmon/exporter"
)

// publisher is a sink made of functions.
type publisher struct {
	name    string
	publish func(ctx context.Context, s *exporter.State) error
	close   func(ctx context.Context) error
}

func (p publisher) Name() string                                         { return p.name }
func (p publisher) Publish(ctx context.Context, s *exporter.State) error { return p.publish(ctx, s) }

func (p publisher) Close(ctx context.Context) error {
	if p.close == nil {
		return nil
	}
	return p.close(ctx)
}

// list collects versions of states as they are shown.
type list struct {
	mu  sync.Mutex
	got []string
}

func (l *list) add(s string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.got = append(l.got, s)
}

func (l *list) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return strings.Join(l.got, " ")
}

func state(version string) *exporter.State { return &exporter.State{Version: version} }

func stop(t *testing.T, s interface{ Stop(context.Context) error }) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 10*time.Second)
	defer cancel()
	if err := s.Stop(ctx); err != nil {
		t.Errorf("stop: %v", err)
	}
}

// pass lets bubble time pass and everything due in it happen.
func pass(d time.Duration) {
	time.Sleep(d)
	synctest.Wait()
}

func TestNewestStateWinsAndAHungSinkDelaysNobody(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var quick, slow list
		release := make(chan struct{})
		f := exporter.NewFanout(exporter.Options{},
			publisher{name: "quick", publish: func(_ context.Context, s *exporter.State) error { quick.add(s.Version); return nil }},
			publisher{name: "slow", publish: func(_ context.Context, s *exporter.State) error { <-release; slow.add(s.Version); return nil }},
		)
		for _, v := range []string{"1", "2", "3", "4"} {
			f.Show(state(v))
			synctest.Wait()
		}
		if quick.String() != "1 2 3 4" {
			t.Errorf("the quick sink showed %q, want every state", quick.String())
		}
		pass(time.Minute)
		if h := f.Health()[1]; h.OK || !strings.Contains(h.Error, "hung") {
			t.Errorf("a sink that ignores its deadline is reported as %+v, want hung", h)
		}
		close(release)
		synctest.Wait()
		if slow.String() != "1 4" {
			t.Errorf("the slow sink showed %q, want the first and the newest only", slow.String())
		}
		if h := f.Health()[1]; !h.OK || h.Sent != 2 {
			t.Errorf("after the hang: %+v, want well with 2 sent", h)
		}
		stop(t, f)
	})
}

// The demonstration runs its clock many times faster than sinks run.
func TestAFastClockMakesNoHungSink(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		begin := time.Now()
		fast := func() time.Time { return begin.Add(600 * time.Since(begin)) }
		release := make(chan struct{})
		f := exporter.NewFanout(exporter.Options{Now: fast}, publisher{name: "page", publish: func(context.Context, *exporter.State) error {
			<-release
			return nil
		}})
		f.Show(state("1"))
		pass(2 * time.Second) // twenty minutes by the fast clock
		if h := f.Health()[0]; !h.OK {
			t.Errorf("a call of 2 s is reported as %+v", h)
		}
		close(release)
		stop(t, f)
	})
}

func TestPublishHasADeadline(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := exporter.NewFanout(exporter.Options{}, publisher{name: "mute", publish: func(ctx context.Context, _ *exporter.State) error {
			<-ctx.Done()
			return ctx.Err()
		}})
		f.Show(state("1"))
		pass(20*time.Second + time.Millisecond)
		if h := f.Health()[0]; h.OK || h.Failed != 1 || !strings.Contains(h.Error, "deadline") {
			t.Errorf("after the deadline: %+v, want one failure", h)
		}
		stop(t, f)
	})
}

func TestFailureAndRecoveryAreTwoLines(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var out bytes.Buffer
		var shown list
		down := true
		var mu sync.Mutex
		f := exporter.NewFanout(exporter.Options{Log: slog.New(slog.NewTextHandler(&out, nil))}, publisher{
			name: "mqtt", publish: func(_ context.Context, s *exporter.State) error {
				mu.Lock()
				defer mu.Unlock()
				if down {
					return errors.New("connection refused")
				}
				shown.add(s.Version)
				return nil
			},
		})
		f.Show(state("1"))
		pass(time.Hour)
		failed := f.Health()[0].Failed
		if failed < 60 || failed > 130 {
			t.Errorf("%d tries in an hour, want about one a minute", failed)
		}
		mu.Lock()
		down = false
		mu.Unlock()
		f.Show(state("2"))
		pass(2 * time.Minute)
		stop(t, f)
		if shown.String() != "2" {
			t.Errorf("showed %q after the outage, want the newest only", shown.String())
		}
		if n := strings.Count(out.String(), "\n"); n != 2 {
			t.Errorf("an outage of an hour wrote %d lines, want 2:\n%s", n, out.String())
		}
	})
}

func TestPanics(t *testing.T) {
	for _, row := range []struct {
		name      string
		every     time.Duration // between states
		panics    int
		wantFatal bool
	}{
		{"twice is survived", time.Minute, 2, false},
		{"the third within ten minutes is fatal", 3 * time.Minute, 3, true},
		{"three in half an hour are survived", 11 * time.Minute, 3, false},
	} {
		t.Run(row.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				var fatal, shown list
				left := row.panics
				fresh := true // panics once for each state
				f := exporter.NewFanout(exporter.Options{Fatal: func(err error) { fatal.add(err.Error()) }}, publisher{
					name: "page", publish: func(_ context.Context, s *exporter.State) error {
						if fresh && left > 0 {
							left--
							fresh = false
							panic("index out of range")
						}
						fresh = true
						shown.add(s.Version)
						return nil
					},
				})
				for range row.panics {
					f.Show(state("x"))
					pass(row.every)
				}
				stop(t, f)
				if shown.String() == "" {
					t.Error("the sink was not started again")
				}
				if got := fatal.String() != ""; got != row.wantFatal {
					t.Errorf("fatal reported: %v (%s), want %v", got, fatal.String(), row.wantFatal)
				}
				if h := f.Health()[0]; h.Failed != uint64(row.panics) {
					t.Errorf("%d failures counted, want %d", h.Failed, row.panics)
				}
			})
		})
	}
}

func TestStopIsBoundedWithEverySinkHung(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		free := make(chan struct{})
		hang := func(context.Context) error { <-free; return nil }
		var sinks []exporter.Publisher
		for _, name := range []string{"a", "b", "c"} {
			sinks = append(sinks, publisher{name: name, close: hang, publish: func(ctx context.Context, _ *exporter.State) error { return hang(ctx) }})
		}
		f := exporter.NewFanout(exporter.Options{}, sinks...)
		f.Show(state("1"))
		synctest.Wait()
		start := time.Now()
		ctx, cancel := context.WithTimeout(t.Context(), 5*time.Second)
		defer cancel()
		err := f.Stop(ctx)
		if took := time.Since(start); took != 5*time.Second { // the bubble's clock, so exact
			t.Errorf("stop took %v, want the 5 s it was given", took)
		}
		for _, name := range []string{"sink a:", "sink b:", "sink c:"} {
			if err == nil || !strings.Contains(err.Error(), name) {
				t.Errorf("error %v does not name %q", err, name)
			}
		}
		close(free)
	})
}

func TestStopClosesEverySink(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var closed list
		ok := func(context.Context, *exporter.State) error { return nil }
		f := exporter.NewFanout(exporter.Options{},
			publisher{name: "bad", publish: ok, close: func(context.Context) error { panic("closed twice") }},
			publisher{name: "good", publish: ok, close: func(context.Context) error { closed.add("good"); return nil }},
		)
		ctx, cancel := context.WithTimeout(t.Context(), 5*time.Second)
		defer cancel()
		if err := f.Stop(ctx); err == nil || !strings.Contains(err.Error(), "sink bad: panic: closed twice") {
			t.Errorf("error %v, want the panic of bad", err)
		}
		if closed.String() != "good" {
			t.Errorf("closed %q, want good", closed.String())
		}
	})
}
