package desk_test

import (
	"context"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"heeltap/graph/desk"
	"heeltap/lots"
	"heeltap/lots/lineage/histories"
	"heeltap/lots/store"
)

const bay = `
site name=Test time_zone=UTC
parties party=D-1 name=Saltmarsh role=consignee
products product=PALE name=Pale container_ml=440 per_case=24
products product=KEG name=Keg container_ml=30000 per_case=1
runs run=R-1 product=PALE started_at=2026-03-16_08:00 ended_at=2026-03-16_10:00 date_code=ONE good=3840
runs run=R-2 product=KEG started_at=2026-03-17_08:00 ended_at=2026-03-17_09:00 date_code=TWO good=5
units unit=P-1 kind=pallet run=R-1 quantity=80 place=row_1
units unit=P-2 kind=pallet run=R-1 quantity=80 place=row_2
units unit=K-1/R-2 kind=keg run=R-2 quantity=1
holds subject=P-2 at=2026-03-20_08:00 reason=leaks by=Quint
`

// inBay records in a house with two pallets and a keg, the second pallet on hold; each step is a transaction of its own.
func inBay(t *testing.T, steps ...func(tx *store.Tx)) {
	t.Helper()
	db, err := store.Create(context.Background(), filepath.Join(t.TempDir(), "t.db"))
	require.NoError(t, err)
	defer func() { require.NoError(t, db.Close()) }()
	var rows []store.Statement
	for _, r := range histories.Entered(histories.Written(bay)) {
		rows = append(rows, store.Statement{Sheet: r.Sheet, Row: r.Row, By: "me"})
	}
	steps = append([]func(tx *store.Tx){func(tx *store.Tx) {
		_, _, faults, err := tx.RecordRows(rows)
		require.NoError(t, err)
		require.Empty(t, faults)
	}}, steps...)
	for _, step := range steps {
		require.NoError(t, db.Update(context.Background(), func(tx *store.Tx) error { step(tx); return nil }))
	}
}

func load(t *testing.T, tx *store.Tx, shipment, unit, quantity string) string {
	t.Helper()
	said, err := desk.Load(tx, desk.Loading{Shipment: shipment, Consignee: "D-1", Document: "BOL-1"}, desk.Scan{Unit: unit, Quantity: quantity, By: "Tove"})
	require.NoError(t, err)
	return *said.Code
}

// Each scan is a row of one shipment: all that is here of a unit, or so many; cases and kegs are never added up.
func TestLoading(t *testing.T) {
	code := ""
	inBay(t, func(tx *store.Tx) {
		code = load(t, tx, "", "P-1", "30")
		load(t, tx, code, "K-1", "")
	}, func(tx *store.Tx) {
		l, err := desk.LoadedOn(tx, code)
		require.NoError(t, err)
		require.Equal(t, "30 cases and 1 keg", l.Total.String())
		require.Equal(t, []string{"Saltmarsh", "BOL-1"}, []string{l.Name, l.Document})
		require.Equal(t, "50 cases", l.Units[0].Here)
		require.Equal(t, []string{"ONE"}, l.Units[0].DateCodes)
		for unit, says := range map[string]string{"P-1": "is on this lorry already", "P-9": "P-9", "": "scan the tag"} {
			_, err := desk.Load(tx, desk.Loading{Shipment: code}, desk.Scan{Unit: unit, By: "Tove"})
			require.ErrorContains(t, err, says)
		}
		_, err = desk.Load(tx, desk.Loading{Shipment: "S-NONE"}, desk.Scan{Unit: "P-1", By: "Tove"})
		require.Equal(t, lots.NotFound, lots.KindOf(err))
	}, func(tx *store.Tx) {
		_, err := desk.Unload(tx, code, []string{"Ines"}, "Ines")
		require.ErrorContains(t, err, "put on by Tove")
		unit, err := desk.Unload(tx, code, []string{"Tove"}, "Tove")
		require.NoError(t, err)
		require.Equal(t, "K-1/R-2", unit)
	}, func(tx *store.Tx) {
		other := load(t, tx, "", "P-1", "")
		l, err := desk.LoadedOn(tx, other)
		require.NoError(t, err)
		require.Equal(t, "50 cases", l.Total.String(), "what is left of it")
		_, err = desk.Load(tx, desk.Loading{Consignee: "D-1"}, desk.Scan{Unit: "P-1", By: "Tove"})
		require.ErrorContains(t, err, "nothing of P-1 is here: it went to Saltmarsh (D-1)")
		today, err := desk.LoadedToday(tx)
		require.NoError(t, err)
		require.Len(t, today, 2)
		require.Equal(t, other, today[0].Shipment)
		_, err = desk.Load(tx, desk.Loading{Shipment: code}, desk.Scan{Unit: "P-2", By: "Tove"})
		require.ErrorContains(t, err, "P-2 is on hold")
	})
}

