package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"nestmon/sensors"
	"nestmon/tests/years/yearstest"
)

// setPace polls when the test says so, at the time that the test has set.
type setPace struct {
	now  atomic.Pointer[time.Time]
	next chan time.Time
}

func (p *setPace) Now() time.Time          { return *p.now.Load() }
func (p *setPace) Begin() time.Time        { return p.Now() }
func (p *setPace) Deadline() time.Duration { return time.Minute }
func (p *setPace) Due() <-chan time.Time   { return p.next }

// mild are probes that all read the same.
type mild struct {
	now    func() time.Time
	probes []sensors.Probe
}

func (m mild) Bus() string             { return "mild" }
func (m mild) Probes() []sensors.Probe { return m.probes }
func (m mild) Close() error            { return nil }

func (m mild) Read(context.Context) (all []sensors.Reading) {
	for _, p := range m.probes {
		all = append(all, sensors.Reading{Probe: p.ID, Quantity: sensors.Temperature, Time: m.now(), Value: 18})
	}
	return all
}

// memoryFolder is a folder in memory where the system has one: what a power cut leaves is not what is tested here, and a card is slow.
func memoryFolder(t *testing.T) string {
	t.Helper()
	const memory = "/dev/shm"
	dir, err := os.MkdirTemp(memory, "years-")
	if err != nil {
		return barnFolder(t)
	}
	t.Cleanup(func() { _ = os.RemoveAll(dir) })
	return dir
}

// yard is the rabbitry of a story behind a daemon whose clock the test sets, with its door open.
type yard struct {
	t     *testing.T
	story *yearstest.Story
	loc   *time.Location
	file  string
	d     *daemon
	pace  *setPace
	stop  func()
}

func newYard(t *testing.T, story *yearstest.Story, zone string) *yard {
	t.Helper()
	folder := memoryFolder(t)
	loc, err := time.LoadLocation(zone)
	if err != nil {
		t.Fatal(err)
	}
	y := &yard{t: t, story: story, loc: loc, file: filepath.Join(folder, "nestmon.yaml"), pace: &setPace{next: make(chan time.Time)}}
	y.set(yearstest.Day(0).Begins(loc))
	text := story.Config("data: "+folder+"\nsite: {timezone: "+zone+"}", func(string) string { return "source: recorded, quantities: [temperature]" })
	if err := os.WriteFile(y.file, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	y.start()
	t.Cleanup(func() { y.stop() })
	return y
}

func (y *yard) set(now time.Time) { y.pace.now.Store(&now) }

func (y *yard) start() {
	y.t.Helper()
	cfg, findings, err := loadConfig(y.file)
	if err != nil || anyError(findings) {
		y.t.Fatal(err, findings)
	}
	if y.d, err = newDaemon(cfg, parts{
		log: slog.New(slog.DiscardHandler), pace: y.pace, trusted: func(time.Time) bool { return true },
		sources: func() ([]sensors.Source, error) { return []sensors.Source{mild{y.pace.Now, cfg.probes()}}, nil },
	}); err != nil {
		y.t.Fatal(err)
	}
	door, err := openControl(cfg.Control, y.d, y.d.sinks.page.Handler())
	if err != nil {
		y.t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	d := y.d
	go func() { ended <- d.run(ctx) }()
	y.stop = func() {
		cancel()
		ending, done := context.WithTimeout(context.Background(), 10*time.Second)
		defer done()
		if err := errors.Join(<-ended, door.stop(ending), d.stop(ending)); err != nil {
			y.t.Error(err)
		}
		y.stop = func() {}
	}
}

// poll lets one poll come, and waits for its end.
func (y *yard) poll() {
	y.pace.next <- time.Time{}
	_ = y.d.command(y.t.Context(), func() error { return nil })
}

// write gives the command of a step at its time.
func (y *yard) write(step yearstest.Step) error {
	y.t.Helper()
	y.set(step.Day.At(step.Hour, y.loc))
	args := y.story.Command(step, y.loc)
	if args == nil {
		file := filepath.Join(filepath.Dir(y.file), "rows.csv")
		plant(y.t, file, step.Rows())
		args = []string{"litter", "import", file}
	}
	var out, errs strings.Builder
	if code := run(y.t.Context(), append(args, "--config", y.file), stdio{out: &out, err: &errs}); code != exitDone {
		return fmt.Errorf("%q: exit %d: %s%s", args, code, out.String(), errs.String())
	}
	return nil
}

// Two years of a rabbitry of 30 nests, told by a generator that shares no code with the book, are written by the real commands as time goes. Then every
// litter, date, count and history is as it truly was; on sampled days the daemon decides by the right litters and asks for the right chores; a restart
// changes nothing; what cannot be true was refused with the reason. Clocks are set forward at midnight there, and winter is in July.
func TestTwoYears(t *testing.T) {
	long(t) // the daemon and whoever commands it wait for each other; the commands' own tests are raced
	const days, zone = yearstest.Day(731), "America/Santiago"
	y := newYard(t, yearstest.Tell(1, days, true, 0.2), zone)
	looks := y.story.Looks
	for i, step := range y.story.Steps {
		for len(looks) > 0 && looks[0].Steps == i {
			y.look(looks[0])
			looks = looks[1:]
		}
		if i == len(y.story.Steps)/2 {
			y.restart()
		}
		y.step(i, step)
	}
	y.checkEntries()
	y.checkLitters()
	y.checkHistories()
	y.checkFolded()
	y.checkDates()
	y.checkAnswers()
	y.checkCopy(zone)
}

// step writes one step of the story. What is refused changes nothing.
func (y *yard) step(i int, step yearstest.Step) {
	y.t.Helper()
	before := y.d.Book()
	err := y.write(step)
	switch {
	case step.Refused == "" && err != nil:
		y.t.Fatalf("step %d on %s: %+v: %v", i, step.Day.Date(), step.Said, err)
	case step.Refused != "" && (err == nil || !strings.Contains(err.Error(), step.Refused)):
		y.t.Fatalf("step %d on %s: %+v: %v, want a refusal with %q", i, step.Day.Date(), step.Said, err, step.Refused)
	case step.Refused != "" && y.d.Book() != before:
		y.t.Fatalf("step %d on %s: %+v is refused, and the book is another", i, step.Day.Date(), step.Said)
	}
}

// restart stops the daemon and starts another on what it left.
func (y *yard) restart() {
	y.t.Helper()
	seen := func() string {
		b := y.d.Book()
		s := y.state()
		return asText(y.t, []any{b.Entries(), b.Records(), b.Litters(y.pace.Now()), b.Marks(), s.Nests, s.Alarms})
	}
	before := seen()
	y.stop()
	y.start()
	if after := seen(); after != before {
		y.t.Errorf("after the restart the book is another:\n%s\nbefore:\n%s", after, before)
	}
}
