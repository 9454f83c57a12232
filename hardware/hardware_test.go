package hardware_test

import (
	"context"
	"net"
	"os"
	"path/filepath"
	"testing"
	"testing/synctest"
	"time"

	"nestmon/hardware"
)

func TestWatchPower(t *testing.T) {
	root := t.TempDir()
	dir := filepath.Join(root, "sys/class/hwmon/hwmon1")
	if err := os.MkdirAll(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	put := func(file, text string) {
		t.Helper()
		if err := os.WriteFile(filepath.Join(dir, file), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	put("name", "rpi_volt\n")
	put("in0_lcrit_alarm", "0\n")
	synctest.Test(t, func(t *testing.T) {
		ctx, cancel := context.WithCancel(t.Context())
		p := hardware.WatchPower(ctx, root, time.Minute)
		for _, step := range []struct {
			text string
			low  bool
		}{{"0\n", false}, {"1\n", true}, {"", false}, {"1\n", true}, {"0\n", false}} {
			put("in0_lcrit_alarm", step.text)
			time.Sleep(time.Minute + time.Second)
			synctest.Wait()
			if p.Low() != step.low {
				t.Errorf("%q: low is %v", step.text, p.Low())
			}
		}
		cancel()
	})
}

func TestBoardThatCannotTellIsNeverLow(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ctx, cancel := context.WithCancel(t.Context())
		defer cancel()
		p := hardware.WatchPower(ctx, t.TempDir(), time.Minute)
		synctest.Wait()
		if p.Low() {
			t.Error("low without a detector")
		}
	})
}

// The protocol of sd_notify(3): one datagram a state, to the socket that NOTIFY_SOCKET names.
func TestNotify(t *testing.T) {
	path := filepath.Join(t.TempDir(), "notify")
	l, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: path, Net: "unixgram"})
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	t.Setenv("NOTIFY_SOCKET", path)
	for _, state := range []string{hardware.Ready, hardware.Watchdog, hardware.Stopping, hardware.Longer(25 * time.Minute)} {
		if err := hardware.Notify(state); err != nil {
			t.Fatal(err)
		}
		buf := make([]byte, 64)
		n, err := l.Read(buf)
		if err != nil || string(buf[:n]) != state {
			t.Errorf("heard %q, %v; want %q", buf[:n], err, state)
		}
	}
	if got := hardware.Longer(25 * time.Minute); got != "EXTEND_TIMEOUT_USEC=1500000000" {
		t.Error(got)
	}
	t.Setenv("NOTIFY_SOCKET", "")
	if err := hardware.Notify(hardware.Ready); err != nil {
		t.Errorf("without a service manager: %v", err)
	}
	t.Setenv("NOTIFY_SOCKET", path+"-gone")
	if err := hardware.Notify(hardware.Ready); err == nil {
		t.Error("a manager that is not there was told")
	}
}

func TestWatchdogInterval(t *testing.T) {
	for text, want := range map[string]time.Duration{"60000000": time.Minute, "": 0, "0": 0, "soon": 0} {
		t.Setenv("WATCHDOG_USEC", text)
		if got, ok := hardware.WatchdogInterval(); got != want || ok != (want > 0) {
			t.Errorf("%q: %v, %v", text, got, ok)
		}
	}
}
