package main

import (
	"cmp"
	"context"
	"crypto/tls"
	"crypto/x509"
	"net"
	"net/smtp"
	"net/url"
	"slices"
	"time"

	"nestmon/exporter/webconfig"
	"nestmon/sensors/broker"
)

// far is a server that shows a certificate.
type far struct {
	name  string // as people know it; the address may be a secret
	at    string // host:port, empty where it could not be read
	upper bool   // STARTTLS of mail, after a first word in the open
}

// examineCertificates reads until when each certificate is good, ours and those of servers that show one. Whether it is to be trusted is asked where
// the server is; here only its end is read.
func examineCertificates(ctx context.Context, p *patient) (found []sign) {
	for _, f := range p.webConfigs() {
		if err := webconfig.Ending(f, p.now); err != nil {
			found = append(found, fromCheck(lateOr(err, f, p.now), err.Error()))
		} else if webconfig.Secure(f) {
			found = append(found, fine("the page's own, in %s, is good for more than %d days", f, inDays(webconfig.Soon)))
		} else if !p.able() {
			found = append(found, blind(askAs, "%s is not for this user to read", f))
		}
	}
	for _, f := range p.farServers() {
		end, life, err := f.ends(ctx)
		left := end.Sub(p.now)
		switch {
		case f.at == "":
			found = append(found, blind(askAs, "the address of %s could not be read, so its certificate was not seen", f.name))
		case err != nil:
			found = append(found, blind("see the lines of servers and phone", "%s shows none: it cannot be reached", f.name))
		case left < 0:
			found = append(found, fails("whoever runs it renews it", "that of %s ended on %s", f.name, end.Format(time.DateOnly)))
		case left < soonOf(life):
			found = append(found, lookAt("whoever runs it renews it; where that goes by itself, it has not", "that of %s ends on %s", f.name, end.Format(time.DateOnly)))
		default:
			found = append(found, fine("that of %s is good until %s", f.name, end.Format(time.DateOnly)))
		}
	}
	return found
}

// lateOr is failed where the certificate has ended, and else to be looked at.
func lateOr(_ error, file string, now time.Time) verdict {
	if webconfig.Current(file, now) != nil {
		return failed
	}
	return look
}

func inDays(d time.Duration) int { return int(d / (24 * time.Hour)) }

// soonOf is how long before its end a certificate that others renew is spoken of: a month, and where it lives for less than four, a quarter of its life.
// Who renews by itself does so when a third is left (common practice, no source).
func soonOf(life time.Duration) time.Duration { return min(broker.Soon, life/4) }

// webConfigs are the files by which we answer over TLS.
func (p *patient) webConfigs() (files []string) {
	if c := p.cfg.Publish.Page; c != nil {
		files = append(files, c.WebConfigFile)
	}
	if c := p.cfg.Publish.Prometheus; c != nil {
		files = append(files, c.WebConfigFile)
	}
	slices.Sort(files)
	return slices.DeleteFunc(slices.Compact(files), func(f string) bool { return f == "" })
}

// farServers lists the servers that are reached over TLS.
func (p *patient) farServers() (all []far) {
	add := func(name, address string) {
		u, err := url.Parse(address)
		if err != nil || u.Hostname() == "" {
			all = append(all, far{name: name})
			return
		}
		port, secure := map[string]string{"ssl": "8883", "tls": "8883", "mqtts": "8883", "https": "443", "wss": "443"}[u.Scheme]
		if secure {
			all = append(all, far{name: name, at: net.JoinHostPort(u.Hostname(), cmp.Or(u.Port(), port))})
		}
	}
	if c := p.cfg.Publish.MQTT; c != nil {
		add("publish.mqtt", c.Broker)
	}
	if c := p.cfg.Radio; c != nil {
		add("radio", c.Broker)
	}
	if c := p.cfg.Publish.InfluxDB; c != nil {
		add("publish.influxdb", c.URL)
	}
	if c := p.cfg.Phone; c != nil {
		for _, ch := range c.Channels {
			if m := ch.Mail; m != nil {
				if at, first, secure := m.Secured(); secure {
					all = append(all, far{name: "phone " + ch.Name, at: at, upper: !first})
				}
			} else if ch.Push == nil {
				add("phone "+ch.Name, ch.Server())
			}
		}
		if b := c.Heartbeat; b != nil {
			add("heartbeat", b.Server())
		}
	}
	return all
}

// ends connects, reads the certificate that is shown, and goes: nothing is sent.
func (f far) ends(ctx context.Context) (end time.Time, life time.Duration, err error) {
	if f.at == "" {
		return end, 0, nil
	}
	ctx, cancel := context.WithTimeout(ctx, connectTime)
	defer cancel()
	conn, err := new(net.Dialer).DialContext(ctx, "tcp", f.at)
	if err != nil {
		return end, 0, err
	}
	defer conn.Close()
	if at, ok := ctx.Deadline(); ok {
		err = conn.SetDeadline(at)
	}
	host, _, _ := net.SplitHostPort(f.at)
	// Not verified: one that has ended, or whose signer is known to the sink alone, is to be read as well, and nothing is told to whom it shows.
	read := &tls.Config{ServerName: host, InsecureSkipVerify: true} //nolint:gosec // see above
	var shown []*x509.Certificate
	if f.upper {
		var c *smtp.Client
		if c, err = smtp.NewClient(conn, host); err == nil {
			err = c.StartTLS(read)
		}
		if err == nil {
			state, _ := c.TLSConnectionState()
			shown = state.PeerCertificates
		}
	} else {
		c := tls.Client(conn, read)
		if err = c.HandshakeContext(ctx); err == nil {
			shown = c.ConnectionState().PeerCertificates
		}
	}
	if err != nil || len(shown) == 0 {
		return end, 0, cmp.Or(err, error(errNoCertificate))
	}
	return shown[0].NotAfter, shown[0].NotAfter.Sub(shown[0].NotBefore), nil
}

const errNoCertificate = errorOf("no certificate was shown")
