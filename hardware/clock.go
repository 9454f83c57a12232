package hardware

import (
	"cmp"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"time"
)

// RTC is a clock that goes on without the board's supply.
type RTC struct {
	Name    string    // the kernel's: rtc0
	Chip    string    // as its driver calls it
	At      time.Time // what it says; the kernel takes it for UTC
	Started bool      // it set the system's clock at the start
}

// timeServices are where what sets the clock by a server lies while it runs: systemd-timesyncd(8), and from memory chrony, ntpd and OpenNTPD.
var timeServices = []string{timesyncd, "run/chrony", "run/ntpd.pid", "run/ntpd.sock"}

// timesyncd alone also tells that it has reached a server since the board started.
const timesyncd = "run/systemd/timesync"

// rtcApart is how far a clock chip and the system's clock that was set by it may drift apart while nobody sets either: a season of 100 ppm is 13 min. Ours, no source.
const rtcApart = time.Hour

// ClockSet reports whether a server has set the clock of the board below root.
//
// The kernel knows it of every time service; it forgets it after hours without a server, and not everybody may ask. So what timesyncd says of this start of the
// board counts too. Where neither says so it is not known: because nothing tries, because a clock chip keeps the time (ChipAgrees), which needs no server, or
// because the kernel may not be asked.
func ClockSet(root string, chip bool) (set, known bool) {
	synced, told := clockSynced()
	return clockSet(root, chip, synced, told)
}

func clockSet(root string, chip, synced, told bool) (set, known bool) {
	there := func(path string) bool {
		_, err := os.Stat(filepath.Join(root, path))
		return err == nil
	}
	switch {
	case synced, there(timesyncd + "/synchronized"):
		return true, true
	case !slices.ContainsFunc(timeServices, there), chip:
		return false, false
	}
	return false, told || there(timesyncd)
}

// ChipAgrees reports whether a clock chip says what the system's clock says: one whose battery is empty does not. Whether the kernel set the clock by it cannot
// be asked of every board, for some leave that to a program. It reads the chip, over a bus that may hang.
func ChipAgrees(root string, now time.Time) bool {
	rtc, there, err := ReadRTC(root)
	return there && err == nil && rtc.At.Sub(now).Abs() < rtcApart
}

// ReadRTC reads the first clock of the board below root, as Documentation/ABI/testing/sysfs-class-rtc of the kernel has it: seconds since the
// epoch in since_epoch, and 1 in hctosys for the one that set the clock. There is none on most small boards, which is no error.
func ReadRTC(root string) (clock RTC, there bool, err error) {
	all, err := filepath.Glob(filepath.Join(root, "sys/class/rtc/rtc*"))
	if err != nil || len(all) == 0 {
		return RTC{}, false, err
	}
	dir := all[0]
	for _, d := range all {
		if word(filepath.Join(d, "hctosys")) == "1" {
			dir = d
		}
	}
	clock = RTC{Name: filepath.Base(dir), Chip: cmp.Or(word(filepath.Join(dir, "name")), "of an unknown kind"), Started: word(filepath.Join(dir, "hctosys")) == "1"}
	s, err := strconv.ParseInt(word(filepath.Join(dir, "since_epoch")), 10, 64)
	if err != nil {
		return clock, true, fmt.Errorf("%s cannot be read as a time", filepath.Join(dir, "since_epoch"))
	}
	clock.At = time.Unix(s, 0)
	return clock, true, nil
}
