package archive

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"time"
)

// ReadOnly opens the archive in dir for reading while another process may be writing it. It works on a copy in the folder for
// temporary files, taken at one instant and removed by Close, for the daemon shares its files with nobody; so it costs their
// size for a while. Nothing in dir is touched, and a damaged file is an error. Calls that write fail.
func ReadOnly(dir string, opts Options) (*Archive, error) {
	copied, err := os.MkdirTemp("", "nestmon-archive-*")
	if err != nil {
		return nil, fmt.Errorf("archive: a copy to read from: %w; name a folder with room in TMPDIR", err)
	}
	for _, k := range kinds {
		if _, err := os.Stat(filepath.Join(dir, k.name)); errors.Is(err, fs.ErrNotExist) {
			return nil, errors.Join(none(dir, k), os.RemoveAll(copied))
		}
		if err := copyStill(filepath.Join(dir, k.name), filepath.Join(copied, k.name)); err != nil {
			return nil, errors.Join(err, os.RemoveAll(copied))
		}
	}
	a := &Archive{dir: copied, copied: copied, opts: opts.filled()}
	if err := a.open(func(path string, k kind) (*store, []string, error) { return openStore(path, k, false, a.opts) }); err != nil {
		return nil, err
	}
	return a, nil
}

// copyTries is how often a copy is begun again because the daemon moved its log into the file meanwhile, which it does a few
// times a day and in well under a second; copyPause is the wait in between. Ours, no source.
const (
	copyTries = 5
	copyPause = 200 * time.Millisecond
)

// copyStill copies a database file and its log as they were at one instant. The log only grows, and SQLite ignores a torn end
// by its checksums; the file itself changes only when the log is moved into it, which shows in its time or in the log's
// header. So a copy during which neither changed is whole.
func copyStill(from, to string) error {
	for range copyTries {
		before, err := stillness(from)
		if err != nil {
			return err
		}
		if err := os.Remove(to + "-wal"); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return fmt.Errorf("archive: copying %s: %w", from, err)
		}
		for _, tail := range []string{"-wal", ""} {
			if err := copyFile(from+tail, to+tail); err != nil && (tail == "" || !errors.Is(err, fs.ErrNotExist)) {
				return fmt.Errorf("archive: copying %s: %w", from, err)
			}
		}
		after, err := stillness(from)
		if err != nil {
			return err
		}
		if bytes.Equal(before, after) {
			return nil
		}
		time.Sleep(copyPause)
	}
	return fmt.Errorf("archive: %s changed during each of %d copies; try again", from, copyTries)
}

// walHeader is the length of the header of SQLite's log, which holds the salts that change when the log begins anew
// (SQLite, WAL-mode File Format, section 2.1).
const walHeader = 32

func stillness(path string) ([]byte, error) {
	st, err := os.Stat(path)
	if err != nil {
		return nil, fmt.Errorf("archive: %w", err)
	}
	mark := fmt.Appendf(nil, "%d %d ", st.Size(), st.ModTime().UnixNano())
	f, err := os.Open(path + "-wal")
	if errors.Is(err, fs.ErrNotExist) {
		return mark, nil
	}
	if err != nil {
		return nil, fmt.Errorf("archive: %w", err)
	}
	defer func() { _ = f.Close() }() // only read
	h, err := io.ReadAll(io.LimitReader(f, walHeader))
	if err != nil {
		return nil, fmt.Errorf("archive: %w", err)
	}
	return append(mark, h...), nil
}

func copyFile(from, to string) error {
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer func() { _ = in.Close() }() // only read
	out, err := os.OpenFile(to, os.O_CREATE|os.O_TRUNC|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	_, err = io.Copy(Gently(out), in)
	return errors.Join(err, out.Close())
}

// gentle is after how many bytes of a large file the disk has its part of it: a tenth of a second of a slow card. Ours, no source.
const gentle = 1 << 20

// Gently returns a writer to f that has it on the disk bit by bit. Left to the kernel, tens of megabytes would be written at some instant, and
// a daemon that has a poll to store waits behind them.
func Gently(f *os.File) io.Writer { return &gently{file: f} }

type gently struct {
	file *os.File
	owed int
}

func (g *gently) Write(p []byte) (int, error) {
	n, err := g.file.Write(p)
	if g.owed += n; g.owed >= gentle && err == nil {
		g.owed = 0
		err = g.file.Sync()
	}
	return n, err
}
