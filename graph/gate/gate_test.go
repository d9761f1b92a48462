package gate_test

import (
	"context"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"heeltap/graph/gate"
	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/lineage/histories"
	"heeltap/lots/store"
)

// house is invented; were rejected at the dock, R-2 was put into the silo all the same.
const house = `
site name=Test time_zone=UTC
items item=MALT name=malt kind=malt unit=kg
parties party=SUP name=s role=supplier
vessels vessel=SILO kind=silo
vessels vessel=BIN kind=silo
vessels vessel=FV kind=fermenter unit=L
receipts lot=OK item=MALT supplier=SUP supplier_lot=a quantity=500 unit=kg received_at=2026-01-02_08:00
receipts lot=R-1 item=MALT supplier=SUP supplier_lot=b quantity=500 unit=kg received_at=2026-01-02_08:00 status=rejected
receipts lot=S-1 item=MALT supplier=SUP supplier_lot=c quantity=500 unit=kg received_at=2026-01-02_08:00 into=SILO
receipts lot=R-2 item=MALT supplier=SUP supplier_lot=d quantity=500 unit=kg received_at=2026-01-05_08:00 into=SILO status=rejected
brews brew=B beer=Pale started_at=2026-01-06_08:00 cast_out_at=2026-01-06_14:00 into=FV volume=2000 unit=L
`

func statements(text string) (out []store.Statement) {
	for _, r := range histories.Entered(histories.Written(text)) {
		out = append(out, store.Statement{Sheet: r.Sheet, Row: r.Row, By: "me"})
	}
	return out
}

// TestRejectedLots holds what may be done with a lot rejected at the dock against the sheet's own words: rejected
// may not be used without an override; going back and destruction are what it is there for.
func TestRejectedLots(t *testing.T) {
	for _, c := range []struct{ row, says string }{
		{"brew_inputs brew=B from=OK quantity=5 unit=kg", ""},
		{"brew_inputs brew=B from=R-1 quantity=5 unit=kg", "R-1 was rejected when it was received"},
		{"brew_inputs brew=B from=OK|R-1 quantity=5 unit=kg", "R-1 was rejected when it was received"},
		{"additions vessel=FV from=R-1 quantity=5 unit=kg at=2026-01-07_08:00", "R-1 was rejected when it was received"},
		{"additions vessel=FV from=SILO quantity=5 unit=kg at=2026-01-04_08:00", ""},
		{"additions vessel=FV from=SILO quantity=5 unit=kg at=2026-01-07_08:00", "SILO holds R-2, which was rejected"},
		{"additions vessel=FV from=S-1 quantity=5 unit=kg at=2026-01-07_08:00", "SILO holds R-2, which was rejected"},
		{"transfers transfer=T from=SILO to=BIN out=5 in=5 unit=kg started_at=2026-01-07_08:00 ended_at=2026-01-07_09:00", "SILO holds R-2, which was rejected"},
		{"removals subject=R-1 quantity=5 unit=kg at=2026-01-07_08:00 reason=taproom", "R-1 was rejected when it was received"},
		{"removals subject=R-1 quantity=5 unit=kg at=2026-01-07_08:00 reason=supplier-return", ""},
		{"removals subject=R-1 quantity=5 unit=kg at=2026-01-07_08:00 reason=destroyed witness=Ines", ""},
		{"removals subject=R-1 quantity=5 unit=kg at=2026-01-07_08:00 reason=sample", ""},
		{"counts subject=R-1 quantity=500 unit=kg at=2026-01-07_08:00", ""},
	} {
		t.Run(c.row, func(t *testing.T) {
			inHouse(t, func(tx *store.Tx) {
				_, _, faults, err := gate.Post(tx, statements(c.row), gate.Override{})
				require.NoError(t, err)
				if c.says == "" {
					require.Empty(t, faults)
					return
				}
				require.Len(t, faults, 1)
				require.Contains(t, faults[0].Reason, c.says)
			})
		})
	}
}

// TestRejectedUnderOverride lets it go in by name and reason, and does not stop what it went into.
func TestRejectedUnderOverride(t *testing.T) {
	inHouse(t, func(tx *store.Tx) {
		entries, _, faults, err := gate.Post(tx, statements("additions vessel=FV from=R-1 quantity=5 unit=kg at=2026-01-07_08:00"), gate.Override{Reason: "only the bag was torn", By: "Signe"})
		require.NoError(t, err)
		require.Empty(t, faults)
		require.True(t, tx.Overridden()[entries[0]])
		_, _, faults, err = gate.Post(tx, statements("removals subject=FV quantity=5 unit=L at=2026-01-08_08:00 reason=taproom"), gate.Override{})
		require.NoError(t, err)
		require.Empty(t, faults)
		takes, err := trace.Takes(tx, entries)
		require.NoError(t, err)
		require.Contains(t, takes[entries[0]]["R-1"], "was rejected", "a correction is asked the same")
	})
}

// TestRejectedInOneImport refuses the use of a lot that comes in rejected in the same import.
func TestRejectedInOneImport(t *testing.T) {
	inHouse(t, func(tx *store.Tx) {
		_, _, faults, err := gate.Post(tx, statements(`
receipts lot=R-3 item=MALT supplier=SUP supplier_lot=e quantity=500 unit=kg received_at=2026-01-02_08:00 status=rejected
brew_inputs brew=B from=R-3 quantity=5 unit=kg`), gate.Override{})
		require.NoError(t, err)
		require.Len(t, faults, 1)
		require.Equal(t, lots.Fault{Line: 2, Reason: trace.RejectedText("R-3"), Held: true}, faults[0])
	})
}

func inHouse(t *testing.T, f func(tx *store.Tx)) {
	t.Helper()
	db, err := store.Create(context.Background(), filepath.Join(t.TempDir(), "t.db"))
	require.NoError(t, err)
	defer func() { require.NoError(t, db.Close()) }()
	require.NoError(t, db.Update(context.Background(), func(tx *store.Tx) error {
		_, _, faults, err := tx.RecordRows(statements(house))
		require.NoError(t, err)
		require.Empty(t, faults)
		f(tx)
		return nil
	}))
}
