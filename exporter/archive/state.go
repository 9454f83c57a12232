package archive

import (
	"bytes"
	"compress/flate"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
)

// stateFile holds what the decisions remember: opaque here, packed, and replaced whole. It is a file of its own because a page of the
// book would be written twice, into its log and out of it.
const stateFile = "state"

// PutState keeps what the decisions remember in place of what was kept before. A power cut leaves the one or the other.
func (a *Archive) PutState(state []byte) error {
	if err := a.mayWrite(); err != nil {
		return err
	}
	var packed bytes.Buffer
	w, err := flate.NewWriter(&packed, flate.BestCompression)
	if err != nil {
		return err
	}
	if _, err := w.Write(state); err != nil {
		return err
	}
	if err := w.Close(); err != nil {
		return err
	}
	a.mu.Lock()
	defer a.mu.Unlock()
	if err := replaceFile(filepath.Join(a.dir, stateFile), packed.Bytes(), 0o600); err != nil {
		return fmt.Errorf("archive: %w", err)
	}
	return nil
}

// LimitsFile holds the limits that people set while the daemon runs. It is a file of its own, which the group may read: the commands that ask
// what is in force need no running daemon, and it outlives a book that breaks.
const LimitsFile = "limits.json"

// PutLimits replaces that file whole. A power cut leaves what was there or what is given.
func (a *Archive) PutLimits(text []byte) error {
	if err := a.mayWrite(); err != nil {
		return err
	}
	a.mu.Lock()
	defer a.mu.Unlock()
	if err := replaceFile(filepath.Join(a.dir, LimitsFile), text, 0o640); err != nil {
		return fmt.Errorf("archive: %w", err)
	}
	return nil
}

// State returns what PutState kept, nil when there is none. Whether it is whole is for its owner to say.
func (a *Archive) State() ([]byte, error) {
	packed, err := os.ReadFile(filepath.Join(a.dir, stateFile))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("archive: %w", err)
	}
	state, err := io.ReadAll(flate.NewReader(bytes.NewReader(packed)))
	if err != nil {
		return nil, fmt.Errorf("archive: %s is damaged: %w", filepath.Join(a.dir, stateFile), err)
	}
	return state, nil
}

// replaceFile has the bytes on the disk before the name leads to them, and the name before it returns.
func replaceFile(path string, b []byte, mode fs.FileMode) (err error) {
	beside := path + ".new"
	f, err := os.OpenFile(beside, os.O_CREATE|os.O_TRUNC|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	_, err = f.Write(b)
	if err = errors.Join(err, f.Chmod(mode), f.Sync(), f.Close()); err != nil {
		return errors.Join(err, os.Remove(beside))
	}
	if err := os.Rename(beside, path); err != nil {
		return errors.Join(err, os.Remove(beside))
	}
	return syncFolder(filepath.Dir(path))
}
