package exporter

import (
	"slices"
	"sync"
	"time"
)

// memoryLimit bounds what waits in memory: as many messages as wait in the archive at most; ours, no source.
const memoryLimit = 1000

// Memory keeps the messages of one channel until they are sent, and forgets them with the process. It is the way past an archive
// that cannot be written. It may be used by any number of goroutines.
type Memory struct {
	mu      sync.Mutex
	waiting []Message
}

var _ MessageStore = (*Memory)(nil)

// Put adds messages. Where too many wait, the oldest are dropped.
func (m *Memory) Put(messages ...Message) {
	m.mu.Lock()
	defer m.mu.Unlock()
	for _, message := range messages {
		if message.Kind.Replaces() {
			m.waiting = slices.DeleteFunc(m.waiting, func(old Message) bool { return old.Kind == message.Kind })
		}
		m.waiting = append(m.waiting, message)
	}
	if over := len(m.waiting) - memoryLimit; over > 0 {
		m.waiting = slices.Delete(m.waiting, 0, over)
	}
}

// Pending returns at most limit messages that may be sent now, oldest first.
func (m *Memory) Pending(_ string, now time.Time, limit int) ([]Message, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	var due []Message
	for _, message := range m.waiting {
		if !message.After.After(now) && len(due) < limit {
			due = append(due, message)
		}
	}
	return due, nil
}

// Sent forgets a message.
func (m *Memory) Sent(_, id string, _ time.Time) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.waiting = slices.DeleteFunc(m.waiting, func(message Message) bool { return message.ID == id })
	return nil
}

// Refused forgets a message too: whoever refused it has had it said in the log.
func (m *Memory) Refused(channel, id, _ string) error { return m.Sent(channel, id, time.Time{}) }
