package hardware

import (
	"path/filepath"
	"strconv"
	"time"
)

// Timer is the board's own watchdog: it starts the board anew when nobody feeds it.
type Timer struct {
	Name    string        // the kernel's: watchdog0
	Kind    string        // as its driver calls it, empty where the kernel does not tell
	Fed     bool          // somebody has started it, and has to go on feeding it
	Told    bool          // whether the kernel tells that
	Timeout time.Duration // 0 where the kernel does not tell
}

// ReadTimer looks at the first watchdog of the board below root: state, identity and timeout (s) of
// Documentation/ABI/testing/sysfs-class-watchdog of the kernel. A kernel built without CONFIG_WATCHDOG_SYSFS shows that it is there, no more.
func ReadTimer(root string) (t Timer, there bool) {
	all, err := filepath.Glob(filepath.Join(root, "sys/class/watchdog/watchdog*"))
	if err != nil || len(all) == 0 {
		return Timer{}, false
	}
	t = Timer{Name: filepath.Base(all[0]), Kind: word(filepath.Join(all[0], "identity"))}
	state := word(filepath.Join(all[0], "state"))
	t.Fed, t.Told = state == "active", state == "active" || state == "inactive"
	if s, err := strconv.Atoi(word(filepath.Join(all[0], "timeout"))); err == nil && s > 0 {
		t.Timeout = time.Duration(s) * time.Second
	}
	return t, true
}
