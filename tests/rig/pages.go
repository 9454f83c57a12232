package rig

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"net"
	"net/http"
	"strings"
	"sync"
	"sync/atomic"
	"time"
)

// Pages are clients of the page's stream.
type Pages struct {
	Address string
	// Took is called with the data of each state that one that reads got; nil where nobody wants it.
	Took func(data string)

	States, Beats, Ended atomic.Int64

	mu   sync.Mutex
	open []func() // ends each, the oldest first
	done sync.WaitGroup
}

// Open opens one. One that does not read asks for the stream and leaves what comes in its socket.
func (p *Pages) Open(reads bool) error {
	c, err := (&net.Dialer{Timeout: 5 * time.Second}).Dial("tcp", p.Address)
	if err != nil {
		return err
	}
	if !reads {
		if tcp, ok := c.(*net.TCPConn); ok {
			_ = tcp.SetReadBuffer(4096) // the smallest that a kernel takes, so that it is soon full
		}
	}
	if _, err := fmt.Fprintf(c, "GET /api/stream HTTP/1.1\r\nHost: %s\r\n\r\n", p.Address); err != nil {
		return err
	}
	p.mu.Lock()
	p.open = append(p.open, func() { _ = c.Close() })
	p.mu.Unlock()
	if reads {
		p.done.Go(func() { p.read(c) })
	}
	return nil
}

func (p *Pages) read(c net.Conn) {
	defer p.Ended.Add(1)
	in := bufio.NewReaderSize(c, 64<<10)
	for {
		line, err := in.ReadString('\n')
		if err != nil {
			return
		}
		switch data, is := strings.CutPrefix(line, "data: "); {
		case strings.HasPrefix(line, "event: beat"):
			p.Beats.Add(1)
		case is && len(data) > 64: // no beat
			p.States.Add(1)
			if p.Took != nil {
				p.Took(data)
			}
		}
	}
}

// Leave ends the oldest that are open but for keep.
func (p *Pages) Leave(keep int) {
	p.mu.Lock()
	n := max(0, len(p.open)-keep)
	gone := p.open[:n]
	p.open = p.open[n:]
	p.mu.Unlock()
	for _, end := range gone {
		end()
	}
	if keep == 0 {
		p.done.Wait()
	}
}

// Scrape reads an address every so often until ctx ends, and counts what went well and what did not, and how long the slowest took.
func Scrape(ctx context.Context, url string, every time.Duration) (good, bad *atomic.Int64, slowest *atomic.Int64) {
	good, bad, slowest = &atomic.Int64{}, &atomic.Int64{}, &atomic.Int64{}
	client := &http.Client{Timeout: 5 * time.Second}
	go func() {
		for tick := time.NewTicker(every); ; {
			select {
			case <-ctx.Done():
				tick.Stop()
				return
			case <-tick.C:
			}
			began := time.Now()
			res, err := client.Get(url)
			if err == nil {
				_, err = io.Copy(io.Discard, res.Body)
				_ = res.Body.Close()
			}
			if err != nil {
				bad.Add(1)
				continue
			}
			good.Add(1)
			slowest.Store(max(slowest.Load(), int64(time.Since(began))))
		}
	}()
	return good, bad, slowest
}
