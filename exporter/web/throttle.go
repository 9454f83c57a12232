package web

import (
	"net"
	"net/netip"
	"sync"
	"time"
)

// pace is how often something may be tried: so many times at once, then once in every.
type pace struct {
	burst int
	every time.Duration
}

// How often a person may try, ours, no source. An address is a person who mistypes; all together are bounded more loosely, or whoever tries
// without end would lock the keeper out too.
var (
	loginPace     = pace{5, time.Minute}       // for each address
	allLogins     = pace{20, 15 * time.Second} // each costs about a second of a small board
	wrongLinks    = pace{10, time.Minute}      // for each address
	allWrongLinks = pace{100, time.Second}
)

// throttle counts tries by address and all together. Addresses that have not tried for a while are forgotten.
type throttle struct {
	each, all pace

	mu    sync.Mutex
	from  map[string]time.Time // when that address has all its tries again
	total time.Time
}

// take uses up one try of addr, or says how long there is none.
func (t *throttle) take(addr string, now time.Time) (wait time.Duration) {
	t.mu.Lock()
	defer t.mu.Unlock()
	for a, whole := range t.from {
		if !whole.After(now) {
			delete(t.from, a)
		}
	}
	if wait = max(t.each.wait(t.from[addr], now), t.all.wait(t.total, now)); wait > 0 {
		return wait
	}
	if t.from == nil {
		t.from = map[string]time.Time{}
	}
	t.from[addr], t.total = t.each.after(t.from[addr], now), t.all.after(t.total, now)
	return 0
}

// giveBack returns the try of somebody who was right.
func (t *throttle) giveBack(addr string) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if whole, ok := t.from[addr]; ok {
		t.from[addr] = whole.Add(-t.each.every)
	}
	t.total = t.total.Add(-t.all.every)
}

func (p pace) wait(whole, now time.Time) time.Duration {
	return max(whole.Add(-time.Duration(p.burst-1)*p.every).Sub(now), 0)
}

func (p pace) after(whole, now time.Time) time.Time {
	if whole.Before(now) {
		whole = now
	}
	return whole.Add(p.every)
}

// ipv6Site is how many bits of an address belong to one home: a device there chooses the rest anew as it likes (RFC 8981).
const ipv6Site = 64

// origin is whose tries are counted together.
func origin(remote string) string {
	host, _, err := net.SplitHostPort(remote)
	if err != nil {
		return remote
	}
	ip, err := netip.ParseAddr(host)
	if err != nil || ip.Is4() || ip.Is4In6() {
		return host
	}
	site, err := ip.WithZone("").Prefix(ipv6Site)
	if err != nil {
		return host
	}
	return site.String()
}
