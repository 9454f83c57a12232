package hardware

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"time"
)

// The driver by which a Raspberry Pi says that its supply is too weak (raspberrypi-hwmon in the kernel; from memory, not run on
// a board). Its detector trips at 4.63 V ±5 % (raspberrypi/documentation); the Zero has none.
const (
	supplyDriver = "rpi_volt"
	supplyAlarm  = "in0_lcrit_alarm"
)

// Power watches the board's supply.
type Power struct{ low atomic.Bool }

// WatchPower looks at the supply below root every so often until ctx ends. It does so in a goroutine of its own: a driver that hangs
// delays nobody.
func WatchPower(ctx context.Context, root string, every time.Duration) *Power {
	p := &Power{}
	go func() {
		tick := time.NewTicker(every)
		defer tick.Stop()
		for {
			p.low.Store(supplyLow(root))
			select {
			case <-ctx.Done():
				return
			case <-tick.C:
			}
		}
	}()
	return p
}

// Low reports whether the supply was too weak at the last look. A board that cannot tell is never low.
func (p *Power) Low() bool { return p.low.Load() }

func supplyLow(root string) bool {
	low, _ := Supply(root)
	return low
}

// supplyWatcher is the folder of the driver that watches the supply.
func supplyWatcher(root string) (dir string, there bool) {
	names, err := filepath.Glob(filepath.Join(root, "sys/class/hwmon/hwmon*/name"))
	if err != nil {
		return "", false
	}
	for _, name := range names {
		if word(name) == supplyDriver {
			return filepath.Dir(name), true
		}
	}
	return "", false
}

func word(file string) string {
	text, err := os.ReadFile(file)
	if err != nil {
		return ""
	}
	return strings.TrimSpace(string(text))
}
