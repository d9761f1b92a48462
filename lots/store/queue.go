package store

import (
	"context"
	"database/sql"
	"errors"
	"os"
	"sync"
	"time"

	"heeltap/lots"
)

// longest is how long a program waits in the queue of those that want to write.
const longest = time.Minute

// queue has the programs that write a file wait for each other in the order they came. SQLite alone has them try again
// and again, and under load some are never lucky. It is a lock on a file beside the database; where there can be none, or the
// system has no such locks, SQLite's own way remains.
type queue struct {
	path string
	once sync.Once
	file *os.File
}

// enter waits for its turn. Only one caller of a process is in it at a time: the pool has one connection that writes.
func (q *queue) enter(ctx context.Context) error {
	if q == nil {
		return nil
	}
	q.once.Do(func() { q.file, _ = os.OpenFile(q.path, os.O_CREATE|os.O_RDWR, 0o600) })
	if q.file == nil {
		return nil
	}
	if tryLock(q.file) {
		return nil
	}
	got := make(chan struct{})
	go func() {
		lock(q.file)
		close(got)
	}()
	after := func() { // whoever gives up leaves when the turn comes
		<-got
		unlock(q.file)
	}
	late := time.NewTimer(longest)
	defer late.Stop()
	select {
	case <-got:
		return nil
	case <-ctx.Done():
		go after()
		return lots.Errorf(lots.Internal, "stopped before it was done; nothing was changed: %w", ctx.Err())
	case <-late.C:
		go after()
		return lots.Errorf(lots.Locked, "other programs have been writing for more than %s: try again when they are done; nothing was changed", longest)
	}
}

func (q *queue) leave() {
	if q != nil && q.file != nil {
		unlock(q.file)
	}
}

func (q *queue) close() error {
	if q == nil || q.file == nil {
		return nil
	}
	if err := q.file.Close(); !errors.Is(err, os.ErrClosed) { // closing twice is no harm
		return err
	}
	return nil
}

// SQLite keeps what was recorded in a log beside the file and moves it into the file when it can; while readers overlap
// it never can, and the log grows. So it is emptied when it has grown, by waiting for those who read at that moment.
const (
	logTarget = 16 << 20 // bytes from which on it is emptied
	logStep   = 4 << 20  // how much it grows before that is tried again
	logWait   = time.Second
)

// emptyLog moves the log into the file if it has grown. That it cannot now is no failure: what was recorded is kept.
func (db *DB) emptyLog(ctx context.Context, conn *sql.Conn) {
	log, err := os.Stat(db.path + "-wal")
	if err != nil || log.Size() < logTarget {
		db.logged = 0
		return
	}
	if log.Size() < db.logged+logStep {
		return
	}
	db.logged = log.Size()
	ctx, stop := context.WithTimeout(ctx, logWait)
	defer stop()
	_, _ = conn.ExecContext(ctx, "PRAGMA wal_checkpoint(TRUNCATE)")
}
