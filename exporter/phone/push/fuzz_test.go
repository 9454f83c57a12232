package push

import (
	"net/netip"
	"net/url"
	"strings"
	"testing"

	"nestmon/exporter"
)

// FuzzSubscription: whoever may sign up can name no address of the home network, and no key that cannot be used.
func FuzzSubscription(f *testing.F) {
	const key, auth = "BLc4xRzKlKORKWlbdgFaBrrPK3ydWAHo4M0gs0i1oEKgPpWC5cW8OCzVrOQRv-1npXRWk8udnW3oYhIO4475rds", "BTBZMqHH6r4Tts7J_aSIgg" // RFC 8291, appendix A
	for _, at := range []string{
		"https://push.example.net/wp/x", "http://push.example.net/", "https://127.0.0.1/", "https://[::1]/", "https://localhost", "https://router.local/x", "https://a:b@push.example.net/", "https://push.example.net:22/", "https:///x",
		"https://0x7f.1/", "https://2130706433/", "https://push.example.net\\@127.0.0.1/", "https://%31%32%37.0.0.1/", "HTTPS://PUSH.EXAMPLE.NET/", "https://push.example.net./x", "https://127。0。0。1/",
	} {
		f.Add(at, key, auth)
	}
	f.Add("https://push.example.net/", "AAAA", "=")
	f.Fuzz(func(t *testing.T, at, key, auth string) {
		s := exporter.Subscription{Endpoint: exporter.NewSecret(at), P256dh: key, Auth: exporter.NewSecret(auth)}
		if (Net{}).check(s) != nil {
			return
		}
		u, err := url.Parse(at)
		if err != nil || u.Scheme != "https" || u.User != nil || u.Port() != "" || len(at) > maxEndpoint {
			t.Fatalf("%q may sign up: %v", at, err)
		}
		host := strings.TrimSuffix(strings.ToLower(u.Hostname()), ".")
		if _, err := netip.ParseAddr(host); err == nil || !strings.Contains(host, ".") || strings.HasSuffix(host, ".local") || strings.HasSuffix(host, "localhost") {
			t.Errorf("%q may sign up", at)
		}
		if raw, err := unbase64(key); err != nil || len(raw) != 65 || raw[0] != 4 {
			t.Errorf("the key %q may be used", key)
		}
		if raw, err := unbase64(auth); err != nil || len(raw) != authBytes {
			t.Errorf("the secret %q may be used", auth)
		}
	})
}
