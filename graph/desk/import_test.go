package desk_test

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"heeltap/graph/desk"
	"heeltap/lots"
	"heeltap/lots/store"
)

const (
	receiptsHead = "lot,item,supplier,supplier_lot,quantity,unit,received_at\n"
	good         = "G-1,MALT,S-01,7,5,kg,2026-03-02 08:00\n"
	unknown      = "X-1,MOLT,S-01,8,5,kg,2026-03-02 08:00\n" // names no item: seen only against the records
	unreadable   = "X-2,MALT,S-01,9,five,kg,2026-03-02 08:00\n"
)

// TestImport keeps all rows or none, unless it is to keep going: then it keeps the good ones and writes the bad ones
// to a folder. Every bad row is told of in one go, with its file and line.
func TestImport(t *testing.T) {
	for _, c := range []struct {
		name      string
		rows      string
		keepGoing bool
		kept      []string
		bad       string   // rows written to the folder of bad rows
		faults    []string // also where the import is refused
		refused   bool
	}{
		{"all good", good, false, []string{"G-1"}, "", nil, false},
		{"one bad, all or nothing", good + unknown, false, nil, "", []string{"receipts.csv:3: item: "}, true},
		{"all faults in one go", unreadable + good + unknown, false, nil, "", []string{"receipts.csv:2: quantity: ", "receipts.csv:4: item: "}, true},
		{"one bad, keep going", good + unknown, true, []string{"G-1"}, "X-1,MOLT", []string{"receipts.csv:3: item: "}, false},
		{"none good, keep going", unknown, true, nil, "X-1,MOLT", []string{"receipts.csv:2: item: ", "no row could be kept"}, true},
		{"a row given twice is kept once", "G-2,MALT,S-01,7,5,kg,2026-03-02 08:00\nG-2,MALT,S-01,7,5,kg,2026-03-02 08:00\n" + good, true, []string{"G-1", "G-2"}, "G-2,MALT", []string{"receipts.csv:3: "}, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			db, folder := opened(t), filepath.Join(t.TempDir(), "march")
			require.NoError(t, os.Mkdir(folder, 0o700))
			require.NoError(t, os.WriteFile(filepath.Join(folder, "receipts.csv"), []byte(receiptsHead+c.rows), 0o600))

			done, err := desk.Import{Paths: []string{folder}, By: "Ines", KeepGoing: c.keepGoing}.Run(context.Background(), db)
			var faults lots.Faults
			if c.refused {
				require.Nil(t, done)
				require.True(t, errors.As(err, &faults), "%v", err)
			} else {
				require.NoError(t, err)
				require.Equal(t, len(c.kept), done.Rows)
				faults = done.Faults
			}
			require.Len(t, faults, len(c.faults), "%v", faults)
			for i, want := range c.faults {
				require.Contains(t, faults[i].String(), want)
			}
			require.Equal(t, c.kept, lotsLike(t, db, "G-1", "G-2", "X-1", "X-2"))
			written, _ := os.ReadFile(filepath.Join(folder+"-bad-rows", "receipts.csv"))
			if c.bad == "" {
				require.NoFileExists(t, filepath.Join(folder+"-bad-rows", "receipts.csv"))
				return
			}
			require.Contains(t, string(written), c.bad)
			require.NotContains(t, string(written), "G-1")
		})
	}
}

// lotsLike lists those of some codes that are recorded.
func lotsLike(t *testing.T, db *store.DB, codes ...string) (out []string) {
	t.Helper()
	require.NoError(t, db.View(context.Background(), func(tx *store.Tx) error {
		for _, code := range codes {
			if _, ok := tx.Receipt(code); ok {
				out = append(out, code)
			}
		}
		return nil
	}))
	return out
}
