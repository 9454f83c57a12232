package backup

import (
	"io/fs"
	"os"
	"path/filepath"
	"syscall"

	"golang.org/x/sys/unix"
)

// swap lets two folders change places in one step, of which a crash leaves all or nothing (renameat2(2), RENAME_EXCHANGE).
func swap(a, b string) error {
	return unix.Renameat2(unix.AT_FDCWD, a, unix.AT_FDCWD, b, unix.RENAME_EXCHANGE)
}

// giveTo gives a file, or a folder and all in it, the owner, group and mode that another had; only root can. Where there was none before, it reports false
// and leaves it.
func giveTo(path string, before fs.FileInfo) (bool, error) {
	if before == nil {
		return false, nil
	}
	if err := os.Chmod(path, before.Mode().Perm()); err != nil {
		return false, err
	}
	was, ok := before.Sys().(*syscall.Stat_t)
	if !ok || os.Geteuid() != 0 {
		return false, nil
	}
	return true, filepath.WalkDir(path, func(file string, _ fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		return os.Lchown(file, int(was.Uid), int(was.Gid))
	})
}
