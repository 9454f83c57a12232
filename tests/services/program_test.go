package services_test

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"testing"
)

// The secrets that programs under test find in their environment.
var secrets = map[string]string{
	"NESTMON_CANARY": "keeper:" + canary,
	"NESTMON_GUEST":  "guest:" + canary,
	"NESTMON_WRONG":  "keeper:" + canary + "-not",
}

// builds is where the program under test lies.
var builds string

func TestMain(m *testing.M) { os.Exit(tested(m)) }

func tested(m *testing.M) int {
	var err error
	if builds, err = os.MkdirTemp("", "nestmon-services-"); err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	defer os.RemoveAll(builds)
	for name, value := range secrets {
		if err := os.Setenv(name, value); err != nil {
			fmt.Fprintln(os.Stderr, err)
			return 1
		}
	}
	return m.Run()
}

var build = sync.OnceValue(func() error {
	cmd := exec.Command("go", "build", "-o", builds, "nestmon/cmd/nestmon")
	cmd.Env = append(os.Environ(), "CGO_ENABLED=0") // as for a board
	if out, err := cmd.CombinedOutput(); err != nil {
		return fmt.Errorf("building: %w\n%s", err, out)
	}
	return nil
})

// built is the program, built once for all tests.
func built(t *testing.T) string {
	t.Helper()
	if err := build(); err != nil {
		t.Fatal(err)
	}
	return filepath.Join(builds, "nestmon")
}
