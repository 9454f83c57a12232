package main

import (
	"errors"
	"io"
	"os"
	"path/filepath"
)

// replaceFile puts what is written in the place of a file, or leaves that as it was. What is no file, such as a pipe, is written as it is.
func replaceFile(path string, write func(io.Writer) error) (err error) {
	mode := os.FileMode(0o644)
	if target, err := filepath.EvalSymlinks(path); err == nil {
		path = target
	}
	if st, err := os.Stat(path); err == nil {
		if !st.Mode().IsRegular() {
			f, err := os.OpenFile(path, os.O_WRONLY, 0)
			if err != nil {
				return err
			}
			return errors.Join(write(f), f.Close())
		}
		mode = st.Mode().Perm()
	}
	f, err := os.CreateTemp(filepath.Dir(path), ".nestmon-*")
	if err != nil {
		return err
	}
	defer os.Remove(f.Name())
	if err = errors.Join(write(f), f.Chmod(mode), f.Sync(), f.Close()); err != nil {
		return err
	}
	return os.Rename(f.Name(), path)
}
