package web

import "sync"

// boards keeps the last board of each recall that somebody looked at.
type boards struct {
	mu    sync.Mutex
	slots map[string]*slot
}

// slot keeps one board, and lets one at a time work it out.
type slot struct {
	sync.Mutex
	board *board
}

// mostBoards is how many recalls are kept: more are never worked on at a time.
const mostBoards = 8

func (b *boards) of(code string) *slot {
	b.mu.Lock()
	defer b.mu.Unlock()
	if s := b.slots[code]; s != nil {
		return s
	}
	if b.slots == nil || len(b.slots) >= mostBoards {
		b.slots = map[string]*slot{}
	}
	s := &slot{}
	b.slots[code] = s
	return s
}
