package main

import (
	"bufio"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"

	"golang.org/x/sys/unix"
)

// ownMounts is set in the environment of a soak whose mounts nobody else sees, and which end with it however it ends.
const ownMounts = "NESTMON_SOAK_APART"

// apart starts this program anew with mounts of its own, where that is allowed, and then does not return.
func apart() error {
	if os.Geteuid() != 0 || os.Getenv(ownMounts) != "" {
		return nil
	}
	self, err := os.Executable()
	if err != nil {
		return err
	}
	c := exec.Command(self, os.Args[1:]...)
	c.Env = append(os.Environ(), ownMounts+"=1")
	c.Stdin, c.Stdout, c.Stderr = os.Stdin, os.Stdout, os.Stderr
	c.SysProcAttr = &syscall.SysProcAttr{Unshareflags: syscall.CLONE_NEWNS, Pdeathsig: syscall.SIGTERM}
	if err := c.Run(); err != nil {
		if ended, ok := errors.AsType[*exec.ExitError](err); ok {
			os.Exit(ended.ExitCode())
		}
		return nil // not allowed here: go on with a folder
	}
	os.Exit(0)
	return nil
}

// card is where the archive lies.
type card struct {
	dir    string
	device string // the loop device's name, empty for a mere folder
	fs     *os.File
	filled int64 // bytes that filling it took
}

// cardSize is small, so that it is soon filled, and holds a month many times over.
const cardSize = 256 << 20 // bytes

// newCard makes an ext4 in memory and mounts it with these options, or a folder.
func newCard(dir, options string) (*card, error) {
	c := &card{dir: filepath.Join(dir, "card")}
	if err := os.Mkdir(c.dir, 0o755); err != nil {
		return nil, err
	}
	if os.Getenv(ownMounts) == "" {
		return c, nil
	}
	image := filepath.Join(dir, "card.img")
	if err := os.WriteFile(image, nil, 0o600); err != nil {
		return nil, err
	}
	if err := os.Truncate(image, cardSize); err != nil {
		return nil, err
	}
	for _, args := range [][]string{{"mkfs.ext4", "-q", "-b", "4096", image}, {"mount", "-o", options, image, c.dir}} {
		if out, err := exec.Command(args[0], args[1:]...).CombinedOutput(); err != nil {
			fmt.Printf("no card of its own: %s: %v %s\n", args[0], err, out)
			return c, nil
		}
	}
	mounts, err := os.ReadFile("/proc/self/mounts")
	if err != nil {
		return nil, err
	}
	for line := range strings.Lines(string(mounts)) {
		if f := strings.Fields(line); len(f) > 1 && f[1] == c.dir {
			c.device = filepath.Base(f[0])
		}
	}
	c.fs, err = os.Open(c.dir)
	return c, err
}

// close gives the mount back.
func (c *card) close() {
	if c.fs != nil {
		_ = c.fs.Close()
		_ = exec.Command("umount", "-l", c.dir).Run()
	}
}

// settle makes everything reach the card.
func (c *card) settle() error {
	if c.fs == nil {
		return nil
	}
	return unix.Syncfs(int(c.fs.Fd()))
}

// written is how many bytes the card has taken so far, but for what filled it.
func (c *card) written() (int64, error) {
	n, err := c.taken()
	return n - c.filled, err
}

func (c *card) taken() (int64, error) {
	if c.device == "" {
		return 0, nil
	}
	f, err := os.Open("/sys/block/" + c.device + "/stat")
	if err != nil {
		return 0, err
	}
	defer func() { _ = f.Close() }() // only read
	words := bufio.NewScanner(f)
	words.Split(bufio.ScanWords)
	const sectorsWritten, sector = 6, 512 // the field and its unit, Documentation/block/stat
	for i := 0; words.Scan(); i++ {
		if i == sectorsWritten {
			var n int64
			_, err := fmt.Sscan(words.Text(), &n)
			return n * sector, err
		}
	}
	return 0, fmt.Errorf("%s is not understood", f.Name())
}

func (c *card) filler() string { return filepath.Join(c.dir, "filler") }

// fill leaves no room.
func (c *card) fill() error {
	before, err := c.taken()
	if err != nil {
		return err
	}
	f, err := os.Create(c.filler())
	if err != nil {
		return err
	}
	for block := make([]byte, 1<<20); len(block) > 0; block = block[:len(block)/2] {
		for err == nil {
			_, err = f.Write(block)
		}
		if !errors.Is(err, syscall.ENOSPC) {
			return errors.Join(err, f.Close())
		}
		err = nil
	}
	if err := errors.Join(f.Close(), c.settle()); err != nil {
		return err
	}
	after, err := c.taken()
	c.filled += after - before
	return err
}

// empty makes room again.
func (c *card) empty() error { return os.Remove(c.filler()) }

// archive is the size of the archive's files, in bytes, and that of their logs.
func (c *card) archive() (size, logs int64) {
	names, _ := filepath.Glob(filepath.Join(c.dir, "data", "*.db*"))
	for _, name := range names {
		if info, err := os.Stat(name); err == nil {
			size += info.Size()
			if strings.HasSuffix(name, "-wal") {
				logs += info.Size()
			}
		}
	}
	return size, logs
}
