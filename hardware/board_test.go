package hardware_test

import (
	"errors"
	"os"
	"path/filepath"
	"reflect"
	"strconv"
	"testing"
	"time"

	"nestmon/hardware"
	"nestmon/hardware/boardtest"
)

func TestCard(t *testing.T) {
	for board, want := range map[string]hardware.Card{
		"well":  {Device: "mmcblk0", Kind: "SD", Model: "SC32G", Made: "08/2024", SinceStart: 4000000 * 512, Ever: 7340032 << 10, ErrorsTold: true},
		"tired": {Device: "mmcblk0", Kind: "MMC", Model: "8GTF4R", Made: "03/2018", ReadOnly: true, SinceStart: 4000000 * 512, Ever: 73400320 << 10, Errors: 3, ErrorsTold: true, LifeUsed: 11, PreEnd: 2},
	} {
		root := t.TempDir()
		boardtest.Plant(t, root, board)
		if got, err := hardware.ReadCard(root, "/var/lib/nestmon"); err != nil || !reflect.DeepEqual(got, want) {
			t.Errorf("%s: %+v, %v\nwant %+v", board, got, err, want)
		}
	}
}

// What lies on a share, an overlay or in memory has no card of its own, and is not given the one beside it.
func TestCardOfAnotherMount(t *testing.T) {
	root := t.TempDir()
	boardtest.Plant(t, root, "well")
	table := filepath.Join(root, "proc/self/mountinfo")
	text, err := os.ReadFile(table)
	if err != nil {
		t.Fatal(err)
	}
	boardtest.Put(t, table, string(text)+"40 21 0:44 / /srv/my\\040barn rw,relatime - tmpfs tmpfs rw\n41 21 0:45 / /var/lib/nest rw - tmpfs tmpfs rw\nshort line\n")
	if _, err := hardware.ReadCard(root, "/srv/my barn/data"); !errors.Is(err, hardware.ErrNotTold) {
		t.Errorf("in memory: %v", err)
	}
	if c, err := hardware.ReadCard(root, "/var/lib/nestmon"); err != nil || c.Device != "mmcblk0" {
		t.Errorf("beside a mount whose name begins alike: %+v, %v", c, err)
	}
	if _, err := hardware.ReadCard(t.TempDir(), "/var/lib/nestmon"); err == nil || errors.Is(err, hardware.ErrNotTold) {
		t.Errorf("without a table of mounts: %v, want it to be a failure to look", err)
	}
}

func TestRTC(t *testing.T) {
	root := t.TempDir()
	if _, there, err := hardware.ReadRTC(root); there || err != nil {
		t.Errorf("a board without one: %v, %v", there, err)
	}
	boardtest.Plant(t, root, "well")
	want := hardware.RTC{Name: "rtc0", Chip: "rtc-ds1307 1-0068", At: time.Unix(1930000000, 0), Started: true}
	if got, there, err := hardware.ReadRTC(root); !there || err != nil || got != want {
		t.Errorf("%+v, %v, %v", got, there, err)
	}
	boardtest.Put(t, filepath.Join(root, "sys/class/rtc/rtc0/since_epoch"), "\n") // the chip does not answer
	if _, there, err := hardware.ReadRTC(root); !there || err == nil {
		t.Errorf("one that does not answer: %v, %v", there, err)
	}
}

func TestThrottled(t *testing.T) {
	for _, row := range []struct {
		text, now, before string
		wrong             bool
	}{
		{"0\n", "", "", false},
		{"0x0", "", "", false},
		{"50005\n", "too little voltage, slowed down", "too little voltage, slowed down", false},
		{"0x80008", "at its temperature limit", "at its temperature limit", false},
		{"20000", "", "its frequency capped", false},
		{"throttled=0x0", "", "", true},
		{"", "", "", true},
	} {
		root := t.TempDir()
		boardtest.Put(t, filepath.Join(root, "sys/devices/platform/soc/soc:firmware/get_throttled"), row.text)
		bits, err := hardware.ReadThrottled(root)
		if bits.Now() != row.now || bits.Before() != row.before || (err != nil) != row.wrong || errors.Is(err, hardware.ErrNotTold) {
			t.Errorf("%q: now %q, before %q, %v", row.text, bits.Now(), bits.Before(), err)
		}
	}
	if _, err := hardware.ReadThrottled(t.TempDir()); !errors.Is(err, hardware.ErrNotTold) {
		t.Errorf("a board without such a file: %v", err)
	}
}

