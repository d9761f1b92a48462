package trace_test

import (
	"context"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"heeltap/graph"
	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/store"
)

// printedGoods has a can with a date and a time, a bottle with both in one row of digits, a keg, and a
// pallet with an SSCC. Two lots differ only in where the mark stands; one date code is printed "CODE 7",
// and a run is called 7. The numbers end in GS1 check digits.
const printedGoods = `
site: name, time_zone
Test, UTC
items: item, name, kind, unit
END, end, closure, each
vessels: vessel, kind
BT, bright
FV 2, fermenter
lines: line
CANS
products: product, name, container_ml, per_case, gtin, date_code
PALE, Pale, 440, 24, 9520123456788, BB {year}-{month}-{day} {hour}:{minute}
STOUT, Stout, 500, 12, 95012345678903, K{packed-yy}{packed-doy} {hour}{minute}
STOUT-2, Stout twins, 500, 12, 95012345678903,
KEG-30, Pale keg, 30000, 1, ,
receipts: lot, item, supplier, supplier_lot, quantity, unit, received_at
E1-12, END, S, WH 24/117, 9600, each, 2026-03-01 08:00
E11-2, END, S, m, 9600, each, 2026-03-01 08:00
brews: brew, beer, started_at, cast_out_at, into, volume, unit
B1, pale, 2026-03-02 08:00, 2026-03-02 14:00, BT, 9000, L
B2, pale, 2026-03-02 08:00, 2026-03-02 14:00, FV 2, 9000, L
runs: run, product, line, started_at, ended_at, date_code, good
R-1, PALE, CANS, 2026-03-10 08:00, 2026-03-10 12:00, BB 2027-03-10, 3840
R-2, STOUT, CANS, 2026-03-11 08:00, 2026-03-11 12:00, K26070, 1920
R-3, KEG-30, , 2026-03-12 08:00, 2026-03-12 12:00, CODE 7, 1
R-4, STOUT-2, CANS, 2026-03-14 08:00, 2026-03-14 12:00, ST, 1920
7, PALE, CANS, 2026-03-13 08:00, 2026-03-13 12:00, BB 2027-03-13, 3840
feeds: run, from
R-1, BT
R-2, BT
R-3, BT
R-4, BT
7, BT
R-1, E1-12
R-2, E11-2
units: unit, kind, run, quantity, first_at, last_at, sscc
P26-0001, pallet, R-1, 80, 2026-03-10 08:00, 2026-03-10 10:00, 952012345678912345
P26-0002, pallet, R-1, 80, 2026-03-10 10:00, 2026-03-10 12:00,
P26-0003, pallet, R-2, 80, , ,
K0417/R-3, keg, R-3, 1, , ,
P26-0004, pallet, 7, 80, , ,
parties: party, name, role
S, s, supplier
`

