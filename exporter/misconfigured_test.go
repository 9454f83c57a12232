package exporter_test

import (
	"context"
	"errors"
	"fmt"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"nestmon/exporter"
)

// refusing is a publisher that says err until it is nil.
type refusing struct{ err error }

func (*refusing) Name() string                                     { return "refusing" }
func (r *refusing) Publish(context.Context, *exporter.State) error { return r.err }
func (*refusing) Close(context.Context) error                      { return nil }

type wrongPassword struct{}

func (wrongPassword) Error() string       { return "the password is refused; check it" }
func (wrongPassword) Misconfigured() bool { return true }

func TestMisconfiguredIsTold(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		sink := &refusing{err: errors.New("no answer")}
		f := exporter.NewFanout(exporter.Options{}, sink)
		defer func() { _ = f.Stop(t.Context()) }()
		for _, row := range []struct {
			err       error
			ok, wrong bool
		}{
			{errors.New("no answer"), false, false},
			{fmt.Errorf("mqtt: %w", wrongPassword{}), false, true},
			{errors.New("no answer"), false, false},
			{wrongPassword{}, false, true},
			{nil, true, false},
		} {
			sink.err = row.err
			f.Show(&exporter.State{})
			time.Sleep(2 * time.Minute)
			synctest.Wait()
			if h := f.Health()[0]; h.OK != row.ok || h.Misconfigured != row.wrong {
				t.Errorf("after %v: ok %v, misconfigured %v", row.err, h.OK, h.Misconfigured)
			}
		}
	})
}

// counting shows every state and complains of each.
type counting struct {
	shown atomic.Int64
}

func (*counting) Name() string { return "counting" }
func (c *counting) Publish(context.Context, *exporter.State) error {
	c.shown.Add(1)
	return exporter.Taken(wrongPassword{})
}
func (*counting) Close(context.Context) error { return nil }

// What is shown is not late for a complaint.
func TestAComplaintHoldsNothingUp(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		sink := &counting{}
		f := exporter.NewFanout(exporter.Options{}, sink)
		for range 10 {
			f.Show(&exporter.State{})
			synctest.Wait() // by no clock: no time passes
		}
		if h := f.Health()[0]; sink.shown.Load() != 10 || h.OK || !h.Misconfigured {
			t.Errorf("%d of 10 states were shown, %+v", sink.shown.Load(), h)
		}
		if err := f.Stop(t.Context()); err != nil {
			t.Error(err)
		}
	})
}
