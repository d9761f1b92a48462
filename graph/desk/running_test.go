package desk_test

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"heeltap/graph"
	"heeltap/graph/desk"
	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/store"
)

// onTheLine is the house with a line and two lots of ends, with its clock at 08:00 on 20 March 2026.
func onTheLine(t *testing.T) (db *store.DB, at func(clock string), do func(f func(tx *store.Tx))) {
	db = opened(t)
	at = func(clock string) {
		now, err := time.Parse("2006-01-02 15:04", "2026-03-20 "+clock)
		require.NoError(t, err)
		db.Now = func() time.Time { return now }
	}
	do = func(f func(tx *store.Tx)) {
		t.Helper()
		require.NoError(t, db.Update(context.Background(), func(tx *store.Tx) error { f(tx); return nil }))
	}
	at("07:00")
	do(func(tx *store.Tx) {
		_, _, faults, err := tx.RecordRows(statements(`
lines line=CANS rate_per_min=40 margin_min=0 overlap_min=0 residue=no
items item=END name=can_end kind=closure unit=each
receipts lot=E-1 item=END supplier=S-01 supplier_lot=1/A quantity=9000 unit=each received_at=2026-03-01_09:00
receipts lot=E-2 item=END supplier=S-01 supplier_lot=2/A quantity=9000 unit=each received_at=2026-03-01_09:00
brews brew=B-2 beer=Pale started_at=2026-03-12_07:00 cast_out_at=2026-03-12_13:00 into=FV-1-1 volume=30 unit=hL`))
		require.NoError(t, err)
		require.Empty(t, faults)
	})
	return db, at, do
}

// A run is recorded while it goes on, and a question in mid-run is answered with what has been packed by then.
func TestARunAsItGoes(t *testing.T) {
	_, at, do := onTheLine(t)
	reached := func(lot string) (out []string) {
		do(func(tx *store.Tx) {
			a, err := trace.Trace(tx, graph.Forward, lot)
			require.NoError(t, err)
			for _, u := range a.Units {
				out = append(out, u.Code+" "+u.Band)
			}
		})
		return out
	}
	at("08:00")
	var run string
	do(func(tx *store.Tx) {
		var err error
		var said []*desk.Said
		run, said, err = desk.Begin(tx, desk.Start{Line: "cans", Product: "PALE", DateCode: "BB 2027-03-20", Feeds: []string{"FV-1-1", "E-1"}, By: "Runa"})
		require.NoError(t, err)
		require.Equal(t, "Run "+run+" of Pale (PALE) begun on CANS at 2026-03-20 08:00, date code \"BB 2027-03-20\"", said[0].Text)
		on, ok := desk.RunningOn(tx, "CANS")
		require.True(t, ok)
		require.Equal(t, run, on.Code())
		_, _, err = desk.Begin(tx, desk.Start{Line: "CANS", Product: "PALE", DateCode: "X", Feeds: []string{"FV-1-1"}, By: "Runa"})
		require.ErrorContains(t, err, "still going on")
	})
	at("08:48")
	do(func(tx *store.Tx) {
		_, err := desk.TakeOff(tx, run, desk.Off{Quantity: "80", By: "Runa"})
		require.NoError(t, err)
	})
	require.Equal(t, []string{"P26-0001 in"}, reached("E-1"))
	at("09:00")
	do(func(tx *store.Tx) {
		var ends int64
		for _, f := range desk.FeedsOf(tx, run) {
			if f.ItemKind == "closure" {
				ends = f.Entry
			}
		}
		_, err := desk.ChangeFeed(tx, run, ends, "E-2", "08:58", "Runa", "")
		require.NoError(t, err)
	})
	at("09:36")
	do(func(tx *store.Tx) {
		_, err := desk.TakeOff(tx, run, desk.Off{Quantity: "80", By: "Runa"})
		require.NoError(t, err)
	})
	require.Equal(t, []string{"P26-0001 in", "P26-0002 in"}, reached("E-1"), "the second pallet was begun with the old ends")
	require.Equal(t, []string{"P26-0002 in"}, reached("E-2"))
	at("09:40")
	do(func(tx *store.Tx) {
		_, err := desk.EndRun(tx, run, desk.End{At: "09:20", Good: "3840", By: "Runa"})
		require.ErrorContains(t, err, "came off the line at 09:36")
		_, err = desk.EndRun(tx, run, desk.End{By: "Runa"})
		require.ErrorContains(t, err, "3840 hang on pallets and kegs so far")
		out, err := desk.EndRun(tx, run, desk.End{Good: "3850", Rejects: "12", By: "Runa"})
		require.NoError(t, err)
		require.NotEmpty(t, out.Pairs)
		_, ok := desk.RunningOn(tx, "CANS")
		require.False(t, ok)
		r, _ := tx.Run(run)
		require.Equal(t, int64(3850), r.Good)
		require.Equal(t, int64(12), r.Rejects)
		_, err = desk.TakeOff(tx, run, desk.Off{Quantity: "1", By: "Runa"})
		require.Equal(t, lots.Conflict, lots.KindOf(err))
	})
	require.Equal(t, []string{"can end"}, func() (parts []string) {
		do(func(tx *store.Tx) { parts = desk.PartsBefore(tx, "PALE") })
		return parts
	}())
}

// A run that is voided no longer goes on.
func TestARunTakenBack(t *testing.T) {
	_, at, do := onTheLine(t)
	at("08:00")
	do(func(tx *store.Tx) {
		run, said, err := desk.Begin(tx, desk.Start{Line: "CANS", Product: "PALE", DateCode: "BB", Feeds: []string{"FV-1-1"}, By: "Runa"})
		require.NoError(t, err)
		for i := len(said) - 1; i >= 0; i-- {
			_, err = tx.Void(said[i].Entry, "the wrong line", "Runa")
			require.NoError(t, err)
		}
		_, going := desk.RunningOn(tx, "CANS")
		require.False(t, going)
		require.NotEmpty(t, run)
	})
}
