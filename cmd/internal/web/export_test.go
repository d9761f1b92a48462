package web

import "time"

// What one request may send.
const (
	MostForm = mostForm
	MostFile = mostFile
)

// Live sets how often listeners are told that the server is there, and how often the journal is looked at.
func Live(s *Server, beat, every time.Duration) { s.live.beat, s.live.every = beat, every }

// MostWatching sets how many may listen.
func MostWatching(s *Server, n int) {
	s.live.mu.Lock()
	defer s.live.mu.Unlock()
	s.live.most = n
}
