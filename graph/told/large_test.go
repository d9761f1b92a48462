package told_test

import (
	"bufio"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"runtime"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"heeltap/graph/told"
	"heeltap/lots"
	"heeltap/lots/papers"
	"heeltap/lots/store"
)

// howLarge is the number of events of the large document: HEELTAP_EVENTS, else enough to see that memory does not follow.
func howLarge(t *testing.T) int {
	n := 8000
	if text := os.Getenv("HEELTAP_EVENTS"); text != "" {
		var err error
		n, err = strconv.Atoi(text)
		require.NoError(t, err)
	}
	return n
}

// writeLarge writes a document of n events: of four, three pack a pallet each and the last ships them.
func writeLarge(t *testing.T, path string, n int) {
	f, err := os.Create(path)
	require.NoError(t, err)
	out := bufio.NewWriter(f)
	fmt.Fprint(out, `{"@context":["https://ref.gs1.org/standards/epcis/2.0.0/epcis-context.jsonld"],"type":"EPCISDocument","schemaVersion":"2.0","creationDate":"2026-03-02T10:00:00Z","epcisBody":{"eventList":[`)
	for i := range n {
		if i > 0 {
			fmt.Fprint(out, ",\n")
		}
		pallet := func(i int) string { return fmt.Sprintf("urn:epc:id:sscc:0614141.%010d", i) }
		if i%4 < 3 {
			fmt.Fprintf(out, `{"type":"AggregationEvent","eventTime":"2026-03-02T08:00:00Z","eventTimeZoneOffset":"+01:00","action":"ADD","parentID":%q,"bizStep":"packing","childQuantityList":[{"epcClass":"https://id.gs1.org/01/04012345123456/10/L%d","quantity":40,"uom":"KGM"}]}`, pallet(i), i/100)
		} else {
			fmt.Fprintf(out, `{"type":"ObjectEvent","eventID":"urn:uuid:0a0b0c0d-0001-4000-8000-%012d","eventTime":"2026-03-02T09:00:00Z","eventTimeZoneOffset":"+01:00","action":"OBSERVE","bizStep":"shipping","disposition":"in_transit","epcList":[%q,%q,%q],"bizTransactionList":[{"type":"desadv","bizTransaction":"urn:epcglobal:cbv:bt:9520001111112:DN-%d"}],"readPoint":{"id":"urn:epc:id:sgln:0614141.00777.0"}}`, i, pallet(i-3), pallet(i-2), pallet(i-1), i/40)
		}
	}
	fmt.Fprint(out, "]}}\n")
	require.NoError(t, out.Flush())
	require.NoError(t, f.Close())
}

// What a large document takes of memory does not follow its size; with HEELTAP_EVENTS=1000000 this prints the figure of the
// guide.
func TestALargeDocument(t *testing.T) {
	n := howLarge(t)
	dir := t.TempDir()
	path := filepath.Join(dir, "large.jsonld")
	writeLarge(t, path, n)
	db, err := store.Create(t.Context(), filepath.Join(dir, "a.db"))
	require.NoError(t, err)
	defer func() { require.NoError(t, db.Close()) }()
	require.NoError(t, record(t, db, "parties", lots.Row{"party": "S-1", "name": "Supplier", "role": "supplier"}))
	stop := make(chan struct{})
	most := make(chan uint64)
	go func() {
		var top uint64
		for {
			select {
			case <-stop:
				most <- top
				return
			case <-time.After(20 * time.Millisecond):
				var m runtime.MemStats
				runtime.ReadMemStats(&m)
				top = max(top, m.HeapInuse)
			}
		}
	}()
	f, err := os.Open(path)
	require.NoError(t, err)
	defer f.Close()
	began := time.Now()
	var taken *told.Taken
	require.NoError(t, db.Update(t.Context(), func(tx *store.Tx) (err error) {
		taken, err = told.Take(tx, told.Document{In: f, At: f, Name: "large.jsonld", From: "S-1", By: "test", Paper: func(hash string) (papers.Paper, error) {
			return papers.Store{Folder: filepath.Join(dir, "papers")}.KeepDocument("large.jsonld", "application/ld+json", hash, f)
		}})
		return err
	}))
	close(stop)
	top := <-most
	require.Equal(t, n, taken.Events)
	require.Equal(t, n/4, taken.Expected)
	info, err := f.Stat()
	require.NoError(t, err)
	resident, _ := os.ReadFile("/proc/self/status") // Linux
	t.Logf("%d events, %d MB: %d MB of heap at most, %s, %s", n, info.Size()>>20, top>>20, regexp.MustCompile(`VmHWM:\s+\d+ kB`).Find(resident), time.Since(began).Round(time.Second/10))
	require.Less(t, top, uint64(200<<20))
	if n > 100_000 {
		return // what follows reads all of it at once
	}
	kept, err := os.ReadFile(filepath.Join(dir, "papers", taken.Hash[:2], taken.Hash))
	require.NoError(t, err)
	_, err = f.Seek(0, io.SeekStart)
	require.NoError(t, err)
	whole, err := io.ReadAll(f)
	require.NoError(t, err)
	require.True(t, string(whole) == string(kept), "it is kept as it came")
	require.NoError(t, db.View(t.Context(), func(tx *store.Tx) error {
		list, err := told.Deliveries(tx, false)
		require.Len(t, list, n/4)
		require.Equal(t, "L1", told.KeyOf(list[25].Lines[0].ID).Lot, "what was packed on the pallet is told with it")
		return err
	}))
}

func record(t *testing.T, db *store.DB, sheet string, row lots.Row) error {
	s, ok := lots.SheetNamed(sheet)
	require.True(t, ok)
	return db.Update(t.Context(), func(tx *store.Tx) error {
		_, _, faults, err := tx.RecordRows([]store.Statement{{Sheet: s, Row: row, By: "test"}})
		require.Empty(t, faults)
		return err
	})
}
