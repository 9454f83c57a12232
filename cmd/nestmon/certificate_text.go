package main

import (
	"crypto/x509"
	"fmt"
	"strings"
	"time"

	"nestmon/exporter/webconfig"
)

func madeText(c certificates, webFile string, there bool, text string) string {
	var b strings.Builder
	fmt.Fprintf(&b, "Made in %s: %s and %s, the authority of this home; %s and %s, the page's certificate.\n", c.dir, authorityCert, authorityKey, pageCert, pageKey)
	fmt.Fprintf(&b, "Keep a copy of %s on a medium in a drawer, and show it to nobody: whoever has it can pass for this page.\n\n", authorityKey)
	if there {
		fmt.Fprintf(&b, "%s is there already and stays. Write into it:\n\n%s\n", webFile, text)
	} else {
		fmt.Fprintf(&b, "Made too: %s, which tells the page of it.\n", webFile)
	}
	if p := c.cfg.Publish.Page; p == nil || p.WebConfigFile != webFile {
		fmt.Fprintf(&b, "Write into the configuration, publish: page: {web_config_file: %s}", webFile)
		if p != nil && strings.HasPrefix(p.Address, "http://") {
			b.WriteString(", and https:// in place of http:// in address")
		}
		b.WriteString(".\n")
	}
	b.WriteString(`Then: sudo -u nestmon nestmon check && sudo systemctl restart nestmon

The page's certificate ends after 13 months. So that it is renewed by itself, one line for root's crontab (sudo crontab -e):

    0 4 1 * * /usr/bin/nestmon certificate renew --due

`)
	return b.String()
}

// trustText is how to make devices trust an authority. What the menus are called is from memory, and changes.
func (c certificates) trustText(ca *x509.Certificate) string {
	at, words := "https://BOARD:8380", "In place of BOARD:8380 write what opens the page."
	if place, said, err := feedPlace(c.cfg); err == nil {
		at, words = strings.Replace(place, "http://", "https://", 1), said
	}
	if words != "" {
		words = " " + words
	}
	return fmt.Sprintf(`
Every phone and computer that opens the page has to trust the authority once, until %[1]s. On each, open

    %[2]s/%[3]s

and go on past the browser's warning, this one time.%[4]s
Before you trust what it fetched, compare its SHA-256 fingerprint, which the device shows as details of the certificate:

    %[5]s

Android: open the file, or Settings, Security, More security, Encryption & credentials, Install a certificate, CA certificate; choose the
  file. Firefox there also wants: Settings, About Firefox, tap the logo five times, back, Secret settings, Use third party CA certificates.
iPhone, iPad: open the address in Safari and allow the profile. Settings, General, VPN & Device Management: install it. Then Settings,
  General, About, Certificate Trust Settings: switch it on. Without this second step it counts for nothing.
Windows: open the file, Install Certificate, Current User, Place all certificates in the following store: Trusted Root Certification
  Authorities.
macOS: open the file, which adds it to the Keychain; there open it, Trust, When using this certificate: Always Trust.
Linux, Debian and its kin: sudo cp nestmon-ca.crt /usr/local/share/ca-certificates/ && sudo update-ca-certificates. Chrome and Chromium
  keep their own list: Settings, Privacy and security, Security, Manage certificates, Authorities (Custom), Import, for websites.
Firefox on any computer: Settings, Privacy & Security, Certificates, View Certificates, Authorities, Import, for websites.

The authority is held to names and addresses of a home: on devices that heed it, which is nearly all, trusting it opens no other door.
`, ca.NotAfter.Format(time.DateOnly), at, authorityCert, words, webconfig.Fingerprint(ca))
}
