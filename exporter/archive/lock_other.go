//go:build !linux

package archive

import "os"

// locked is not known here.
func locked(*os.File, int64, int64) (bool, error) { return false, nil }

// keepOut keeps nobody out here.
func keepOut(*os.File) error { return nil }
