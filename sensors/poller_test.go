package sensors_test

import (
	"context"
	"errors"
	"io"
	"log/slog"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"nestmon/sensors"
)

// bus is a source whose conduct a test writes.
type bus struct {
	name  string
	read  func(ctx context.Context) []sensors.Reading
	close func() error
}

func (b *bus) Bus() string { return b.name }

func (b *bus) Probes() []sensors.Probe {
	return []sensors.Probe{{ID: b.name + "-1", Quantities: []sensors.Quantity{sensors.Temperature, sensors.Humidity}}}
}

func (b *bus) Read(ctx context.Context) []sensors.Reading { return b.read(ctx) }

func (b *bus) Close() error {
	if b.close == nil {
		return nil
	}
	return b.close()
}

func (b *bus) both(v float64) []sensors.Reading {
	return []sensors.Reading{
		{Probe: b.name + "-1", Quantity: sensors.Temperature, Time: time.Now(), Value: v},
		{Probe: b.name + "-1", Quantity: sensors.Humidity, Time: time.Now(), Value: v},
	}
}

// after answers with v once d has passed.
func after(name string, d time.Duration, v float64) *bus {
	b := &bus{name: name}
	b.read = func(context.Context) []sensors.Reading {
		time.Sleep(d)
		return b.both(v)
	}
	return b
}

func quiet() *slog.Logger { return slog.New(slog.DiscardHandler) }

// shape prints readings as probe=value or probe=fault, the temperatures only.
func shape(readings []sensors.Reading) string {
	var words []string
	for _, r := range readings {
		switch {
		case r.Quantity != sensors.Temperature:
		case r.OK():
			words = append(words, r.Probe+"=ok")
		default:
			words = append(words, r.Probe+"="+string(r.Fault))
		}
	}
	return strings.Join(words, " ")
}

func expect(t *testing.T, when string, got []sensors.Reading, want string) {
	t.Helper()
	if s := shape(got); s != want {
		t.Errorf("%s: got %q, want %q", when, s, want)
	}
}

func TestPollReturnsEveryBusInOrder(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := sensors.NewPoller([]sensors.Source{after("slow", 3*time.Second, 1), after("fast", 0, 2)}, quiet())
		defer p.Close()
		begin := time.Now()
		got := p.Poll(t.Context(), 10*time.Second)
		expect(t, "first poll", got, "slow-1=ok fast-1=ok")
		if len(got) != 4 {
			t.Errorf("got %d readings, want one for each of 4 quantities", len(got))
		}
		if d := time.Since(begin); d != 3*time.Second {
			t.Errorf("poll took %v, want as long as the slowest bus, 3 s", d)
		}
		want := []sensors.BusHealth{{Bus: "slow", Up: true, Took: 3 * time.Second}, {Bus: "fast", Up: true}}
		for i, got := range p.Buses() {
			want[i].Probes, want[i].Heard = got.Probes, begin
			if !reflect.DeepEqual(got, want[i]) || len(got.Probes) == 0 {
				t.Errorf("health: got %+v, want %+v", got, want[i])
			}
		}
	})
}

func TestALateBusIsNotWaitedForAgainAndItsReadingsAreNotLost(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		delays := []time.Duration{45 * time.Second, time.Second}
		slow := &bus{name: "slow"}
		var reads, inFlight int
		slow.read = func(context.Context) []sensors.Reading {
			delay := delays[reads]
			reads++
			if inFlight++; inFlight > 1 {
				t.Error("a second read began while one was in flight")
			}
			defer func() { inFlight-- }()
			time.Sleep(delay)
			return slow.both(36)
		}
		p := sensors.NewPoller([]sensors.Source{slow, after("good", time.Second, 20)}, quiet())
		defer p.Close()
		begin := time.Now()

		expect(t, "poll at 0 s", p.Poll(t.Context(), 10*time.Second), "slow-1=timed-out good-1=ok")
		if d := time.Since(begin); d != 10*time.Second {
			t.Errorf("poll took %v, want the deadline", d)
		}
		time.Sleep(20 * time.Second)
		second := time.Now()
		expect(t, "poll at 30 s", p.Poll(t.Context(), 10*time.Second), "slow-1=bus-down good-1=ok")
		if d := time.Since(second); d != time.Second {
			t.Errorf("poll took %v, want 1 s: the bus that hangs must not be waited for", d)
		}
		if h := p.Buses()[0]; h.Up || h.Hung != 21*time.Second {
			t.Errorf("health of the hung bus: got %+v, want down and hung for 21 s", h)
		}
		time.Sleep(29 * time.Second)
		got := p.Poll(t.Context(), 10*time.Second)
		expect(t, "poll at 60 s", got, "slow-1=ok slow-1=ok good-1=ok")
		if at := got[0].Time.Sub(begin); at != 45*time.Second {
			t.Errorf("the late reading is stamped %v after the start, want when it was measured, 45 s", at)
		}
		if h := p.Buses()[0]; !h.Up || h.Hung != 0 {
			t.Errorf("health after it came back: got %+v", h)
		}
		if reads != 2 {
			t.Errorf("bus was read %d times, want 2", reads)
		}
	})
}

