package recall_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"heeltap/graph/recall"
	"heeltap/graph/recall/scope"
	"heeltap/lots/store"
)

// room is a brew on two pallets, one of them shipped, with a recall of its hops.
const room = oneBrew + `
runs run=R product=PALE started_at=2026-01-20_08:00 ended_at=2026-01-20_10:00 date_code=BB good=800
feeds run=R from=FV
units unit=P-1 kind=pallet run=R quantity=20 place=hall
units unit=P-2 kind=pallet run=R quantity=20 place=hall
shipments shipment=S unit=P-2 quantity=20 consignee=D-1 shipped_at=2026-01-22_08:00
`

// What waits goes away with the step that answers it, and comes back with what makes it wait again.
func TestWhatWaits(t *testing.T) {
	db := open(t, "next")
	clock := time.Date(2026, 2, 1, 9, 0, 30, 0, time.UTC)
	db.Now = func() time.Time { return clock }
	update := func(f func(tx *store.Tx) error) { t.Helper(); require.NoError(t, db.Update(ctx, f)) }
	update(func(tx *store.Tx) error { enter(t, tx, statements(room)...); return nil })
	var code string
	update(func(tx *store.Tx) error {
		now, err := recall.Begin(tx, recall.Opened{Suspects: []string{"H"}, Hazard: "foreign-body", Reason: "wire"}, recall.At{}, "Quint")
		code = now.Code
		return err
	})
	on := func(f func(tx *store.Tx, now *recall.Recall, s *scope.Scope) error) {
		t.Helper()
		update(func(tx *store.Tx) error {
			now, err := recall.Load(tx, code)
			require.NoError(t, err)
			s, err := now.Scope(tx)
			require.NoError(t, err)
			return f(tx, now, s)
		})
	}
	waits := func() (out map[string]recall.Next) {
		t.Helper()
		on(func(tx *store.Tx, now *recall.Recall, s *scope.Scope) error {
			list, err := now.Next(tx, s)
			out = map[string]recall.Next{}
			for _, n := range list {
				out[n.Do] = n
			}
			return err
		})
		return out
	}
	take := func(step recall.Step) {
		t.Helper()
		on(func(tx *store.Tx, now *recall.Recall, _ *scope.Scope) error {
			_, err := now.Take(tx, step, recall.At{}, "Quint")
			return err
		})
	}

	w := waits()
	require.Positive(t, w[recall.DoHold].N)
	require.Equal(t, w[recall.DoHold].N, w[recall.DoFind].N)
	require.Equal(t, 1, w[recall.DoTell].N)
	require.False(t, w[recall.DoFreeze].Late)
	require.NotContains(t, w, recall.DoLetters, "first the scope is frozen")
	clock = clock.Add(3 * time.Hour)
	require.True(t, waits()[recall.DoFreeze].Late, "its target has passed")

	on(func(tx *store.Tx, now *recall.Recall, _ *scope.Scope) error {
		_, _, err := now.HoldAll(tx, "Quint")
		return err
	})
	_, err := recall.Freeze(ctx, db, code, "", "Quint")
	require.NoError(t, err)
	w = waits()
	require.NotContains(t, w, recall.DoHold)
	require.NotContains(t, w, recall.DoFreeze)
	require.Contains(t, w, recall.DoSettle)
	require.Contains(t, w, recall.DoLetters)
	take(&recall.Drafted{Version: 1, Letters: 1})
	take(&recall.Told{Party: "D-1", How: "phone", Reached: true})
	w = waits()
	require.NotContains(t, w, recall.DoLetters)
	require.NotContains(t, w, recall.DoTell)
	require.Equal(t, 1, w[recall.DoHear].N)

	take(&recall.Suspected{Suspects: []string{"M"}, Reason: "same load"})
	require.Equal(t, 1, waits()[recall.DoHold].N, "the malt stands in the house")
	require.Contains(t, waits(), recall.DoFreeze, "another suspect stands in the scope")
	_, err = recall.Freeze(ctx, db, code, "", "Quint")
	require.NoError(t, err)
	require.Contains(t, waits(), recall.DoLetters, "they follow the new version")

	take(&recall.Signed{What: recall.SignScope, As: "lead"})
	require.Contains(t, waits(), recall.DoSign, "the scope is not the report")
	take(&recall.Closed{Review: "over"})
	take(&recall.Signed{What: recall.SignReport, As: "lead"})
	require.Empty(t, waits())
	take(&recall.Reopened{Reason: "a case turned up"})
	require.Contains(t, waits(), recall.DoClose)
}

// What was counted since the recall was opened was found, whatever was counted before; people write whole minutes.
func TestWhatIsFoundIsCountedSince(t *testing.T) {
	db := open(t, "walk")
	clock := time.Date(2026, 2, 1, 9, 0, 30, 0, time.UTC)
	db.Now = func() time.Time { return clock }
	require.NoError(t, db.Update(ctx, func(tx *store.Tx) error {
		enter(t, tx, statements(room+"counts subject=P-1 quantity=20 at=2026-02-01_08:59\n")...)
		now, err := recall.Begin(tx, recall.Opened{Suspects: []string{"H"}, Hazard: "foreign-body", Reason: "wire"}, recall.At{}, "Quint")
		require.NoError(t, err)
		walked := func() recall.Walked {
			s, err := now.Scope(tx)
			require.NoError(t, err)
			list, err := now.Walk(tx, s)
			require.NoError(t, err)
			for _, x := range list {
				if x.Code == "P-1" {
					return x
				}
			}
			t.Fatal("P-1 is not to be found")
			return recall.Walked{}
		}
		require.Empty(t, walked().Found)
		enter(t, tx, statements("counts subject=P-1 quantity=19 at=2026-02-01_09:00\n")...)
		x := walked()
		require.Equal(t, "2026-02-01T09:00", x.Found[:16])
		require.Equal(t, "19 cases", x.FoundText())
		require.Equal(t, "me", x.FoundBy)
		require.Equal(t, "20 cases", x.Amount(), "by the books")
		return nil
	}))
}
