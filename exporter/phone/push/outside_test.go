package push

import (
	"net/netip"
	"testing"
)

// What a name from outside may lead to. The addresses are examples of each kind; those outside belong to no one in particular here.
func TestOutside(t *testing.T) {
	for address, want := range map[string]bool{
		"8.8.4.4": true, "2600::1": true, "::ffff:8.8.4.4": true,
		"127.0.0.1": false, "::1": false, "10.1.2.3": false, "172.20.0.1": false, "192.168.1.1": false, "169.254.169.254": false, "100.64.0.1": false, "0.0.0.0": false,
		"::": false, "224.0.0.1": false, "255.255.255.255": false, "198.18.0.1": false, "192.0.2.1": false, "fe80::1": false, "fe80::1%eth0": false, "fd00::1": false, "ff02::1": false,
		"::ffff:192.168.1.1": false, "64:ff9b::c0a8:101": false, "2002:c0a8:101::1": false, "2001:db8::1": false, "::ffff:127.0.0.1": false,
	} {
		if got := outside(netip.MustParseAddr(address)); got != want {
			t.Errorf("%s: outside is %v", address, got)
		}
	}
}