func TestTimer(t *testing.T) {
	root := t.TempDir()
	if _, there := hardware.ReadTimer(root); there {
		t.Error("a board without one has one")
	}
	boardtest.Plant(t, root, "well")
	want := hardware.Timer{Name: "watchdog0", Kind: "Broadcom BCM2835 Watchdog timer", Fed: true, Told: true, Timeout: 15 * time.Second}
	if got, there := hardware.ReadTimer(root); !there || got != want {
		t.Errorf("%+v, %v", got, there)
	}
	if err := os.Remove(filepath.Join(root, "sys/class/watchdog/watchdog0/state")); err != nil {
		t.Fatal(err)
	}
	if got, there := hardware.ReadTimer(root); !there || got.Told {
		t.Errorf("a kernel that does not tell: %+v, %v", got, there)
	}
}

// Whether the clock was set, as files of a board and its kernel tell it.
func TestClockSet(t *testing.T) {
	now := time.Date(2031, time.January, 5, 2, 0, 0, 0, time.UTC)
	rtc := func(hctosys string, off time.Duration) map[string]string {
		return map[string]string{"sys/class/rtc/rtc0/name": "ds3231", "sys/class/rtc/rtc0/hctosys": hctosys, "sys/class/rtc/rtc0/since_epoch": strconv.FormatInt(now.Add(off).Unix(), 10)}
	}
	const service, reached = "run/systemd/timesync/lock", "run/systemd/timesync/synchronized"
	for _, row := range []struct {
		name       string
		files      map[string]string
		more       []string
		set, known bool
	}{
		{"nothing tries to set it", nil, nil, false, false},
		{"systemd tries", nil, []string{service}, false, true},
		{"systemd did", nil, []string{service, reached}, true, true},
		{"another service than systemd's tries", nil, []string{"run/chrony/chronyd.pid"}, false, true},
		{"a chip set it, and systemd tries", rtc("1", -5*time.Second), []string{service}, false, false},
		{"a program set it by a chip", rtc("0", -5*time.Second), []string{service}, false, false},
		{"a chip is an hour and a half away", rtc("0", -90*time.Minute), []string{service}, false, true},
		{"a chip with an empty battery set it", rtc("1", -30*365*24*time.Hour), []string{service}, false, true},
		{"a chip set it, and systemd since", rtc("1", -5*time.Second), []string{service, reached}, true, true},
	} {
		root := t.TempDir()
		for path, text := range row.files {
			boardtest.Put(t, filepath.Join(root, path), text)
		}
		for _, path := range row.more {
			boardtest.Put(t, filepath.Join(root, path), "")
		}
		chip := hardware.ChipAgrees(root, now)
		if set, known := hardware.ClockSetBy(root, chip, false, true); set != row.set || known != row.known {
			t.Errorf("%s: set %v, known %v", row.name, set, known)
		}
		if set, known := hardware.ClockSetBy(root, chip, true, true); !set || !known {
			t.Errorf("%s, and the kernel says that it was set: set %v, known %v", row.name, set, known)
		}
	}
}

// FuzzBoard puts any text into one of the board's files after the other: no reader may fail but by an error.
func FuzzBoard(f *testing.F) {
	for _, text := range []string{"", "0", "0x50005", "21 1 179:2 / / rw - ext4 /dev/root ro", "1 2 3 4 5 6 7 8 9 10", "a\\04", "0x0b 0x", "1e400 1", "\\777 \\ \x00"} {
		for which := range uint8(10) {
			f.Add(which, text)
		}
	}
	root := f.TempDir()
	boardtest.Plant(f, root, "tired")
	files := []string{
		"proc/uptime", "proc/self/mountinfo", "sys/fs/ext4/mmcblk0p2/errors_count", "sys/devices/platform/mmc/block/mmcblk0/stat", "sys/devices/platform/mmc/block/mmcblk0/device/life_time",
		"sys/class/rtc/rtc0/since_epoch", "sys/class/watchdog/watchdog0/timeout", "sys/class/watchdog/watchdog0/state", "sys/devices/platform/soc/soc:firmware/get_throttled", "sys/class/hwmon/hwmon1/in0_lcrit_alarm",
	}
	f.Fuzz(func(t *testing.T, which uint8, text string) {
		file := filepath.Join(root, files[int(which)%len(files)])
		was, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		boardtest.Put(t, file, text)
		defer boardtest.Put(t, file, string(was))
		if c, err := hardware.ReadCard(root, "/var/lib/nestmon"); err == nil && c.Device == "" {
			t.Errorf("a card without a name: %+v", c)
		}
		if up, err := hardware.Uptime(root); err == nil && !(up > 0) {
			t.Errorf("running for %g s", up)
		}
		if clock, there, err := hardware.ReadRTC(root); !there || err == nil && clock.At.IsZero() {
			t.Errorf("%+v, %v, %v", clock, there, err)
		}
		if timer, there := hardware.ReadTimer(root); !there || timer.Timeout < 0 {
			t.Errorf("%+v, %v", timer, there)
		}
		if _, err := hardware.ReadThrottled(root); errors.Is(err, hardware.ErrNotTold) {
			t.Error("a file that is there tells nothing of itself")
		}
		hardware.Supply(root)
	})
}
