// Command kills shows what nestmon loses when its board is treated badly. It runs the real program on an invented board of files, under load, and prints figures,
// also when they miss. The parts:
//
//	kills     killed with signal 9 at random moments, its start among them
//	cuts      on a disk that forgets what was not synced (package disk), the power cut at random writes; needs root and /dev/fuse
//	sweep     the same at every single write of a script, with every luck
//	card      a full card, one that becomes read-only or gives errors, and damaged files; needs root and /dev/fuse
//	refusals  what a newer nestmon wrote, and a second daemon: refused, and not a byte is changed
//	times     from the start to the first reading, and from the signal to the end while everything hangs
//
// Acknowledged is: a reading that the page showed, an entry or an act that the daemon said it saved, an alarm that the page showed. An alarm is neither lost nor doubled where
// the journal has what was shown once, raises nothing that stands, and ends nothing that does not. A message to a phone may cross the wire again under the same id.
//
//	go run ./tests/kills [-only kills,cuts] [-kills 1000] [-cuts 200] [-seed N] [-program nestmon]
package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"math/rand/v2"
	"net"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"syscall"
	"time"
)

// rig is what all parts share.
type rig struct {
	program string
	dir     string
	broker  string // address of a broker, empty where there is none
}

// phone is the configuration of a phone, and of a broker where there is one.
func (r *rig) phone(url, device string) string {
	text := "publish:\n  page: {listen: none}\n"
	if r.broker != "" {
		text += fmt.Sprintf("  mqtt: {broker: 'tcp://%s', device: %s}\n", r.broker, device)
	}
	return text + fmt.Sprintf("phone: {channels: [{name: mobile, url: '%s', format: json}]}\n", url)
}

// boards is how many run at a time.
const boards = 2

func main() {
	kills := flag.Int("kills", 1000, "how `often` the daemon is killed")
	cuts := flag.Int("cuts", 200, "how `often` the power is cut")
	seed := flag.Uint64("seed", rand.Uint64(), "`seed` of what is random")
	only := flag.String("only", "", "`parts` to run, separated by commas; all of them where it is empty")
	program := flag.String("program", "", "a built nestmon; else it is built")
	flag.Parse()
	ctx, stop := signal.NotifyContext(context.Background(), syscall.SIGTERM, syscall.SIGINT)
	defer stop()
	fmt.Printf("seed %d\n", *seed)
	all := []part{
		{"refusals", refusals},
		{"times", times},
		{"card", card},
		{"sweep", func(_ context.Context, r *rig) (bool, error) { return sweep(r, *seed) }},
		{"cuts", func(ctx context.Context, r *rig) (bool, error) { return many(ctx, r, "cuts", *cuts, *seed, cutOff) }},
		{"kills", func(ctx context.Context, r *rig) (bool, error) { return many(ctx, r, "kills", *kills, *seed, killed) }},
	}
	if err := run(ctx, all, *only, *program); err != nil {
		fmt.Fprintln(os.Stderr, "kills:", err)
		os.Exit(1)
	}
}

type part struct {
	name string
	run  func(context.Context, *rig) (bool, error)
}

var errMissed = errors.New("figures were missed")

func run(ctx context.Context, all []part, only, program string) (err error) {
	var names []string
	for _, p := range all {
		names = append(names, p.name)
	}
	for name := range strings.SplitSeq(only, ",") {
		if only != "" && !slices.Contains(names, name) {
			return fmt.Errorf("-only: there is no part %q; write some of %s", name, strings.Join(names, ","))
		}
	}
	r := &rig{program: program}
	if r.dir, err = os.MkdirTemp("", "nestmon-kills-"); err != nil {
		return err
	}
	defer os.RemoveAll(r.dir)
	if r.program == "" {
		r.program = filepath.Join(r.dir, "nestmon")
		build := exec.CommandContext(ctx, "go", "build", "-o", r.program, "nestmon/cmd/nestmon")
		build.Env = append(os.Environ(), "CGO_ENABLED=0") // as for a board
		if out, err := build.CombinedOutput(); err != nil {
			return fmt.Errorf("building: %w\n%s", err, out)
		}
	}
	end, err := r.startBroker()
	if err != nil {
		return err
	}
	defer end()
	missed := false
	for _, p := range all {
		if only != "" && !slices.Contains(strings.Split(only, ","), p.name) {
			continue
		}
		began := time.Now()
		fmt.Printf("\n%s\n", p.name)
		good, err := p.run(ctx, r)
		if err != nil {
			return fmt.Errorf("%s: %w", p.name, err)
		}
		missed = missed || !good
		fmt.Printf("%s: %s\n", p.name, time.Since(began).Round(time.Second))
	}
	if missed {
		return errMissed
	}
	return nil
}

// many shares so many ends between the boards.
func many(ctx context.Context, r *rig, name string, ends int, seed uint64, on func(context.Context, *rig, string, int, uint64, *lines) (*verdict, error)) (bool, error) {
	var all sync.WaitGroup
	out := &lines{}
	verdicts, errs := make([]*verdict, boards), make([]error, boards)
	for i := range boards {
		all.Go(func() {
			share := ends / boards
			if i < ends%boards {
				share++
			}
			verdicts[i], errs[i] = on(ctx, r, fmt.Sprintf("%s-%d", name, i+1), share, seed+uint64(i), out)
		})
	}
	all.Wait()
	if err := errors.Join(errs...); err != nil {
		return false, err
	}
	sum := newVerdict(out)
	for _, v := range verdicts {
		for what, n := range v.lost {
			sum.lost[what] += n
		}
		for what, n := range v.twin {
			sum.twin[what] += n
		}
	}
	sum.print(fmt.Sprintf("%d %s:", ends, name))
	return sum.good(), nil
}

func freePort() (int, error) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return 0, err
	}
	defer l.Close()
	return l.Addr().(*net.TCPAddr).Port, nil
}

// lines keeps lines of several writers apart.
type lines struct{ mu sync.Mutex }

func (l *lines) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return os.Stdout.Write(p)
}

// startBroker starts mosquitto where it is installed, as one more load on the daemon.
func (r *rig) startBroker() (end func(), err error) {
	path := os.Getenv("NESTMON_MOSQUITTO")
	for _, name := range []string{"mosquitto", "/usr/sbin/mosquitto", "/usr/local/sbin/mosquitto"} {
		if path == "" {
			path, _ = exec.LookPath(name)
		}
	}
	if path == "" {
		fmt.Println("no broker: mosquitto is not installed")
		return func() {}, nil
	}
	port, err := freePort()
	if err != nil {
		return nil, err
	}
	r.broker = fmt.Sprintf("127.0.0.1:%d", port)
	file := filepath.Join(r.dir, "mosquitto.conf")
	if err := os.WriteFile(file, fmt.Appendf(nil, "user root\nlistener %d 127.0.0.1\nallow_anonymous true\n", port), 0o600); err != nil {
		return nil, err
	}
	cmd := exec.Command(path, "-c", file)
	if err := cmd.Start(); err != nil {
		return nil, fmt.Errorf("starting the broker: %w", err)
	}
	return func() {
		_ = cmd.Process.Kill()
		_ = cmd.Wait()
	}, nil
}
