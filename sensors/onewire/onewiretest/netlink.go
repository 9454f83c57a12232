package onewiretest

import (
	"errors"
	"fmt"

	"periph.io/x/conn/v3/onewire"
)

// Netlink is the kernel's master of a line as periph's host/netlink shows it: one message is reset, write and read; a search is the
// kernel's own. Its errors carry periph's texts.
type Netlink struct {
	Line *Line
	// Lose is asked before each message; true loses its answer. From then on every answer of that socket belongs to an earlier message.
	Lose func() bool
	// Short makes the answer so many bytes shorter than what was asked for.
	Short int
	// Hang is received from before each message, where it is set.
	Hang   chan struct{}
	Absent bool // no such master
	Opened int  // sockets made
	Closed int
}

// Open makes a socket.
func (n *Netlink) Open() (onewire.BusCloser, error) {
	if n.Absent {
		return nil, errors.New("no such bus master")
	}
	n.Opened++
	return &socket{n: n}, nil
}

type socket struct {
	n      *Netlink
	seq    int
	behind int // messages whose answers were lost
	closed bool
}

func (s *socket) String() string { return "emulated netlink" }

// Close may be called once: periph's sets its descriptor to 0, and would close standard input the next time.
func (s *socket) Close() error {
	if s.closed {
		return errors.New("netlink-onewire: closed twice: standard input is gone")
	}
	s.closed = true
	s.n.Closed++
	return nil
}

// exchange is the fate of one message.
func (s *socket) exchange() error {
	if s.n.Hang != nil {
		<-s.n.Hang
	}
	s.seq++
	switch {
	case s.closed:
		return errors.New("failed to send W1 message: failed to send message: socket operation on non-socket")
	case s.n.Lose != nil && s.n.Lose():
		s.behind++
		return errors.New("failed to receive response / acks: resource temporarily unavailable")
	case s.behind > 0:
		return fmt.Errorf("failed to receive response / acks: received connector seq %d, want %d", s.seq-s.behind, s.seq)
	}
	return nil
}

func (s *socket) Tx(w, r []byte, _ onewire.Pullup) error {
	l := s.n.Line
	err := s.exchange()
	present, _ := l.Reset() // what went lost is the answer: the chips have heard
	for _, b := range w {
		l.PutByte(b)
	}
	got := make([]byte, len(r))
	for i := range got {
		got[i] = l.GetByte()
	}
	if err == nil && !present {
		err = errors.New("failed to receive response / acks: invalid w1_netlink_msg status 255")
	}
	if err != nil {
		return errors.New("netlink-onewire: transaction failed: " + err.Error()) // periph wraps nothing
	}
	copy(r, got[:max(0, len(got)-s.n.Short)])
	return nil
}

// Search is w1_search of the kernel, which leaves checksums to others.
func (s *socket) Search(bool) (found []onewire.Address, err error) {
	if err := s.exchange(); err != nil {
		return nil, errors.New("netlink-onewire: search command failed: " + err.Error())
	}
	l, last, fork := s.n.Line, onewire.Address(0), -1
	for range 64 { // slaves at most
		if present, _ := l.Reset(); !present {
			return found, nil
		}
		l.PutByte(0xf0)
		a, next := onewire.Address(0), -1
		for n := range 64 {
			bit, complement, taken := l.Triplet(n == fork || n < fork && last>>n&1 == 1)
			switch {
			case bit && complement:
				return found, nil
			case !bit && !complement && !taken:
				next = n
			}
			if taken {
				a |= 1 << n
			}
		}
		found = append(found, a)
		if last, fork = a, next; fork < 0 {
			return found, nil
		}
	}
	return found, nil
}
