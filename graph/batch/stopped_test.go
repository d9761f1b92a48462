package batch_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"heeltap/graph/recall"
	"heeltap/lots"
	"heeltap/lots/lineage/histories"
	"heeltap/lots/store"
)

func (b *book) enter(text string) {
	b.t.Helper()
	b.in(func(tx *store.Tx) {
		var rows []store.Statement
		for _, r := range histories.Written(text) {
			sheet, ok := lots.SheetNamed(r.Sheet)
			require.True(b.t, ok, r.Sheet)
			rows = append(rows, store.Statement{Sheet: sheet, Row: r.Row, By: "me"})
		}
		_, _, faults, err := tx.RecordRows(rows)
		require.NoError(b.t, err)
		require.Empty(b.t, faults)
	})
}

// A record says before all else that it is on hold or under recall, since when, by whom and why, and how much of it;
// an exercise is neither.
func TestRecordSaysFirstThatItIsStopped(t *testing.T) {
	b := recorded(t)
	open := func(mock bool, suspect string) {
		b.in(func(tx *store.Tx) {
			_, err := recall.Begin(tx, recall.Opened{Mock: mock, Suspects: []string{suspect}, Hazard: "foreign-body", Reason: "glass in a hop bale.", Lead: "Quint"}, recall.At{}, "Quint")
			require.NoError(t, err)
		})
	}
	open(true, "H")
	for _, code := range []string{"B1", "R1", "P-1"} {
		require.NotContains(t, b.record(code), "RECALL", code)
		require.NotContains(t, b.record(code), "ON HOLD", code)
	}
	b.enter("holds subject=P-2 at=2026-03-19_08:00 reason=torn_wrap by=Ines\nholds subject=H2 at=2026-03-19_09:00 reason=smell by=Ines")
	open(false, "H")
	top := func(code string) string { return b.record(code)[:strings.Index(b.record(code), "What it is")] }
	recalled := "UNDER RECALL RC26-01 since 2026-03-20 09:00, led by Quint: glass in a hop bale. It is in scope."
	says(t, top("P-2"), "ON HOLD since 2026-03-19 08:00, by Ines: torn wrap (entry", recalled)
	says(t, top("P-1"), "ON HOLD through H2 since 2026-03-19 09:00, by Ines: smell (entry", recalled)
	says(t, top("R1"), "ON HOLD through H2", "ON HOLD of its units: P-2.", recalled+" All its 2 units are in scope.")
	says(t, top("B1"), recalled)
	require.NotContains(t, top("B0"), "RECALL")
	// Parties stand by name with their code.
	says(t, b.record("P-1"), "D-1 One", "SUP Grower")
}
