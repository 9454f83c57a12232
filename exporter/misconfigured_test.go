package exporter_test

import (
	"context"
	"errors"
	"fmt"
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
