package metrics

import (
	"fmt"
	"html"
	"net"
	"net/http"
)

// PageLink is where the page for people listens; the zero value is nowhere.
type PageLink struct {
	Listen string // host:port
	Secure bool   // over TLS
}

// from is the page's address as seen by somebody who reached this program at host, or empty.
func (p PageLink) from(host string) string {
	listens, port, err := net.SplitHostPort(p.Listen)
	if err != nil {
		return ""
	}
	if name, _, err := net.SplitHostPort(host); err == nil {
		host = name
	}
	if ip := net.ParseIP(listens); ip != nil && !ip.IsUnspecified() {
		if ip.IsLoopback() && !loopback(host) {
			return "" // only the board itself reaches it
		}
		host = listens
	}
	scheme := "http://"
	if p.Secure {
		scheme = "https://"
	}
	return scheme + net.JoinHostPort(host, port) + "/"
}

func loopback(host string) bool {
	ip := net.ParseIP(host)
	return host == "localhost" || ip != nil && ip.IsLoopback()
}

const landingHead = `<!doctype html>
<html lang="en"><meta charset="utf-8"><meta name="viewport" content="width=device-width"><title>nestmon metrics</title>
<style>body{font:1.1rem/1.5 sans-serif;max-width:40rem;margin:2rem auto;padding:0 1rem;color-scheme:light dark}</style>
<h1>nestmon metrics</h1>
<p>nestmon watches rabbit nests. This address is for a Prometheus server, which reads <a href="/metrics">/metrics</a>:
what every probe says, what is judged, what stands as an alarm, and how the program itself does.</p>
`

func (s *Sink) landing(w http.ResponseWriter, r *http.Request) {
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Content-Security-Policy", "default-src 'none'; style-src 'unsafe-inline'")
	w.Header().Set("X-Content-Type-Options", "nosniff")
	fmt.Fprint(w, landingHead)
	if page := s.Page.from(r.Host); page != "" {
		fmt.Fprintf(w, "<p>For people there is <a href=\"%s\">the page</a>.</p>\n", html.EscapeString(page))
	}
	fmt.Fprint(w, "</html>\n")
}
