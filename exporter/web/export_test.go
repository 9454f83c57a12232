package web

import "time"

// Hurry shortens how long a reader may take, and the beat of streams.
func (s *Server) Hurry(header, write, beat time.Duration) {
	s.times = times{header: header, read: 2 * header, write: write, idle: write, gap: beat / 10, beat: beat}
}

// Streams is how many streams hold a place.
func (s *Server) Streams() int {
	s.streams.mu.Lock()
	defer s.streams.mu.Unlock()
	return len(s.streams.all)
}
