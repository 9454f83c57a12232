package onewire

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"periph.io/x/conn/v3/onewire"
	"periph.io/x/host/v3/netlink"
)

// A message to a master that does not exist gets no answer, or fewer than periph's driver waits for, which it does for ever.
func TestAnAnswerThatNeverComes(t *testing.T) {
	b, err := netlink.New(60_000)
	if err != nil {
		t.Skip(err)
	}
	defer b.Close()
	if err := limitAnswers(10 * time.Millisecond); err != nil {
		t.Fatal(err)
	}
	err = b.Tx([]byte{skipROM, convertT}, make([]byte, 1), onewire.WeakPullup) // hangs where the limit does not hold
	if err == nil {
		t.Fatal("a master that does not exist has answered")
	}
	if f, healthy := faultOf(err); healthy || f.Reason == "" {
		t.Errorf("%v: got %q, and the socket would be used again", err, f.Reason)
	}
}

func TestTheLimitNeedsItsSocket(t *testing.T) {
	if err := limitAnswers(time.Second); err == nil || !strings.Contains(err.Error(), "was not found") {
		t.Errorf("got %v with no netlink socket open", err)
	}
}

func TestOneProgramABridge(t *testing.T) {
	device := filepath.Join(t.TempDir(), "i2c-1")
	if err := os.WriteFile(device, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	take := func(address uint16) (func() error, error) { return lock(device, address, 2*lockRetry) }
	first, err := take(0x18)
	if err != nil {
		t.Skipf("no such locks here: %v", err)
	}
	other, err := take(0x19)
	if err != nil {
		t.Errorf("the bridge beside it: %v", err)
	}
	if _, err := take(0x18); err == nil || !strings.Contains(err.Error(), "another program has kept the bridge at 0x18") {
		t.Errorf("the same bridge: got %v", err)
	}
	if err := first(); err != nil {
		t.Fatal(err)
	}
	again, err := take(0x18)
	if err != nil {
		t.Fatalf("a bridge that was given back: %v", err)
	}
	for _, unlock := range []func() error{other, again} {
		if err := unlock(); err != nil {
			t.Error(err)
		}
	}
	if _, err := lock(device+"9", 0x18, 0); err == nil || !strings.Contains(err.Error(), "dtparam=i2c_arm=on") {
		t.Errorf("no such device: got %v", err)
	}
}

// Every burst gives its files back, also where opening fails half way.
func TestNoFileIsLeftOpen(t *testing.T) {
	count := func() int {
		entries, err := os.ReadDir("/proc/self/fd")
		if err != nil {
			t.Skip(err)
		}
		return len(entries)
	}
	before := count()
	for _, bus := range []string{"w1-1", "i2c-998/0x18", "nonsense"} {
		for range 3 {
			if b, err := open(board, bus); err == nil {
				if err := b.Close(); err != nil {
					t.Error(err)
				}
			}
		}
	}
	if after := count(); after > before {
		t.Errorf("%d files before, %d after", before, after)
	}
}
