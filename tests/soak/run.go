package main

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"time"

	"nestmon/tests/rig"
)

// soak is one run.
type soak struct {
	days int
	seed uint64
	real time.Duration
	stop <-chan os.Signal

	options  string // of the card's mount
	profiles string // folder for a profile of the heap of each day, empty for none

	*world
	daemon *rig.Process
	ask    io.Writer // the told daemon's standard input
	says   *bufio.Scanner
	all    []weighed
	before struct {
		card, given int64
		at          time.Time
	}
}

// weighed is what the daemon held at one time.
type weighed struct {
	at              float64 // days told, or hours
	rss, anon, heap float64 // MB; anon is the part of rss that is not the program's own file
	goroutines, fds int
	given, card     float64 // MB a day: pages that the daemon made dirty, and what the card took with the file system's own
	archive, logs   float64 // MB
}

func (s *soak) run() (err error) {
	base := "" // memory, where it has a folder: the machine's disk is not what is measured
	if info, err := os.Stat("/dev/shm"); err == nil && info.IsDir() {
		base = "/dev/shm"
	}
	dir, err := os.MkdirTemp(base, "nestmon-soak-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	program, err := rig.Build(dir, false)
	if err != nil {
		return err
	}
	from := time.Now().Truncate(time.Second)
	pace := 1.0
	if s.real > 0 {
		pace = float64(5*day) / float64(s.real) // as much goes wrong as in five days
	}
	if s.world, err = newWorld(dir, s.options, s.seed, from, pace); err != nil {
		return err
	}
	defer s.world.close()
	if s.real > 0 {
		return s.clock(program, from)
	}
	return s.month(program, from)
}

// month tells the days.
func (s *soak) month(program string, from time.Time) error {
	tests, err := rig.Build(s.dir, true)
	if err != nil {
		return err
	}
	c := exec.Command(tests, "-test.run=^TestToldTheTime$", "-test.timeout=0")
	profiled := ""
	if s.profiles != "" {
		profiled = "yes"
	}
	c.Env = append(os.Environ(), "NESTMON_TOLD_CONFIG="+s.config, "NESTMON_TOLD_ROOT="+s.root, "NESTMON_TOLD_PROFILED="+profiled)
	in, err := c.StdinPipe()
	if err != nil {
		return err
	}
	out, err := c.StdoutPipe()
	if err != nil {
		return err
	}
	s.ask, s.says = in, bufio.NewScanner(out)
	if s.daemon, err = rig.Start(c); err != nil {
		return err
	}
	defer s.daemon.Kill()
	fmt.Printf("seed %d: %d days of %d nests, poll %s, told\n", s.seed, s.days, len(s.barn.nests), poll)
	if err := s.tell(from); err != nil {
		return err
	}
	ctx, done := context.WithCancel(context.Background())
	defer done()
	scraped, failed, _ := rig.Scrape(ctx, "http://"+s.metrics+"/metrics", time.Second)
	s.head("day")
	const polls = int(day / poll)
	began := time.Now()
	for i, ended := 1, false; !ended && i <= s.days*polls; i++ {
		now := from.Add(time.Duration(i) * poll)
		if err := s.due(); err != nil {
			return err
		}
		if i == 2 {
			if err := s.litters(program, time.UTC); err != nil {
				return err
			}
			if err := s.begin(); err != nil {
				return err
			}
		}
		if i%polls == 0 {
			if err := s.midnight(i/polls, time.Since(began)); err != nil {
				return err
			}
			began = time.Now()
		}
		if i%int(time.Hour/poll) == 0 {
			s.comings()
		}
		if i%polls == polls*3/4 {
			s.keeps()
		}
		if err := errors.Join(s.fate.step(now), s.barn.pass(now), s.card.settle()); err != nil {
			return err
		}
		if err := s.tell(now.Add(s.offset)); err != nil {
			return err
		}
		select {
		case <-s.stop:
			ended = true // what was seen is told all the same
		default:
		}
	}
	fmt.Printf("went wrong: %s; scraped %d times, %d failed; the phone was called %d times\n", s.fate.counts(), scraped.Load(), failed.Load(), s.called.Load())
	conclude(os.Stdout, s.all, 30, "30 days")
	s.budget()
	if err := s.fate.rest(); err != nil {
		return err
	}
	s.last()
	if err := in.Close(); err != nil {
		return err
	}
	return s.daemon.Wait()
}

func (s *soak) tell(at time.Time) error {
	_, err := fmt.Fprintln(s.ask, at.UnixMilli())
	return err
}

// due waits until the daemon wants the next time.
func (s *soak) due() error {
	for s.says.Scan() {
		if s.says.Text() == "due" {
			return nil
		}
	}
	return fmt.Errorf("the daemon ended:\n%s", s.daemon.Last())
}

// catchUp is how long the sinks may take to send what a day of seconds has left them; a batch on its way is no growth. Where one is away, it waits in vain.
const catchUp = 5 * time.Second

// midnight weighs the told daemon, with nobody at its page.
func (s *soak) midnight(n int, took time.Duration) error {
	s.pages.Leave(0)
	waits := s.waits(catchUp)
	http.DefaultClient.CloseIdleConnections()
	time.Sleep(300 * time.Millisecond) // for the streams to end
	profile := ""
	if s.profiles != "" {
		profile = filepath.Join(s.profiles, fmt.Sprintf("day-%d.pprof", n))
	}
	if _, err := fmt.Fprintln(s.ask, "weigh", profile); err != nil {
		return err
	}
	w := weighed{at: float64(n)}
	for s.says.Scan() {
		if _, err := fmt.Sscanf(s.says.Text(), "weighed %g %d", &w.heap, &w.goroutines); err == nil {
			break
		}
	}
	w.heap /= 1e6
	return s.weigh(w, 1, fmt.Sprintf("  %.0f s; %d wait; %s", took.Seconds(), waits, s.fate.standing()))
}

// begin notes what was written before the first day.
func (s *soak) begin() (err error) {
	kernel, err := s.daemon.Weigh()
	if err != nil {
		return err
	}
	s.before.at, s.before.given = time.Now(), kernel.Written
	s.before.card, err = s.card.written()
	return err
}

// weigh completes and prints what was weighed since the last time, some days ago.
func (s *soak) weigh(w weighed, days float64, words string) error {
	kernel, err := s.daemon.Weigh()
	if err != nil {
		return err
	}
	written, err := s.card.written()
	if err != nil {
		return err
	}
	size, logs := s.card.archive()
	w.rss, w.anon, w.fds, w.archive, w.logs = kernel.RSS, kernel.Anon, kernel.FDs, float64(size)/1e6, float64(logs)/1e6
	w.card, w.given = float64(written-s.before.card)/1e6/days, float64(kernel.Written-s.before.given)/1e6/days
	s.before.card, s.before.given = written, kernel.Written
	s.all = append(s.all, w)
	fmt.Printf("%7.2f  %6.1f  %6.1f  %6.2f  %10d  %5d  %6.2f  %6.2f  %7.2f  %5.2f%s\n", w.at, w.rss, w.anon, w.heap, w.goroutines, w.fds, w.given, w.card, w.archive, w.logs, words)
	return nil
}

func (s *soak) head(unit string) {
	const row = "%7s  %6s  %6s  %6s  %10s  %5s  %6s  %6s  %7s  %5s\n"
	fmt.Printf(row+row, unit, "RSS", "of it", "heap", "goroutines", "files", "wrote", "card", "archive", "logs", "", "MB", "no file", "MB", "", "", "MB/d", "MB/d", "MB", "MB")
}

// budget says whether the days' writes keep to what is allowed.
func (s *soak) budget() {
	if s.card.device == "" {
		fmt.Println("writes: not counted, see the head of this command's source")
		return
	}
	var given, card []float64
	for _, w := range s.all {
		given, card = append(given, w.given), append(card, w.card)
	}
	verdict := "keeps to"
	if median(given) > mostWritten {
		verdict = "MISSES"
	}
	fmt.Printf("written a day: median %.2f, most %.2f MB: %s at most %.0f; the card took with the file system's journal %.2f, most %.2f\n",
		median(given), slices.Max(given), verdict, mostWritten, median(card), slices.Max(card))
}

// waits is how much waits to be sent, after as long as it takes to be none, at most patience.
func (s *soak) waits(patience time.Duration) (n int) {
	for end := time.Now().Add(patience); ; time.Sleep(200 * time.Millisecond) {
		var state struct {
			Sinks []struct {
				Pending int `json:"pending"`
			} `json:"sinks"`
		}
		text, err := rig.Get(http.DefaultClient, "http://"+s.page+"/api/state")
		if err == nil {
			err = json.Unmarshal(text, &state)
		}
		n = 0
		for _, k := range state.Sinks {
			n += k.Pending
		}
		if err == nil && n == 0 || time.Now().After(end) {
			return n
		}
	}
}

// last prints what still waits once all goes well again, and what the log said.
func (s *soak) last() {
	lines, bytes := s.daemon.Said()
	total := 0
	for _, n := range lines {
		total += n
	}
	fmt.Printf("waits to be sent at the end: %d; the log: %d lines, %.0f kB; most often\n%s", s.waits(rig.Patience), total, float64(bytes)/1e3, rig.Most(lines, 12))
}

// clock is the real hour.
func (s *soak) clock(program string, from time.Time) (err error) {
	const every = time.Minute
	c := exec.Command(program, "run", "--config", s.config, "--root", s.root)
	c.Env = append(os.Environ(), rig.Watched(every/2))
	if s.daemon, err = rig.Start(c); err != nil {
		return err
	}
	defer s.daemon.Kill()
	if err := s.daemon.Until("it answers", func() bool {
		_, err := rig.Get(http.DefaultClient, "http://"+s.page+"/api/state")
		return err == nil
	}); err != nil {
		return err
	}
	if err := s.litters(program, time.UTC); err != nil {
		return err
	}
	fmt.Printf("seed %d: %s of %d nests on the wall's clock, poll %s\n", s.seed, s.real, len(s.barn.nests), poll)
	ctx, done := context.WithCancel(context.Background())
	defer done()
	scraped, failed, slowest := rig.Scrape(ctx, "http://"+s.metrics+"/metrics", time.Second)
	s.head("hour")
	if err := s.begin(); err != nil {
		return err
	}
	tick := time.NewTicker(poll / 3)
	defer tick.Stop()
	next := s.before.at.Add(every)
	for ended := false; !ended && time.Since(from) < s.real; {
		select {
		case <-s.stop:
			ended = true
		case now := <-tick.C:
			if err := errors.Join(s.fate.step(now), s.barn.pass(now)); err != nil {
				return err
			}
			if now.Before(next) {
				continue
			}
			next = next.Add(every)
			s.comings()
			if next.Minute()%20 == 0 {
				s.keeps()
			}
			w := weighed{at: now.Sub(from).Hours()}
			w.goroutines, w.heap = s.daemon.Runtime()
			days := now.Sub(s.before.at).Hours() / 24
			s.before.at = now
			if err := s.weigh(w, days, "  "+s.fate.standing()); err != nil {
				return err
			}
		}
	}
	fmt.Printf("went wrong: %s; scraped %d times, %d failed, the slowest %s; the phone was called %d times\n", s.fate.counts(), scraped.Load(), failed.Load(), time.Duration(slowest.Load()).Round(time.Millisecond), s.called.Load())
	conclude(os.Stdout, s.all, 1, "an hour, with pages open")
	s.budget()
	if err := s.fate.rest(); err != nil {
		return err
	}
	s.last()
	return s.daemon.End()
}
