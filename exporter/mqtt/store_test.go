package mqtt

import (
	"testing"

	"github.com/eclipse/paho.mqtt.golang/packets"
)

// What is marked after a reconnect must not be what is being written.
func TestTheStoreHandsOutCopies(t *testing.T) {
	s := newStore()
	s.Open()
	sent := packets.NewControlPacket(packets.Publish).(*packets.PublishPacket)
	sent.MessageID, sent.Qos, sent.TopicName, sent.Payload = 7, 1, "barn/a1", []byte("31.5")
	s.Put("o.7", sent)
	got, ok := s.Get("o.7").(*packets.PublishPacket)
	if !ok || got.MessageID != 7 || got.Qos != 1 || got.TopicName != "barn/a1" || string(got.Payload) != "31.5" {
		t.Fatalf("got %+v", got)
	}
	got.Dup = true
	if sent.Dup {
		t.Error("the packet itself was marked")
	}
	if s.Get("o.8") != nil {
		t.Error("there is a packet that nobody stored")
	}
}
