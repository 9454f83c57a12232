package archive

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"
)

func TestStateIsReplacedWhole(t *testing.T) {
	dir := t.TempDir()
	a, err := Open(dir, Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer a.Close() //nolint:errcheck // not what is tested
	if state, err := a.State(); state != nil || err != nil {
		t.Errorf("before the first: %q, %v", state, err)
	}
	long, short := bytes.Repeat([]byte("what was learned of a nest "), 500), []byte{0, 1, 2}
	for _, state := range [][]byte{long, short, {}} {
		if err := a.PutState(state); err != nil {
			t.Fatal(err)
		}
		if got, err := a.State(); err != nil || !bytes.Equal(got, state) {
			t.Errorf("%d bytes came back as %d: %v", len(state), len(got), err)
		}
	}
	// A start that was cut short left a part beside it.
	if err := os.WriteFile(filepath.Join(dir, stateFile+".new"), long[:10], 0o600); err != nil {
		t.Fatal(err)
	}
	if err := a.PutState(short); err != nil {
		t.Fatal(err)
	}
	if left, err := filepath.Glob(filepath.Join(dir, stateFile+"*")); err != nil || len(left) != 1 {
		t.Errorf("left in the folder: %v, %v", left, err)
	}
	if err := os.WriteFile(filepath.Join(dir, stateFile), []byte{0xff}, 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := a.State(); err == nil {
		t.Error("rubbish was unpacked")
	}
	// Where it cannot be written, what was kept stays.
	if err := a.PutState(short); err != nil {
		t.Fatal(err)
	}
	if err := os.Mkdir(filepath.Join(dir, stateFile+".new"), 0o700); err != nil {
		t.Fatal(err)
	}
	if err := a.PutState(long); err == nil {
		t.Error("written over a folder")
	}
	if got, err := a.State(); err != nil || !bytes.Equal(got, short) {
		t.Errorf("%d bytes are left, %v", len(got), err)
	}
}
