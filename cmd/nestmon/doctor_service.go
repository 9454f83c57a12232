package main

import (
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"time"
)

// unit is the service that hardware/nestmon.service makes.
const unit = "nestmon.service"

// restartsFew is how many restarts since it was started by hand are nothing to speak of; ours, no source.
const restartsFew = 2

// examineService asks the service manager: will it start the daemon after a power cut, and start one anew that hangs?
func examineService(ctx context.Context, p *patient) (found []sign) {
	// sd_booted(3): systemd manages this machine where that folder is.
	if _, err := os.Stat(filepath.Join(p.root, "run/systemd/system")); err != nil {
		return append(p.fedByManager(), never("see that whatever starts it starts it again after a power cut, and when it ends", "no systemd manages this machine, so who starts the daemon anew is not known"))
	}
	ctx, cancel := context.WithTimeout(ctx, connectTime)
	defer cancel()
	text, err := exec.CommandContext(ctx, "systemctl", "show", unit, "--property=LoadState,UnitFileState,ActiveState,NRestarts,WatchdogUSec,Restart").Output()
	if err != nil {
		return append(p.fedByManager(), blind("ask it yourself: systemctl status nestmon", "systemd does not answer: %v", err))
	}
	has := properties(string(text))
	if has["LoadState"] != "loaded" {
		return append(p.fedByManager(), fails("install it: the head of hardware/nestmon.service has the commands", "systemd knows no %s (%s)", unit, orElse(has["LoadState"], "not told")))
	}
	if s := has["UnitFileState"]; s != "enabled" && s != "enabled-runtime" {
		found = append(found, fails("sudo systemctl enable nestmon", "it is not started at boot (%s): after a power cut nobody watches", orElse(s, "not told")))
	}
	if s := has["ActiveState"]; s != "active" {
		found = append(found, fails("sudo systemctl start nestmon, then journalctl -u nestmon", "it is not active (%s)", orElse(s, "not told")))
	}
	if s := has["Restart"]; s != "always" {
		found = append(found, lookAt("Restart=always, as hardware/nestmon.service has it", "it is not started anew whenever it ends (Restart=%s)", orElse(s, "not told")))
	}
	// Of systemctl show: a span such as 1min, or infinity or 0 where there is none.
	if s := has["WatchdogUSec"]; s == "" || s == "0" || s == "infinity" {
		found = append(found, fails("WatchdogSec=60, as hardware/nestmon.service has it", "one that hangs is not started anew (WatchdogUSec=%s)", orElse(s, "not told")))
	}
	if n, err := strconv.Atoi(has["NRestarts"]); err == nil && n > restartsFew {
		found = append(found, lookAt("look why: journalctl -u nestmon", "it was started anew %d times since it was last started by hand", n))
	}
	if len(found) == 0 {
		found = append(found, fine("started at boot, active, started anew when it ends or hangs (watchdog %s)", has["WatchdogUSec"]))
	}
	return append(found, p.fedByManager()...)
}

// fedByManager is what the daemon itself knows of who watches it.
func (p *patient) fedByManager() []sign {
	switch v := p.daemon.inside; {
	case !p.daemon.there:
		return nil
	case v == nil:
		return []sign{blind("restart it, so that what was installed runs", "the running daemon does not tell whether it is watched")}
	case v.Watchdog == 0:
		return []sign{fails("run it by the service unit: WatchdogSec=60 in hardware/nestmon.service", "nobody starts the running daemon anew when it hangs: it was given no watchdog")}
	default:
		return []sign{fine("the running daemon feeds a watchdog of %s", span(time.Duration(v.Watchdog*float64(time.Second))))}
	}
}

// properties reads KEY=VALUE lines.
func properties(text string) map[string]string {
	has := map[string]string{}
	for line := range strings.Lines(text) {
		if key, value, ok := strings.Cut(strings.TrimSpace(line), "="); ok {
			has[key] = value
		}
	}
	return has
}
