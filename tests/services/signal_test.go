package services_test

import (
	"os/exec"
	"path/filepath"
	"syscall"
	"testing"
	"time"
)

// A command that hangs in a system call cannot see the first signal; the second ends it.
func TestSecondSignalEndsWhatHangs(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	program, pipe := built(t), filepath.Join(dir, "readings.csv")
	if err := syscall.Mkfifo(pipe, 0o600); err != nil {
		t.Fatal(err)
	}
	config := write(t, filepath.Join(dir, "nestmon.yaml"), `
probes: [{id: oak-air, source: recorded}]
nests: [{id: oak, kind: wooden-box, air: oak-air}]
`)
	cmd := exec.Command(program, "replay", "--config", config, "--readings", pipe) // nobody writes into the pipe
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	done := make(chan error, 1)
	go func() { done <- cmd.Wait() }()
	end := time.After(patience)
	for tick := time.NewTicker(100 * time.Millisecond); ; {
		select {
		case err := <-done:
			tick.Stop()
			if status := cmd.ProcessState.Sys().(syscall.WaitStatus); !status.Signaled() || status.Signal() != syscall.SIGTERM {
				t.Errorf("it ended by itself: %v", err)
			}
			return
		case <-tick.C:
			_ = cmd.Process.Signal(syscall.SIGTERM)
		case <-end:
			_ = cmd.Process.Kill()
			t.Fatal("it takes no signal")
		}
	}
}
