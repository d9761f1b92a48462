package desk_test

import (
	"context"
	"errors"
	"testing"

	"github.com/stretchr/testify/require"

	"heeltap/graph"
	"heeltap/graph/desk"
	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/store"
)

// twoMalts are two lots of pale malt and two more tanks, with the clock at noon on 20 March 2026.
const twoMalts = `
vessels vessel=FV-2 kind=fermenter unit=hL
vessels vessel=FV-3 kind=fermenter
receipts lot=L26-0002 item=MALT supplier=S-01 supplier_lot=WH_24/118 quantity=500 unit=kg received_at=2026-03-01_08:00
brew_inputs brew=B-1 from=L26-0001 quantity=200 unit=kg stage=mash
brew_inputs brew=B-1 from=L26-0002 quantity=30 unit=kg stage=mash
`

func brewhouse(t *testing.T) *store.DB {
	db := opened(t)
	require.NoError(t, db.Update(context.Background(), func(tx *store.Tx) error {
		_, _, faults, err := tx.RecordRows(statements(twoMalts))
		require.Empty(t, faults)
		return err
	}))
	return db
}

// A brew with all its lots and both its tanks is one act: it is recorded whole, and a trace finds every lot of it.
func TestABrewIsOneAct(t *testing.T) {
	db := brewhouse(t)
	require.NoError(t, db.Update(context.Background(), func(tx *store.Tx) error {
		brew, said, err := desk.Brew(tx, desk.Brewed{Beer: "Pale", Started: "06:00", CastOut: "11:30", Plato: "11.8", By: "Ines",
			Into:   []desk.Portion{{Vessel: "fv 2", Volume: "10", Unit: "hL"}, {Vessel: "FV-3", Volume: "9 hL"}},
			Inputs: []desk.Input{{From: "L26-0001", Quantity: "120", Stage: "mash"}, {From: "L26-0002", Quantity: "80 kg", Stage: "mash"}}})
		require.NoError(t, err)
		require.Equal(t, "B26-0001", brew)
		require.Len(t, said, 4)
		a, err := trace.Trace(tx, graph.Back, "FV-3")
		require.NoError(t, err)
		require.Len(t, a.Lots, 2)
		return nil
	}))
}

// What is wrong with a brew is said of the line it stands in, of all lines at once, and nothing is kept.
func TestABrewIsRefusedByItsLines(t *testing.T) {
	db := brewhouse(t)
	try := func(b desk.Brewed) lots.Faults {
		err := db.Update(context.Background(), func(tx *store.Tx) error { _, _, err := desk.Brew(tx, b); return err })
		faults, ok := errors.AsType[lots.Faults](err)
		require.True(t, ok, "%v", err)
		return faults
	}
	whole := desk.Brewed{Beer: "Pale", Started: "06:00", CastOut: "11:30", By: "Ines", Into: []desk.Portion{{Vessel: "FV-2", Volume: "10"}}}

	wrong := whole
	wrong.Inputs = []desk.Input{{From: "L26-0001", Quantity: "120"}, {From: "L26-9", Quantity: "80"}, {From: "L26-0002"}}
	var at []string
	for _, f := range try(wrong) {
		at = append(at, f.File+" "+string(rune('0'+f.Line))+" "+f.Column)
	}
	require.Equal(t, []string{"brew_inputs 2 from", "brew_inputs 3 quantity"}, at)

	wrong = whole
	wrong.Into = append(wrong.Into, desk.Portion{Vessel: "FV-9", Volume: "10"})
	require.Equal(t, 2, try(wrong)[0].Line)

	require.NoError(t, db.View(context.Background(), func(tx *store.Tx) error {
		require.Equal(t, []string{"B-1"}, tx.CodesOf(lots.KindBrew))
		return nil
	}))
}

// What the last brew took is named by item, with all its lots together; never a lot.
func TestWhatTheLastBrewTook(t *testing.T) {
	require.NoError(t, brewhouse(t).View(context.Background(), func(tx *store.Tx) error {
		before, err := desk.BrewedBefore(tx, "Pale")
		require.NoError(t, err)
		require.Equal(t, []desk.InputBefore{{Name: "pale malt", Stage: "mash", Quantity: "230", Unit: "kg"}}, before)
		none, err := desk.BrewedBefore(tx, "Never")
		require.NoError(t, err)
		require.Empty(t, none)
		return nil
	}))
}

// All that is in a tank is what the books say then, in the unit asked for; of an empty one there is no such figure.
func TestAllInATank(t *testing.T) {
	db := brewhouse(t)
	require.NoError(t, db.Update(context.Background(), func(tx *store.Tx) error {
		s, _ := lots.SheetNamed("removals")
		_, err := desk.Record(tx, desk.Act{Sheet: s, Row: lots.Row{"subject": "FV-1-1", "quantity": "50", "unit": "L", "reason": "dumped", "at": "09:00"}, By: "Ines"})
		require.NoError(t, err)
		for _, x := range []struct{ at, unit, want string }{{"", "", "1.604 hL"}, {"08:00", "", "2.104 hL"}, {"08:00", "L", "210.4 L"}} {
			q, unit, err := desk.AllIn(tx, "FV-1-1", x.at, x.unit)
			require.NoError(t, err)
			require.Equal(t, x.want, q+" "+unit, x.at)
		}
		_, _, err = desk.AllIn(tx, "FV-2", "", "")
		require.ErrorContains(t, err, "nothing in FV-2")
		return nil
	}))
}

// A correction says which faults it put right, and corrects the row that is meant even where its number is also a code.
func TestACorrectionByItsEntry(t *testing.T) {
	db := brewhouse(t)
	require.NoError(t, db.Update(context.Background(), func(tx *store.Tx) error {
		_, _, faults, err := tx.RecordRows(statements("removals subject=FV-1-1 quantity=30 unit=hL at=2026-03-20_09:00 reason=dumped"))
		require.Empty(t, faults)
		require.NoError(t, err)
		rows, err := tx.All("removals")
		require.NoError(t, err)
		entry := rows[0].Seq
		for _, r := range rows {
			entry = max(entry, r.Seq)
		}
		c, err := desk.Amend(tx, desk.Change{Entry: entry, Reason: "it was 30 L", By: "Ines"}, map[string]string{"unit": "L"})
		require.NoError(t, err)
		require.Equal(t, entry, c.Pairs[0].Corrects)
		require.NotEmpty(t, c.Gone)
		text, err := desk.MomentBeside(tx, "10:15", "2026-03-02 07:00")
		require.NoError(t, err)
		require.Contains(t, text, "2026-03-02T10:15")
		return nil
	}))
}
