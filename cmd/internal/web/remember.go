package web

import (
	"fmt"
	"slices"
	"sync"
	"time"

	"heeltap/lots/store"
)

// mostRemembered is how many answers about all of the records are kept at hand.
const mostRemembered = 12

// memory keeps answers about all of the records until something is recorded, or the day is over.
type memory struct {
	mu   sync.Mutex
	list []*remembered
}

type remembered struct {
	key   string
	once  sync.Once
	value any
	err   error
}

// remember gives an answer that follows from the records alone; it is worked out once for what is recorded now.
func remember[T any](s *Server, tx *store.Tx, name, knownAt string, f func() (T, error)) (T, error) {
	var none T
	head, err := tx.Head()
	if err != nil {
		return none, err
	}
	key := fmt.Sprint(s.DB.Path(), "\x00", name, "\x00", knownAt, "\x00", head, "\x00", tx.Recorded().In(tx.Site().Zone).Format(time.DateOnly))
	s.memory.mu.Lock()
	i := slices.IndexFunc(s.memory.list, func(x *remembered) bool { return x.key == key })
	x := &remembered{key: key}
	if i >= 0 {
		x = s.memory.list[i]
	} else {
		s.memory.list = append(s.memory.list, x)
		s.memory.list = s.memory.list[max(0, len(s.memory.list)-mostRemembered):]
	}
	s.memory.mu.Unlock()
	x.once.Do(func() { x.value, x.err = f() })
	if x.err != nil { // it may be different next time, such as where nobody waited for it
		s.memory.mu.Lock()
		s.memory.list = slices.DeleteFunc(s.memory.list, func(y *remembered) bool { return x == y })
		s.memory.mu.Unlock()
		return none, x.err
	}
	return x.value.(T), nil
}