func TestALateBusThatComesBackDuringAPollTakesTheFaultsPlace(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := sensors.NewPoller([]sensors.Source{after("late", 32*time.Second, 1), after("other", 5*time.Second, 2)}, quiet())
		defer p.Close()
		expect(t, "poll at 0 s", p.Poll(t.Context(), 10*time.Second), "late-1=timed-out other-1=ok")
		time.Sleep(20 * time.Second)
		expect(t, "poll at 30 s", p.Poll(t.Context(), 10*time.Second), "late-1=ok other-1=ok")
	})
}

func TestPollEndsWithItsContext(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := sensors.NewPoller([]sensors.Source{after("slow", 8*time.Second, 1), after("good", 0, 2)}, quiet())
		defer p.Close()
		ctx, cancel := context.WithTimeout(t.Context(), 2*time.Second)
		defer cancel()
		begin := time.Now()
		expect(t, "cancelled poll", p.Poll(ctx, time.Minute), "slow-1=timed-out good-1=ok")
		if d := time.Since(begin); d != 2*time.Second {
			t.Errorf("poll took %v, want 2 s", d)
		}
		time.Sleep(10 * time.Second)
	})
}

func TestAPanicIsOneBusesFaultAndTheThirdIsFatal(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var reads int
		var said strings.Builder
		bad := &bus{name: "bad", read: func(context.Context) []sensors.Reading { reads++; panic("wet board") }}
		p := sensors.NewPoller([]sensors.Source{bad, after("good", 0, 2)}, slog.New(slog.NewTextHandler(&said, nil)))
		defer p.Close()

		expect(t, "first panic", p.Poll(t.Context(), time.Second), "bad-1=bus-down good-1=ok")
		expect(t, "within the back-off", p.Poll(t.Context(), time.Second), "bad-1=bus-down good-1=ok")
		if reads != 1 {
			t.Errorf("bus was read %d times, want 1: it rests after a panic", reads)
		}
		time.Sleep(30 * time.Second)
		p.Poll(t.Context(), time.Second)
		select {
		case err := <-p.Fatal():
			t.Fatalf("two panics must not end the process: %v", err)
		default:
		}
		time.Sleep(30 * time.Second)
		p.Poll(t.Context(), time.Second)
		select {
		case err := <-p.Fatal():
			if want := "bus bad: panic 3 within 10m0s: wet board"; err.Error() != want {
				t.Errorf("got %q, want %q", err, want)
			}
		default:
			t.Error("the third panic within ten minutes was not reported")
		}
		if h := p.Buses()[0]; h.Restarts != 3 || h.Up {
			t.Errorf("health: got %+v, want 3 restarts and down", h)
		}
		if !strings.Contains(said.String(), "wet board") || !strings.Contains(said.String(), "poller_test.go") {
			t.Errorf("log holds no cause or no stack: %s", said.String())
		}
	})
}

func TestRarePanicsAreNotFatal(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		bad := &bus{name: "bad", read: func(context.Context) []sensors.Reading { panic("once in a while") }}
		p := sensors.NewPoller([]sensors.Source{bad}, quiet())
		defer p.Close()
		for range 6 {
			p.Poll(t.Context(), time.Second)
			time.Sleep(6 * time.Minute)
		}
		select {
		case err := <-p.Fatal():
			t.Errorf("got %v", err)
		default:
		}
	})
}

func TestCloseIsBoundedWhileAReadHangs(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		release := make(chan struct{})
		hung := &bus{name: "hung"}
		hung.read = func(context.Context) []sensors.Reading { <-release; return hung.both(1) }
		broken := after("broken", 0, 2)
		broken.close = func() error { return io.ErrClosedPipe }
		p := sensors.NewPoller([]sensors.Source{hung, broken}, quiet())
		p.Poll(t.Context(), time.Second)

		begin := time.Now()
		err := p.Close()
		if d := time.Since(begin); d > time.Second {
			t.Errorf("close took %v, want at most 1 s", d)
		}
		if err == nil || !strings.Contains(err.Error(), "bus hung: its read hangs") || !errors.Is(err, io.ErrClosedPipe) {
			t.Errorf("got %v, want both the hung bus and the failed close named", err)
		}
		expect(t, "poll after close", p.Poll(t.Context(), time.Second), "hung-1=bus-down broken-1=bus-down")
		close(release)
	})
}

