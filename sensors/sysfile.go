package sensors

import (
	"io/fs"
	"syscall"
)

// ReadOnce reads a kernel file of at most limit bytes with exactly one read.
//
// os.ReadFile would read on to the end, which on some files is a second measurement, and wait for ever on a file that answers
// EAGAIN (prometheus/node_exporter #697). It may block for as long as the driver does.
func ReadOnce(path string, limit int) ([]byte, error) {
	fd, err := syscall.Open(path, syscall.O_RDONLY|syscall.O_CLOEXEC, 0)
	if err != nil {
		return nil, &fs.PathError{Op: "open", Path: path, Err: err}
	}
	defer func() { _ = syscall.Close(fd) }() // nothing was written
	buf := make([]byte, limit)
	n, err := syscall.Read(fd, buf)
	if err != nil {
		return nil, &fs.PathError{Op: "read", Path: path, Err: err}
	}
	return buf[:n], nil
}
