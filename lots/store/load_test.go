package store

import (
	"bufio"
	"context"
	"fmt"
	"os"
	"os/exec"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// longAs is how long a load lasts: HEELTAP_LOAD, or what CI can bear.
func longAs(t *testing.T, bounded time.Duration) time.Duration {
	if d, err := time.ParseDuration(os.Getenv("HEELTAP_LOAD")); err == nil {
		return d
	}
	if testing.Short() {
		return bounded / 4
	}
	return bounded
}

// Eight programs that write at once all get their turn: none is refused, and none goes short.
func TestEightPrograms(t *testing.T) {
	path := filled(t)
	var counts [8]int64
	var waits sync.Mutex
	var gaps []time.Duration
	var group, begun sync.WaitGroup
	long := longAs(t, 2*time.Second)
	begun.Add(len(counts))
	var children []*exec.Cmd
	for i := range counts {
		cmd, out := child(t, "write", path)
		require.NoError(t, cmd.Start())
		children = append(children, cmd)
		group.Go(func() {
			last, once := time.Now(), sync.OnceFunc(begun.Done)
			defer once()
			for s := bufio.NewScanner(out); s.Scan(); {
				if !strings.HasPrefix(s.Text(), "kept ") {
					t.Errorf("a writer was refused: %s", s.Text())
				}
				once()
				now := time.Now()
				if counts[i]++; counts[i] > 1 {
					waits.Lock()
					gaps = append(gaps, now.Sub(last))
					waits.Unlock()
				}
				last = now
			}
			_ = cmd.Wait()
		})
	}
	begun.Wait()
	time.Sleep(long)
	for _, cmd := range children {
		_ = cmd.Process.Kill()
	}
	group.Wait()
	least, most := slices.Min(counts[:]), slices.Max(counts[:])
	require.Positive(t, least)
	require.LessOrEqual(t, most, 4*least+8, "%v", counts)
	slices.Sort(gaps)
	t.Logf("8 programs, %v: %d to %d entries each; an entry every %v (half) and %v (99 of 100), at most %v", long, least, most,
		gaps[len(gaps)/2].Round(time.Millisecond), gaps[len(gaps)*99/100].Round(time.Millisecond), gaps[len(gaps)-1].Round(time.Millisecond))
	db, err := Open(context.Background(), path)
	require.NoError(t, err)
	defer db.Close()
	require.NoError(t, db.View(context.Background(), (*Tx).Sound))
}

// With one writer and four readers that overlap, nobody is refused and the log stays bounded.
func TestTheLogStaysBounded(t *testing.T) {
	reading, stop := context.WithCancel(context.Background())
	defer stop()
	ctx, cancel := context.WithTimeout(context.Background(), longAs(t, time.Second))
	defer cancel()
	db, err := Open(context.Background(), filled(t))
	require.NoError(t, err)
	defer db.Close()
	var group sync.WaitGroup
	var reads atomic.Int64
	var largest int64
	for range 4 {
		group.Go(func() {
			for reading.Err() == nil {
				err := db.View(context.Background(), func(tx *Tx) error {
					_, err := tx.Head()
					time.Sleep(4 * time.Millisecond) // so that at every moment somebody reads
					return err
				})
				if err != nil {
					t.Errorf("a reader was refused: %v", err)
					return
				}
				reads.Add(1)
			}
		})
	}
	writes := 0
	for text := strings.Repeat("x", 1<<20); writes < 100 || ctx.Err() == nil; writes++ {
		require.NoError(t, db.Update(context.Background(), func(tx *Tx) error { return tx.Answer(fmt.Sprint("form", writes), text) }))
		if log, err := os.Stat(db.path + "-wal"); err == nil {
			largest = max(largest, log.Size())
		}
	}
	stop()
	group.Wait()
	t.Logf("%d MB written, %d readings; the log had at most %.1f MB", writes, reads.Load(), float64(largest)/(1<<20))
	require.Greater(t, largest, int64(logTarget)/2, "it grew enough to tell")
	require.Less(t, largest, int64(64<<20))
}
