package mqtt

import (
	"errors"
	"strings"
	"testing"
	"time"

	"nestmon/sensors/broker"
)

// TestVerdict tells rivals what a connection hears, in order, and looks at what they conclude.
func TestVerdict(t *testing.T) {
	const patience = time.Minute
	begin := time.Date(2026, 7, 14, 12, 0, 0, 0, time.UTC)
	kept := func(id string) func(*rivals) { return func(r *rivals) { r.named(id, true) } }
	live := func(id string) func(*rivals) { return func(r *rivals) { r.named(id, false) } }
	was := func(state string) func(*rivals) { return func(r *rivals) { r.stated(state, true) } }
	says := func(state string) func(*rivals) { return func(r *rivals) { r.stated(state, false) } }
	pass := func(d time.Duration) func(*rivals) {
		return func(r *rivals) {
			_ = r.verdict("mqtt", "barn", patience) // it is asked again and again
			at := r.now().Add(d)
			r.now = func() time.Time { return at }
		}
	}
	const goes, waits, gives = "", "waiting", "give each nestmon its own device"
	for _, row := range []struct {
		name  string
		hears []func(*rivals)
		want  string
	}{
		{"an empty broker", nil, goes},
		{"our own of before", []func(*rivals){kept("own"), was("lost")}, goes},
		{"our own, and the broker did not see us go", []func(*rivals){kept("own"), was("ready")}, goes},
		{"a tree of an older version", []func(*rivals){was("ready")}, goes},
		{"another that went", []func(*rivals){kept("other"), was("disconnected")}, goes},
		{"another that died", []func(*rivals){kept("other"), was("lost")}, goes},
		{"another that may live", []func(*rivals){kept("other"), was("ready")}, waits},
		{"another by Homie 4", []func(*rivals){kept("other"), was("alert")}, waits},
		{"another that answers", []func(*rivals){kept("other"), was("ready"), live("other")}, gives},
		{"another that says so again", []func(*rivals){kept("other"), was("ready"), says("ready")}, gives},
		{"another that dies while we wait", []func(*rivals){kept("other"), was("ready"), live("other"), says("lost")}, goes},
		{"nearly long enough silent", []func(*rivals){kept("other"), was("ready"), pass(patience - time.Second)}, waits},
		{"long enough silent", []func(*rivals){kept("other"), was("ready"), pass(patience)}, goes},
		{"heard, then silent", []func(*rivals){kept("other"), was("ready"), pass(patience / 2), says("ready"), pass(patience - time.Second)}, gives},
		{"heard, then silent for long", []func(*rivals){kept("other"), was("ready"), pass(patience / 2), says("ready"), pass(patience)}, goes},
	} {
		t.Run(row.name, func(t *testing.T) {
			r := newRivals("own", func() time.Time { return begin })
			r.silence()
			for _, hear := range row.hears {
				hear(r)
			}
			err := r.verdict("mqtt", "barn", patience)
			switch {
			case row.want == goes && (err != nil || !r.spoken):
				t.Errorf("error %v, spoken %v", err, r.spoken)
			case row.want != goes && (err == nil || !strings.Contains(err.Error(), row.want) || r.spoken):
				t.Errorf("error %v, spoken %v, want %q", err, r.spoken, row.want)
			}
			if wrong := errors.As(err, new(broker.Wrong)); wrong != (row.want == gives) {
				t.Errorf("only a person can mend it: %v", wrong)
			}
		})
	}
}

func TestWhoGivesWay(t *testing.T) {
	for _, row := range []struct {
		own, other string
		spoken     bool
		yields     bool
	}{
		{"aa", "bb", true, false}, {"bb", "aa", true, true}, {"aa", "bb", false, true}, {"aa", "aa", true, false}, {"aa", "", true, false},
	} {
		r := newRivals(row.own, time.Now)
		r.spoken = row.spoken
		r.named(row.other, false)
		if _, yes := r.yields(); yes != row.yields {
			t.Errorf("%s, %s: gives way %v", row.own, row.other, yes)
		}
	}
}

// TestClientIDs: what every server must take, different between installations, trees and devices, the same at every start.
func TestClientIDs(t *testing.T) {
	seen := map[string]bool{}
	for _, device := range []string{"nestmon", "barn", "willow-bend", "a-very-long-name-of-a-device"} {
		for _, id := range []string{"0a1b2c3d", "0a1b2c3e"} {
			for _, homie4 := range []bool{false, true} {
				c := DefaultConfig()
				c.Device = device
				got := c.clientID(id, homie4)
				if got != c.clientID(id, homie4) || len(got) > 23 || seen[got] || strings.Trim(got, "abcdefghijklmnopqrstuvwxyz0123456789") != "" {
					t.Errorf("device %s, installation %s: %q", device, id, got)
				}
				seen[got] = true
				if c.ClientID = "mine"; !strings.HasPrefix(c.clientID(id, homie4), "mine") {
					t.Error("the written id is not used")
				}
			}
		}
	}
}

// forgetful is a store that keeps nothing.
type forgetful struct{ memory }

func (forgetful) SetMeta(string, string) error { return errors.New("the card is full") }

func TestInstance(t *testing.T) {
	s := memory{}
	first, err := instance(s)
	second, again := instance(s)
	if err != nil || again != nil || first != second || len(first) != 2*instanceBytes {
		t.Errorf("%q, %v and %q, %v", first, err, second, again)
	}
	if id, err := instance(forgetful{}); id == "" || err == nil {
		t.Errorf("without a store: %q, %v", id, err)
	}
}
