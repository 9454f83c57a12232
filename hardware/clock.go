package hardware

import (
	"cmp"
	"fmt"
	"path/filepath"
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
