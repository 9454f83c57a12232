package mqtt

import (
	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/eclipse/paho.mqtt.golang/packets"
)

// copies is paho's memory store, which hands out copies. After a reconnect paho 1.5.1 marks every stored message as sent before, while another
// of its goroutines may just be writing that very packet: one that was published since. It can go when paho marks a copy itself.
type copies struct{ *paho.MemoryStore }

func newStore() paho.Store { return copies{paho.NewMemoryStore()} }

// Get returns a copy of a message, and other packets as they are.
func (c copies) Get(key string) packets.ControlPacket {
	packet := c.MemoryStore.Get(key)
	if message, ok := packet.(*packets.PublishPacket); ok {
		other := *message
		return &other
	}
	return packet
}
