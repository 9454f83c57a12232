package query_test

import (
	"fmt"
	"os"
	"testing"
)

func tested(m *testing.M) {
	code := func() int {
		dir, err := os.MkdirTemp("", "nestmon-query-")
		if err != nil {
			fmt.Fprintln(os.Stderr, err)
			return 1
		}
		defer os.RemoveAll(dir)
		down, err := setUp(dir)
		if err != nil {
			fmt.Fprintln(os.Stderr, err)
			return 1
		}
		defer down()
		return m.Run()
	}()
	os.Exit(code)
}
