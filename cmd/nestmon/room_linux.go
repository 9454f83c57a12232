package main

import (
	"os"
	"strings"
	"syscall"

	"nestmon/exporter"
)

// room looks at how much the archive in dir takes and how much it can still take. What cannot be told is 0.
func room(dir string) (d exporter.Disk) {
	var fs syscall.Statfs_t
	if err := syscall.Statfs(dir, &fs); err != nil {
		return d
	}
	unit := uint64(fs.Bsize) //nolint:unconvert // of another type on another board
	d.Bytes, d.Free = fs.Blocks*unit, fs.Bavail*unit
	files, err := os.ReadDir(dir)
	if err != nil {
		return d
	}
	for _, f := range files {
		if info, err := f.Info(); err == nil && strings.Contains(f.Name(), ".db") { // with what SQLite keeps beside its files
			d.Archive += uint64(info.Size())
		}
	}
	return d
}