// What came back waits until it is released with a reason or destroyed before a witness.
func TestJudging(t *testing.T) {
	for _, c := range []struct {
		name  string
		judge desk.Judgement
		says  string // the refusal; empty where it is judged
	}{
		{"released", desk.Judgement{Verdict: "release", Why: "sealed"}, ""},
		{"for no reason", desk.Judgement{Verdict: "release"}, "say why it is good"},
		{"destroyed", desk.Judgement{Verdict: "destroyed", Witness: "Ines"}, ""},
		{"seen by nobody", desk.Judgement{Verdict: "destroyed"}, "say who saw it destroyed"},
		{"no verdict", desk.Judgement{}, "choose what becomes of it"},
	} {
		t.Run(c.name, func(t *testing.T) {
			inBay(t, func(tx *store.Tx) {
				load(t, tx, "", "K-1", "")
				load(t, tx, "", "P-1", "")
			}, func(tx *store.Tx) {
				_, err := desk.CameBack(tx, lots.Row{"unit": "P-1", "consignee": "D-1"}, "Tove")
				require.ErrorContains(t, err, "count the cases of P-1")
				_, err = desk.CameBack(tx, lots.Row{"unit": "K-1", "consignee": "D-1"}, "Tove")
				require.NoError(t, err)
			}, func(tx *store.Tx) {
				wait, err := desk.ToJudge(tx)
				require.NoError(t, err)
				require.Len(t, wait, 1)
				require.Equal(t, []string{"K-1/R-2", "1 keg", "Saltmarsh", "full"}, []string{wait[0].Unit, wait[0].Here, wait[0].From, wait[0].State})
				c.judge.Unit, c.judge.By = wait[0].Unit, "Quint"
				_, _, err = desk.Judge(tx, c.judge)
				if c.says != "" {
					require.ErrorContains(t, err, c.says)
					return
				}
				require.NoError(t, err)
				_, err = desk.Load(tx, desk.Loading{Consignee: "D-1"}, desk.Scan{Unit: "K-1/R-2", By: "Tove"})
				require.Equal(t, c.judge.Verdict == "release", err == nil, "%v", err)
			})
		})
	}
}

// A count shows what differs, what is missing of its place, and what should not be there.
func TestCountingAPlace(t *testing.T) {
	began := time.Now().Unix()
	inBay(t, func(tx *store.Tx) {
		places, err := desk.Places(tx)
		require.NoError(t, err)
		require.Equal(t, []string{"row 1", "row 2"}, places)
		c, err := desk.CountingAt(tx, "row 1", began)
		require.NoError(t, err)
		require.Empty(t, c.Counted)
		require.Len(t, c.Missing, 1)
		require.Equal(t, []string{"P-1", "80 cases"}, []string{c.Missing[0].Code, c.Missing[0].Booked})
	}, func(tx *store.Tx) {
		_, err := desk.Tally(tx, "P-2", "78", "row 1", "Tove")
		require.NoError(t, err)
		_, err = desk.Tally(tx, "P-2", "78", "row 1", "Tove")
		require.ErrorContains(t, err, "was counted just now")
		_, err = desk.Tally(tx, "P-9", "", "row 1", "Tove")
		require.ErrorContains(t, err, "P-9")
	}, func(tx *store.Tx) {
		c, err := desk.CountingAt(tx, "row 1", began)
		require.NoError(t, err)
		require.Len(t, c.Missing, 1)
		require.Equal(t, desk.Tallied{Code: "P-2", What: "Pale", Kind: lots.KindUnit, Booked: "80 cases", Counted: "78 cases", Differs: true, Odd: "it was in row 2", Where: "row 2",
			At: c.Counted[0].At, By: "Tove"}, c.Counted[0])
		_, err = desk.Tally(tx, "P-1", "", "row 1", "Tove")
		require.NoError(t, err)
		c, err = desk.CountingAt(tx, "row 1", began)
		require.NoError(t, err)
		require.Empty(t, c.Missing)
		require.Equal(t, []string{"P-1", "80 cases", ""}, []string{c.Counted[0].Code, c.Counted[0].Counted, c.Counted[0].Odd}, "as the books say, the newest first")
	})
}
