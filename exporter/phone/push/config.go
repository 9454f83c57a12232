package push

import (
	"net/mail"
	"net/url"
	"slices"
	"strings"
)

// Config is the block push of a channel. Nothing in it is secret.
type Config struct {
	// Contact is how a push service reaches whoever runs this nestmon: mailto:ADDRESS or https://HOST/. It goes with every message
	// as the claim sub (RFC 8292, 2.1).
	Contact string `yaml:"contact"`
}

// unreachable are endings of host names that no push service can look up. Some refuse a contact there, and with it every message, as their
// users report publicly (403 BadJwtToken).
var unreachable = []string{"localhost", "local", "invalid", "internal", "lan", "home"}

// Validate reports a contact that a push service may refuse.
func (c Config) Validate(report func(path, problem string)) {
	const remedy = "; write mailto: and your mail address, or the https:// address of a page about you"
	u, err := url.Parse(c.Contact)
	switch {
	case c.Contact == "":
		report("contact", "is missing: push services want to know whom to ask"+remedy)
	case err != nil || (u.Scheme != "mailto" && u.Scheme != "https"):
		report("contact", "is neither mailto: nor https:"+remedy)
	case u.Scheme == "https" && !public(u.Hostname()):
		report("contact", "names a host that only your own network knows, which some push services refuse"+remedy)
	case u.Scheme == "mailto":
		address, err := mail.ParseAddress(u.Opaque)
		if err != nil || address.Address != u.Opaque {
			report("contact", "holds no plain mail address"+remedy)
		} else if _, host, _ := strings.Cut(u.Opaque, "@"); !public(host) {
			report("contact", "names a host that only your own network knows, which some push services refuse"+remedy)
		}
	}
}

// public reports whether a host's name can be known outside.
func public(host string) bool {
	labels := strings.Split(strings.ToLower(strings.TrimSuffix(host, ".")), ".")
	return len(labels) > 1 && !slices.Contains(labels, "") && !slices.Contains(unreachable, labels[len(labels)-1])
}
