package main

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"nestmon/hardware"
)

// clockApart is how far the board's own clock and the system's may be apart; the one is read in whole seconds. Ours, no source.
const clockApart = 10 * time.Second

func examineClock(_ context.Context, p *patient) (found []sign) {
	if p.now.Before(builtAfter) {
		return []sign{fails("set it: sudo timedatectl set-ntp true, or sudo date -s; after a power cut without a network only a clock chip knows the time", "the clock says %s, which is before this program was built", p.now.UTC().Format(time.DateOnly))}
	}
	set, known := hardware.ClockSet(p.root, hardware.ChipAgrees(p.root, p.now))
	switch {
	case set:
		found = append(found, fine("set by a time server, %s", p.now.In(p.cfg.location()).Format("2006-01-02 15:04 MST")))
	case known:
		found = append(found, lookAt("look at the network and at: timedatectl", "no time server has set it, so litters' ages go by a clock that drifts"))
	default:
		found = append(found, never("look at: timedatectl", "that a time server set it is not told here"))
	}
	if p.daemon.there && !p.daemon.state.Synced {
		found = append(found, lookAt("look at the network and at: timedatectl", "the daemon does not trust the clock, and marks its readings so"))
	}
	return found
}

func examineRTC(_ context.Context, p *patient) []sign {
	clock, there, err := hardware.ReadRTC(p.root)
	switch {
	case !there:
		return []sign{never("a clock chip keeps the time: hardware/kernel.md, ds3231", "the board has no clock of its own: after a power cut without a network nobody knows the time until the network is back")}
	case err != nil:
		return []sign{fails("look at its battery and its wires", "%s (%s): %v", clock.Name, clock.Chip, err)}
	case clock.At.Before(builtAfter):
		return []sign{fails("its battery is empty or it was never set: change it, then sudo hwclock --systohc", "%s (%s) says %s", clock.Name, clock.Chip, clock.At.UTC().Format(time.DateOnly))}
	case clock.At.Sub(p.now).Abs() > clockApart:
		return []sign{lookAt("set it when the system's is right: sudo hwclock --systohc --utc", "%s (%s) and the system's clock are %s apart", clock.Name, clock.Chip, span(clock.At.Sub(p.now).Abs().Round(time.Second)))}
	case !clock.Started:
		return []sign{lookAt("let the system take it at the start: hardware/kernel.md", "%s (%s) is right, but the system was not set by it at the start", clock.Name, clock.Chip)}
	}
	return []sign{fine("%s (%s) is right", clock.Name, clock.Chip)}
}

// Of a chip's own word on its wear, in tenths of its life; ours, no source: at nine a new one is to be ordered, beyond ten it is past what its maker warrants.
const (
	wornLife = 9
	deadLife = 11
)

func examineCard(_ context.Context, p *patient) (found []sign) {
	c, err := hardware.ReadCard(p.root, nearest(p.cfg.Data))
	switch {
	case errors.Is(err, hardware.ErrNotTold):
		return []sign{never("nothing is to be done, if this is no card", "what %s lies on tells nothing of its age", p.cfg.Data)}
	case err != nil:
		return []sign{blind(askAs, "%v", err)}
	}
	const replace = "make a backup now and move to a new card: README, Back up"
	if c.ReadOnly {
		found = append(found, fails(replace+"; dmesg says why", "%s is mounted so that nothing can be written", c.Device))
	}
	if c.ErrorsTold && c.Errors > 0 {
		found = append(found, fails(replace, "the file system on %s has found %s in itself", c.Device, count(int(c.Errors), "error")))
	}
	switch {
	case c.LifeUsed >= deadLife || c.PreEnd == 3:
		found = append(found, fails(replace, "%s says that its life is over", c.Device))
	case c.LifeUsed >= wornLife || c.PreEnd == 2:
		found = append(found, lookAt(replace, "%s says that most of its life is used", c.Device))
	}
	if len(found) == 0 {
		return []sign{fine("%s", cardWords(p.root, c))}
	}
	return found
}

// cardWords is what the card is and what was written to it.
func cardWords(root string, c hardware.Card) string {
	words := []string{strings.Join(strings.Fields(c.Device+" "+c.Kind+" "+c.Model), " ")}
	if c.Made != "" {
		words = append(words, "made "+c.Made)
	}
	if c.Ever > 0 {
		words = append(words, sizeOf(int64(c.Ever))+" written into its file system so far")
	}
	if up, err := hardware.Uptime(root); err == nil && c.SinceStart > 0 {
		perDay := float64(c.SinceStart) / up * (24 * time.Hour).Seconds()
		words = append(words, fmt.Sprintf("%s since the board started %s, by all programs: %s a day", sizeOf(int64(c.SinceStart)), agoText(time.Duration(up)*time.Second), sizeOf(int64(perDay))))
	}
	if !c.ErrorsTold {
		words = append(words, "whether its file system found errors is not told")
	}
	return strings.Join(words, "; ")
}

const feedMore = "a stronger supply and a shorter, thicker cable: hardware/power.md"

func examineSupply(_ context.Context, p *patient) (found []sign) {
	bits, err := hardware.ReadThrottled(p.root)
	low, watched := hardware.Supply(p.root)
	switch {
	case err != nil && !errors.Is(err, hardware.ErrNotTold):
		found = append(found, blind("vcgencmd get_throttled says it too", "%v", err))
	case err == nil && bits.Now() != "":
		found = append(found, fails(feedMore+"; when it is hot, shade and air", "the board has %s", bits.Now()))
	case err == nil && bits.Before() != "":
		found = append(found, lookAt(feedMore+"; when it was hot, shade and air", "since its start the board had %s", bits.Before()))
	case low:
		found = append(found, fails(feedMore, "the board has too little voltage"))
	case err == nil || watched:
		found = append(found, fine("the board has had enough voltage, as far as it tells"))
	default:
		found = append(found, never("measure its 5 V under load: hardware/power.md", "the board has nothing that tells of too little voltage or of heat"))
	}
	return found
}

func examineWatchdog(_ context.Context, p *patient) []sign {
	const remedy = "dtparam=watchdog=on in config.txt and RuntimeWatchdogSec=15 in /etc/systemd/system.conf, then restart the board: hardware/kernel.md"
	t, there := hardware.ReadTimer(p.root)
	switch {
	case !there:
		return []sign{never(remedy, "no watchdog of the board is to be seen, so a kernel that hangs stays so until somebody pulls the plug")}
	case !t.Told:
		return []sign{never(remedy, "%s is there, and the kernel does not tell whether anybody feeds it", t.Name)}
	case !t.Fed:
		return []sign{lookAt(remedy, "%s (%s) is there and nobody has started it, so a kernel that hangs stays so until somebody pulls the plug", t.Name, t.Kind)}
	}
	return []sign{fine("%s (%s) starts the board anew when it hangs for %s", t.Name, t.Kind, span(t.Timeout))}
}
