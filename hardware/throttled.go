package hardware

import (
	"errors"
	"fmt"
	"path/filepath"
	"strconv"
	"strings"
)

// Throttled is what a Raspberry Pi's firmware says of its supply and its heat: in the low bits what is so now, sixteen bits higher what has been
// so since the start, or since the kernel's rpi_volt cleared it, which it does every few seconds.
//
// The bits are those of `vcgencmd get_throttled` in Raspberry Pi's documentation of its operating system.
type Throttled uint32

const (
	underVoltage Throttled = 1 << iota
	frequencyCapped
	slowed
	softLimit

	sinceStart = 16 // bits to the left of what is so now
)

var throttledWords = []struct {
	bit  Throttled
	says string
}{
	{underVoltage, "too little voltage"},
	{frequencyCapped, "its frequency capped"},
	{slowed, "slowed down"},
	{softLimit, "at its temperature limit"},
}

// Now is what is so now, in words, nothing where all is well.
func (t Throttled) Now() string { return t.words(0) }

// Before is what has been so.
func (t Throttled) Before() string { return t.words(sinceStart) }

func (t Throttled) words(shift uint) string {
	var all []string
	for _, w := range throttledWords {
		if t>>shift&w.bit != 0 {
			all = append(all, w.says)
		}
	}
	return strings.Join(all, ", ")
}

// throttledAt is where Raspberry Pi's own kernels show it; from memory and their patch "firmware/raspberrypi: Add a get_throttled sysfs file",
// not run on a board.
var throttledAt = []string{
	"sys/devices/platform/soc/soc:firmware/get_throttled",
	"sys/devices/platform/soc/*firmware*/get_throttled",
	"sys/devices/platform/*firmware*/get_throttled",
}

// ErrNotTold is that a board has nothing that tells.
var ErrNotTold = errors.New("the board does not tell")

// ReadThrottled reads what the firmware says below root, a hexadecimal number.
func ReadThrottled(root string) (Throttled, error) {
	for _, at := range throttledAt {
		found, err := filepath.Glob(filepath.Join(root, at))
		if err != nil || len(found) == 0 {
			continue
		}
		text := word(found[0])
		bits, err := strconv.ParseUint(strings.TrimPrefix(text, "0x"), 16, 32)
		if err != nil {
			return 0, fmt.Errorf("%s holds %q, which is no number of bits", found[0], shorten(text))
		}
		return Throttled(bits), nil
	}
	return 0, ErrNotTold
}

// Supply says whether the kernel's own watcher of the supply is there below root, and whether it finds it too weak.
func Supply(root string) (low, there bool) {
	at, there := supplyWatcher(root)
	return there && word(filepath.Join(at, supplyAlarm)) == "1", there
}

// shorten keeps what is quoted short.
func shorten(text string) string {
	const most = 20 // bytes; ours, no source
	if len(text) > most {
		return text[:most] + "…"
	}
	return text
}