func TestCloseCancelsAReadThatListens(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		polite := &bus{name: "polite"}
		polite.read = func(ctx context.Context) []sensors.Reading { <-ctx.Done(); return polite.both(1) }
		p := sensors.NewPoller([]sensors.Source{polite}, quiet())
		p.Poll(t.Context(), time.Second)
		if err := p.Close(); err != nil {
			t.Errorf("got %v", err)
		}
		if err := p.Close(); err != nil {
			t.Errorf("second close: %v", err)
		}
	})
}

func TestLogsTellOfTheFirstMissAndTheRecovery(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var said strings.Builder
		p := sensors.NewPoller([]sensors.Source{after("slow", 95*time.Second, 1)}, slog.New(slog.NewTextHandler(&said, nil)))
		defer p.Close()
		for range 5 {
			p.Poll(t.Context(), 10*time.Second)
			time.Sleep(20 * time.Second)
		}
		if n := strings.Count(said.String(), "did not come back"); n != 1 {
			t.Errorf("first miss logged %d times, want once:\n%s", n, said.String())
		}
		if n := strings.Count(said.String(), "is down"); n != 0 {
			t.Errorf("further misses logged %d times, want never:\n%s", n, said.String())
		}
		time.Sleep(2 * time.Minute)
	})
}

// row is a bus with several probes that all give the same fault.
type row struct {
	probes int
	fault  sensors.Fault
}

func (r row) Bus() string  { return "row" }
func (r row) Close() error { return nil }

func (r row) Probes() (all []sensors.Probe) {
	for n := range r.probes {
		all = append(all, sensors.Probe{ID: "row-" + strconv.Itoa(n), Quantities: []sensors.Quantity{sensors.Temperature}})
	}
	return all
}

func (r row) Read(context.Context) (all []sensors.Reading) {
	for _, p := range r.Probes() {
		all = append(all, sensors.Reading{Probe: p.ID, Time: time.Now(), Value: 20, Fault: r.fault})
	}
	return all
}

// A bus that comes back in time, and none of whose probes answers, is as dead as one that hangs.
func TestABusOfWhichNothingAnswersIsDown(t *testing.T) {
	for _, c := range []struct {
		name string
		row  row
		up   bool
	}{
		{"well", row{2, ""}, true},
		{"no probe answers", row{2, sensors.NoAnswer}, false},
		{"the bus is missing", row{3, sensors.BusDown}, false},
		{"one probe alone may be the probe", row{1, sensors.NoAnswer}, true},
		{"its bus itself is missing", row{1, sensors.BusDown}, false},
		{"the line is held down", row{2, sensors.StuckLow}, false},
		{"answers that cannot be true are answers", row{2, sensors.BadChecksum}, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				p := sensors.NewPoller([]sensors.Source{c.row}, quiet())
				defer p.Close()
				p.Poll(t.Context(), time.Second)
				if got := p.Buses()[0].Up; got != c.up {
					t.Errorf("up %v, want %v", got, c.up)
				}
				if heard := !p.Buses()[0].Heard.IsZero(); heard != (c.row.fault == "") {
					t.Errorf("heard %v", heard)
				}
			})
		})
	}
}

// air is a bus whose two probes speak by themselves.
type air struct {
	row
	answer []sensors.Reading
}

func (a *air) Read(context.Context) []sensors.Reading { return a.answer }

// Silence between the messages of probes that speak by themselves is no dead bus, nor is that of one of them.
func TestABusOfProbesThatSpeakByThemselves(t *testing.T) {
	told := func(faults ...sensors.Fault) []sensors.Reading {
		all := []sensors.Reading{}
		for n, f := range faults {
			all = append(all, sensors.Reading{Probe: "row-" + strconv.Itoa(n), Time: time.Now(), Value: 20, Fault: f})
		}
		return all
	}
	a := &air{row: row{probes: 2}}
	p := sensors.NewPoller([]sensors.Source{a}, quiet())
	defer p.Close()
	for _, c := range []struct {
		name   string
		answer []sensors.Reading
		up     bool
	}{
		{"nobody has spoken yet", told(sensors.Settling, sensors.Settling), true},
		{"nothing new", told(), true},
		{"one is overdue", told(sensors.NoAnswer), true},
		{"both are", told(sensors.NoAnswer, sensors.NoAnswer), false},
		{"nothing new since", told(), false},
		{"one spoke", told(""), true},
		{"the broker is gone, and one is overdue", told(sensors.BusDown), false},
		{"it is back, and one is still silent", told(sensors.NoAnswer), false},
		{"one spoke, one is silent", told("", sensors.NoAnswer), true},
		{"what is no measurement was said by somebody", told(sensors.Malformed), true},
	} {
		a.answer = c.answer
		if got := p.Poll(t.Context(), time.Minute); !slices.Equal(got, c.answer) {
			t.Errorf("%s: got %+v", c.name, got)
		}
		if got := p.Buses()[0].Up; got != c.up {
			t.Errorf("%s: up is %v", c.name, got)
		}
	}
}