// What is printed can be typed as people type it; what it was read as is told. What is recorded as it
// stands is never read as anything else, and what is worn or could be several things is not guessed.
func TestWhatIsTypedIsUnderstood(t *testing.T) {
	db := open(t, printedGoods)
	for _, c := range []struct{ text, as, fault string }{
		{"BB 2027-03-10", "", ""}, {"bb 2027-03-10", "", ""}, {"P26-0001", "", ""},
		{"BB20270310", "date-code:BB 2027-03-10", ""}, {"bb 2027/03/10", "date-code:BB 2027-03-10", ""}, {"BB 2027-03-10 09:42", "date-code:BB 2027-03-10@09:42", ""},
		{"BB 2027-03-10 at 9:42 am", "date-code:BB 2027-03-10@09:42", ""}, {"bb2027 03 10@9:42", "date-code:BB 2027-03-10@9:42", ""}, {"K26070 0942", "date-code:K26070@09:42", ""}, {"k26070 09:42", "date-code:K26070@09:42", ""},
		{"best before 2027-03-10", "date-code:BB 2027-03-10", ""}, {"2027-03-10", "date-code:BB 2027-03-10", ""}, {"use by: 2027.03.10 09:42", "date-code:BB 2027-03-10@09:42", ""},
		{"pallet p26-0001", "unit:P26-0001", ""}, {"p26 0001", "unit:P26-0001", ""}, {"unit:p26 0001", "unit:P26-0001", ""}, {"keg K0417", "keg:K0417", ""}, {"keg no. k-0417", "keg:K0417", ""}, {"lot E1-12", "lot:E1-12", ""}, {"lot wh 24-117", "supplier-lot:WH 24/117", ""},
		{"fv2", "vessel:FV 2", ""}, {"run r1", "run:R-1", ""}, {"brew b1", "brew:B1", ""}, {"R 1 10:42", "run:R-1@10:42", ""},
		{"(00)952012345678912345", "sscc:952012345678912345", ""}, {"00952012345678912345", "sscc:952012345678912345", ""}, {"SSCC: 9520 1234 5678 912345", "sscc:952012345678912345", ""}, {"sscc:(00) 952012345678912345", "sscc:952012345678912345", ""},
		{"9520123456788", "product:PALE", ""}, {"(01)09520123456788(17)201225", "product:PALE", ""}, {"GTIN 09520123456788", "product:PALE", ""},
		{"]C1010954110153300010m", "supplier-lot:m", ""}, {"]C100952012345678912345", "sscc:952012345678912345", ""}, {"(01)09520123456788(10)ANY", "product:PALE", ""},
		{"]C1010954110153300010QX-1", "", "nothing recorded is called"},
		// A word that is printed is part of the code; without it, the run of that name is meant.
		{"CODE 7", "", ""}, {"7", "", ""}, {"code-7", "date-code:CODE 7", ""}, {"run 7", "run:7", ""},
		{"E112", "", "E112 could mean lot:E1-12 or lot:E11-2"}, {"95012345678903", "", "could mean product:STOUT or product:STOUT-2"},
		{"E1-1-2", "", "E1-1-2 could mean"}, {"E1 12", "lot:E1-12", ""}, {"e11.2", "lot:E11-2", ""},
		{"BB 2O27-03-10 09:42", "", "the nearest are: BB 2027-03-10@09:42"}, {"BB 2027-03-1 09:42", "", "the nearest are: BB 2027-03-1"}, {"MHD 10.03.2027", "", "the nearest are: BB 2027-03-10"},
		{"keg 417", "", "the nearest are: K0417"}, {"912345", "", "the nearest are: 952012345678912345"}, {"9520123456780", "", "its check digit would be 8"}, {"(00)952012345678912340", "", "As an SSCC it has a digit wrong: its check digit would be 5"},
		{"BB 2027-03-10 14:20", "", "no run on record printed anything then"}, {"zebra", "", "That does not mean it is not affected"},
	} {
		t.Run(c.text, func(t *testing.T) {
			require.NoError(t, db.View(context.Background(), func(tx *store.Tx) error {
				_, err := trace.Trace(tx, graph.Forward, c.text)
				if c.fault != "" {
					require.ErrorContains(t, err, c.fault)
					require.Empty(t, tx.Readings())
					return nil
				}
				require.NoError(t, err)
				if c.as == "" {
					require.Empty(t, tx.Readings())
					return nil
				}
				require.Equal(t, []store.ReadAs{{Text: c.text, As: c.as}}, tx.Readings())
				// The form it is told in means the same, and is put down in it or shorter.
				require.NoError(t, trace.Stands(tx, c.as))
				spelled := trace.Spelled(tx, c.text)
				require.NoError(t, trace.Stands(tx, spelled), spelled)
				require.Error(t, trace.Stands(tx, c.text), "put down before, it would have to be recorded so")
				return nil
			}))
		})
	}
}

// One code of a kind is found by whatever names it; a date code means its run, and with a time of day its pallet too.
func TestCodeOf(t *testing.T) {
	db := open(t, printedGoods)
	things := []lots.Kind{lots.KindLot, lots.KindRun, lots.KindUnit}
	for _, c := range []struct {
		text  string
		kinds []lots.Kind
		code  string
		fault string
	}{
		{"k0417", []lots.Kind{lots.KindUnit}, "K0417/R-3", ""}, {"(00)952012345678912345", []lots.Kind{lots.KindUnit}, "P26-0001", ""}, {"WH 24 117", things, "E1-12", ""},
		{"bb 2027 03 10", things, "R-1", ""}, {"bb 2027 03 10 09:42", things, "", "could mean run:R-1 or unit:P26-0001"}, {"fv2", things, "", "give the code of a lot, run, unit"},
		{"run:R-1", things, "R-1", ""}, {"fv 2", nil, "FV 2", ""}, {"nothing", things, "", "nothing recorded"},
	} {
		require.NoError(t, db.View(context.Background(), func(tx *store.Tx) error {
			code, err := trace.CodeOf(tx, c.text, c.kinds...)
			if c.fault != "" {
				require.ErrorContains(t, err, c.fault, c.text)
				return nil
			}
			require.NoError(t, err, c.text)
			require.Equal(t, c.code, code, c.text)
			return nil
		}))
	}
}

// A suspect put down as it was typed means the same when its recall asks again, and a code taken back is not read as another.
func TestPutDownIsNotReadAnew(t *testing.T) {
	db := open(t, printedGoods)
	ctx := context.Background()
	require.NoError(t, db.Update(ctx, func(tx *store.Tx) error {
		rows, err := tx.RowsOf("P26-0004")
		require.NoError(t, err)
		_, err = tx.Void(rows[0].Seq, "never stood there", "me")
		return err
	}))
	require.NoError(t, db.View(ctx, func(tx *store.Tx) error {
		_, err := trace.Ask(tx, trace.Question{Dir: graph.Forward, From: []string{"p26 0001"}, Literal: true})
		require.ErrorContains(t, err, "nothing recorded is called")
		_, err = trace.Trace(tx, graph.Forward, "P26-0004")
		require.ErrorContains(t, err, "voided P26-0004")
		require.False(t, slices.ContainsFunc(tx.Readings(), func(r store.ReadAs) bool { return r.Text == "P26-0004" }))
		return nil
	}))
}
