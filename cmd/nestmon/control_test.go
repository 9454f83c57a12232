package main

import (
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func TestControlSocket(t *testing.T) {
	left := func(path string) error { // as a killed daemon leaves it
		l, err := net.Listen("unix", path)
		if err == nil {
			l.(*net.UnixListener).SetUnlinkOnClose(false)
			err = l.Close()
		}
		return err
	}
	for _, row := range []struct {
		name    string
		prepare func(path string) error
		want    string // of the error, empty for none
	}{
		{"nothing there", func(string) error { return nil }, ""},
		{"the socket of a daemon that was killed", left, ""},
		{"somebody's file", func(path string) error { return os.WriteFile(path, []byte("precious"), 0o600) }, "left alone"},
		{"no such folder", func(path string) error { return os.Remove(filepath.Dir(path)) }, "write another path at control"},
	} {
		t.Run(row.name, func(t *testing.T) {
			dir, err := os.MkdirTemp("", "nestmon-control-") // t.TempDir may be longer than a socket's path can be
			if err != nil {
				t.Fatal(err)
			}
			defer os.RemoveAll(dir)
			path := filepath.Join(dir, "sub", "socket")
			if err := os.Mkdir(filepath.Dir(path), 0o700); err != nil {
				t.Fatal(err)
			}
			if err := row.prepare(path); err != nil {
				t.Fatal(err)
			}
			c, err := openControl(path, nil, http.NotFoundHandler())
			if row.want != "" {
				if err == nil || !strings.Contains(err.Error(), row.want) {
					t.Errorf("error %v, want one with %q", err, row.want)
				}
				if text, err := os.ReadFile(path); err == nil && string(text) != "precious" {
					t.Errorf("the file holds %q now", text)
				} else if row.name == "somebody's file" && err != nil {
					t.Errorf("the file is gone: %v", err)
				}
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			st, err := os.Stat(path)
			if err != nil || st.Mode().Perm() != controlMode {
				t.Errorf("mode %v, %v; want %v", st.Mode(), err, os.FileMode(controlMode))
			}
			if second, err := openControl(path, nil, http.NotFoundHandler()); err == nil || !strings.Contains(err.Error(), "another nestmon") {
				t.Errorf("a second daemon: %v, %v", second, err)
			}
			if err := c.stop(t.Context()); err != nil {
				t.Error(err)
			}
		})
	}
}
