package radio

import (
	"net"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/eclipse/paho.mqtt.golang/packets"
)

// patience bounds a failing test.
const patience = 20 * time.Second

func eventually(t *testing.T, what string, ok func() bool) {
	t.Helper()
	for end := time.Now().Add(patience); time.Now().Before(end); time.Sleep(5 * time.Millisecond) {
		if ok() {
			return
		}
	}
	t.Fatalf("it never came to this: %s", what)
}

// stub is as much of a broker as a listener needs, and can do what a real one should not. Real ones are in tests/services.
type stub struct {
	listener net.Listener
	answer   func(topic string) []byte // return codes of a SUBACK; nil grants everything

	mu      sync.Mutex
	client  net.Conn // the newest
	ids     []string // of the clients that came
	topics  []string // subscribed to on the newest connection
	acked   []uint16 // message ids that were acknowledged
	dropped bool     // connections are closed at once
}

func newStub(t *testing.T) *stub {
	t.Helper()
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	b := &stub{listener: ln}
	go func() {
		for {
			c, err := ln.Accept()
			if err != nil {
				return
			}
			go b.serve(c)
		}
	}()
	t.Cleanup(func() {
		_ = ln.Close()
		b.cut()
	})
	return b
}

func (b *stub) url() string { return "tcp://" + b.listener.Addr().String() }

func (b *stub) serve(c net.Conn) {
	defer c.Close()
	for {
		p, err := packets.ReadPacket(c)
		if err != nil {
			return
		}
		b.mu.Lock()
		var reply packets.ControlPacket
		switch p := p.(type) {
		case *packets.ConnectPacket:
			if b.dropped {
				b.mu.Unlock()
				return
			}
			b.client, b.topics = c, nil
			b.ids = append(b.ids, p.ClientIdentifier)
			reply = packets.NewControlPacket(packets.Connack)
		case *packets.SubscribePacket:
			ack := packets.NewControlPacket(packets.Suback).(*packets.SubackPacket)
			ack.MessageID, ack.ReturnCodes = p.MessageID, p.Qoss
			if b.answer != nil {
				ack.ReturnCodes = b.answer(p.Topics[0])
			}
			b.topics = append(b.topics, p.Topics...)
			reply = ack
		case *packets.PingreqPacket:
			reply = packets.NewControlPacket(packets.Pingresp)
		case *packets.PubackPacket:
			b.acked = append(b.acked, p.MessageID)
		case *packets.DisconnectPacket:
			b.mu.Unlock()
			return
		}
		if reply != nil {
			_ = reply.Write(c)
		}
		b.mu.Unlock()
	}
}

// say delivers a message, with an id where it is not 0.
func (b *stub) say(topic, payload string, id uint16, retained bool) {
	p := packets.NewControlPacket(packets.Publish).(*packets.PublishPacket)
	p.TopicName, p.Payload, p.Retain = topic, []byte(payload), retained
	if id != 0 {
		p.Qos, p.MessageID = 1, id
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.client != nil {
		_ = p.Write(b.client)
	}
}

// raw delivers bytes.
func (b *stub) raw(bytes []byte) {
	b.mu.Lock()
	defer b.mu.Unlock()
	_, _ = b.client.Write(bytes)
}

func (b *stub) cut() {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.client != nil {
		_ = b.client.Close()
	}
}

// drops makes the broker close every connection, or take them again.
func (b *stub) drops(yes bool) {
	b.mu.Lock()
	b.dropped = yes
	b.mu.Unlock()
	if yes {
		b.cut()
	}
}

func (b *stub) subscribed(topics ...string) bool {
	b.mu.Lock()
	defer b.mu.Unlock()
	return slices.Equal(b.topics, topics)
}

func (b *stub) connections() int {
	b.mu.Lock()
	defer b.mu.Unlock()
	return len(b.ids)
}
