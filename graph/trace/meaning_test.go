package trace_test

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"

	"heeltap/graph"
	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/store"
)

// coder is a run that printed CODEA until ten and CODEB after, by a coder four days ahead
// in the second run; supplier's lots and documents are named so that they can be mistaken.
const coder = `
site: name, time_zone
Test, UTC
items: item, name, kind, unit
END, end, closure, each
parties: party, name, role
S, s, supplier
D1, d, consignee
vessels: vessel, kind
BT, bright
lines: line, margin_min
L1, 5
products: product, name, container_ml, per_case
PALE, Pale, 440, 24
receipts: lot, item, supplier, supplier_lot, quantity, unit, received_at
E-1, END, S, LOT:4711, 9600, each, 2026-03-01 08:00
E-2, END, S, ÄB12, 9600, each, 2026-03-01 08:00
brews: brew, beer, started_at, cast_out_at, into, volume, unit
B1, pale, 2026-03-02 08:00, 2026-03-02 14:00, BT, 9000, L
runs: run, product, line, started_at, ended_at, date_code, good, clock_offset_min
R1, PALE, L1, 2026-03-10 08:00, 2026-03-10 12:00, CODEA, 3840,
R2, PALE, L1, 2026-03-11 08:00, 2026-03-11 12:00, R1, 3840,
R3, PALE, L1, 2026-03-12 08:00, 2026-03-12 12:00, CODEC, 3840, 5760
codes: run, date_code, since
R1, CODEB, 2026-03-10 10:00
feeds: run, from
R1, BT
R2, BT
R3, BT
R1, E-1
units: unit, kind, run, quantity, first_at, last_at
U1, pallet, R1, 80, 2026-03-10 08:00, 2026-03-10 10:00
U2, pallet, R1, 80, 2026-03-10 10:00, 2026-03-10 12:00
U3, pallet, R2, 80, 2026-03-11 08:00, 2026-03-11 12:00
U4, pallet, R3, 80, 2026-03-12 08:00, 2026-03-12 12:00
shipments: shipment, unit, quantity, consignee, shipped_at, document
S1, U1, 10, D1, 2026-03-13 08:00, U2
`

func TestWhatATextMeans(t *testing.T) {
	db := open(t, coder)
	in, possible := "in", "possible"
	for _, c := range []struct {
		dir   graph.Direction
		text  string
		units map[string]string // with their bands
		fault string
	}{
		{graph.Forward, "CODEA@09:00", map[string]string{"U1": in}, ""},
		{graph.Forward, "CODEB@11:00", map[string]string{"U2": in}, ""},
		{graph.Forward, "CODEA@11:00", nil, "CODEA was not printed at 11:00 by the coder's clock; printed then was CODEB in run R1"},
		{graph.Forward, "CODEA@10:02", map[string]string{"U1": possible, "U2": possible}, ""},  // within the line's margin of the change
		{graph.Forward, "CODEA@09:30..11:30", map[string]string{"U1": in, "U2": possible}, ""}, // cut to 09:30..10:00, near U2's window
		{graph.Back, "CODEA@11:00", nil, "CODEA was not printed at 11:00 by the coder's clock; printed then was CODEB in run R1"},
		// R1 is a run and the code of another: neither is picked in silence.
		{graph.Forward, "R1@10:30", nil, "R1@10:30 could mean run:R1@10:30 or date-code:R1@10:30"},
		{graph.Forward, "run:R1@10:30", map[string]string{"U2": in}, ""},
		{graph.Forward, "date-code:R1@10:30", map[string]string{"U3": in}, ""},
		// The coder's day is not the true one, four days ahead of it.
		{graph.Forward, "CODEC@09:30", map[string]string{"U4": in}, ""},
		{graph.Forward, "CODEC@2026-03-16 09:30", map[string]string{"U4": in}, ""},
		{graph.Forward, "CODEC@2026-03-12 09:30", nil, "printed from 2026-03-16 08:00"},
		// Text as printed is found before it is taken apart, and whatever its letters' case.
		{graph.Forward, "LOT:4711", map[string]string{"U1": in, "U2": in}, ""},
		{graph.Forward, "lot:E-1", map[string]string{"U1": in, "U2": in}, ""},
		{graph.Forward, "äb12", map[string]string{}, ""},
	} {
		t.Run(c.text, func(t *testing.T) {
			require.NoError(t, db.View(context.Background(), func(tx *store.Tx) error {
				a, err := trace.Trace(tx, c.dir, c.text)
				if c.fault != "" {
					require.ErrorContains(t, err, c.fault)
					return nil
				}
				require.NoError(t, err)
				got := map[string]string{}
				for _, u := range a.Units {
					got[u.Code] = u.Band
				}
				require.Equal(t, c.units, got)
				return nil
			}))
		})
	}
}

// TestHeldByKindAndCode asks for a pallet that a document is named after: the pallet is meant.
func TestHeldByKindAndCode(t *testing.T) {
	db := open(t, coder+`
holds: subject, at, reason, by
U2, 2026-03-14 08:00, dented, Q
`)
	require.NoError(t, db.View(context.Background(), func(tx *store.Tx) error {
		_, err := trace.Trace(tx, graph.Forward, "U2")
		require.ErrorContains(t, err, "could mean")
		holds, err := trace.StandingHolds(tx)
		require.NoError(t, err)
		for code, want := range map[string]graph.Band{"U2": graph.In, "U1": graph.Out} {
			band, err := holds.On(lots.KindUnit, code)
			require.NoError(t, err)
			require.Equal(t, want, band, code)
		}
		band, err := holds.On(lots.KindVessel, "BT")
		require.NoError(t, err)
		require.Equal(t, graph.Out, band)
		return nil
	}))
}
