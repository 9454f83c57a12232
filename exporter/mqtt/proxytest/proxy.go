// Package proxytest is a TCP proxy for tests that breaks connections in the ways networks do.
package proxytest

import (
	"net"
	"sync"
	"testing"
)

// Proxy stands between a client and a server. It passes everything on until told otherwise.
type Proxy struct {
	target   string
	listener net.Listener

	mu    sync.Mutex
	mode  mode
	delay func() // called before every piece from the server; nil: not
	links map[*link]bool
}

type mode int

const (
	pass mode = iota
	cut       // connections are closed, new ones at once
	hole      // connections stay and nothing comes through any more, not even their end
)

type link struct {
	client, server net.Conn // server is nil for one made while the proxy was a hole
	dead           bool     // under the proxy's lock: nothing comes through any more
}

// Start begins to listen on a free port of the loopback address. The test's end closes everything.
func Start(t testing.TB, target string) *Proxy {
	t.Helper()
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	p := &Proxy{target: target, listener: ln, links: map[*link]bool{}}
	go p.accept()
	t.Cleanup(func() {
		_ = ln.Close()
		p.Cut()
	})
	return p
}

// Addr is host:port.
func (p *Proxy) Addr() string { return p.listener.Addr().String() }

// Pass lets new connections through. What fell into a hole stays there.
func (p *Proxy) Pass() { p.set(pass) }

// Cut closes all connections, and new ones as they come.
func (p *Proxy) Cut() {
	p.set(cut)
	p.mu.Lock()
	defer p.mu.Unlock()
	for l := range p.links {
		l.close()
		delete(p.links, l)
	}
}

// Hole swallows everything: neither side hears of the other again, and neither hears that.
func (p *Proxy) Hole() {
	p.set(hole)
	p.mu.Lock()
	defer p.mu.Unlock()
	for l := range p.links {
		l.dead = true
	}
}

// Slow calls wait before every piece the server sends.
func (p *Proxy) Slow(wait func()) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.delay = wait
}

func (p *Proxy) set(m mode) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.mode = m
}

func (p *Proxy) accept() {
	for {
		client, err := p.listener.Accept()
		if err != nil {
			return
		}
		go p.begin(client)
	}
}

func (p *Proxy) begin(client net.Conn) {
	p.mu.Lock()
	m := p.mode
	p.mu.Unlock()
	l := &link{client: client, dead: m == hole}
	if m == pass {
		var err error
		if l.server, err = net.Dial("tcp", p.target); err != nil {
			_ = client.Close()
			return
		}
	}
	p.mu.Lock()
	if m != p.mode && p.mode == hole {
		l.dead = true
	}
	if p.mode == cut {
		l.close()
		p.mu.Unlock()
		return
	}
	p.links[l] = true
	p.mu.Unlock()
	if l.server != nil {
		go p.copy(l, l.client, l.server, true)
		go p.copy(l, l.server, l.client, false)
	}
}

func (p *Proxy) copy(l *link, to, from net.Conn, delayed bool) {
	buf := make([]byte, 32*1024)
	for {
		n, err := from.Read(buf)
		p.mu.Lock()
		dead, wait := l.dead, p.delay
		p.mu.Unlock()
		switch {
		case dead && err == nil:
			continue
		case dead:
			return
		}
		if delayed && wait != nil {
			wait()
		}
		if _, werr := to.Write(buf[:n]); err != nil || werr != nil {
			l.close()
			p.mu.Lock()
			delete(p.links, l)
			p.mu.Unlock()
			return
		}
	}
}

func (l *link) close() {
	_ = l.client.Close()
	if l.server != nil {
		_ = l.server.Close()
	}
}
