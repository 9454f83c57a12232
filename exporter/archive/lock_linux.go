package archive

import (
	"fmt"
	"os"
	"syscall"
)

// getLock asks for locks of either kind, of processes and of open files (F_OFD_GETLK of the kernel's asm-generic/fcntl.h).
const getLock = 36

// locked reports whether somebody holds a lock on a range of a file.
func locked(f *os.File, start, length int64) (bool, error) {
	l := syscall.Flock_t{Type: syscall.F_WRLCK, Start: start, Len: length}
	if err := syscall.FcntlFlock(f.Fd(), getLock, &l); err != nil {
		return false, fmt.Errorf("archive: asking whether somebody uses %s: %w", f.Name(), err)
	}
	return l.Type != syscall.F_UNLCK, nil
}

// setLock takes a lock of an open file (F_OFD_SETLK of the kernel's asm-generic/fcntl.h).
const setLock = 37

// keepOut holds what SQLite locks for reading, until f is closed: whoever wants to write the file is told that it is in use.
func keepOut(f *os.File) error {
	l := syscall.Flock_t{Type: syscall.F_RDLCK, Start: lockedFrom, Len: lockedLength}
	if err := syscall.FcntlFlock(f.Fd(), setLock, &l); err != nil {
		return fmt.Errorf("archive: keeping others from %s: %w", f.Name(), err)
	}
	return nil
}
