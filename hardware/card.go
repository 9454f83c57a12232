package hardware

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
)

// Card is the card or disk on which a folder lies, as far as the kernel tells of it. What it does not tell is empty or 0.
type Card struct {
	Device   string // of the kernel: mmcblk0
	Kind     string // SD or MMC, for a card
	Model    string // the maker's name of it
	Made     string // month and year, as MM/YYYY
	ReadOnly bool   // the file system is mounted so: nothing can be written

	SinceStart uint64 // bytes written since the board was started
	Ever       uint64 // bytes written into the file system since it was made
	Errors     uint64 // that the file system has found in itself
	ErrorsTold bool

	// What chips of the kind MMC say of themselves (JEDEC e.MMC 5.0, EXT_CSD 267 to 269; from memory): how much of their life is used, in
	// tenths from 1 to 10 and 11 beyond it, and whether their spare blocks run out: 1 not, 2 four fifths are used, 3 nearly all.
	LifeUsed, PreEnd int
}

// sector is the unit of the kernel's counts of sectors, in bytes, whatever the device's own is (Documentation/block/stat.rst).
const sector = 512

// Places of the fields that are read of <disk>/stat (Documentation/block/stat.rst) and of mountinfo (Documentation/filesystems/proc.rst, 3.5).
const (
	sectorsWritten = 6

	mountDevice, mountPoint, mountOptions, leastMount = 2, 4, 5, 10
)

// ReadCard finds the card under folder, a whole path, by what is mounted where below root, and reads what the kernel tells of it:
// Documentation/block/stat.rst, Documentation/driver-api/mmc/mmc-dev-attrs.rst, and what fs/ext4/sysfs.c shows of a file system.
func ReadCard(root, folder string) (Card, error) {
	table, err := os.ReadFile(filepath.Join(root, "proc/self/mountinfo"))
	if err != nil {
		return Card{}, fmt.Errorf("what is mounted where cannot be read: %w", err)
	}
	device, readOnly, ok := mounted(table, folder)
	if !ok {
		return Card{}, fmt.Errorf("no mount of the kernel's table holds %s", folder)
	}
	at, err := filepath.EvalSymlinks(filepath.Join(root, "sys/dev/block", device))
	if err != nil {
		return Card{ReadOnly: readOnly}, ErrNotTold // a network's, an overlay's or memory's
	}
	c := Card{ReadOnly: readOnly}
	c.fileSystem(filepath.Join(root, "sys/fs/ext4", filepath.Base(at)))
	if _, err := os.Stat(filepath.Join(at, "partition")); err == nil {
		at = filepath.Dir(at)
	}
	c.Device = filepath.Base(at)
	if f := strings.Fields(word(filepath.Join(at, "stat"))); len(f) > sectorsWritten {
		n, _ := strconv.ParseUint(f[sectorsWritten], 10, 64) // 0 is what is not told
		c.SinceStart = n * sector
	}
	c.chip(filepath.Join(at, "device"))
	return c, nil
}

func (c *Card) fileSystem(dir string) {
	if kb, err := strconv.ParseUint(word(filepath.Join(dir, "lifetime_write_kbytes")), 10, 64); err == nil {
		c.Ever = kb << 10
	}
	n, err := strconv.ParseUint(word(filepath.Join(dir, "errors_count")), 10, 64)
	c.Errors, c.ErrorsTold = n, err == nil
}

func (c *Card) chip(dir string) {
	c.Kind, c.Model, c.Made = word(filepath.Join(dir, "type")), word(filepath.Join(dir, "name")), word(filepath.Join(dir, "date"))
	for _, tenths := range strings.Fields(word(filepath.Join(dir, "life_time"))) { // of its two kinds of memory; the worse counts
		if n, err := strconv.ParseUint(tenths, 0, 8); err == nil {
			c.LifeUsed = max(c.LifeUsed, int(n))
		}
	}
	if n, err := strconv.ParseUint(word(filepath.Join(dir, "pre_eol_info")), 0, 8); err == nil {
		c.PreEnd = int(n)
	}
}

// mounted finds the device, as MAJOR:MINOR, on which folder lies: the last of the longest mount points that hold it.
func mounted(table []byte, folder string) (device string, readOnly, ok bool) {
	longest := -1
	for lines := bufio.NewScanner(bytes.NewReader(table)); lines.Scan(); {
		f := strings.Fields(lines.Text())
		if len(f) < leastMount {
			continue
		}
		point := unescaped(f[mountPoint])
		if !holds(point, folder) || len(point) < longest {
			continue
		}
		longest, device, ok = len(point), f[mountDevice], true
		readOnly = strings.HasPrefix(f[mountOptions], "ro,") || f[mountOptions] == "ro" || superReadOnly(f)
	}
	return device, readOnly, ok
}

// superReadOnly reports whether the file system itself is: after an error the kernel may make it so, whatever the mount says.
func superReadOnly(f []string) bool {
	last := f[len(f)-1]
	return last == "ro" || strings.HasPrefix(last, "ro,")
}

func holds(point, folder string) bool {
	rel, err := filepath.Rel(point, folder)
	return err == nil && rel != ".." && !strings.HasPrefix(rel, "../")
}

// unescaped is a path of the table, in which spaces and the like stand as \040.
func unescaped(s string) string {
	var b strings.Builder
	for i := 0; i < len(s); i++ {
		if s[i] == '\\' && i+3 < len(s) {
			if n, err := strconv.ParseUint(s[i+1:i+4], 8, 8); err == nil {
				b.WriteByte(byte(n))
				i += 3
				continue
			}
		}
		b.WriteByte(s[i])
	}
	return b.String()
}

// ErrNoUptime is that the kernel does not say since when the board runs.
var ErrNoUptime = errors.New("the kernel does not say since when the board runs")

// Uptime is how long the board has been running, in seconds: the first number of /proc/uptime (Documentation/filesystems/proc.rst).
func Uptime(root string) (float64, error) {
	f := strings.Fields(word(filepath.Join(root, "proc/uptime")))
	if len(f) == 0 {
		return 0, ErrNoUptime
	}
	s, err := strconv.ParseFloat(f[0], 64)
	if err != nil || s <= 0 {
		return 0, ErrNoUptime
	}
	return s, nil
}
