package backup

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"syscall"
	"testing"
	"time"
)

// The child that is killed finds these in its environment.
const (
	childFrom = "NESTMON_TEST_RESTORE_FROM"
	childTo   = "NESTMON_TEST_RESTORE_TO"
	childEnds = "NESTMON_TEST_RESTORE_ENDS" // the step at which it kills itself; empty for never
)

func TestMain(m *testing.M) {
	from := os.Getenv(childFrom)
	if from == "" {
		os.Exit(m.Run())
	}
	p := plan(from, os.Getenv(childTo))
	p.ConfigTo = configOf(p.To)
	p.step = func(name string) error {
		if name == os.Getenv(childEnds) {
			return syscall.Kill(os.Getpid(), syscall.SIGKILL)
		}
		return nil
	}
	if _, err := Restore(context.Background(), p); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	os.Exit(0)
}

func configOf(to string) string { return filepath.Join(filepath.Dir(to), "nestmon.yaml") }

// inPlace is whose archive and whose configuration are in place.
func inPlace(t *testing.T, to string) (nest, config string) {
	t.Helper()
	b, err := os.ReadFile(configOf(to))
	must(t, err)
	return nestOf(t, to), string(b)
}

// kept reports whether an archive of a nest lies anywhere beside the folder.
func kept(t *testing.T, to, nest string) bool {
	t.Helper()
	all, err := filepath.Glob(filepath.Join(filepath.Dir(to), "*"))
	must(t, err)
	deeper, err := filepath.Glob(filepath.Join(filepath.Dir(to), "*", "new"))
	must(t, err)
	for _, dir := range append(all, deeper...) {
		if _, err := os.Stat(filepath.Join(dir, "book.db")); err == nil && nestOf(t, dir) == nest {
			return true
		}
	}
	return false
}

func old(t *testing.T) (to string) {
	t.Helper()
	to = filepath.Join(t.TempDir(), "nestmon")
	fill(t, to, "old", 10)
	must(t, os.WriteFile(configOf(to), []byte("site: old\n"), 0o600))
	return to
}

// Killed, or failing, before any change: the old or the new is in place, whole, and the old one is lost at no time.
func TestCrashLeavesOldOrNew(t *testing.T) {
	file, _ := packed(t, "new", 20)
	for step, want := range map[string][2]string{
		"folder": {"old", "site: old\n"}, "aside": {"new", "site: old\n"}, "configuration": {"new", "site: old\n"},
	} {
		t.Run("killed before "+step, func(t *testing.T) {
			to := old(t)
			if out, err := child(file, to, step).CombinedOutput(); err == nil || len(out) > 0 {
				t.Fatalf("it ended by itself: %v %s", err, out)
			}
			if nest, config := inPlace(t, to); nest != want[0] || config != want[1] || !kept(t, to, "old") {
				t.Errorf("in place are %s and %q, want %q", nest, config, want)
			}
			if out, err := child(file, to, "").CombinedOutput(); err != nil {
				t.Fatalf("once more: %v %s", err, out)
			}
			if nest, config := inPlace(t, to); nest != "new" || config != "site: new\n" || !kept(t, to, "old") {
				t.Errorf("once more: in place are %s and %q", nest, config)
			}
		})
		t.Run("failing before "+step, func(t *testing.T) {
			to := old(t)
			p := plan(file, to)
			p.ConfigTo = configOf(to)
			broken := errors.New("broken")
			p.step = func(name string) error {
				if name == step {
					return broken
				}
				return nil
			}
			if _, err := restore(t, p); !errors.Is(err, broken) {
				t.Fatalf("said %v", err)
			}
			if nest, config := inPlace(t, to); nest != want[0] || config != want[1] || !kept(t, to, "old") {
				t.Errorf("in place are %s and %q, want %q", nest, config, want)
			}
		})
	}
}

// restoreKills is how often a restore is killed at a random instant.
const restoreKills = 12

func TestRestoreKilledAnywhere(t *testing.T) {
	if testing.Short() {
		t.Skip("long, in two processes: runs without -short")
	}
	file, _ := packed(t, "new", 20)
	begun := time.Now()
	if out, err := child(file, old(t), "").CombinedOutput(); err != nil {
		t.Fatalf("%v %s", err, out)
	}
	usual := time.Since(begun)
	seed := rand.Uint64()
	random := rand.New(rand.NewPCG(seed, 0))
	saw := map[string]int{}
	for range restoreKills {
		to := old(t)
		c := child(file, to, "")
		must(t, c.Start())
		time.Sleep(time.Duration(random.Int64N(int64(usual))))
		_ = c.Process.Kill()
		_ = c.Wait() // killed, or done before
		nest, _ := inPlace(t, to)
		if saw[nest]++; !kept(t, to, "old") || nest != "old" && nest != "new" {
			t.Errorf("seed %d: in place is %s", seed, nest)
		}
	}
	t.Logf("seed %d: in place after the kill %v", seed, saw)
}

func child(file, to, ends string) *exec.Cmd {
	c := exec.Command(os.Args[0])
	c.Env = append(os.Environ(), childFrom+"="+file, childTo+"="+to, childEnds+"="+ends)
	return c
}
