package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"syscall"
	"time"

	"nestmon/tests/board/line"
)

// readSize bounds what is read of a file with one call, as sensors read them: a file of the kernel's may convert at every read.
const readSize = 64 << 10

// Guest is what the test may ask for.
type Guest struct {
	mu      sync.Mutex
	running map[int]*started
}

type started struct {
	cmd      *exec.Cmd
	out, err bytes.Buffer
}

// Read reads a file with one call.
func (g *Guest) Read(path string, answer *line.Text) error {
	f, err := os.Open(path)
	if err == nil {
		defer f.Close()
		var n int
		text := make([]byte, readSize)
		n, err = syscall.Read(int(f.Fd()), text)
		answer.Text = string(text[:max(n, 0)])
	}
	if err != nil {
		answer.Error = err.Error()
	}
	return nil
}

// Write writes to a file with one call; one that is not there is made.
func (g *Guest) Write(file line.File, answer *line.Text) error {
	f, err := os.OpenFile(file.Path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err == nil {
		err = f.Chown(line.Nobody, line.Nobody)
	} else {
		f, err = os.OpenFile(file.Path, os.O_WRONLY|os.O_TRUNC, 0) // a file that is there, as the kernel's are, stays whose it is
	}
	if err == nil {
		_, err = f.WriteString(file.Text)
		err = errors.Join(err, f.Close())
	}
	if err != nil {
		answer.Error = err.Error()
	}
	return nil
}

// Find lists the paths that fit a pattern.
func (g *Guest) Find(pattern string, paths *[]string) (err error) {
	*paths, err = filepath.Glob(pattern)
	return err
}

// Run runs a program to its end.
func (g *Guest) Run(p line.Program, out *line.Outcome) error {
	ctx, cancel := context.WithTimeout(context.Background(), p.Timeout)
	defer cancel()
	s := &started{cmd: exec.CommandContext(ctx, p.Args[0], p.Args[1:]...)}
	if err := s.start(); err != nil {
		return err
	}
	*out = s.wait()
	return nil
}

// Start starts a program and tells its process number.
func (g *Guest) Start(p line.Program, pid *int) error {
	s := &started{cmd: exec.Command(p.Args[0], p.Args[1:]...)}
	if p.Log != "" {
		f, err := os.Create(p.Log)
		if err != nil {
			return err
		}
		defer f.Close()
		s.cmd.Stderr = f
	}
	if err := s.start(); err != nil {
		return err
	}
	*pid = s.cmd.Process.Pid
	g.mu.Lock()
	defer g.mu.Unlock()
	g.running[*pid] = s
	return nil
}

// Stop asks a started program to end, and tells what it said.
func (g *Guest) Stop(pid int, out *line.Outcome) error {
	g.mu.Lock()
	s := g.running[pid]
	delete(g.running, pid)
	g.mu.Unlock()
	if s == nil {
		return errors.New("no such program was started")
	}
	if err := s.cmd.Process.Signal(syscall.SIGTERM); err != nil {
		return err
	}
	*out = s.wait()
	return nil
}

// Sleep lets time pass by the board's clock.
func (g *Guest) Sleep(d time.Duration, _ *struct{}) error {
	time.Sleep(d)
	return nil
}

// Signal sends SIGURG, which every Go program takes and goes on, to all threads of a program, and tells what was read meanwhile.
func (g *Guest) Signal(s line.Signals, answer *line.Text) error {
	read := make(chan line.Text, 1)
	if s.Read != "" {
		go func() {
			var text line.Text
			_ = g.Read(s.Read, &text) // it has no other error
			read <- text
		}()
	}
	pid := s.Pid
	if pid == 0 {
		pid = os.Getpid()
	}
	for range s.Times {
		time.Sleep(s.Every)
		if err := signalThreads(pid, syscall.SIGURG); err != nil {
			return err
		}
	}
	if s.Read != "" {
		*answer = <-read
	}
	return nil
}

// Unload takes a module out of the kernel, as modprobe -r does.
func (g *Guest) Unload(module string, _ *struct{}) error { return unloadModule(module) }

// Share gives buses that came since the start to their group.
func (g *Guest) Share(struct{}, *struct{}) error { return shareBuses() }

// Put writes registers of a chip by way of SMBus.
func (g *Guest) Put(r line.Registers, _ *struct{}) error {
	f, err := openChip(r.Bus, r.Address)
	if err != nil {
		return err
	}
	defer f.Close()
	for register, value := range r.Values {
		if err := write(f, register, value, r.Words); err != nil {
			return fmt.Errorf("register %#02x: %w", register, err)
		}
	}
	return nil
}

// Send writes to a chip.
func (g *Guest) Send(b line.Bytes, _ *struct{}) error {
	f, err := openChip(b.Bus, b.Address)
	if err != nil {
		return err
	}
	defer f.Close()
	_, err = f.Write(b.Bytes)
	return err
}

func (s *started) start() error {
	s.cmd.Stdout, s.cmd.Dir = &s.out, "/tmp"
	if s.cmd.Stderr == nil {
		s.cmd.Stderr = &s.err
	}
	s.cmd.Env = []string{"HOME=/tmp", "TMPDIR=/tmp"}
	s.cmd.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: line.Nobody, Gid: line.Nobody}}
	return s.cmd.Start()
}

func (s *started) wait() line.Outcome {
	_ = s.cmd.Wait() // the code tells
	return line.Outcome{Out: s.out.String(), Err: s.err.String(), Code: s.cmd.ProcessState.ExitCode()}
}
