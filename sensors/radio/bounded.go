package radio

import (
	"bufio"
	"encoding/binary"
	"fmt"
	"io"
	"net"
)

// MQTT 3.1.1, 2.2: the type of a packet is in the upper half of its first byte; the length that follows takes up to four bytes.
const (
	publishType = 3
	subackType  = 9
	qosBits     = 0x06
	lengthBytes = 4
	more        = 0x80
	// subackLength is that of an answer to one subscription, which is all that is ever asked for; paho 1.5.1 reads beyond its own list when
	// there are more (source).
	subackLength = 3
	// mostPacket is the longest packet that is passed on whole: a payload, its topic, and what stands round them.
	mostPacket = mostPayload + longestTopic + 4
)

// bounded is a connection whose reader is never told of a packet longer than mostPacket: of a longer message as much is passed on as shows
// that it is too long, and the rest is thrown away.
type bounded struct {
	net.Conn
	in   *bufio.Reader
	head []byte // to be passed on
	body int    // bytes of in to be passed on after it
	skip int    // bytes of in to be thrown away after them
}

func newBounded(c net.Conn) *bounded { return &bounded{Conn: c, in: bufio.NewReader(c)} }

// Read implements io.Reader. It is called by one goroutine.
func (b *bounded) Read(to []byte) (int, error) {
	if len(b.head) == 0 && b.body == 0 {
		if err := b.next(); err != nil {
			return 0, err
		}
	}
	if len(b.head) > 0 {
		n := copy(to, b.head)
		b.head = b.head[n:]
		return n, nil
	}
	n, err := b.in.Read(to[:min(len(to), b.body)])
	b.body -= n
	return n, err
}

// next reads the beginning of a packet.
func (b *bounded) next() error {
	if _, err := b.in.Discard(b.skip); err != nil {
		return err
	}
	b.skip = 0
	first, err := b.in.ReadByte()
	if err != nil {
		return err
	}
	length, err := b.length()
	if err != nil {
		return err
	}
	kind := first >> 4
	switch {
	case kind == subackType && length != subackLength:
		return fmt.Errorf("answer of %d bytes to one subscription", length)
	case length <= mostPacket:
		b.head, b.body = header(first, length), length
		return nil
	case kind != publishType:
		return fmt.Errorf("packet of type %d announces %d bytes", kind, length)
	}
	size, err := b.in.Peek(2)
	if err != nil {
		return err
	}
	keep := 2 + int(binary.BigEndian.Uint16(size)) + mostPayload + 1
	if first&qosBits != 0 {
		keep += 2 // its id, by which it is acknowledged
	}
	b.head, b.body, b.skip = header(first, keep), keep, length-keep
	return nil
}

// length reads a packet's remaining length.
func (b *bounded) length() (n int, err error) {
	for i := range lengthBytes {
		c, err := b.in.ReadByte()
		if err != nil {
			return 0, err
		}
		n |= int(c&^more) << (7 * i)
		if c&more == 0 {
			return n, nil
		}
	}
	return 0, fmt.Errorf("%w: a packet's length has more than %d bytes", io.ErrUnexpectedEOF, lengthBytes)
}

func header(first byte, length int) []byte {
	h := []byte{first}
	for {
		c := byte(length % more)
		if length /= more; length == 0 {
			return append(h, c)
		}
		h = append(h, c|more)
	}
}
